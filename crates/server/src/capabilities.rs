//! What the server can do: one table, from which the answer to `initialize` is made.

use tower_lsp::lsp_types::*;

use crate::offers::Offers;
use crate::positions::Encoding;
use crate::requests::code_action::EXPLAIN;
use crate::requests::execute_command;

/// One request, and how it is offered.
pub(crate) struct Feature {
    /// The protocol's method.
    pub(crate) method: &'static str,
    offer: fn(&mut ServerCapabilities, &Offers),
}

/// Every request that is answered beyond those of every server.
pub(crate) const FEATURES: &[Feature] = &[
    Feature {
        method: "textDocument/hover",
        offer: |it, _| it.hover_provider = Some(HoverProviderCapability::Simple(true)),
    },
    Feature {
        method: "textDocument/inlayHint",
        offer: |it, _| it.inlay_hint_provider = Some(OneOf::Left(true)),
    },
    Feature {
        method: "textDocument/documentSymbol",
        offer: |it, _| it.document_symbol_provider = Some(OneOf::Left(true)),
    },
    Feature {
        method: "textDocument/definition",
        offer: |it, _| it.definition_provider = Some(OneOf::Left(true)),
    },
    Feature {
        method: "textDocument/codeAction",
        offer: |it, offers| {
            it.code_action_provider = Some(match offers.action_literals {
                true => CodeActionProviderCapability::Options(CodeActionOptions {
                    code_action_kinds: Some(vec![CodeActionKind::QUICKFIX, EXPLAIN]),
                    resolve_provider: Some(offers.resolves_actions()),
                    ..CodeActionOptions::default()
                }),
                false => CodeActionProviderCapability::Simple(true),
            });
        },
    },
    Feature {
        method: "workspace/executeCommand",
        offer: |it, _| {
            it.execute_command_provider = Some(ExecuteCommandOptions {
                commands: vec![
                    execute_command::EXPLAIN.to_string(),
                    execute_command::CHANGE.to_string(),
                ],
                ..ExecuteCommandOptions::default()
            });
        },
    },
    Feature {
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
    },
];

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
