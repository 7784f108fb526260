//! The service that sees every message first, in the order of the wire.
//!
//! Texts and settings change here and now; a request gets the snapshot that stands at its place in the order. What happens
//! to it later, and when, can no longer mix up what it sees.

use std::panic::AssertUnwindSafe;
use std::path::PathBuf;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Instant;

use futures::FutureExt;
use futures::future::BoxFuture;
use ide::Snapshot;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};
use tower::Service;
use tower_lsp::ExitedError;
use tower_lsp::jsonrpc::{Error, ErrorCode, Request, Response};
use tower_lsp::lsp_types::*;

use crate::desk::{Desk, name_of};
use crate::log::log;
use crate::positions::Ruler;
use crate::settings;

tokio::task_local! {
    /// The texts as they stood when the request was read.
    pub(crate) static SEEN: Snapshot;
}

/// `ServerNotInitialized` of the protocol.
const NOT_INITIALIZED: i64 = -32002;

/// A service whose messages are called in the order of the wire.
pub(crate) struct Ordered<S> {
    inner: S,
    desk: Arc<Desk>,
    phase: Phase,
}

/// How far the conversation has come.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Phase {
    Silent,
    Open,
    ShutDown,
}

impl<S> Ordered<S> {
    /// A service around another one.
    pub(crate) fn new(inner: S, desk: Arc<Desk>) -> Ordered<S> {
        Ordered {
            inner,
            desk,
            phase: Phase::Silent,
        }
    }

    /// What the process ends with if it ends now.
    pub(crate) fn exit_code(&self) -> i32 {
        if self.phase == Phase::ShutDown { 0 } else { 1 }
    }

    /// Why nothing of this kind is heard now, known method or not: before `initialize`, and after `shutdown`.
    fn refused(&self, method: &str) -> Option<Error> {
        match self.phase {
            Phase::Silent if method != "initialize" => Some(Error {
                code: ErrorCode::ServerError(NOT_INITIALIZED),
                message: "The first request has to be `initialize`.".into(),
                data: None,
            }),
            Phase::ShutDown => Some(Error {
                message: "After `shutdown` only `exit` is heard.".into(),
                ..Error::invalid_request()
            }),
            _ => None,
        }
    }

    /// Follows what a message says about texts and settings; whether that was all there is to it.
    fn follow(&mut self, method: &str, parameters: &Value) -> bool {
        match (self.phase, method) {
            (Phase::Silent, "initialize") => {
                self.phase = Phase::Open;
                self.desk.meet(parameters);
                self.desk.set_folders(folders(parameters));
                self.desk
                    .set_trace(parameters.get("trace").and_then(Value::as_str));
                settings::take(&self.desk, parameters.get("initializationOptions"));
            }
            // Who says it again has been heard, and is registered.
            (Phase::Open, "initialized") => return !self.desk.bell.start(),
            (Phase::Open, "workspace/didChangeConfiguration") => {
                settings::take(&self.desk, parameters.get("settings"));
            }
            (_, "workspace/didChangeWorkspaceFolders") => {
                if self.phase == Phase::Open && self.change_folders(parameters).is_none() {
                    log!("ignored {method}");
                }
                return true;
            }
            (_, "$/setTrace") => {
                self.desk
                    .set_trace(parameters.get("value").and_then(Value::as_str));
                return true;
            }
            (Phase::Open, "shutdown") => self.phase = Phase::ShutDown,
            (
                _,
                "textDocument/didOpen"
                | "textDocument/didChange"
                | "textDocument/didClose"
                | "textDocument/didSave",
            )
            | (_, "workspace/didChangeWatchedFiles") => {
                if self.phase == Phase::Open && self.change(method, parameters).is_none() {
                    log!("ignored {method}");
                }
                return true;
            }
            _ => {}
        }
        false
    }

    fn change(&self, method: &str, parameters: &Value) -> Option<()> {
        match method {
            "textDocument/didOpen" => {
                let it = read::<DidOpenTextDocumentParams>(parameters)?.text_document;
                self.desk.change_text(&it.uri, |texts, name| {
                    texts.open(name, it.version, &it.text)
                });
            }
            "textDocument/didChange" => {
                let DidChangeTextDocumentParams {
                    text_document: it,
                    content_changes,
                } = read(parameters)?;
                let mut text = self
                    .desk
                    .snapshot()
                    .view(&name_of(&it.uri))?
                    .text()
                    .to_string();
                let mut caret = 0;
                for change in content_changes {
                    caret = self.edit(&mut text, change);
                }
                self.desk.change_text(&it.uri, |texts, name| {
                    texts.change(name, it.version, &text, caret)
                });
            }
            "textDocument/didClose" => {
                let it = read::<DidCloseTextDocumentParams>(parameters)?;
                self.desk.tokens.forget(&name_of(&it.text_document.uri));
                self.desk
                    .change_text(&it.text_document.uri, |texts, name| texts.close(name));
            }
            _ => self.desk.change(|texts| texts.workspace.disk_changed()),
        }
        Some(())
    }

