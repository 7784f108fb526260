//! `textDocument/references`, `textDocument/documentHighlight`

use std::sync::Arc;

use ide::Access;
use tower_lsp::jsonrpc::Result;
use tower_lsp::lsp_types::*;

use super::{near, ruler, seen, work};
use crate::desk::{Desk, name_of};

pub(crate) async fn references(
    desk: &Arc<Desk>,
    parameters: ReferenceParams,
) -> Result<Option<Vec<Location>>> {
    let TextDocumentPositionParams {
        text_document,
        position,
    } = parameters.text_document_position;
    let snapshot = seen();
    let Some(view) = snapshot.view(&name_of(&text_document.uri)).cloned() else {
        return Ok(None);
    };
    let declarations = parameters.context.include_declaration;
    let (shared, encoding) = (desk.clone(), desk.offers().encoding);
    work(move |stop| {
        let offset = ruler(&view, encoding).offset(position);
        let found = ide::references(&snapshot, &view, offset, stop);
        let mut locations = Vec::new();
        for (view, mentions) in &found {
            let Some(uri) = shared.address(&view.document().name) else {
                continue;
            };
            let ruler = ruler(view, encoding);
            let wanted = mentions
                .iter()
                .filter(|it| declarations || it.access != Access::Declares);
            locations.extend(wanted.map(|it| Location {
                uri: uri.clone(),
                range: ruler.range(it.span),
            }));
        }
        Some(locations).filter(|it| !it.is_empty())
    })
    .await
}

pub(crate) async fn highlights(
    desk: &Arc<Desk>,
    parameters: DocumentHighlightParams,
) -> Result<Option<Vec<DocumentHighlight>>> {
    let TextDocumentPositionParams {
        text_document,
        position,
    } = parameters.text_document_position_params;
    let encoding = desk.offers().encoding;
    near(&text_document.uri, move |view| {
        let ruler = ruler(view, encoding);
        let found = ide::highlights(view, ruler.offset(position));
        let highlights = found.iter().map(|it| DocumentHighlight {
            range: ruler.range(it.span),
            kind: Some(match it.access {
                Access::Declares | Access::Writes => DocumentHighlightKind::WRITE,
                Access::Reads => DocumentHighlightKind::READ,
            }),
        });
        Some(highlights.collect::<Vec<_>>()).filter(|it| !it.is_empty())
    })
    .await
}
