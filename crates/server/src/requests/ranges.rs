//! `textDocument/foldingRange`, `textDocument/selectionRange`, `textDocument/documentLink`

use std::sync::Arc;

use ide::FoldKind;
use tower_lsp::jsonrpc::Result;
use tower_lsp::lsp_types::*;

use super::{near, ruler};
use crate::desk::Desk;

pub(crate) async fn folding(
    desk: &Arc<Desk>,
    parameters: FoldingRangeParams,
) -> Result<Option<Vec<FoldingRange>>> {
    let shared = desk.clone();
    near(&parameters.text_document.uri, move |view| {
        let offers = shared.offers();
        let ruler = ruler(view, offers.encoding);
        let folds = ide::folds(view).into_iter().take(offers.most_folds);
        let ranges = folds.map(|it| {
            let range = ruler.range(it.span);
            let exact = !offers.folds_lines_only;
            FoldingRange {
                start_line: range.start.line,
                start_character: exact.then_some(range.start.character),
                end_line: range.end.line,
                end_character: exact.then_some(range.end.character),
                kind: match it.kind {
                    FoldKind::Body => None,
                    FoldKind::Comment => Some(FoldingRangeKind::Comment),
                    FoldKind::Uses => Some(FoldingRangeKind::Imports),
                },
                collapsed_text: None,
            }
        });
        Some(ranges.collect())
    })
    .await
}

pub(crate) async fn selection(
    desk: &Arc<Desk>,
    parameters: SelectionRangeParams,
) -> Result<Option<Vec<SelectionRange>>> {
    let encoding = desk.offers().encoding;
    near(&parameters.text_document.uri, move |view| {
        let ruler = ruler(view, encoding);
        let ranges = parameters.positions.iter().map(|it| {
            let chain = ide::selection(view, ruler.offset(*it));
            let around = chain.iter().rev().fold(None, |parent, span| {
                Some(SelectionRange {
                    range: ruler.range(*span),
                    parent: parent.map(Box::new),
                })
            });
            around.unwrap_or(SelectionRange {
                range: Range::new(*it, *it),
                parent: None,
            })
        });
        Some(ranges.collect())
    })
    .await
}

pub(crate) async fn links(
    desk: &Arc<Desk>,
    parameters: DocumentLinkParams,
) -> Result<Option<Vec<DocumentLink>>> {
    let shared = desk.clone();
    near(&parameters.text_document.uri, move |view| {
        let ruler = ruler(view, shared.offers().encoding);
        let links = ide::links(view).into_iter().filter_map(|it| {
            Some(DocumentLink {
                range: ruler.range(it.span),
                target: Some(shared.address(&it.target)?),
                tooltip: None,
                data: None,
            })
        });
        Some(links.collect())
    })
    .await
}
