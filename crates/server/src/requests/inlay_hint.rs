//! `textDocument/inlayHint`, and what a hint says more when the pointer rests on it.

use std::sync::Arc;

use serde_json::json;
use syntax::Span;
use tower_lsp::jsonrpc::Result;
use tower_lsp::lsp_types::*;

use super::{location, near, remembered, ruler, work};
use crate::desk::Desk;

pub(crate) async fn inlay_hint(
    desk: &Arc<Desk>,
    parameters: InlayHintParams,
) -> Result<Option<Vec<InlayHint>>> {
    let desk = desk.clone();
    let uri = parameters.text_document.uri.clone();
    let answer = near(&parameters.text_document.uri, move |view| {
        let offers = desk.offers();
        let ruler = ruler(view, offers.encoding);
        let hints = ide::inlay(view, ruler.span(parameters.range));
        let hints = hints.into_iter().map(|it| {
            let parts = it.parts.iter().enumerate().flat_map(|(place, part)| {
                let between = (place > 0).then(|| label(", ", None));
                let own = label(&part.text, location(&desk, view, part.place));
                between.into_iter().chain([own])
            });
            InlayHint {
                position: ruler.position(it.offset),
                label: InlayHintLabel::LabelParts(parts.collect()),
                kind: Some(InlayHintKind::TYPE),
                text_edits: None,
                tooltip: (!offers.hint_resolve_tooltip).then(|| tooltip(&it)),
                padding_left: Some(true),
                padding_right: Some(true),
                data: offers.hint_resolve_tooltip.then(
                    || json!({"uri": uri, "version": view.document().version, "offset": it.offset}),
                ),
            }
        });
        Some(hints.collect())
    });
    answer.await
}

/// Adds what a hint says more. One that is not known goes back as it is.
pub(crate) async fn resolve(mut hint: InlayHint) -> Result<InlayHint> {
    if let Some((view, offset)) = remembered(hint.data.as_ref()) {
        hint.tooltip = work(move |_| {
            let hints = ide::inlay(&view, Span::at(offset));
            let own = hints.iter().find(|it| it.offset == offset);
            own.map(tooltip)
        })
        .await?;
    }
    Ok(hint)
}

fn label(text: &str, location: Option<Location>) -> InlayHintLabelPart {
    InlayHintLabelPart {
        value: text.to_owned(),
        location,
        ..InlayHintLabelPart::default()
    }
}

fn tooltip(hint: &ide::Hint) -> InlayHintTooltip {
    InlayHintTooltip::String(hint.tooltip.replace('`', ""))
}
