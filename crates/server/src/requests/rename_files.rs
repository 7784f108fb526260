//! `workspace/willRenameFiles`

use std::path::PathBuf;
use std::sync::Arc;

use ide::{Renamed, Replaced};
use tower_lsp::jsonrpc::Result;
use tower_lsp::lsp_types::*;

use super::{rename, seen, work};
use crate::desk::Desk;

/// Which files and folders are worth asking about.
pub(crate) fn filters() -> FileOperationRegistrationOptions {
    let filter = |glob: &str, matches| FileOperationFilter {
        scheme: Some("file".to_string()),
        pattern: FileOperationPattern {
            glob: glob.to_string(),
            matches: Some(matches),
            options: None,
        },
    };
    FileOperationRegistrationOptions {
        filters: vec![
            filter("**/*.amp", FileOperationPatternKind::File),
            filter("**", FileOperationPatternKind::Folder),
        ],
    }
}

pub(crate) async fn will_rename(
    desk: &Arc<Desk>,
    parameters: RenameFilesParams,
) -> Result<Option<WorkspaceEdit>> {
    let path = |it: &str| it.parse::<Url>().ok()?.to_file_path().ok();
    let moves: Vec<(PathBuf, PathBuf)> = parameters
        .files
        .iter()
        .filter_map(|it| Some((path(&it.old_uri)?, path(&it.new_uri)?)))
        .collect();
    let (shared, snapshot) = (desk.clone(), seen());
    work(move |stop| {
        let changed = ide::moved(&snapshot, &moves, stop);
        let renamed: Vec<_> = changed
            .into_iter()
            .map(|(view, edits)| Renamed {
                view,
                edits: edits
                    .into_iter()
                    .map(|edit| Replaced {
                        edit,
                        broken: false,
                    })
                    .collect(),
            })
            .collect();
        let is_open = |it: &Renamed| snapshot.view(&it.view.document().name).is_some();
        (!renamed.is_empty()).then(|| rename::edit(&shared, &renamed, is_open, false))
    })
    .await
}
