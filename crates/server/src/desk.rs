//! What all parts of the server share.

use std::collections::{HashMap, HashSet};
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::Sender;
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};

use ide::{Snapshot, Touched, Workspace};
use serde_json::{Value, json};
use tokio::sync::watch;
use tower_lsp::lsp_types::notification::{Notification, ShowMessage};
use tower_lsp::lsp_types::{MessageType, ShowMessageParams, Url};

use crate::checker::Bell;
use crate::offers::Offers;
use crate::outbox::Outbox;
use crate::pages::Pages;
use crate::requests::semantic_tokens::SentTokens;

/// What all parts of the server share.
pub(crate) struct Desk {
    texts: Mutex<Texts>,
    offers: OnceLock<Offers>,
    pub(crate) outbox: Arc<Outbox>,
    pub(crate) bell: Bell,
    pub(crate) pages: Pages,
    pub(crate) tokens: SentTokens,
    end: Sender<i32>,
    told: Mutex<HashSet<String>>,
    changes: watch::Sender<()>,
    /// The client wants to hear how requests are answered.
    traces: AtomicBool,
}

/// The open texts, and what the client calls them.
#[derive(Default)]
pub(crate) struct Texts {
    pub(crate) workspace: Workspace,
    addresses: HashMap<String, Url>,
}

impl Desk {
    /// An empty one; `end` is told what the process ends with.
    pub(crate) fn new(end: Sender<i32>) -> Desk {
        Desk {
            texts: Mutex::default(),
            offers: OnceLock::new(),
            outbox: Arc::new(Outbox::new()),
            bell: Bell::default(),
            pages: Pages::default(),
            tokens: SentTokens::default(),
            end,
            told: Mutex::default(),
            changes: watch::Sender::default(),
            traces: AtomicBool::new(false),
        }
    }

    /// Notes what the client offers; the first `initialize` counts.
    pub(crate) fn meet(&self, parameters: &Value) {
        self.offers.get_or_init(|| Offers::read(parameters));
    }

    /// What the client offers; nothing before it has said so.
    pub(crate) fn offers(&self) -> &Offers {
        self.offers.get_or_init(|| Offers::read(&Value::Null))
    }

    /// Everything as it stands now.
    pub(crate) fn snapshot(&self) -> Snapshot {
        self.lock().workspace.snapshot()
    }

    /// Changes texts or settings, and has everything checked that rests on them. The texts are held only for the change itself.
    pub(crate) fn change(&self, change: impl FnOnce(&mut Texts) -> Touched) {
        let touched = change(&mut self.lock());
        self.changed();
        self.bell.ring(touched);
    }

    /// The folders that the client has open.
    pub(crate) fn folders(&self) -> Vec<PathBuf> {
        self.lock().workspace.folders().to_vec()
    }

    /// The client has these folders open.
    pub(crate) fn set_folders(&self, folders: Vec<PathBuf>) {
        self.lock().workspace.set_folders(folders);
        self.changed();
    }

    /// Changes one text, and has it checked with all that rests on it. A client that asks for diagnostics itself asks
    /// for those of a text that it changed without being told.
    pub(crate) fn change_text(
        &self,
        address: &Url,
        change: impl FnOnce(&mut Workspace, &str) -> Touched,
    ) {
        let mut texts = self.lock();
        let name = texts.meet(address);
        let mut touched = change(&mut texts.workspace, &name);
        drop(texts);
        self.changed();
        if self.offers().pulls() {
            touched.retain(|it| *it != name);
        }
        self.bell.ring(touched);
    }

    /// Wakes those who wait for changes.
    pub(crate) fn changed(&self) {
        self.changes.send_replace(());
    }

    /// Tells of every change from now on.
    pub(crate) fn changes(&self) -> watch::Receiver<()> {
        self.changes.subscribe()
    }

    /// Whether requests are traced: `off`, `messages` or `verbose`.
    pub(crate) fn set_trace(&self, value: Option<&str>) {
        let on = value.is_some_and(|it| it != "off");
        self.traces.store(on, Ordering::Relaxed);
    }

    pub(crate) fn traces(&self) -> bool {
        self.traces.load(Ordering::Relaxed)
    }

    /// The client's name of a text.
    pub(crate) fn address(&self, name: &str) -> Option<Url> {
        let known = self.lock().addresses.get(name).cloned();
        known
            .or_else(|| Url::from_file_path(name).ok())
            .or_else(|| Url::parse(name).ok())
    }

    /// Tells the reader something, once.
    pub(crate) fn tell(&self, words: String) {
        let new = self
            .told
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .insert(words.clone());
        if new {
            let parameters = ShowMessageParams {
                typ: MessageType::WARNING,
                message: words,
            };
            self.outbox.send_now(json!({
                "jsonrpc": "2.0", "method": ShowMessage::METHOD, "params": parameters,
            }));
        }
    }

    /// Ends the server.
    pub(crate) fn leave(&self, code: i32) {
        // Whoever came first has said it already.
        let _ = self.end.send(code);
    }

    fn lock(&self) -> MutexGuard<'_, Texts> {
        // A panic between two changes leaves the texts whole.
        self.texts.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Texts {
    /// Our name of a text; from now on the address is the client's name of it.
    fn meet(&mut self, address: &Url) -> String {
        let name = name_of(address);
        self.addresses.insert(name.clone(), address.clone());
        name
    }
}

/// Our name of a text: its path, however the client spells its address; without a path the address itself.
pub(crate) fn name_of(address: &Url) -> String {
    match address.to_file_path() {
        Ok(path) => path.to_string_lossy().into_owned(),
        Err(()) => address.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_file_has_one_name_however_it_is_spelled() {
        let name = |it: &str| name_of(&Url::parse(it).unwrap());
        assert_eq!(
            name("file:///bed%203/a%3Ab.amp"),
            name("file:///bed 3/a:b.amp")
        );
        assert_eq!(name("file:///bed/./3/../a.amp"), "/bed/a.amp");
        assert_eq!(name("untitled:Untitled-1"), "untitled:Untitled-1");
    }
}
