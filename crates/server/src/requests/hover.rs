//! `textDocument/hover`

use std::sync::Arc;

use tower_lsp::jsonrpc::Result;
use tower_lsp::lsp_types::*;

use super::{markup, near, ruler};
use crate::desk::Desk;

pub(crate) async fn hover(desk: &Arc<Desk>, parameters: HoverParams) -> Result<Option<Hover>> {
    let TextDocumentPositionParams {
        text_document,
        position,
    } = parameters.text_document_position_params;
    let (encoding, markdown) = (desk.offers().encoding, desk.offers().hover_markdown);
    let answer = near(&text_document.uri, move |view| {
        let ruler = ruler(view, encoding);
        let hover = ide::hover(view, ruler.offset(position))?;
        let contents = markup(&hover, markdown);
        Some(Hover {
            contents: HoverContents::Markup(contents),
            range: Some(ruler.range(hover.span)),
        })
    });
    answer.await
}
