//! Findings as diagnostics: sent, or asked for.

use std::collections::{BTreeMap, HashMap};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::atomic::AtomicBool;
use std::time::{Duration, Instant};

use checks::{Finding, Severity};
use ide::{Document, Snapshot, View};
use serde_json::json;
use syntax::FileId;
use tower_lsp::jsonrpc::{Error, Result};
use tower_lsp::lsp_types::*;

use crate::desk::Desk;
use crate::requests::{location, ruler, seen, work};

/// How long a line that is being written stays without a finding that only says that it is not finished.
const PATIENCE: Duration = Duration::from_millis(500);

/// A text's diagnostics. Where some wait for their line to be finished, the text is checked again in time.
pub(crate) fn list(desk: &Desk, view: &View) -> Vec<Diagnostic> {
    for it in &view.settings().troubles {
        desk.tell(format!("{}: {}. {}", it.path, it.message, it.help).replace('`', ""));
    }
    let typing = typing(view.document());
    let found = ide::diagnostics(view, typing.map(|it| it.0));
    if let Some((_, until)) = typing
        && found.waiting
    {
        desk.bell.wait_for(&view.document().name, until);
    }
    found
        .shown
        .into_iter()
        .map(|finding| diagnostic(desk, view, finding))
        .collect()
}

/// What a text's check finds in the files that it uses, by their names: nobody else tells it of those that are not open.
pub(crate) fn of_used(desk: &Desk, view: &View) -> BTreeMap<String, Vec<Diagnostic>> {
    let mut found: BTreeMap<String, Vec<Diagnostic>> = BTreeMap::new();
    let elsewhere = view.findings().iter();
    for finding in elsewhere.filter(|it| it.place.file != FileId(0)) {
        let Some((name, _)) = view.file(finding.place.file) else {
            continue;
        };
        let Some(location) = location(desk, view, finding.place) else {
            continue;
        };
        found.entry(name.to_owned()).or_default().push(Diagnostic {
            range: location.range,
            ..diagnostic(desk, view, finding)
        });
    }
    found
}

/// Said in place of findings where checking failed.
pub(crate) fn broken_off() -> Diagnostic {
    Diagnostic {
        severity: Some(DiagnosticSeverity::WARNING),
        source: Some("ampersum".to_string()),
        message: "the check of this text broke off: this is a fault of the tool, and what it would have found is not known"
            .to_string(),
        ..Diagnostic::default()
    }
}

/// One finding as a diagnostic.
pub(crate) fn diagnostic(desk: &Desk, view: &View, finding: &Finding) -> Diagnostic {
    let offers = desk.offers();
    let related = finding.related.iter().filter_map(|it| {
        Some(DiagnosticRelatedInformation {
            location: location(desk, view, it.place)?,
            message: it.message.clone(),
        })
    });
    let mut message = finding.message.clone();
    if !finding.help.is_empty() {
        message = format!("{message}\n{}", finding.help);
    }
    Diagnostic {
        range: ruler(view, offers.encoding).range(finding.place.span),
        severity: Some(match finding.severity {
            Severity::Error => DiagnosticSeverity::ERROR,
            Severity::Warning => DiagnosticSeverity::WARNING,
            Severity::Hint => DiagnosticSeverity::HINT,
        }),
        code: Some(NumberOrString::String(finding.rule.to_string())),
        code_description: offers
            .code_description
            .then(|| desk.pages.rule(finding.rule))
            .flatten()
            .map(|href| CodeDescription { href }),
        data: offers
            .diagnostic_data
            .then(|| json!({"rule": finding.rule, "subjects": finding.subjects})),
        source: Some("ampersum".to_string()),
        message,
        related_information: (offers.related_information && !finding.related.is_empty())
            .then(|| related.collect()),
        tags: (offers.diagnostic_unnecessary && finding.unnecessary)
            .then(|| vec![DiagnosticTag::UNNECESSARY]),
    }
}

/// The diagnostics that a client asks for.
pub(crate) async fn pull(
    desk: &std::sync::Arc<Desk>,
    parameters: DocumentDiagnosticParams,
) -> Result<DocumentDiagnosticReportResult> {
    let snapshot = seen();
    let view = snapshot
        .view(&crate::desk::name_of(&parameters.text_document.uri))
        .cloned();
    let desk = desk.clone();
    let done = work(move |stop| {
        let Some(view) = view else {
            return Ok((Vec::new(), None));
        };
        view.check(stop)?;
        let related = match desk.offers().related_documents {
            true => related(&desk, &snapshot, &view, stop)?,
            false => None,
        };
        Ok::<_, ide::Stopped>((list(&desk, &view), related))
    });
    let (items, related_documents) = done
        .await?
        .map_err(|ide::Stopped| Error::request_cancelled())?;
    let result_id = result_id(&items);
    let full = || FullDocumentDiagnosticReport {
        result_id: Some(result_id.clone()),
        items,
    };
    let report = if parameters.previous_result_id.as_ref() == Some(&result_id) {
        DocumentDiagnosticReport::Unchanged(RelatedUnchangedDocumentDiagnosticReport {
            related_documents,
            unchanged_document_diagnostic_report: UnchangedDocumentDiagnosticReport { result_id },
        })
    } else {
        DocumentDiagnosticReport::Full(RelatedFullDocumentDiagnosticReport {
            related_documents,
            full_document_diagnostic_report: full(),
        })
    };
    Ok(report.into())
}

/// The diagnostics of the files that a text uses.
fn related(
    desk: &Desk,
    snapshot: &Snapshot,
    view: &View,
    stop: &AtomicBool,
) -> std::result::Result<Option<HashMap<Url, DocumentDiagnosticReportKind>>, ide::Stopped> {
    let mut related = HashMap::new();
    for file in view.book().files.iter().skip(1) {
        let (Some(used), Some(uri)) = (snapshot.text(&file.path), desk.address(&file.path)) else {
            continue;
        };
        used.check(stop)?;
        let items = list(desk, &used);
        let report = FullDocumentDiagnosticReport {
            result_id: Some(result_id(&items)),
            items,
        };
        related.insert(uri, DocumentDiagnosticReportKind::Full(report));
    }
    Ok(Some(related).filter(|it| !it.is_empty()))
}

/// Equal exactly where the diagnostics are.
pub(super) fn result_id(items: &[Diagnostic]) -> String {
    let mut hasher = DefaultHasher::new();
    serde_json::to_string(items)
        .unwrap_or_default()
        .hash(&mut hasher);
    format!("{:016x}", hasher.finish())
}

/// The line that is being written, and until when it counts as such.
fn typing(document: &Document) -> Option<(u32, Instant)> {
    let typing = document.typing?;
    let until = typing.at + PATIENCE;
    (Instant::now() < until).then_some((typing.line, until))
}
