//! Methods by which tests of the protocol make requests panic and wait. They exist only where `AMPERSUM_TRIAL` is set.

use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tower_lsp::LspServiceBuilder;
use tower_lsp::jsonrpc::Result;

use crate::backend::Backend;
use crate::requests::work;

/// Waits of requests that were cancelled, and ended for that reason.
static STOPPED: AtomicU32 = AtomicU32::new(0);

/// Adds the methods to a service.
pub(crate) fn with_methods(builder: LspServiceBuilder<Backend>) -> LspServiceBuilder<Backend> {
    if std::env::var_os("AMPERSUM_TRIAL").is_none() {
        return builder;
    }
    builder
        .custom_method("trial/panic", Backend::panic)
        .custom_method("trial/wait", Backend::wait)
        .custom_method("trial/stopped", Backend::stopped)
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
            while Instant::now() < until {
                if stop.load(Ordering::Relaxed) {
                    STOPPED.fetch_add(1, Ordering::Relaxed);
                    return;
                }
                std::thread::sleep(Duration::from_millis(1));
            }
        })
        .await?;
        Ok(Value::Null)
    }

    async fn stopped(&self) -> Result<Value> {
        Ok(json!(STOPPED.load(Ordering::Relaxed)))
    }
}
