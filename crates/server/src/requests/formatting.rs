//! `textDocument/formatting`, `textDocument/rangeFormatting`, `textDocument/onTypeFormatting`

use std::sync::Arc;

use tower_lsp::jsonrpc::Result;
use tower_lsp::lsp_types::*;

use super::{near, ruler};
use crate::desk::Desk;
use crate::positions::Ruler;

pub(crate) async fn formatting(
    desk: &Arc<Desk>,
    document: TextDocumentIdentifier,
    range: Option<Range>,
) -> Result<Option<Vec<TextEdit>>> {
    let encoding = desk.offers().encoding;
    let answer = near(&document.uri, move |view| {
        let ruler = ruler(view, encoding);
        let edits = ide::formatting(view, range.map(|it| ruler.span(it)));
        Some(converted(&ruler, edits))
    });
    answer.await
}

/// Once a line is ended it is made canonical, and the next one indented.
pub(crate) async fn on_newline(
    desk: &Arc<Desk>,
    parameters: DocumentOnTypeFormattingParams,
) -> Result<Option<Vec<TextEdit>>> {
    let TextDocumentPositionParams {
        text_document,
        position,
    } = parameters.text_document_position;
    let encoding = desk.offers().encoding;
    let answer = near(&text_document.uri, move |view| {
        let ruler = ruler(view, encoding);
        Some(converted(
            &ruler,
            ide::on_newline(view, ruler.offset(position)),
        ))
    });
    answer.await
}

fn converted(ruler: &Ruler, edits: Vec<syntax::TextEdit>) -> Vec<TextEdit> {
    let edit = |it: syntax::TextEdit| TextEdit {
        range: ruler.range(it.span),
        new_text: it.text,
    };
    edits.into_iter().map(edit).collect()
}
