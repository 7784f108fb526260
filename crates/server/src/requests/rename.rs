//! `textDocument/prepareRename`, `textDocument/rename`

use std::collections::HashMap;
use std::sync::Arc;

use ide::Renamed;
use tower_lsp::jsonrpc::Result;
use tower_lsp::lsp_types::*;

use super::{failed, near, ruler, seen, work};
use crate::desk::{Desk, name_of};

/// The annotations that changes have which a reader should look at first.
const CLOSED: &str = "closed";
const BROKEN: &str = "broken";

pub(crate) async fn prepare(
    desk: &Arc<Desk>,
    parameters: TextDocumentPositionParams,
) -> Result<Option<PrepareRenameResponse>> {
    let encoding = desk.offers().encoding;
    let answer = near(&parameters.text_document.uri, move |view| {
        let ruler = ruler(view, encoding);
        let offset = ruler.offset(parameters.position);
        let range = |it: ide::Renamable| PrepareRenameResponse::RangeWithPlaceholder {
            range: ruler.range(it.span),
            placeholder: it.name,
        };
        Some(ide::renamable(view, offset).map(|it| it.map(range)))
    });
    answer
        .await?
        .transpose()
        .map(Option::flatten)
        .map_err(failed)
}

pub(crate) async fn rename(
    desk: &Arc<Desk>,
    parameters: RenameParams,
) -> Result<Option<WorkspaceEdit>> {
    let TextDocumentPositionParams {
        text_document,
        position,
    } = parameters.text_document_position;
    let snapshot = seen();
    let Some(view) = snapshot.view(&name_of(&text_document.uri)).cloned() else {
        return Ok(None);
    };
    let shared = desk.clone();
    let edit = work(move |stop| {
        let offset = ruler(&view, shared.offers().encoding).offset(position);
        let renamed = ide::rename(&snapshot, &view, offset, &parameters.new_name, stop)?;
        let is_open = |it: &Renamed| snapshot.view(&it.view.document().name).is_some();
        Ok(edit(&shared, &renamed, is_open, true))
    });
    edit.await?.map(Some).map_err(|it: String| failed(it))
}

/// The changes of several texts; where they are annotated those that a reader should look at first.
pub(super) fn edit(
    desk: &Desk,
    renamed: &[Renamed],
    is_open: impl Fn(&Renamed) -> bool,
    annotate: bool,
) -> WorkspaceEdit {
    let offers = desk.offers();
    let mut edit = WorkspaceEdit::default();
    let mut used: HashMap<ChangeAnnotationIdentifier, ChangeAnnotation> = HashMap::new();
    for it in renamed {
        let Some(uri) = desk.address(&it.view.document().name) else {
            continue;
        };
        let ruler = ruler(&it.view, offers.encoding);
        let open = is_open(it);
        let plain = |it: &ide::Replaced| TextEdit {
            range: ruler.range(it.edit.span),
            new_text: it.edit.text.clone(),
        };
        if !offers.document_changes {
            let edits = it.edits.iter().map(plain).collect();
            edit.changes.get_or_insert_default().insert(uri, edits);
            continue;
        }
        let mut annotated = |it: &ide::Replaced| {
            let annotation = match (open, it.broken) {
                (_, true) => BROKEN,
                (false, false) => CLOSED,
                (true, false) => return OneOf::Left(plain(it)),
            };
            if !offers.change_annotations || !annotate {
                return OneOf::Left(plain(it));
            }
            used.insert(annotation.to_string(), explained(annotation));
            OneOf::Right(AnnotatedTextEdit {
                text_edit: plain(it),
                annotation_id: annotation.to_string(),
            })
        };
        let edits = it.edits.iter().map(&mut annotated).collect();
        let change = TextDocumentEdit {
            text_document: OptionalVersionedTextDocumentIdentifier {
                uri,
                version: open.then_some(it.view.document().version),
            },
            edits,
        };
        match edit
            .document_changes
            .get_or_insert(DocumentChanges::Edits(Vec::new()))
        {
            DocumentChanges::Edits(all) => all.push(change),
            DocumentChanges::Operations(_) => {}
        }
    }
    edit.change_annotations = Some(used).filter(|it| !it.is_empty());
    edit
}

fn explained(annotation: &str) -> ChangeAnnotation {
    let (label, description) = match annotation {
        BROKEN => (
            "In lines that cannot be read",
            "What the name means there is a guess.",
        ),
        _ => (
            "In files that are not open",
            "They use the file that has the name.",
        ),
    };
    ChangeAnnotation {
        label: label.to_string(),
        needs_confirmation: Some(true),
        description: Some(description.to_string()),
    }
}
