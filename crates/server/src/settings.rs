//! The editor's settings: sent with `initialize`, sent later, or asked for.

use std::sync::Arc;

use ide::EditorSettings;
use serde_json::Value;
use tower_lsp::Client;
use tower_lsp::lsp_types::{ConfigurationItem, Registration};

use crate::desk::Desk;

/// The name under which editors keep them.
const SECTION: &str = "ampersum";

/// Takes settings in: those of our section, or all where there is no section. Absent or null ones are no settings.
pub(crate) fn take(desk: &Desk, settings: Option<&Value>) {
    let Some(settings) = settings.filter(|it| !it.is_null()) else {
        return;
    };
    let own = settings.get(SECTION).unwrap_or(settings);
    let toml = match own
        .is_object()
        .then(|| toml::to_string(&without_nulls(own)))
    {
        Some(Ok(toml)) => toml,
        _ => {
            desk.tell("The settings under `ampersum` have to be a table.".to_string());
            String::new()
        }
    };
    desk.change(|texts| texts.workspace.set_settings(EditorSettings { toml }));
}

/// Asks the client for them, if it can be asked.
pub(crate) async fn ask(desk: &Arc<Desk>, client: &Client) {
    if !desk.offers().configuration {
        return;
    }
    let item = ConfigurationItem {
        scope_uri: None,
        section: Some(SECTION.to_string()),
    };
    if let Ok(answer) = client.configuration(vec![item]).await {
        take(desk, answer.first());
        refresh(desk, client).await;
    }
}

/// Has hints and lenses made anew after a change.
pub(crate) async fn refresh(desk: &Desk, client: &Client) {
    // A client that does not want to says so in its own log.
    if desk.offers().refresh_inlay_hints {
        let _ = client.inlay_hint_refresh().await;
    }
    if desk.offers().refresh_lenses {
        let _ = client.code_lens_refresh().await;
    }
}

/// Asks to be told when they, or files on disk, change.
pub(crate) async fn register(desk: &Desk, client: &Client) {
    let offers = desk.offers();
    let registration = |method: &str, options| Registration {
        id: method.to_string(),
        method: method.to_string(),
        register_options: Some(options),
    };
    let mut wanted = Vec::new();
    if offers.register_configuration {
        wanted.push(registration(
            "workspace/didChangeConfiguration",
            serde_json::json!({ "section": SECTION }),
        ));
    }
    if offers.register_watching {
        let watchers = serde_json::json!({"watchers": [{"globPattern": "**/*.amp"}, {"globPattern": "**/ampersum.toml"}]});
        wanted.push(registration("workspace/didChangeWatchedFiles", watchers));
    }
    if !wanted.is_empty() {
        // A client that refuses says so in its own log.
        let _ = client.register_capability(wanted).await;
    }
}

fn without_nulls(value: &Value) -> Value {
    match value {
        Value::Object(map) => map
            .iter()
            .filter(|it| !it.1.is_null())
            .map(|(key, value)| (key.clone(), without_nulls(value)))
            .collect(),
        other => other.clone(),
    }
}
