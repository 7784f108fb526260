//! One file a request: parameters are converted, `ide` is asked, its answer is converted.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use ide::{Snapshot, Stopped, View};
use serde_json::Value;
use tower_lsp::jsonrpc::{Error, ErrorCode, Result};
use tower_lsp::lsp_types::{Location, MarkupContent, MarkupKind, Range, Url};

use crate::desk::{Desk, name_of};
use crate::order::SEEN;
use crate::positions::{Encoding, Ruler};
use syntax::{FileId, Place};

pub(crate) mod code_action;
pub(crate) mod code_lens;
pub(crate) mod completion;
pub(crate) mod definition;
pub(crate) mod diagnostic;
pub(crate) mod document_symbol;
pub(crate) mod execute_command;
pub(crate) mod formatting;
pub(crate) mod hover;
pub(crate) mod inlay_hint;
pub(crate) mod ranges;
pub(crate) mod references;
pub(crate) mod rename;
pub(crate) mod rename_files;
pub(crate) mod semantic_tokens;
pub(crate) mod workspace_diagnostic;
pub(crate) mod workspace_symbol;

/// Answers a request about one text on a thread of its own, from the text as it stood at the request's place in the
/// order; `None` where the text is not open. When the client cancels, the flag is set.
pub(crate) async fn about<T, F>(address: &Url, answer: F) -> Result<Option<T>>
where
    T: Send + 'static,
    F: FnOnce(&View) -> Option<T> + Send + 'static,
{
    let Some(view) = seen().view(&name_of(address)).cloned() else {
        return Ok(None);
    };
    work(move |stop| {
        view.prepare(stop)
            .map_err(|Stopped| Error::request_cancelled())?;
        Ok(answer(&view))
    })
    .await?
}

/// The same where the answer rests on the words alone, or on what stands around one place: nothing is worked out ahead.
pub(crate) async fn near<T, F>(address: &Url, answer: F) -> Result<Option<T>>
where
    T: Send + 'static,
    F: FnOnce(&View) -> Option<T> + Send + 'static,
{
    let Some(view) = seen().view(&name_of(address)).cloned() else {
        return Ok(None);
    };
    work(move |_| answer(&view)).await
}

/// The text and the place that something was told with `{"uri", "version", "offset"}`; `None` once the text is another one.
pub(crate) fn remembered(data: Option<&Value>) -> Option<(Arc<View>, u32)> {
    let data = data?;
    let uri: Url = data["uri"].as_str()?.parse().ok()?;
    let view = seen().view(&name_of(&uri))?.clone();
    let offset = u32::try_from(data["offset"].as_u64()?).ok()?;
    (data["version"] == view.document().version).then_some((view, offset))
}

/// The texts as they stood when the request was read.
pub(crate) fn seen() -> Snapshot {
    SEEN.try_with(Snapshot::clone).unwrap_or_default()
}

/// Runs work on a thread of its own; a panic there is an internal error.
pub(crate) async fn work<T: Send + 'static>(
    run: impl FnOnce(&AtomicBool) -> T + Send + 'static,
) -> Result<T> {
    let flag = Arc::new(AtomicBool::new(false));
    let _stop = StopWhenDropped(flag.clone());
    tokio::task::spawn_blocking(move || run(&flag))
        .await
        .map_err(|_| Error::internal_error())
}

/// A cancelled request's future is dropped, and this with it: its thread learns that nobody waits any more.
struct StopWhenDropped(Arc<AtomicBool>);

impl Drop for StopWhenDropped {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

/// A request that cannot be done, with a sentence that a person can read.
pub(crate) fn failed(words: impl Into<String>) -> Error {
    Error {
        code: ErrorCode::ServerError(-32803),
        message: words.into().into(),
        data: None,
    }
}

/// A description in the form that the client shows.
pub(crate) fn markup(told: &ide::Hover, markdown: bool) -> MarkupContent {
    match markdown {
        true => MarkupContent {
            kind: MarkupKind::Markdown,
            value: told.markdown(),
        },
        false => MarkupContent {
            kind: MarkupKind::PlainText,
            value: told.plain(),
        },
    }
}

/// A view's own text, as the client counts it.
pub(crate) fn ruler(view: &View, encoding: Encoding) -> Ruler<'_> {
    Ruler {
        text: view.text(),
        lines: view.lines(),
        encoding,
    }
}

/// The client's words for a place in any file of a book.
pub(crate) fn location(desk: &Desk, view: &View, place: Place) -> Option<Location> {
    let (name, text) = view.file(place.file)?;
    Some(Location {
        uri: desk.address(name)?,
        range: range(view, place, text, desk.offers().encoding),
    })
}

fn range(view: &View, place: Place, text: &str, encoding: Encoding) -> Range {
    if place.file == FileId(0) {
        return ruler(view, encoding).range(place.span);
    }
    Ruler {
        text,
        lines: &ide::Lines::of(text),
        encoding,
    }
    .range(place.span)
}
