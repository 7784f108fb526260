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
    /// Code actions as objects; without them only commands.
    pub(crate) action_literals: bool,
    pub(crate) action_preferred: bool,
    pub(crate) action_data: bool,
    /// Edits of code actions may come later.
    pub(crate) action_resolve_edit: bool,
    pub(crate) apply_edit: bool,
    /// Edits with the version of the text that they are for.
    pub(crate) document_changes: bool,
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
        let apply_edit = has("workspace/applyEdit");
        // For clients that offer nothing, which means UTF-16, and yet count bytes: whoever configures one can say so.
        let counts_bytes = parameters.pointer("/initializationOptions/columns");
        Offers {
            encoding: if lists("general/positionEncodings", "utf-8")
                || counts_bytes == Some(&Value::from("bytes"))
            {
                Encoding::Utf8
            } else {
                Encoding::Utf16
            },
            names_encodings: at("general/positionEncodings").is_some_and(Value::is_array),
            reach: match () {
                () if has("window/showDocument/support") => Reach::Show,
                () if apply_edit => Reach::Comment,
                () => Reach::Message,
            },
            hover_markdown: lists("textDocument/hover/contentFormat", "markdown"),
            action_literals: at("textDocument/codeAction/codeActionLiteralSupport")
                .is_some_and(Value::is_object),
            action_preferred: has("textDocument/codeAction/isPreferredSupport"),
            action_data: has("textDocument/codeAction/dataSupport"),
            action_resolve_edit: lists("textDocument/codeAction/resolveSupport/properties", "edit"),
            apply_edit,
            document_changes: has("workspace/workspaceEdit/documentChanges"),
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
            configuration: has("workspace/configuration"),
            register_configuration: has("workspace/didChangeConfiguration/dynamicRegistration"),
            register_watching: has("workspace/didChangeWatchedFiles/dynamicRegistration"),
        }
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
            read(json!({"general": {"positionEncodings": ["utf-32"]}})).encoding,
            Encoding::Utf16
        );
    }
}
