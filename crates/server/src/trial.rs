//! Methods by which tests of the protocol make requests panic and wait. They exist only where `AMPERSUM_TRIAL` is set.

use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tower_lsp::LspServiceBuilder;
use tower_lsp::jsonrpc::Result;

use crate::backend::Backend;
use crate::desk::name_of;
use crate::requests::{seen, work};

/// Waits that are going on.
static WAITING: AtomicU32 = AtomicU32::new(0);

/// Adds the methods to a service.
pub(crate) fn with_methods(builder: LspServiceBuilder<Backend>) -> LspServiceBuilder<Backend> {
    if std::env::var_os("AMPERSUM_TRIAL").is_none() {
        return builder;
    }
    builder
        .custom_method("trial/panic", Backend::panic)
        .custom_method("trial/wait", Backend::wait)
        .custom_method("trial/waiting", Backend::waiting)
        .custom_method("trial/text", Backend::text)
}

impl Backend {
    /// `{"in": "handler"}` or `{"in": "work"}`.
    #[allow(clippy::panic)]
    async fn panic(&self, parameters: Value) -> Result<Value> {
        if parameters["in"] == "work" {
            work(|_| panic!("tried, in the work of a request")).await?;
        }
        panic!("tried, in a request")
    }

    /// `{"seconds": 3}`
    async fn wait(&self, parameters: Value) -> Result<Value> {
        let until =
            Instant::now() + Duration::from_secs_f64(parameters["seconds"].as_f64().unwrap_or(0.0));
        work(move |stop| {
            WAITING.fetch_add(1, Ordering::Relaxed);
            while Instant::now() < until && !stop.load(Ordering::Relaxed) {
                std::thread::sleep(Duration::from_millis(1));
            }
            WAITING.fetch_sub(1, Ordering::Relaxed);
        })
        .await?;
        Ok(Value::Null)
    }

    /// `{"uri": …}`: the text as the request sees it.
    async fn text(&self, parameters: Value) -> Result<Value> {
        let name = parameters["uri"]
            .as_str()
            .and_then(|it| it.parse().ok())
            .map(|it| name_of(&it));
        let seen = seen();
        Ok(json!(name.and_then(|it| {
            seen.view(&it).map(|it| it.text().to_string())
        })))
    }

    async fn waiting(&self) -> Result<Value> {
        Ok(json!(WAITING.load(Ordering::Relaxed)))
    }
}
