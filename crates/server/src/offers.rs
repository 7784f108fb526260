//! What the client can do, read once from the raw text of `initialize`: whatever it does not offer is not used.

use serde_json::Value;

use crate::positions::Encoding;

/// What the client offers.
#[derive(Clone, Debug)]
pub(crate) struct Offers {
    pub(crate) encoding: Encoding,
    /// It said what it can count; else only the protocol's default is meant, and not named.
    pub(crate) names_encodings: bool,
    pub(crate) reach: Reach,
    /// Hovers in Markdown.
    pub(crate) hover_markdown: bool,
    pub(crate) completion_markdown: bool,
    pub(crate) snippets: bool,
    /// Menus whose items may take the place of the whole word, or only of what stands before the caret.
    pub(crate) insert_replace: bool,
    /// Parameters of signatures by their place in the label.
    pub(crate) label_offsets: bool,
    pub(crate) active_parameter: bool,
    /// Folds begin and end with lines.
    pub(crate) folds_lines_only: bool,
    /// It wants no more folds than these.
    pub(crate) most_folds: usize,
    pub(crate) refresh_lenses: bool,
    /// Code actions as objects; without them only commands.
    pub(crate) action_literals: bool,
    pub(crate) action_preferred: bool,
    /// Code actions that cannot be taken, with the reason.
    pub(crate) action_disabled: bool,
    pub(crate) action_data: bool,
    /// Edits of code actions may come later.
    pub(crate) action_resolve_edit: bool,
    pub(crate) apply_edit: bool,
    /// Edits with the version of the text that they are for.
    pub(crate) document_changes: bool,
    /// Changes with words that say what is special about them.
    pub(crate) change_annotations: bool,
    /// It asks whether a name can be changed before it is.
    pub(crate) prepares_rename: bool,
    pub(crate) symbol_tree: bool,
    /// Definitions that tell the word they start from.
    pub(crate) definition_links: bool,
    pub(crate) related_information: bool,
    pub(crate) diagnostic_version: bool,
    pub(crate) diagnostic_unnecessary: bool,
    /// It asks for diagnostics itself.
    pub(crate) pull_diagnostics: bool,
    /// It can be told to ask again.
    pub(crate) refresh_diagnostics: bool,
    pub(crate) refresh_inlay_hints: bool,
    /// What a hint says more may come later.
    pub(crate) hint_resolve_tooltip: bool,
    /// It asks what else has to change before a file is renamed.
    pub(crate) asks_before_renaming: bool,
    pub(crate) work_done_progress: bool,
    /// Diagnostics of used files beside those of the text that uses them.
    pub(crate) related_documents: bool,
    /// Diagnostics whose rule leads to a page.
    pub(crate) code_description: bool,
    pub(crate) diagnostic_data: bool,
    pub(crate) configuration: bool,
    pub(crate) register_configuration: bool,
    pub(crate) register_watching: bool,
}

/// How an explanation reaches the reader beyond the hover.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Reach {
    /// The client shows a document that we write.
    Show,
    /// The client lets us write it into the text, as a comment.
    Comment,
    /// One line as a message, all of it in the client's log.
    Message,
}

impl Offers {
    /// Whether diagnostics are asked for and never sent unasked. A client that could not be told when those of a text
    /// change without its doing is better off when they are sent.
    pub(crate) fn pulls(&self) -> bool {
        self.pull_diagnostics && self.refresh_diagnostics
    }

    /// Whether edits of code actions are made when they are asked for.
    pub(crate) fn resolves_actions(&self) -> bool {
        self.action_literals && self.action_resolve_edit && self.action_data
    }

