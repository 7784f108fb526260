//! Standard input and output: one thread reads, one writes, one checks; requests run beside them.

use std::fs::File;
use std::io;
use std::sync::Arc;
use std::sync::mpsc;
use std::time::Duration;

use futures::future::poll_fn;
use futures::{FutureExt, SinkExt, StreamExt};
use serde_json::Value;
use tower::Service;
use tower_lsp::jsonrpc::{Error, Id, Request, Response};
use tower_lsp::{ExitedError, LspService};

use crate::backend::Backend;
use crate::desk::Desk;
use crate::frame::{self, Incoming};
use crate::order::Ordered;
use crate::{checker, log, trial};

/// How long the client may take to read what is left when the server ends.
const LAST_WORDS: Duration = Duration::from_millis(500);

/// Serves until the client says `exit`, or is gone; gives what the process ends with.
pub(crate) fn serve() -> i32 {
    log::catch_panics();
    let Ok(runtime) = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_time()
        .build()
    else {
        return 1;
    };
    let (end, ended) = mpsc::channel();
    let desk = Arc::new(Desk::new(end));

    let backend = |client| Backend {
        desk: desk.clone(),
        client,
    };
    let (service, socket) = trial::with_methods(LspService::build(backend)).finish();
    let client = service.inner().client.clone();
    let (mut own_requests, mut answers) = socket.split();

    let (handle, shared) = (runtime.handle().clone(), desk.clone());
    std::thread::spawn(move || checker::run(&shared, &client, &handle));

    let shared = desk.clone();
    std::thread::spawn(move || {
        match unbuffered_output() {
            Ok(mut output) => shared.outbox.write_to(&mut output),
            Err(_) => shared.outbox.write_to(&mut io::stdout().lock()),
        }
        // Nobody reads any more.
        shared.leave(1);
    });

    let shared = desk.clone();
    runtime.spawn(async move {
        while let Some(request) = own_requests.next().await {
            shared.outbox.send(asked(&request)).await;
        }
    });

    let (handle, shared) = (runtime.handle().clone(), desk.clone());
    std::thread::spawn(move || {
        let mut service = Ordered::new(service, shared.clone());
        let mut input = io::stdin().lock();
        loop {
            match frame::read(&mut input) {
                Incoming::Request(request) if request.method() == "exit" => break,
                Incoming::Request(request) => hand_in(&mut service, request, &shared, &handle),
                Incoming::Response(answer) => _ = handle.block_on(answers.send(answer)),
                Incoming::Malformed => refuse(&shared, Error::parse_error()),
                Incoming::Nameless => refuse(&shared, Error::invalid_request()),
                Incoming::End => break,
            }
        }
        shared.leave(service.exit_code());
    });

    let code = ended.recv().unwrap_or(1);
    desk.outbox.drain(LAST_WORDS);
    desk.pages.remove();
    // Work that is under way is not waited for.
    runtime.shutdown_background();
    code
}

/// Standard output without the buffer of the standard library, which writes what ends with a line break apart from the rest.
#[cfg(unix)]
fn unbuffered_output() -> io::Result<File> {
    use std::os::fd::AsFd;
    Ok(io::stdout().as_fd().try_clone_to_owned()?.into())
}

#[cfg(windows)]
fn unbuffered_output() -> io::Result<File> {
    use std::os::windows::io::AsHandle;
    Ok(io::stdout().as_handle().try_clone_to_owned()?.into())
}

/// Answers what has no name to answer to.
fn refuse(desk: &Desk, error: Error) {
    desk.outbox
        .send_now(message(&Response::from_error(Id::Null, error)));
}

/// Hands a message to the service; its answer is written when it comes.
fn hand_in(
    service: &mut Ordered<LspService<Backend>>,
    request: Request,
    desk: &Arc<Desk>,
    handle: &tokio::runtime::Handle,
) {
    let ready = poll_fn(|context| service.poll_ready(context)).now_or_never();
    if !matches!(ready, Some(Ok(()))) {
        if let Some(id) = request.id() {
            desk.outbox.send_now(message(&Response::from_error(
                id.clone(),
                Error::invalid_request(),
            )));
        }
        return;
    }
    // These two answer at once, and what comes after them in the order may rest on their answers being on their way.
    let at_once = matches!(request.method(), "initialize" | "shutdown");
    let is_notification = request.id().is_none();
    let _runtime = handle.enter();
    let mut answer = Box::pin(service.call(request));
    if at_once {
        if let Some(answer) = said(handle.block_on(answer)) {
            desk.outbox.send_now(answer);
        }
        return;
    }
    // Most notifications are dealt with by now: then nobody else need wake.
    if is_notification && answer.as_mut().now_or_never().is_some() {
        return;
    }
    let desk = desk.clone();
    handle.spawn(async move {
        if let Some(answer) = said(answer.await) {
            desk.outbox.send(answer).await;
        }
    });
}

fn said(answer: Result<Option<Response>, ExitedError>) -> Option<Value> {
    answer.ok().flatten().map(|it| message(&it))
}

/// A request of ours: parameters are a table or a list, or are not there.
fn asked(request: &Request) -> Value {
    let mut request = message(request);
    if let Some(it) = request.as_object_mut()
        && it.get("params").is_some_and(Value::is_null)
    {
        it.remove("params");
    }
    request
}

fn message(it: &impl serde::Serialize) -> Value {
    serde_json::to_value(it).unwrap_or_default()
}
