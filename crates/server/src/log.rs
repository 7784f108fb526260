//! A log on standard error for those who look for trouble: silent unless `AMPERSUM_LOG` is set, since some editors show
//! every line there as an error.

use std::fmt::Arguments;
use std::io::Write;
use std::sync::OnceLock;
use std::time::Instant;

/// Writes one line, with the seconds since the first.
pub(crate) fn note(words: Arguments) {
    static START: OnceLock<Option<Instant>> = OnceLock::new();
    let start = START.get_or_init(|| {
        std::env::var_os("AMPERSUM_LOG")
            .is_some_and(|it| !it.is_empty())
            .then(Instant::now)
    });
    if let Some(start) = start {
        // Nobody listens any more: nothing to be done.
        let _ = writeln!(
            std::io::stderr(),
            "[{:9.3}] {words}",
            start.elapsed().as_secs_f64()
        );
    }
}

/// Sends panics to the log; their requests are answered as errors elsewhere.
pub(crate) fn catch_panics() {
    std::panic::set_hook(Box::new(|panic| note(format_args!("panic: {panic}"))));
}

macro_rules! log {
    ($($words:tt)*) => { $crate::log::note(format_args!($($words)*)) };
}
pub(crate) use log;
