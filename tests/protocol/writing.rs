//! What helps while a line is written: completion, signatures.

use serde_json::{Value, json};

use crate::desk::{URI, each};

#[test]
fn a_menu_replaces_the_word_and_is_described_when_asked() {
    let offers = json!({"textDocument": {"completion": {"completionItem": {
        "insertReplaceSupport": true, "documentationFormat": ["markdown"],
    }}}});
    let text = "source Ω: s𝛺 = 1 V\ns𝛺 -- RΩ 1kΩ -- ground\nexpect 2 * «s»𝛺 = 2 V\n";
    each(offers, text, |desk| {
        let list = desk.ask("textDocument/completion", 0, json!({}));
        let item = list["items"]
            .as_array()
            .expect("a list")
            .iter()
            .find(|it| it["label"] == "sΩ");
        let item = item.unwrap_or_else(|| panic!("the node is offered: {list}"));
        assert_eq!(desk.words(&item["textEdit"]["insert"]), "s");
        assert_eq!(desk.words(&item["textEdit"]["replace"]), "s𝛺");
        assert_eq!(item["documentation"], Value::Null);
        let resolved = desk.client.request("completionItem/resolve", item.clone());
        let told = resolved["documentation"]["value"]
            .as_str()
            .unwrap_or_default();
        assert!(told.starts_with("**sΩ = 1 V**"), "{resolved}");
        assert_eq!(resolved["documentation"]["kind"], "markdown");
        // What is not ours to describe goes back as it came.
        let foreign = json!({"label": "x", "data": {"uri": "file:///other", "offset": 3}});
        assert_eq!(
            desk.client
                .request("completionItem/resolve", foreign.clone()),
            foreign
        );
    });
}

#[test]
fn places_to_fill_in_are_sent_only_to_clients_that_have_them() {
    for snippets in [true, false] {
        let offers = json!({"textDocument": {"completion": {"completionItem": {"snippetSupport": snippets}}}});
        each(offers, "source Ω: s𝛺 = 1 V\no«»", |desk| {
            let list = desk.ask(
                "textDocument/completion",
                0,
                json!({"context": {"triggerKind": 1}}),
            );
            let items = list["items"].as_array().expect("a list");
            let opamp = items
                .iter()
                .find(|it| it["label"] == "opamp")
                .expect("it is offered");
            let text = opamp["textEdit"]["newText"].as_str().unwrap_or_default();
            assert_eq!(text.contains("${1:node}"), snippets, "{text}");
            assert_eq!(opamp["insertTextFormat"] == 2, snippets);
        });
    }
}

#[test]
fn a_blank_that_only_indents_brings_up_no_menu() {
    each(
        json!({}),
        "source Ω: s𝛺 = 1 V\n  «»\ns𝛺 «»",
        |desk| {
            let blank = json!({"context": {"triggerKind": 2, "triggerCharacter": " "}});
            assert_eq!(
                desk.ask("textDocument/completion", 0, blank.clone()),
                Value::Null
            );
            assert_ne!(desk.ask("textDocument/completion", 1, blank), Value::Null);
        },
    );
}

#[test]
fn a_signature_tells_the_clause_at_the_caret() {
    let offers = json!({"textDocument": {"signatureHelp": {"signatureInformation": {
        "parameterInformation": {"labelOffsetSupport": true},
    }}}});
    each(
        offers,
        "source Ω: s𝛺 = 1 V\nopamp A𝛺: minus s𝛺, plus «»",
        |desk| {
            let help = desk.ask("textDocument/signatureHelp", 0, json!({}));
            let signature = &help["signatures"][0];
            let label = signature["label"].as_str().expect("a label");
            assert!(
                label.starts_with("opamp A𝛺: plus node, minus node"),
                "{label}"
            );
            let active = help["activeParameter"].as_u64().expect("a number") as usize;
            let ends = &signature["parameters"][active]["label"];
            let units: Vec<u16> = label.encode_utf16().collect();
            let [start, end] = [0, 1].map(|it| ends[it].as_u64().expect("a number") as usize);
            assert_eq!(String::from_utf16_lossy(&units[start..end]), "plus node");
            let nowhere =
                json!({"textDocument": {"uri": URI}, "position": {"line": 0, "character": 0}});
            assert_eq!(
                desk.client.request("textDocument/signatureHelp", nowhere),
                Value::Null
            );
        },
    );
}
