//! `textDocument/codeAction` and `codeAction/resolve`

use std::sync::Arc;

use checks::Finding;
use ide::{ActionKind, Change, Target, View};
use serde_json::{Value, json};
use syntax::TextEdit as Edit;
use tower_lsp::jsonrpc::Result;
use tower_lsp::lsp_types::*;

use super::diagnostic::diagnostic;
use super::{about, execute_command, failed, ruler, seen, work};
use crate::desk::{Desk, name_of};

/// The kind of actions that explain; not under `source`, which VS Code hides from the menu of the light bulb.
pub(crate) const EXPLAIN: CodeActionKind = CodeActionKind::new("explain");
/// The same for a client that asks for what is under `source`.
pub(crate) const SOURCE_EXPLAIN: CodeActionKind = CodeActionKind::new("source.explain");
/// The kind of the action that fixes all that is safe.
pub(crate) const FIX_ALL: CodeActionKind = CodeActionKind::new("source.fixAll.ampersum");

pub(crate) async fn code_action(
    desk: &Arc<Desk>,
    parameters: CodeActionParams,
) -> Result<Option<CodeActionResponse>> {
    let uri = parameters.text_document.uri.clone();
    let shared = desk.clone();
    let answer = about(&parameters.text_document.uri, move |view| {
        let span = ruler(view, shared.offers().encoding).span(parameters.range);
        let wanted = |kind: &CodeActionKind| match &parameters.context.only {
            None => true,
            Some(only) if only.is_empty() => true,
            Some(only) => only.iter().any(|it| within(kind, it)),
        };
        let by_source = !wanted(&EXPLAIN) && wanted(&SOURCE_EXPLAIN);
        let menu = Menu {
            desk: &shared,
            view,
            uri: &uri,
        };
        let actions = ide::actions(view, span).into_iter().filter(|it| {
            let kind = kind_of(&it.kind);
            wanted(&kind) || by_source && kind == EXPLAIN
        });
        let mut items: CodeActionResponse = actions
            .filter_map(|it| menu.item(it, &parameters.context))
            .collect();
        for item in items.iter_mut().filter(|_| by_source) {
            if let CodeActionOrCommand::CodeAction(it) = item
                && it.kind == Some(EXPLAIN)
            {
                it.kind = Some(SOURCE_EXPLAIN);
            }
        }
        Some(items)
    });
    answer.await
}

/// Makes the edit of an action that came without one. Actions that are not ours to complete go back as they are: some
/// clients resolve all of them.
pub(crate) async fn resolve(desk: &Arc<Desk>, mut action: CodeAction) -> Result<CodeAction> {
    let Some(order) = action.data.as_ref().and_then(Order::read) else {
        return Ok(action);
    };
    let Some(view) = seen().view(&name_of(&order.uri)).cloned() else {
        return Err(failed("The text is no longer open."));
    };
    let shared = desk.clone();
    let edit = work(move |_| {
        let stale = || failed("The text has changed since this was offered.");
        if view.document().version != order.version {
            return Err(stale());
        }
        let edits = ide::as_comment(&view, &order.target, order.offset).ok_or_else(stale)?;
        Ok(workspace_edit(&shared, &view, &order.uri, &edits))
    });
    action.edit = Some(edit.await??);
    Ok(action)
}

/// Which comment is to be written where.
struct Order {
    uri: Url,
    version: i32,
    target: Target,
    offset: u32,
}

impl Order {
    fn read(data: &Value) -> Option<Order> {
        Some(Order {
            uri: data["uri"].as_str()?.parse().ok()?,
            version: data["version"].as_i64()?.try_into().ok()?,
            target: execute_command::target(data)?,
            offset: data["offset"].as_u64()?.try_into().ok()?,
        })
    }
}

/// What every item of one menu rests on.
struct Menu<'v> {
    desk: &'v Desk,
    view: &'v View,
    uri: &'v Url,
}

