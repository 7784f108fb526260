//! The one thread that checks: it takes the newest texts, so what changes meanwhile is checked once, and a check that is no
//! longer wanted is called off.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Instant;

use serde_json::json;
use tower_lsp::Client;
use tower_lsp::lsp_types::notification::{Notification, PublishDiagnostics};
use tower_lsp::lsp_types::{Diagnostic, PublishDiagnosticsParams};

use crate::desk::Desk;
use crate::log::log;
use crate::progress;
use crate::requests::diagnostic;

/// How often in a row a check is called off for newer texts; the next one is finished, so that an answer comes at last.
const CALLED_OFF: u32 = 3;

/// Says which files are to be checked.
#[derive(Default)]
pub(crate) struct Bell {
    state: Mutex<State>,
    bell: Condvar,
}

#[derive(Default)]
struct State {
    started: bool,
    dirty: BTreeSet<String>,
    /// Files with findings that wait, and until when.
    waiting: BTreeMap<String, Instant>,
    /// Calls off the check that is running.
    stop: Arc<AtomicBool>,
}

impl Bell {
    /// Lets the checker begin: before `initialized` the client is told nothing. Whether it had not begun yet.
    pub(crate) fn start(&self) -> bool {
        let before = std::mem::replace(&mut self.lock().started, true);
        self.bell.notify_all();
        !before
    }

    /// Has these files checked.
    pub(crate) fn ring(&self, files: Vec<String>) {
        if files.is_empty() {
            return;
        }
        let mut state = self.lock();
        state.dirty.extend(files);
        state.stop.store(true, Ordering::Relaxed);
        self.bell.notify_all();
    }

    /// The next file to check, and the flag that calls it off.
    fn next(&self) -> (String, Arc<AtomicBool>) {
        let mut state = self.lock();
        loop {
            let now = Instant::now();
            let due: Vec<_> = state
                .waiting
                .iter()
                .filter(|it| *it.1 <= now)
                .map(|it| it.0.clone())
                .collect();
            for file in due {
                state.waiting.remove(&file);
                state.dirty.insert(file);
            }
            if state.started
                && let Some(file) = state.dirty.pop_first()
            {
                state.waiting.remove(&file);
                state.stop = Arc::default();
                return (file, state.stop.clone());
            }
            state = match state.waiting.values().min() {
                Some(until) => {
                    let left = until.saturating_duration_since(now);
                    self.bell
                        .wait_timeout(state, left)
                        .unwrap_or_else(PoisonError::into_inner)
                        .0
                }
                None => self
                    .bell
                    .wait(state)
                    .unwrap_or_else(PoisonError::into_inner),
            };
        }
    }

    /// Has a file checked again at this moment.
    pub(crate) fn wait_for(&self, file: &str, until: Instant) {
        self.lock().waiting.insert(file.to_string(), until);
        self.bell.notify_all();
    }

    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// What the checks of open texts found in files that these use and that are not open.
#[derive(Default)]
struct Beside {
    by_user: HashMap<String, BTreeMap<String, Vec<Diagnostic>>>,
}

impl Beside {
    /// Takes what the check of a text found now, and tells it of each file that is not open, with what other texts found there.
    fn tell(
        &mut self,
        desk: &Desk,
        snapshot: &ide::Snapshot,
        user: &str,
        found: BTreeMap<String, Vec<Diagnostic>>,
    ) {
        let before = self.by_user.remove(user).unwrap_or_default();
        let files: BTreeSet<String> = before.into_keys().chain(found.keys().cloned()).collect();
        if !found.is_empty() {
            self.by_user.insert(user.to_owned(), found);
        }
        for file in files {
            // An open text tells of itself.
            if snapshot.view(&file).is_some() {
                continue;
            }
            publish(desk, &file, None, self.of(&file));
        }
    }

    /// What open texts found in a file, each once.
    fn of(&self, file: &str) -> Vec<Diagnostic> {
        let mut all: Vec<Diagnostic> = Vec::new();
        let found = self.by_user.values().filter_map(|it| it.get(file));
        for it in found.flatten() {
            if !all.contains(it) {
                all.push(it.clone());
            }
        }
        all
    }
}

/// Checks what the bell asks for, for ever.
pub(crate) fn run(desk: &Arc<Desk>, client: &Client, runtime: &tokio::runtime::Handle) {
    let mut called_off = 0;
    let mut beside = Beside::default();
    loop {
        let (file, stop) = desk.bell.next();
        if desk.offers().pulls() {
            desk.changed();
            let client = client.clone();
            runtime.spawn(async move { client.workspace_diagnostic_refresh().await });
            continue;
        }
        let snapshot = desk.snapshot();
        let Some(view) = snapshot.view(&file) else {
            publish(desk, &file, None, beside.of(&file));
            beside.tell(desk, &snapshot, &file, BTreeMap::new());
            continue;
        };
        let never = AtomicBool::new(false);
        let stop = if called_off < CALLED_OFF {
            &*stop
        } else {
            &never
        };
        let name = view.document().name.rsplit(['/', '\\']).next();
        let title = format!("Checking {}", name.unwrap_or_default());
        let _shown = progress::show(desk, client, runtime, title);
        match catch_unwind(AssertUnwindSafe(|| {
            let found = || {
                (
                    diagnostic::list(desk, view),
                    diagnostic::of_used(desk, view),
                )
            };
            view.check(stop).map(|()| found())
        })) {
            Ok(Err(ide::Stopped)) => {
                called_off += 1;
                desk.bell.ring(vec![file]);
                continue;
            }
            Ok(Ok((list, of_used))) => {
                publish(desk, &file, Some(view.document().version), list);
                beside.tell(desk, &snapshot, &file, of_used);
            }
            Err(_) => {
                log!(
                    "checking version {} of {file} panicked",
                    view.document().version
                );
                publish(
                    desk,
                    &file,
                    Some(view.document().version),
                    vec![diagnostic::broken_off()],
                );
            }
        }
        called_off = 0;
    }
}

fn publish(desk: &Desk, file: &str, version: Option<i32>, diagnostics: Vec<Diagnostic>) {
    let Some(uri) = desk.address(file) else {
        return;
    };
    let version = version.filter(|_| desk.offers().diagnostic_version);
    let parameters = PublishDiagnosticsParams {
        uri,
        diagnostics,
        version,
    };
    desk.outbox.publish(
        file,
        json!({"jsonrpc": "2.0", "method": PublishDiagnostics::METHOD, "params": parameters}),
    );
}
