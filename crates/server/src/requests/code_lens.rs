//! `textDocument/codeLens`, `codeLens/resolve`

use std::sync::Arc;

use serde_json::json;
use tower_lsp::jsonrpc::Result;
use tower_lsp::lsp_types::*;

use super::{execute_command, failed, near, ruler, seen, work};
use crate::desk::{Desk, name_of};

pub(crate) async fn code_lens(
    desk: &Arc<Desk>,
    parameters: CodeLensParams,
) -> Result<Option<Vec<CodeLens>>> {
    let encoding = desk.offers().encoding;
    let uri = parameters.text_document.uri.clone();
    near(&parameters.text_document.uri, move |view| {
        let ruler = ruler(view, encoding);
        let lenses = ide::lenses(view).into_iter().map(|it| CodeLens {
            range: ruler.range(it.span),
            command: None,
            data: Some(json!({"uri": uri, "circuit": it.circuit})),
        });
        Some(lenses.collect())
    })
    .await
}

/// Counts the equations of a line that is seen. One that is not ours goes back as it is.
pub(crate) async fn resolve(mut lens: CodeLens) -> Result<CodeLens> {
    let data = lens.data.clone().unwrap_or_default();
    let uri = data["uri"].as_str().and_then(|it| it.parse().ok());
    let (Some(uri), Some(circuit)) = (uri, data["circuit"].as_str().map(str::to_string)) else {
        return Ok(lens);
    };
    let view = seen().view(&name_of(&uri)).cloned();
    let view = view.ok_or_else(|| failed("The text is no longer open."))?;
    let title = work(move |_| ide::lens_title(&view, &circuit)).await?;
    lens.command = Some(Command {
        title: title.ok_or_else(|| failed("The text has no such circuit any more."))?,
        command: execute_command::EXPLAIN.to_string(),
        arguments: Some(vec![data]),
    });
    Ok(lens)
}
