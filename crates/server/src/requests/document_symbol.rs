//! `textDocument/documentSymbol`

use std::sync::Arc;

use ide::Symbol;
use tower_lsp::jsonrpc::Result;
use tower_lsp::lsp_types::*;

use super::{near, ruler};
use crate::desk::Desk;
use crate::positions::Ruler;

pub(crate) async fn document_symbol(
    desk: &Arc<Desk>,
    parameters: DocumentSymbolParams,
) -> Result<Option<DocumentSymbolResponse>> {
    let (encoding, tree) = (desk.offers().encoding, desk.offers().symbol_tree);
    let uri = parameters.text_document.uri.clone();
    let answer = near(&parameters.text_document.uri, move |view| {
        let ruler = ruler(view, encoding);
        let symbols = ide::symbols(view);
        Some(if tree {
            DocumentSymbolResponse::Nested(symbols.iter().map(|it| nested(&ruler, it)).collect())
        } else {
            let mut list = Vec::new();
            for symbol in &symbols {
                flat(&ruler, &uri, symbol, None, &mut list);
            }
            DocumentSymbolResponse::Flat(list)
        })
    });
    answer.await
}

// The protocol's types demand a field that it has given up itself.
#[allow(deprecated)]
fn nested(ruler: &Ruler, symbol: &Symbol) -> DocumentSymbol {
    let children: Vec<_> = symbol.children.iter().map(|it| nested(ruler, it)).collect();
    DocumentSymbol {
        name: shown(symbol),
        detail: Some(symbol.detail.clone()).filter(|it| !it.is_empty()),
        kind: kind(symbol),
        tags: None,
        deprecated: None,
        range: ruler.range(symbol.span.to(symbol.name_span)),
        selection_range: ruler.range(symbol.name_span),
        children: Some(children).filter(|it| !it.is_empty()),
    }
}

#[allow(deprecated)]
fn flat(
    ruler: &Ruler,
    uri: &Url,
    symbol: &Symbol,
    container: Option<&str>,
    list: &mut Vec<SymbolInformation>,
) {
    list.push(SymbolInformation {
        name: shown(symbol),
        kind: kind(symbol),
        tags: None,
        deprecated: None,
        location: Location {
            uri: uri.clone(),
            range: ruler.range(symbol.span),
        },
        container_name: container.map(str::to_string),
    });
    for child in &symbol.children {
        flat(ruler, uri, child, Some(&symbol.name), list);
    }
}

/// Clients refuse symbols without a name.
pub(super) fn shown(symbol: &Symbol) -> String {
    let name = symbol.name.trim();
    if name.is_empty() {
        "…".to_string()
    } else {
        name.to_string()
    }
}

pub(super) fn kind(symbol: &Symbol) -> SymbolKind {
    match symbol.kind {
        ide::SymbolKind::Circuit => SymbolKind::MODULE,
        ide::SymbolKind::Node => SymbolKind::VARIABLE,
        ide::SymbolKind::Element => SymbolKind::PROPERTY,
        ide::SymbolKind::Source => SymbolKind::EVENT,
        ide::SymbolKind::Opamp => SymbolKind::CLASS,
        ide::SymbolKind::Device => SymbolKind::OBJECT,
        ide::SymbolKind::Let => SymbolKind::CONSTANT,
        ide::SymbolKind::Claim => SymbolKind::BOOLEAN,
        ide::SymbolKind::Work => SymbolKind::NAMESPACE,
        ide::SymbolKind::Part => SymbolKind::STRUCT,
        ide::SymbolKind::Block => SymbolKind::FUNCTION,
    }
}
