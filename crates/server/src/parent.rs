//! The process that started the server: when it is gone, so are we.

use std::path::Path;
use std::time::Duration;

/// How often it is looked for.
const PERIOD: Duration = Duration::from_secs(2);

/// Returns once a process is gone; never where that can't be seen.
pub(crate) async fn gone(process: u32) {
    loop {
        tokio::time::sleep(PERIOD).await;
        match lives(process) {
            Some(true) => {}
            Some(false) => return,
            // The end of the input still tells.
            None => return std::future::pending().await,
        }
    }
}

/// Whether a process lives; `None` where this system does not tell without special calls.
pub(crate) fn lives(process: u32) -> Option<bool> {
    let all = Path::new("/proc");
    all.join("self")
        .exists()
        .then(|| all.join(process.to_string()).exists())
}
