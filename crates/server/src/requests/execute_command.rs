//! `workspace/executeCommand`: how an explanation reaches the reader of each client, and fixes that of a simple one.

use std::sync::Arc;

use ide::{Explanation, Target, View};
use serde_json::{Value, json};
use tower_lsp::Client;
use tower_lsp::jsonrpc::{Error, Result};
use tower_lsp::lsp_types::*;

use super::code_action::workspace_edit;
use super::{failed, seen, work};
use crate::desk::{Desk, name_of};
use crate::log::log;
use crate::offers::Reach;

/// Explains an equation: `{uri, circuit, node}`, and perhaps the caret's `offset` in a `version` of the text; without a node
/// all equations of the circuit.
pub(crate) const EXPLAIN: &str = "ampersum.explain";
/// Changes the text: `{uri, version, label, edit}`.
pub(crate) const CHANGE: &str = "ampersum.change";

/// The argument that names an equation.
pub(crate) fn arguments(uri: &Url, target: &Target) -> Value {
    json!({"uri": uri, "circuit": target.circuit, "node": target.node, "real": target.real})
}

/// The equation that an argument names.
pub(crate) fn target(argument: &Value) -> Option<Target> {
    let word = |key: &str| argument[key].as_str().map(str::to_string);
    Some(Target {
        circuit: word("circuit")?,
        node: word("node")?,
        real: argument["real"] == true,
    })
}

pub(crate) async fn execute_command(
    desk: &Arc<Desk>,
    client: &Client,
    parameters: ExecuteCommandParams,
) -> Result<Option<Value>> {
    let argument = parameters.arguments.into_iter().next().unwrap_or_default();
    match parameters.command.as_str() {
        EXPLAIN => explain(desk, client, argument).await.map(|()| None),
        CHANGE => change(desk, client, argument).await.map(|()| None),
        other => Err(Error::invalid_params(format!(
            "there is no command {other}"
        ))),
    }
}

async fn explain(desk: &Arc<Desk>, client: &Client, argument: Value) -> Result<()> {
    let no_equation =
        || Error::invalid_params("`uri`, `circuit` and `node` have to name an equation");
    let uri: Url = argument["uri"]
        .as_str()
        .and_then(|it| it.parse().ok())
        .ok_or_else(no_equation)?;
    let view = seen()
        .view(&name_of(&uri))
        .cloned()
        .ok_or_else(|| failed("The text is no longer open."))?;
    if argument["node"].is_null() {
        let circuit = argument["circuit"]
            .as_str()
            .ok_or_else(no_equation)?
            .to_string();
        let explanation = work(move |_| ide::explained_circuit(&view, &circuit)).await?;
        let explanation =
            explanation.ok_or_else(|| failed("The text has no such circuit any more."))?;
        // So much is no comment: what cannot be shown goes to the log.
        return match desk.offers().reach {
            Reach::Show if show(desk, client, &explanation).await => Ok(()),
            _ => message(client, &explanation).await,
        };
    }
    let target = target(&argument).ok_or_else(no_equation)?;
    let (shared, wanted) = (view.clone(), target.clone());
    let explanation = work(move |_| ide::explanation(&shared, &wanted)).await?;
    let explanation = explanation.ok_or_else(|| {
        failed(format!(
            "Circuit `{}` has no equation at `{}` any more.",
            target.circuit, target.node
        ))
    })?;
    match desk.offers().reach {
        Reach::Show if show(desk, client, &explanation).await => Ok(()),
        Reach::Show => message(client, &explanation).await,
        Reach::Comment => comment(desk, client, &view, &uri, &target, &argument).await,
        Reach::Message => message(client, &explanation).await,
    }
}

/// As a page beside the text; whether the client has shown it.
async fn show(desk: &Arc<Desk>, client: &Client, explanation: &Explanation) -> bool {
    let (shared, page) = (desk.clone(), explanation.page.clone());
    let written = work(move |_| shared.pages.write("explain", &page)).await;
    let uri = match written {
        Ok(Ok(path)) => Url::from_file_path(path),
        Ok(Err(error)) => {
            log!("no page could be written: {error}");
            Err(())
        }
        Err(_) => Err(()),
    };
    let Ok(uri) = uri else { return false };
    let parameters = ShowDocumentParams {
        uri,
        external: Some(false),
        take_focus: Some(false),
        selection: None,
    };
    client.show_document(parameters).await.unwrap_or(false)
}

/// As a comment in the text.
async fn comment(
    desk: &Arc<Desk>,
    client: &Client,
    view: &Arc<View>,
    uri: &Url,
    target: &Target,
    argument: &Value,
) -> Result<()> {
    let stale = || failed("The place of that equation is not known any more.");
    let known = argument["version"].as_i64() == Some(view.document().version.into());
    let offset = argument["offset"]
        .as_u64()
        .filter(|_| known)
        .and_then(|it| it.try_into().ok());
    let offset = offset
        .or_else(|| ide::place_of(view, target))
        .ok_or_else(stale)?;
    let edits = ide::as_comment(view, target, offset).ok_or_else(stale)?;
    let edit = workspace_edit(desk, view, uri, &edits);
    apply(desk, client, uri, view.document().version, edit).await
}

/// One line as a message, since longer ones stop some editors, and all of it in the client's log.
async fn message(client: &Client, explanation: &Explanation) -> Result<()> {
    client
        .log_message(MessageType::INFO, &explanation.plain)
        .await;
    client
        .show_message(MessageType::INFO, &explanation.line)
        .await;
    Ok(())
}

async fn change(desk: &Arc<Desk>, client: &Client, argument: Value) -> Result<()> {
    let wrong = || Error::invalid_params("`uri`, `version` and `edit` have to say what changes");
    let uri: Url = argument["uri"]
        .as_str()
        .and_then(|it| it.parse().ok())
        .ok_or_else(wrong)?;
    let version = argument["version"]
        .as_i64()
        .and_then(|it| it.try_into().ok())
        .ok_or_else(wrong)?;
    let edit = serde_json::from_value(argument["edit"].clone()).map_err(|_| wrong())?;
    apply(desk, client, &uri, version, edit).await
}

/// Has the client change a text that still stands as it was.
async fn apply(
    desk: &Desk,
    client: &Client,
    uri: &Url,
    version: i32,
    edit: WorkspaceEdit,
) -> Result<()> {
    let now = desk.snapshot();
    if now
        .view(&name_of(uri))
        .is_none_or(|it| it.document().version != version)
    {
        return Err(failed("The text has changed since this was offered."));
    }
    match client.apply_edit(edit).await {
        Ok(answer) if answer.applied => Ok(()),
        Ok(answer) => {
            Err(failed(answer.failure_reason.unwrap_or(
                "The editor did not change the text.".to_string(),
            )))
        }
        Err(_) => Err(failed("The editor did not change the text.")),
    }
}
