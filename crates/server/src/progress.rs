//! Work that takes long enough to be shown.

use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

use serde_json::{Value, json};
use tokio::sync::oneshot;
use tower_lsp::Client;
use tower_lsp::lsp_types::request::WorkDoneProgressCreate;
use tower_lsp::lsp_types::{NumberOrString, WorkDoneProgressCreateParams};

use crate::desk::Desk;

/// Shorter work is not worth a reader's glance.
const WORTH_SHOWING: Duration = Duration::from_millis(500);

/// Work that is going on; it is over when this is dropped.
pub(crate) struct Progress(#[allow(dead_code)] Option<oneshot::Sender<()>>);

/// Shows work once it has gone on for a while, to clients that show such things. Every begin has its end.
pub(crate) fn show(
    desk: &Arc<Desk>,
    client: &Client,
    runtime: &tokio::runtime::Handle,
    title: String,
) -> Progress {
    if !desk.offers().work_done_progress {
        return Progress(None);
    }
    let (going_on, mut over) = oneshot::channel::<()>();
    let (desk, client) = (desk.clone(), client.clone());
    runtime.spawn(async move {
        if tokio::time::timeout(WORTH_SHOWING, &mut over).await.is_ok() {
            return;
        }
        static NUMBER: AtomicU32 = AtomicU32::new(0);
        let token = format!("ampersum-{}", NUMBER.fetch_add(1, Ordering::Relaxed));
        let create = WorkDoneProgressCreateParams {
            token: NumberOrString::String(token.clone()),
        };
        if client
            .send_request::<WorkDoneProgressCreate>(create)
            .await
            .is_err()
        {
            return;
        }
        let begin = json!({"kind": "begin", "title": title, "cancellable": false});
        send(&desk, &json!(token), begin).await;
        // An error is the sender's end too.
        let _ = over.await;
        send(&desk, &json!(token), json!({"kind": "end"})).await;
    });
    Progress(Some(going_on))
}

/// Sends a piece of a result, or a step of work, under its token.
pub(crate) async fn send(desk: &Desk, token: &Value, value: Value) {
    desk.outbox
        .send(json!({
            "jsonrpc": "2.0", "method": "$/progress", "params": {"token": token, "value": value},
        }))
        .await;
}
