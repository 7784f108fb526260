//! What the server can do: one table, from which the answer to `initialize` is made.

use tower_lsp::lsp_types::*;

use crate::offers::Offers;
use crate::positions::Encoding;

/// One request, and how it is offered.
pub(crate) struct Feature {
    /// The protocol's method.
    pub(crate) method: &'static str,
    offer: fn(&mut ServerCapabilities, &Offers),
}

/// Every request that is answered beyond those of every server.
pub(crate) const FEATURES: &[Feature] = &[Feature {
    method: "textDocument/diagnostic",
    offer: |it, offers| {
        it.diagnostic_provider = offers.pulls().then(|| {
            DiagnosticServerCapabilities::Options(DiagnosticOptions {
                identifier: Some("ampersum".to_string()),
                inter_file_dependencies: true,
                ..DiagnosticOptions::default()
            })
        });
    },
}];

/// What is offered to this client.
pub(crate) fn capabilities(offers: &Offers) -> ServerCapabilities {
    let mut capabilities = ServerCapabilities {
        position_encoding: offers.names_encodings.then(|| match offers.encoding {
            Encoding::Utf8 => PositionEncodingKind::UTF8,
            Encoding::Utf16 => PositionEncodingKind::UTF16,
        }),
        text_document_sync: Some(TextDocumentSyncCapability::Options(
            TextDocumentSyncOptions {
                open_close: Some(true),
                change: Some(TextDocumentSyncKind::INCREMENTAL),
                save: Some(TextDocumentSyncSaveOptions::Supported(true)),
                ..TextDocumentSyncOptions::default()
            },
        )),
        ..ServerCapabilities::default()
    };
    for feature in FEATURES {
        (feature.offer)(&mut capabilities, offers);
    }
    capabilities
}
