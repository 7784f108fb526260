//! The protocol's methods, each handed on to its file.

use std::sync::Arc;

use tower_lsp::jsonrpc::Result;
use tower_lsp::lsp_types::*;
use tower_lsp::{Client, LanguageServer};

use crate::capabilities::capabilities;
use crate::desk::Desk;
use crate::{requests, settings};

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

    async fn did_change_configuration(&self, parameters: DidChangeConfigurationParams) {
        if parameters.settings.is_null() {
            settings::ask(&self.desk, &self.client).await;
        } else if let Some(trouble) = settings::take(&self.desk, Some(&parameters.settings)) {
            self.client
                .show_message(MessageType::WARNING, trouble)
                .await;
        }
    }

    async fn diagnostic(
        &self,
        parameters: DocumentDiagnosticParams,
    ) -> Result<DocumentDiagnosticReportResult> {
        requests::diagnostic::pull(&self.desk, parameters).await
    }
}