    fn change_folders(&self, parameters: &Value) -> Option<()> {
        let event = read::<DidChangeWorkspaceFoldersParams>(parameters)?.event;
        let mut folders = self.desk.folders();
        let gone: Vec<_> = event
            .removed
            .iter()
            .filter_map(|it| path(&it.uri))
            .collect();
        folders.retain(|it| !gone.contains(it));
        folders.extend(event.added.iter().filter_map(|it| path(&it.uri)));
        self.desk.set_folders(folders);
        Some(())
    }

    /// Applies one change to the result of the last one; gives the end of what was inserted.
    fn edit(&self, text: &mut String, change: TextDocumentContentChangeEvent) -> u32 {
        let span = match change.range {
            Some(range) => {
                let lines = ide::Lines::of(text);
                Ruler {
                    text,
                    lines: &lines,
                    encoding: self.desk.offers().encoding,
                }
                .span(range)
                .range()
            }
            None => 0..text.len(),
        };
        if change.range.is_some() {
            text.replace_range(span.clone(), &change.text);
            return (span.start + change.text.len()) as u32;
        }
        // All of the text: what stands between the common ends was inserted.
        let kept = text
            .bytes()
            .rev()
            .zip(change.text.bytes().rev())
            .take_while(|(old, new)| old == new)
            .count();
        *text = change.text;
        (text.len() - kept) as u32
    }
}

impl<S> Service<Request> for Ordered<S>
where
    S: Service<Request, Response = Option<Response>, Error = ExitedError>,
    S::Future: Send + 'static,
{
    type Response = Option<Response>;
    type Error = ExitedError;
    type Future = BoxFuture<'static, Result<Option<Response>, ExitedError>>;

    fn poll_ready(&mut self, context: &mut Context<'_>) -> Poll<Result<(), ExitedError>> {
        self.inner.poll_ready(context)
    }

    fn call(&mut self, request: Request) -> Self::Future {
        if let Some(refused) = self.refused(request.method()) {
            let answer = request
                .id()
                .map(|id| Response::from_error(id.clone(), refused));
            return futures::future::ok(answer).boxed();
        }
        if self.follow(request.method(), request.params().unwrap_or(&Value::Null)) {
            // A notification that was sent as a request all the same is answered, so that no one waits for ever.
            let answer = request
                .id()
                .map(|id| Response::from_error(id.clone(), Error::invalid_request()));
            return futures::future::ok(answer).boxed();
        }
        let request = without_empty_parameters(request);
        let (method, id) = (request.method().to_string(), request.id().cloned());
        let (desk, start) = (self.desk.clone(), Instant::now());
        let future = SEEN.scope(self.desk.snapshot(), self.inner.call(request));
        AssertUnwindSafe(future)
            .catch_unwind()
            .map(move |result| {
                if desk.traces() && id.is_some() {
                    trace(&desk, &method, start);
                }
                result.unwrap_or_else(|_| {
                    log!("{method} panicked");
                    Ok(id.map(|id| Response::from_error(id, Error::internal_error())))
                })
            })
            .boxed()
    }
}

/// Tells the client how long a request took.
fn trace(desk: &Desk, method: &str, start: Instant) {
    let took = start.elapsed().as_secs_f64() * 1e3;
    let message = format!("{method} answered in {took:.2} ms");
    desk.outbox.send_now(json!({
        "jsonrpc": "2.0", "method": "$/logTrace", "params": {"message": message},
    }));
}

/// The folders that the client has open.
fn folders(parameters: &Value) -> Vec<PathBuf> {
    let uri = |it: &Value| path(&it.as_str()?.parse().ok()?);
    match parameters.get("workspaceFolders").and_then(Value::as_array) {
        Some(folders) => folders.iter().filter_map(|it| uri(&it["uri"])).collect(),
        None => parameters
            .get("rootUri")
            .and_then(uri)
            .into_iter()
            .collect(),
    }
}

fn path(uri: &Url) -> Option<PathBuf> {
    uri.to_file_path().ok()
}

/// Methods without parameters are refused where the client sends some all the same: `null`, or to `shutdown` anything.
fn without_empty_parameters(request: Request) -> Request {
    let (method, id, parameters) = request.into_parts();
    let mut builder = Request::build(method.clone());
    if let Some(id) = id {
        builder = builder.id(id);
    }
    match parameters.filter(|it| !it.is_null() && method != "shutdown") {
        Some(parameters) => builder.params(parameters).finish(),
        None => builder.finish(),
    }
}

fn read<T: DeserializeOwned>(parameters: &Value) -> Option<T> {
    serde_json::from_value(parameters.clone())
        .inspect_err(|error| log!("{error}"))
        .ok()
}
