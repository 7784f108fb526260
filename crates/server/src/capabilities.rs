//! What the server can do: one table, from which the answer to `initialize` is made.

use tower_lsp::lsp_types::*;

use crate::offers::Offers;
use crate::positions::Encoding;
use crate::requests::code_action::{EXPLAIN, FIX_ALL, SOURCE_EXPLAIN};
use crate::requests::{completion, execute_command, rename_files, semantic_tokens};

/// A request of the protocol, and how it is offered.
type Feature = (&'static str, fn(&mut ServerCapabilities, &Offers));

/// Every request that is answered beyond those of every server.
const FEATURES: &[Feature] = &[
    ("textDocument/hover", |it, _| {
        it.hover_provider = Some(HoverProviderCapability::Simple(true))
    }),
    ("textDocument/inlayHint", |it, _| {
        it.inlay_hint_provider = Some(OneOf::Left(true))
    }),
    ("inlayHint/resolve", |it, offers| {
        it.inlay_hint_provider = Some(OneOf::Right(InlayHintServerCapabilities::Options(
            InlayHintOptions {
                resolve_provider: Some(offers.hint_resolve_tooltip),
                ..InlayHintOptions::default()
            },
        )));
    }),
    ("textDocument/documentSymbol", |it, _| {
        it.document_symbol_provider = Some(OneOf::Left(true))
    }),
    ("textDocument/definition", |it, _| {
        it.definition_provider = Some(OneOf::Left(true))
    }),
    ("textDocument/completion", |it, _| {
        it.completion_provider
            .get_or_insert_default()
            .trigger_characters = Some(completion::TRIGGERS.map(str::to_string).to_vec());
    }),
    ("completionItem/resolve", |it, _| {
        it.completion_provider
            .get_or_insert_default()
            .resolve_provider = Some(true);
    }),
    ("textDocument/signatureHelp", |it, _| {
        it.signature_help_provider = Some(SignatureHelpOptions {
            trigger_characters: Some([":", ",", "("].map(str::to_string).to_vec()),
            retrigger_characters: Some(vec![" ".to_string()]),
            ..SignatureHelpOptions::default()
        });
    }),
    ("textDocument/references", |it, _| {
        it.references_provider = Some(OneOf::Left(true))
    }),
    ("textDocument/documentHighlight", |it, _| {
        it.document_highlight_provider = Some(OneOf::Left(true))
    }),
    ("textDocument/rename", |it, _| {
        it.rename_provider = Some(OneOf::Left(true))
    }),
    ("textDocument/prepareRename", |it, offers| {
        if offers.prepares_rename {
            it.rename_provider = Some(OneOf::Right(RenameOptions {
                prepare_provider: Some(true),
                work_done_progress_options: WorkDoneProgressOptions::default(),
            }));
        }
    }),
    ("textDocument/formatting", |it, _| {
        it.document_formatting_provider = Some(OneOf::Left(true))
    }),
    ("textDocument/rangeFormatting", |it, _| {
        it.document_range_formatting_provider = Some(OneOf::Left(true))
    }),
    ("textDocument/onTypeFormatting", |it, _| {
        it.document_on_type_formatting_provider = Some(DocumentOnTypeFormattingOptions {
            first_trigger_character: "\n".to_string(),
            more_trigger_character: None,
        })
    }),
    ("textDocument/semanticTokens/full", |it, _| {
        tokens(it).full = Some(SemanticTokensFullOptions::Bool(true))
    }),
    ("textDocument/semanticTokens/full/delta", |it, _| {
        tokens(it).full = Some(SemanticTokensFullOptions::Delta { delta: Some(true) })
    }),
    ("textDocument/semanticTokens/range", |it, _| {
        tokens(it).range = Some(true)
    }),
    ("textDocument/foldingRange", |it, _| {
        it.folding_range_provider = Some(FoldingRangeProviderCapability::Simple(true))
    }),
    ("textDocument/selectionRange", |it, _| {
        it.selection_range_provider = Some(SelectionRangeProviderCapability::Simple(true))
    }),
    ("textDocument/documentLink", |it, _| {
        it.document_link_provider = Some(DocumentLinkOptions {
            resolve_provider: Some(false),
            work_done_progress_options: WorkDoneProgressOptions::default(),
        })
    }),
    ("textDocument/codeLens", |it, _| {
        it.code_lens_provider.get_or_insert(CodeLensOptions {
            resolve_provider: None,
        });
    }),
    ("codeLens/resolve", |it, _| {
        it.code_lens_provider = Some(CodeLensOptions {
            resolve_provider: Some(true),
        })
    }),
    ("workspace/symbol", |it, _| {
        it.workspace_symbol_provider = Some(OneOf::Left(true))
    }),
    ("textDocument/codeAction", |it, offers| {
        it.code_action_provider = Some(match offers.action_literals {
            true => CodeActionProviderCapability::Options(CodeActionOptions {
                code_action_kinds: Some(vec![
                    CodeActionKind::QUICKFIX,
                    CodeActionKind::REFACTOR_REWRITE,
                    CodeActionKind::REFACTOR_EXTRACT,
                    FIX_ALL,
                    EXPLAIN,
                    SOURCE_EXPLAIN,
                ]),
                resolve_provider: Some(offers.resolves_actions()),
                ..CodeActionOptions::default()
            }),
            false => CodeActionProviderCapability::Simple(true),
        });
    }),
    ("workspace/executeCommand", |it, _| {
        it.execute_command_provider = Some(ExecuteCommandOptions {
            commands: vec![
                execute_command::EXPLAIN.to_string(),
                execute_command::CHANGE.to_string(),
            ],
            ..ExecuteCommandOptions::default()
        });
    }),
    ("textDocument/diagnostic", |it, offers| {
        it.diagnostic_provider = offers.pulls().then(|| {
            DiagnosticServerCapabilities::Options(DiagnosticOptions {
                identifier: Some("ampersum".to_string()),
                inter_file_dependencies: true,
                ..DiagnosticOptions::default()
            })
        });
    }),
    ("workspace/diagnostic", |it, offers| {
        it.diagnostic_provider = offers.pulls().then(|| {
            DiagnosticServerCapabilities::Options(DiagnosticOptions {
                identifier: Some("ampersum".to_string()),
                inter_file_dependencies: true,
                workspace_diagnostics: true,
                ..DiagnosticOptions::default()
            })
        });
    }),
    ("workspace/willRenameFiles", |it, offers| {
        if offers.asks_before_renaming {
            it.workspace.get_or_insert_default().file_operations =
                Some(WorkspaceFileOperationsServerCapabilities {
                    will_rename: Some(rename_files::filters()),
                    ..WorkspaceFileOperationsServerCapabilities::default()
                });
        }
    }),
];

/// The tokens' part of the capabilities, with what their numbers mean.
fn tokens(capabilities: &mut ServerCapabilities) -> &mut SemanticTokensOptions {
    let options = SemanticTokensServerCapabilities::SemanticTokensOptions(SemanticTokensOptions {
        legend: semantic_tokens::legend(),
        ..SemanticTokensOptions::default()
    });
    match capabilities.semantic_tokens_provider.get_or_insert(options) {
        SemanticTokensServerCapabilities::SemanticTokensOptions(options) => options,
        SemanticTokensServerCapabilities::SemanticTokensRegistrationOptions(it) => {
            &mut it.semantic_tokens_options
        }
    }
}

/// What is offered to this client.
pub(crate) fn capabilities(offers: &Offers) -> ServerCapabilities {
    let mut capabilities = ServerCapabilities {
        position_encoding: offers.names_encodings.then_some(match offers.encoding {
            Encoding::Utf8 => PositionEncodingKind::UTF8,
            Encoding::Utf16 => PositionEncodingKind::UTF16,
            Encoding::Utf32 => PositionEncodingKind::UTF32,
        }),
        text_document_sync: Some(TextDocumentSyncCapability::Options(
            TextDocumentSyncOptions {
                open_close: Some(true),
                change: Some(TextDocumentSyncKind::INCREMENTAL),
                save: Some(TextDocumentSyncSaveOptions::Supported(true)),
                ..TextDocumentSyncOptions::default()
            },
        )),
        workspace: Some(WorkspaceServerCapabilities {
            workspace_folders: Some(WorkspaceFoldersServerCapabilities {
                supported: Some(true),
                change_notifications: Some(OneOf::Left(true)),
            }),
            file_operations: None,
        }),
        ..ServerCapabilities::default()
    };
    for (_, offer) in FEATURES {
        offer(&mut capabilities, offers);
    }
    capabilities
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use futures::executor::block_on;
    use serde_json::json;
    use tower::Service;
    use tower_lsp::LspService;
    use tower_lsp::jsonrpc::{ErrorCode, Request};

    use super::*;
    use crate::backend::Backend;
    use crate::desk::Desk;

    #[test]
    fn every_request_of_the_table_is_offered_and_answered() {
        let everything = json!({"capabilities": {
            "textDocument": {"diagnostic": {}, "rename": {"prepareSupport": true}, "codeAction": {
                "codeActionLiteralSupport": {}, "dataSupport": true, "resolveSupport": {"properties": ["edit"]},
            }},
            "workspace": {"diagnostics": {"refreshSupport": true}, "fileOperations": {"willRename": true}},
        }});
        let offers = Offers::read(&everything);
        let desk = Arc::new(Desk::new(std::sync::mpsc::channel().0));
        let (mut service, _socket) = LspService::new(|client| Backend { desk, client });
        let mut call = |method: &'static str, parameters: serde_json::Value| {
            block_on(service.call(Request::build(method).id(1).params(parameters).finish()))
                .ok()
                .flatten()
        };
        call("initialize", everything);
        for (method, offer) in FEATURES {
            let mut capabilities = ServerCapabilities::default();
            offer(&mut capabilities, &offers);
            assert_ne!(
                capabilities,
                ServerCapabilities::default(),
                "{method} is not offered"
            );
            let answer =
                call(method, json!({"never": "understood"})).expect("a request is answered");
            let code = answer.error().map(|it| it.code);
            assert_ne!(
                code,
                Some(ErrorCode::MethodNotFound),
                "{method} is not answered"
            );
        }
    }
}
