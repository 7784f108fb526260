//! `textDocument/definition`

use std::sync::Arc;

use tower_lsp::jsonrpc::Result;
use tower_lsp::lsp_types::*;

use super::{location, near, ruler};
use crate::desk::Desk;

pub(crate) async fn definition(
    desk: &Arc<Desk>,
    parameters: GotoDefinitionParams,
) -> Result<Option<GotoDefinitionResponse>> {
    let TextDocumentPositionParams {
        text_document,
        position,
    } = parameters.text_document_position_params;
    let shared = desk.clone();
    let answer = near(&text_document.uri, move |view| {
        let offers = shared.offers();
        let ruler = ruler(view, offers.encoding);
        let found = ide::definition(view, ruler.offset(position))?;
        let from = ruler.range(found.from);
        let mut places: Vec<_> = found
            .to
            .iter()
            .filter_map(|it| location(&shared, view, *it))
            .collect();
        if !offers.definition_links {
            return match places.len() {
                1 => places.pop().map(GotoDefinitionResponse::Scalar),
                _ => Some(GotoDefinitionResponse::Array(places)),
            };
        }
        let links = places.into_iter().map(|it| LocationLink {
            origin_selection_range: Some(from),
            target_uri: it.uri,
            target_range: it.range,
            target_selection_range: it.range,
        });
        Some(GotoDefinitionResponse::Link(links.collect()))
    });
    answer.await
}
