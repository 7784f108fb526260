//! `workspace/symbol`

use std::sync::Arc;

use tower_lsp::jsonrpc::Result;
use tower_lsp::lsp_types::*;

use super::document_symbol::{kind, shown};
use super::{ruler, seen, work};
use crate::desk::Desk;

// The protocol's types demand a field that it has given up itself.
#[allow(deprecated)]
pub(crate) async fn symbol(
    desk: &Arc<Desk>,
    parameters: WorkspaceSymbolParams,
) -> Result<Option<Vec<SymbolInformation>>> {
    let (shared, snapshot) = (desk.clone(), seen());
    work(move |stop| {
        let found = ide::search(&snapshot, parameters.query.trim(), stop);
        let symbols = found.iter().filter_map(|it| {
            let ruler = ruler(&it.view, shared.offers().encoding);
            Some(SymbolInformation {
                name: shown(&it.symbol),
                kind: kind(&it.symbol),
                tags: None,
                deprecated: None,
                location: Location {
                    uri: shared.address(&it.view.document().name)?,
                    range: ruler.range(it.symbol.name_span),
                },
                container_name: it.container.clone(),
            })
        });
        Some(symbols.collect())
    })
    .await
}
