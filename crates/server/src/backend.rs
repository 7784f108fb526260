//! The protocol's methods, each handed on to its file.

use std::sync::Arc;

use tower_lsp::jsonrpc::Result;
use tower_lsp::lsp_types::*;
use tower_lsp::{Client, LanguageServer};

use crate::capabilities::capabilities;
use crate::desk::Desk;
use crate::{progress, requests, settings};

/// What answers requests.
pub(crate) struct Backend {
    pub(crate) desk: Arc<Desk>,
    pub(crate) client: Client,
}

#[tower_lsp::async_trait]
impl LanguageServer for Backend {
    // The transport waits for this one, so it never asks the client.
    async fn initialize(&self, parameters: InitializeParams) -> Result<InitializeResult> {
        if let Some(process) = parameters.process_id {
            let desk = self.desk.clone();
            tokio::spawn(async move {
                crate::parent::gone(process).await;
                desk.leave(1);
            });
        }
        let version = Some(env!("CARGO_PKG_VERSION").to_string());
        Ok(InitializeResult {
            capabilities: capabilities(self.desk.offers()),
            server_info: Some(ServerInfo {
                name: "ampersum".to_string(),
                version,
            }),
        })
    }

    async fn initialized(&self, _: InitializedParams) {
        settings::register(&self.desk, &self.client).await;
        settings::ask(&self.desk, &self.client).await;
    }

    async fn shutdown(&self) -> Result<()> {
        Ok(())
    }

    // What it says was taken in when it was read.
    async fn did_change_configuration(&self, parameters: DidChangeConfigurationParams) {
        if parameters.settings.is_null() {
            settings::ask(&self.desk, &self.client).await;
        } else {
            settings::refresh(&self.desk, &self.client).await;
        }
    }

    async fn hover(&self, parameters: HoverParams) -> Result<Option<Hover>> {
        requests::hover::hover(&self.desk, parameters).await
    }

    async fn formatting(
        &self,
        parameters: DocumentFormattingParams,
    ) -> Result<Option<Vec<TextEdit>>> {
        requests::formatting::formatting(&self.desk, parameters.text_document, None).await
    }

    async fn range_formatting(
        &self,
        parameters: DocumentRangeFormattingParams,
    ) -> Result<Option<Vec<TextEdit>>> {
        let DocumentRangeFormattingParams {
            text_document,
            range,
            ..
        } = parameters;
        requests::formatting::formatting(&self.desk, text_document, Some(range)).await
    }

    async fn inlay_hint(&self, parameters: InlayHintParams) -> Result<Option<Vec<InlayHint>>> {
        requests::inlay_hint::inlay_hint(&self.desk, parameters).await
    }

    async fn inlay_hint_resolve(&self, hint: InlayHint) -> Result<InlayHint> {
        requests::inlay_hint::resolve(hint).await
    }

    async fn document_symbol(
        &self,
        parameters: DocumentSymbolParams,
    ) -> Result<Option<DocumentSymbolResponse>> {
        requests::document_symbol::document_symbol(&self.desk, parameters).await
    }

    async fn goto_definition(
        &self,
        parameters: GotoDefinitionParams,
    ) -> Result<Option<GotoDefinitionResponse>> {
        requests::definition::definition(&self.desk, parameters).await
    }

    async fn references(&self, parameters: ReferenceParams) -> Result<Option<Vec<Location>>> {
        requests::references::references(&self.desk, parameters).await
    }

    async fn document_highlight(
        &self,
        parameters: DocumentHighlightParams,
    ) -> Result<Option<Vec<DocumentHighlight>>> {
        requests::references::highlights(&self.desk, parameters).await
    }

    async fn prepare_rename(
        &self,
        parameters: TextDocumentPositionParams,
    ) -> Result<Option<PrepareRenameResponse>> {
        requests::rename::prepare(&self.desk, parameters).await
    }

    async fn rename(&self, parameters: RenameParams) -> Result<Option<WorkspaceEdit>> {
        requests::rename::rename(&self.desk, parameters).await
    }

    async fn completion(&self, parameters: CompletionParams) -> Result<Option<CompletionResponse>> {
        requests::completion::completion(&self.desk, parameters).await
    }

