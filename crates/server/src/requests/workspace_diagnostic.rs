//! `workspace/diagnostic`: the findings of all texts, open or not, sent piece by piece as long as the client listens.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use ide::Snapshot;
use serde_json::json;
use tower_lsp::jsonrpc::{Error, Result};
use tower_lsp::lsp_types::*;

use super::diagnostic::{list, result_id};
use super::{seen, work};
use crate::desk::{Desk, name_of};
use crate::progress;

/// So many texts are told in one piece.
const PIECE: usize = 16;

/// What the client knows: of each text the name of its last result.
type Known = BTreeMap<String, String>;

pub(crate) async fn pull(
    desk: &Arc<Desk>,
    parameters: WorkspaceDiagnosticParams,
) -> Result<WorkspaceDiagnosticReportResult> {
    let mut known: Known = parameters
        .previous_result_ids
        .into_iter()
        .map(|it| (name_of(&it.uri), it.value))
        .collect();
    let mut changes = desk.changes();
    let token = parameters.partial_result_params.partial_result_token;
    let Some(token) = token else {
        let items = reports(desk, seen(), &mut known, true).await?;
        return Ok(WorkspaceDiagnosticReportResult::Report(
            WorkspaceDiagnosticReport { items },
        ));
    };
    let token = json!(token);
    let mut snapshot = seen();
    // The request stays open: what changes is told when it does, until the client calls it off.
    loop {
        let items = reports(desk, snapshot, &mut known, false).await?;
        for piece in items.chunks(PIECE) {
            progress::send(desk, &token, json!({"items": piece})).await;
        }
        if changes.changed().await.is_err() {
            let none = WorkspaceDiagnosticReport { items: Vec::new() };
            return Ok(WorkspaceDiagnosticReportResult::Report(none));
        }
        changes.mark_unchanged();
        snapshot = desk.snapshot();
    }
}

/// The report of each text that is not known; where `all` are wanted also of those that are as they were.
async fn reports(
    desk: &Arc<Desk>,
    snapshot: Snapshot,
    known: &mut Known,
    all: bool,
) -> Result<Vec<WorkspaceDocumentDiagnosticReport>> {
    let shared = desk.clone();
    let mut before = std::mem::take(known);
    let done = work(move |stop| {
        let mut reports = Vec::new();
        let mut now = Known::new();
        let views = snapshot.all(stop);
        let names: BTreeSet<_> = views.iter().map(|it| it.document().name.clone()).collect();
        for view in views {
            view.check(stop)?;
            let name = view.document().name.clone();
            let Some(uri) = shared.address(&name) else {
                continue;
            };
            let version = snapshot.view(&name).map(|it| it.document().version.into());
            let items = list(&shared, &view);
            let result_id = result_id(&items);
            let same = before.get(&name) == Some(&result_id);
            now.insert(name, result_id.clone());
            match same {
                false => reports.push(full(uri, version, Some(result_id), items)),
                true if all => reports.push(WorkspaceDocumentDiagnosticReport::Unchanged(
                    WorkspaceUnchangedDocumentDiagnosticReport {
                        uri,
                        version,
                        unchanged_document_diagnostic_report: UnchangedDocumentDiagnosticReport {
                            result_id,
                        },
                    },
                )),
                true => {}
            }
        }
        // Texts that are gone have no findings any more.
        before.retain(|it, _| !names.contains(it));
        for name in before.keys() {
            if let Some(uri) = shared.address(name) {
                reports.push(full(uri, None, None, Vec::new()));
            }
        }
        Ok::<_, ide::Stopped>((reports, now))
    });
    let (reports, now) = done
        .await?
        .map_err(|ide::Stopped| Error::request_cancelled())?;
    *known = now;
    Ok(reports)
}

fn full(
    uri: Url,
    version: Option<i64>,
    result_id: Option<String>,
    items: Vec<Diagnostic>,
) -> WorkspaceDocumentDiagnosticReport {
    WorkspaceDocumentDiagnosticReport::Full(WorkspaceFullDocumentDiagnosticReport {
        uri,
        version,
        full_document_diagnostic_report: FullDocumentDiagnosticReport { result_id, items },
    })
}
