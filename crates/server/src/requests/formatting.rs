//! `textDocument/formatting`, `textDocument/rangeFormatting`

use std::sync::Arc;

use tower_lsp::jsonrpc::Result;
use tower_lsp::lsp_types::*;

use super::{about, ruler};
use crate::desk::Desk;

pub(crate) async fn formatting(
    desk: &Arc<Desk>,
    document: TextDocumentIdentifier,
    range: Option<Range>,
) -> Result<Option<Vec<TextEdit>>> {
    let encoding = desk.offers().encoding;
    let answer = about(&document.uri, move |view| {
        let ruler = ruler(view, encoding);
        let edits = ide::formatting(view, range.map(|it| ruler.span(it)));
        let edit = |it: syntax::TextEdit| TextEdit {
            range: ruler.range(it.span),
            new_text: it.text,
        };
        Some(edits.into_iter().map(edit).collect())
    });
    answer.await
}