    async fn completion_resolve(&self, item: CompletionItem) -> Result<CompletionItem> {
        requests::completion::resolve(&self.desk, item).await
    }

    async fn signature_help(
        &self,
        parameters: SignatureHelpParams,
    ) -> Result<Option<SignatureHelp>> {
        requests::completion::signature_help(&self.desk, parameters).await
    }

    async fn semantic_tokens_full(
        &self,
        parameters: SemanticTokensParams,
    ) -> Result<Option<SemanticTokensResult>> {
        requests::semantic_tokens::full(&self.desk, parameters).await
    }

    async fn semantic_tokens_full_delta(
        &self,
        parameters: SemanticTokensDeltaParams,
    ) -> Result<Option<SemanticTokensFullDeltaResult>> {
        requests::semantic_tokens::delta(&self.desk, parameters).await
    }

    async fn semantic_tokens_range(
        &self,
        parameters: SemanticTokensRangeParams,
    ) -> Result<Option<SemanticTokensRangeResult>> {
        requests::semantic_tokens::range(&self.desk, parameters).await
    }

    async fn folding_range(
        &self,
        parameters: FoldingRangeParams,
    ) -> Result<Option<Vec<FoldingRange>>> {
        requests::ranges::folding(&self.desk, parameters).await
    }

    async fn selection_range(
        &self,
        parameters: SelectionRangeParams,
    ) -> Result<Option<Vec<SelectionRange>>> {
        requests::ranges::selection(&self.desk, parameters).await
    }

    async fn document_link(
        &self,
        parameters: DocumentLinkParams,
    ) -> Result<Option<Vec<DocumentLink>>> {
        requests::ranges::links(&self.desk, parameters).await
    }

    async fn code_lens(&self, parameters: CodeLensParams) -> Result<Option<Vec<CodeLens>>> {
        requests::code_lens::code_lens(&self.desk, parameters).await
    }

    async fn code_lens_resolve(&self, lens: CodeLens) -> Result<CodeLens> {
        requests::code_lens::resolve(lens).await
    }

    async fn symbol(
        &self,
        parameters: WorkspaceSymbolParams,
    ) -> Result<Option<Vec<SymbolInformation>>> {
        requests::workspace_symbol::symbol(&self.desk, parameters).await
    }

    async fn on_type_formatting(
        &self,
        parameters: DocumentOnTypeFormattingParams,
    ) -> Result<Option<Vec<TextEdit>>> {
        requests::formatting::on_newline(&self.desk, parameters).await
    }

    async fn code_action(
        &self,
        parameters: CodeActionParams,
    ) -> Result<Option<CodeActionResponse>> {
        requests::code_action::code_action(&self.desk, parameters).await
    }

    async fn code_action_resolve(&self, action: CodeAction) -> Result<CodeAction> {
        requests::code_action::resolve(&self.desk, action).await
    }

    async fn execute_command(
        &self,
        parameters: ExecuteCommandParams,
    ) -> Result<Option<serde_json::Value>> {
        requests::execute_command::execute_command(&self.desk, &self.client, parameters).await
    }

    async fn will_rename_files(
        &self,
        parameters: RenameFilesParams,
    ) -> Result<Option<WorkspaceEdit>> {
        requests::rename_files::will_rename(&self.desk, parameters).await
    }

    async fn workspace_diagnostic(
        &self,
        parameters: WorkspaceDiagnosticParams,
    ) -> Result<WorkspaceDiagnosticReportResult> {
        let title = "Checking all circuits".to_string();
        let runtime = tokio::runtime::Handle::current();
        // Kept open, it is no work that a reader waits for.
        let stays = parameters
            .partial_result_params
            .partial_result_token
            .is_some();
        let shown = (!stays).then(|| progress::show(&self.desk, &self.client, &runtime, title));
        let answer = requests::workspace_diagnostic::pull(&self.desk, parameters).await;
        drop(shown);
        answer
    }

    async fn diagnostic(
        &self,
        parameters: DocumentDiagnosticParams,
    ) -> Result<DocumentDiagnosticReportResult> {
        requests::diagnostic::pull(&self.desk, parameters).await
    }
}