    /// Reads the parameters of `initialize`.
    pub(crate) fn read(parameters: &Value) -> Offers {
        let at = |path: &str| parameters.pointer(&format!("/capabilities/{path}"));
        let has = |path: &str| at(path) == Some(&Value::Bool(true));
        let lists = |path: &str, item: &str| {
            let list = at(path).and_then(Value::as_array);
            list.is_some_and(|it| it.iter().any(|it| it.as_str() == Some(item)))
        };
        // Formats stand in the order in which the client likes them.
        let markdown = |path: &str| {
            let list = at(path).and_then(Value::as_array);
            let first = list.and_then(|it| {
                let known = it.iter().filter_map(Value::as_str);
                known
                    .into_iter()
                    .find(|it| matches!(*it, "markdown" | "plaintext"))
            });
            first == Some("markdown")
        };
        let apply_edit = has("workspace/applyEdit");
        // For clients that offer nothing, which means UTF-16, and yet count bytes: whoever configures one can say so.
        let counts_bytes = parameters.pointer("/initializationOptions/columns");
        Offers {
            encoding: match counts_bytes == Some(&Value::from("bytes")) {
                true => Encoding::Utf8,
                false => encoding(at("general/positionEncodings")),
            },
            names_encodings: at("general/positionEncodings").is_some_and(Value::is_array),
            reach: match () {
                () if has("window/showDocument/support") => Reach::Show,
                () if apply_edit => Reach::Comment,
                () => Reach::Message,
            },
            hover_markdown: markdown("textDocument/hover/contentFormat"),
            completion_markdown: markdown(
                "textDocument/completion/completionItem/documentationFormat",
            ),
            snippets: has("textDocument/completion/completionItem/snippetSupport"),
            insert_replace: has("textDocument/completion/completionItem/insertReplaceSupport"),
            label_offsets: has(
                "textDocument/signatureHelp/signatureInformation/parameterInformation/labelOffsetSupport",
            ),
            active_parameter: has(
                "textDocument/signatureHelp/signatureInformation/activeParameterSupport",
            ),
            folds_lines_only: has("textDocument/foldingRange/lineFoldingOnly"),
            most_folds: at("textDocument/foldingRange/rangeLimit")
                .and_then(Value::as_u64)
                .map_or(usize::MAX, |it| it as usize),
            refresh_lenses: has("workspace/codeLens/refreshSupport"),
            action_literals: at("textDocument/codeAction/codeActionLiteralSupport")
                .is_some_and(Value::is_object),
            action_preferred: has("textDocument/codeAction/isPreferredSupport"),
            action_disabled: has("textDocument/codeAction/disabledSupport"),
            action_data: has("textDocument/codeAction/dataSupport"),
            action_resolve_edit: lists("textDocument/codeAction/resolveSupport/properties", "edit"),
            apply_edit,
            document_changes: has("workspace/workspaceEdit/documentChanges"),
            change_annotations: at("workspace/workspaceEdit/changeAnnotationSupport")
                .is_some_and(Value::is_object),
            prepares_rename: has("textDocument/rename/prepareSupport"),
            symbol_tree: has("textDocument/documentSymbol/hierarchicalDocumentSymbolSupport"),
            definition_links: has("textDocument/definition/linkSupport"),
            related_information: has("textDocument/publishDiagnostics/relatedInformation"),
            diagnostic_version: has("textDocument/publishDiagnostics/versionSupport"),
            diagnostic_unnecessary: at("textDocument/publishDiagnostics/tagSupport/valueSet")
                .and_then(Value::as_array)
                .is_some_and(|it| it.contains(&Value::from(1))),
            pull_diagnostics: at("textDocument/diagnostic").is_some_and(Value::is_object),
            // Read here because the protocol's types spell it otherwise and lose it.
            refresh_diagnostics: has("workspace/diagnostics/refreshSupport"),
            refresh_inlay_hints: has("workspace/inlayHint/refreshSupport"),
            hint_resolve_tooltip: lists(
                "textDocument/inlayHint/resolveSupport/properties",
                "tooltip",
            ),
            asks_before_renaming: has("workspace/fileOperations/willRename"),
            work_done_progress: has("window/workDoneProgress"),
            related_documents: has("textDocument/diagnostic/relatedDocumentSupport"),
            code_description: has("textDocument/publishDiagnostics/codeDescriptionSupport"),
            diagnostic_data: has("textDocument/publishDiagnostics/dataSupport"),
            configuration: has("workspace/configuration"),
            register_configuration: has("workspace/didChangeConfiguration/dynamicRegistration"),
            register_watching: has("workspace/didChangeWatchedFiles/dynamicRegistration"),
        }
    }
}

/// Bytes where they are offered, which cost nothing; else the first that is known.
fn encoding(offered: Option<&Value>) -> Encoding {
    let names = offered.and_then(Value::as_array).into_iter().flatten();
    let known: Vec<_> = names
        .filter_map(|it| match it.as_str()? {
            "utf-8" => Some(Encoding::Utf8),
            "utf-16" => Some(Encoding::Utf16),
            "utf-32" => Some(Encoding::Utf32),
            _ => None,
        })
        .collect();
    match known.contains(&Encoding::Utf8) {
        true => Encoding::Utf8,
        false => known.first().copied().unwrap_or(Encoding::Utf16),
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn nothing_is_used_that_was_not_offered() {
        for parameters in [
            json!({}),
            json!({"capabilities": null}),
            json!({"capabilities": {"general": 3}}),
        ] {
            let offers = Offers::read(&parameters);
            assert_eq!(
                (offers.encoding, offers.reach),
                (Encoding::Utf16, Reach::Message)
            );
            assert!(!offers.action_literals && !offers.pulls());
        }
    }

    #[test]
    fn the_format_that_the_client_likes_best_is_taken() {
        for (formats, markdown) in [
            (json!(["markdown", "plaintext"]), true),
            (json!(["plaintext", "markdown"]), false),
            (json!(["html", "markdown"]), true),
            (json!([]), false),
        ] {
            let hover = json!({"textDocument": {"hover": {"contentFormat": formats}}});
            let offers = Offers::read(&json!({ "capabilities": hover }));
            assert_eq!(offers.hover_markdown, markdown, "{formats}");
        }
    }

    #[test]
    fn a_client_that_counts_bytes_can_say_so_though_it_offers_nothing() {
        let offers = Offers::read(&json!({
            "capabilities": {},
            "initializationOptions": {"columns": "bytes", "ampersum": {}},
        }));
        assert_eq!(offers.encoding, Encoding::Utf8);
        assert!(!offers.names_encodings);
    }

    #[test]
    fn the_best_way_offered_is_taken() {
        let read = |it: Value| Offers::read(&json!({ "capabilities": it }));
        let window = json!({"showDocument": {"support": true}});
        assert_eq!(
            read(json!({"window": window, "workspace": {"applyEdit": true}})).reach,
            Reach::Show
        );
        assert_eq!(
            read(json!({"workspace": {"applyEdit": true}})).reach,
            Reach::Comment
        );
        let encodings = json!({"general": {"positionEncodings": ["utf-32", "utf-16", "utf-8"]}});
        assert_eq!(read(encodings).encoding, Encoding::Utf8);
        assert_eq!(
            read(json!({"general": {"positionEncodings": ["utf-7", "utf-32"]}})).encoding,
            Encoding::Utf32
        );
    }
}