impl Menu<'_> {
    fn item(
        &self,
        action: ide::Action,
        context: &CodeActionContext,
    ) -> Option<CodeActionOrCommand> {
        let offers = self.desk.offers();
        let kind = kind_of(&action.kind);
        let sent = &context.diagnostics;
        let asked = context.only.as_ref().is_some_and(|it| !it.is_empty());
        if !offers.action_literals {
            return self.command(action).map(CodeActionOrCommand::Command);
        }
        let mut item = CodeAction {
            title: action.title,
            kind: Some(kind),
            ..CodeAction::default()
        };
        match action.kind {
            ActionKind::Fix {
                finding,
                edits,
                preferred,
            } => {
                item.diagnostics = Some(vec![self.told(finding, sent)]);
                item.is_preferred = (offers.action_preferred && preferred).then_some(true);
                item.edit = Some(workspace_edit(self.desk, self.view, self.uri, &edits));
            }
            ActionKind::FixAll { edits } => {
                item.edit = Some(workspace_edit(self.desk, self.view, self.uri, &edits));
            }
            ActionKind::Change { edits, finding, .. } => {
                item.diagnostics = finding.map(|it| vec![self.told(it, sent)]);
                match edits {
                    Ok(edits) => {
                        item.edit = Some(workspace_edit(self.desk, self.view, self.uri, &edits));
                    }
                    // A reason is worth showing only to a reader who asked for this.
                    Err(reason) if offers.action_disabled && asked => {
                        item.disabled = Some(CodeActionDisabled { reason });
                    }
                    Err(_) => return None,
                }
            }
            ActionKind::Explain { target, offset } => {
                item.command = Some(self.explain(item.title.clone(), &target, offset));
            }
            ActionKind::Comment {
                target,
                edits,
                offset,
            } => {
                if offers.resolves_actions() {
                    let mut data = execute_command::arguments(self.uri, &target);
                    data["version"] = self.view.document().version.into();
                    data["offset"] = offset.into();
                    item.data = Some(data);
                } else {
                    item.edit = Some(workspace_edit(self.desk, self.view, self.uri, &edits));
                }
            }
        }
        Some(CodeActionOrCommand::CodeAction(item))
    }

    /// A finding as the client was told of it.
    fn told(&self, finding: &Finding, sent: &[Diagnostic]) -> Diagnostic {
        let own = diagnostic(self.desk, self.view, finding);
        let told = sent
            .iter()
            .find(|it| it.range == own.range && it.code == own.code);
        told.cloned().unwrap_or(own)
    }

    /// An action for a client that knows only commands; `None` where it could not let us change the text.
    fn command(&self, action: ide::Action) -> Option<Command> {
        let edits = match action.kind {
            ActionKind::Explain { target, offset } => {
                return Some(self.explain(action.title, &target, offset));
            }
            ActionKind::Fix { edits, .. }
            | ActionKind::FixAll { edits }
            | ActionKind::Comment { edits, .. } => edits,
            ActionKind::Change { edits, .. } => edits.ok()?,
        };
        let edit = workspace_edit(self.desk, self.view, self.uri, &edits);
        let version = self.view.document().version;
        let arguments =
            json!({"uri": self.uri, "version": version, "label": action.title, "edit": edit});
        self.desk.offers().apply_edit.then(|| Command {
            title: action.title,
            command: execute_command::CHANGE.to_string(),
            arguments: Some(vec![arguments]),
        })
    }

    fn explain(&self, title: String, target: &Target, offset: u32) -> Command {
        let mut arguments = execute_command::arguments(self.uri, target);
        arguments["offset"] = offset.into();
        arguments["version"] = self.view.document().version.into();
        Command {
            title,
            command: execute_command::EXPLAIN.to_string(),
            arguments: Some(vec![arguments]),
        }
    }
}

/// The client's words for changes of one text, for this version of it where the client can tell.
pub(crate) fn workspace_edit(desk: &Desk, view: &View, uri: &Url, edits: &[Edit]) -> WorkspaceEdit {
    let ruler = ruler(view, desk.offers().encoding);
    let edits = edits.iter().map(|it| TextEdit {
        range: ruler.range(it.span),
        new_text: it.text.clone(),
    });
    if !desk.offers().document_changes {
        return WorkspaceEdit {
            changes: Some([(uri.clone(), edits.collect())].into()),
            ..WorkspaceEdit::default()
        };
    }
    let document = OptionalVersionedTextDocumentIdentifier {
        uri: uri.clone(),
        version: Some(view.document().version),
    };
    let change = TextDocumentEdit {
        text_document: document,
        edits: edits.map(OneOf::Left).collect(),
    };
    WorkspaceEdit {
        document_changes: Some(DocumentChanges::Edits(vec![change])),
        ..WorkspaceEdit::default()
    }
}

fn kind_of(action: &ActionKind) -> CodeActionKind {
    match action {
        ActionKind::Fix { .. } => CodeActionKind::QUICKFIX,
        ActionKind::FixAll { .. } => FIX_ALL,
        ActionKind::Change { what, .. } => match what {
            Change::Rewrite => CodeActionKind::REFACTOR_REWRITE,
            Change::Extract => CodeActionKind::REFACTOR_EXTRACT,
            Change::Accept => CodeActionKind::QUICKFIX,
        },
        ActionKind::Explain { .. } | ActionKind::Comment { .. } => EXPLAIN,
    }
}

/// Whether a kind is another one or a kind of it.
fn within(kind: &CodeActionKind, wanted: &CodeActionKind) -> bool {
    let rest = kind.as_str().strip_prefix(wanted.as_str());
    wanted.as_str().is_empty() || rest.is_some_and(|it| it.is_empty() || it.starts_with('.'))
}
