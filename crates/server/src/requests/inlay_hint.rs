//! `textDocument/inlayHint`

use std::sync::Arc;

use tower_lsp::jsonrpc::Result;
use tower_lsp::lsp_types::*;

use super::{near, ruler};
use crate::desk::Desk;

pub(crate) async fn inlay_hint(
    desk: &Arc<Desk>,
    parameters: InlayHintParams,
) -> Result<Option<Vec<InlayHint>>> {
    let encoding = desk.offers().encoding;
    let answer = near(&parameters.text_document.uri, move |view| {
        let ruler = ruler(view, encoding);
        let hints = ide::inlay(view, ruler.span(parameters.range))
            .into_iter()
            .map(|it| InlayHint {
                position: ruler.position(it.offset),
                label: InlayHintLabel::String(it.label),
                kind: None,
                text_edits: None,
                tooltip: Some(InlayHintTooltip::String(it.tooltip.replace('`', ""))),
                padding_left: Some(true),
                padding_right: Some(true),
                data: None,
            });
        Some(hints.collect())
    });
    answer.await
}
