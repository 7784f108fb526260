//! What helps while a text is read: colours, folds, selection, symbols, links, lenses, lines that put themselves in order.

use serde_json::{Value, json};

use crate::client::Client;
use crate::desk::{Desk, Folder, URI, each};

const TEXT: &str = "\
# Ω 𝛺
# and more
circuit bed \"Ω 𝛺\"
source Ω: s𝛺 = 1 V
s𝛺 -- RΩ 1kΩ -- out -- R2 1kΩ -- ground
opamp A𝛺: plus out, minus q, drives q
";

/// The words of tokens with their types.
fn words(desk: &Desk, data: &Value) -> Vec<(String, String)> {
    let legend =
        &desk.client.greeting["capabilities"]["semanticTokensProvider"]["legend"]["tokenTypes"];
    let numbers: Vec<u64> = data
        .as_array()
        .expect("numbers")
        .iter()
        .map(|it| it.as_u64().expect("a number"))
        .collect();
    let (mut line, mut character) = (0, 0);
    let mut words = Vec::new();
    for token in numbers.chunks_exact(5) {
        character = if token[0] > 0 { 0 } else { character };
        line += token[0];
        character += token[1];
        let range = json!({"start": {"line": line, "character": character}, "end": {"line": line, "character": character + token[2]}});
        let kind = legend[token[3] as usize]
            .as_str()
            .expect("a type")
            .to_owned();
        words.push((desk.words(&range).to_owned(), kind));
    }
    words
}

#[test]
fn hints_lead_to_what_they_are_of_and_say_more_when_they_are_asked() {
    let resolves =
        json!({"textDocument": {"inlayHint": {"resolveSupport": {"properties": ["tooltip"]}}}});
    for (offered, later) in [(json!({}), false), (resolves, true)] {
        each(offered, TEXT, |desk| {
            let provider = &desk.client.greeting["capabilities"]["inlayHintProvider"];
            assert_eq!(provider["resolveProvider"], later);
            let whole =
                json!({"start": {"line": 0, "character": 0}, "end": {"line": 6, "character": 0}});
            let hints = desk.ask_all("textDocument/inlayHint", json!({"range": whole}));
            let hints = hints.as_array().expect("hints").clone();
            let values = ["= 1 V", "= 500 mV"];
            let places = ["s𝛺", "out"];
            for (hint, (value, place)) in hints.iter().zip(values.iter().zip(places)) {
                let part = &hint["label"][0];
                assert_eq!(
                    (part["value"].as_str(), &hint["kind"]),
                    (Some(*value), &json!(1)),
                    "{hint}"
                );
                assert_eq!(desk.words(&part["location"]["range"]), place);
                assert_eq!(hint["tooltip"].is_null(), later, "{hint}");
                let resolved = match later {
                    true => desk.client.request("inlayHint/resolve", hint.clone()),
                    false => hint.clone(),
                };
                let tooltip = resolved["tooltip"].as_str().expect("words");
                assert!(tooltip.contains(&value[2..]), "{tooltip}");
            }
            assert_eq!(hints.len(), 2);
        });
    }
}

#[test]
fn tokens_are_told_in_full_by_difference_and_in_part() {
    each(json!({}), TEXT, |desk| {
        let full = desk.ask_all("textDocument/semanticTokens/full", json!({}));
        let all = words(desk, &full["data"]);
        let kind = |word: &str| all.iter().find(|it| it.0 == word).map(|it| it.1.as_str());
        for (word, expected) in [
            ("bed", "namespace"),
            ("s𝛺", "variable"),
            ("RΩ", "property"),
            ("A𝛺", "class"),
            ("drives", "keyword"),
            ("Ω", "event"),
            ("1kΩ", "number"),
            ("\"Ω 𝛺\"", "string"),
            ("# Ω 𝛺", "comment"),
            ("ground", "variable"),
        ] {
            assert_eq!(kind(word), Some(expected), "{word}");
        }
        let range =
            json!({"start": {"line": 5, "character": 0}, "end": {"line": 5, "character": 5}});
        let part = desk.ask_all("textDocument/semanticTokens/range", json!({"range": range}));
        assert_eq!(
            words(desk, &part["data"]),
            [("opamp".to_owned(), "keyword".to_owned())]
        );
        // One more token in the middle is one small edit.
        let place = desk.text.find("1kΩ").expect("it stands there") + "1kΩ".len();
        let at = desk.position(place);
        desk.client.change(
            URI,
            2,
            json!([{"range": {"start": at, "end": at}, "text": " 1 %"}]),
        );
        desk.text.insert_str(place, " 1 %");
        let delta = desk.ask_all(
            "textDocument/semanticTokens/full/delta",
            json!({"previousResultId": full["resultId"]}),
        );
        let mut numbers = full["data"].as_array().expect("numbers").clone();
        for edit in delta["edits"].as_array().expect("edits") {
            let [start, deleted] =
                ["start", "deleteCount"].map(|it| edit[it].as_u64().expect("a number") as usize);
            assert!(deleted < 15 && start > 0, "a small edit: {edit}");
            numbers.splice(
                start..start + deleted,
                edit["data"].as_array().expect("numbers").iter().cloned(),
            );
        }
        let again = desk.ask_all("textDocument/semanticTokens/full", json!({}));
        assert_eq!(json!(numbers), again["data"]);
        // A difference from what is not known is everything.
        let unknown = desk.ask_all(
            "textDocument/semanticTokens/full/delta",
            json!({"previousResultId": "none"}),
        );
        assert_eq!(unknown["data"], again["data"]);
    });
}

#[test]
fn bodies_and_comments_fold() {
    for lines_only in [true, false] {
        let offers = json!({"textDocument": {"foldingRange": {"lineFoldingOnly": lines_only, "rangeLimit": 2}}});
        each(offers, TEXT, |desk| {
            let folds = desk.ask_all("textDocument/foldingRange", json!({}));
            let lines: Vec<_> = folds
                .as_array()
                .expect("a list")
                .iter()
                .map(|it| (it["startLine"].clone(), it["endLine"].clone()))
                .collect();
            assert_eq!(lines, [(json!(0), json!(1)), (json!(2), json!(5))]);
            assert_eq!(folds[0]["kind"], "comment");
            assert_eq!(folds[0]["startCharacter"].is_null(), lines_only);
        });
    }
}

#[test]
fn a_selection_grows() {
    each(
        json!({}),
        "s𝛺 -- RΩ 1k«»Ω 1 % -- out -- R2 1kΩ -- ground\n",
        |desk| {
            let position = desk.position(desk.marks[0].0);
            let answer = desk.ask_all(
                "textDocument/selectionRange",
                json!({"positions": [position]}),
            );
            let mut words = Vec::new();
            let mut it = &answer[0];
            while it.is_object() {
                words.push(desk.words(&it["range"]));
                it = &it["parent"];
            }
            assert_eq!(words[..3], ["1kΩ", "RΩ 1kΩ", "RΩ 1kΩ 1 %"]);
            assert_eq!(words.last(), Some(&desk.text.as_str()));
        },
    );
}

#[test]
fn symbols_are_found_in_files_that_are_not_open() {
    let folder = Folder::with(&[
        ("shut.amp", "circuit pump𝛺 \"Ω\"\nsource Ω: level𝛺 = 1 V\n"),
        (".hidden/no.amp", "circuit pump_hidden\n"),
    ]);
    let mut client = Client::silent();
    client.request(
        "initialize",
        json!({"capabilities": {}, "workspaceFolders": [{"uri": folder.root(), "name": "x"}]}),
    );
    client.notify("initialized", json!({}));
    let found = client.request("workspace/symbol", json!({"query": "pmp"}));
    assert_eq!(found[0]["name"], "pumpΩ");
    assert_eq!(found[0]["location"]["uri"], folder.uri("shut.amp"));
    assert_eq!(
        found[0]["location"]["range"],
        json!({"start": {"line": 0, "character": 8}, "end": {"line": 0, "character": 14}})
    );
    assert_eq!(found.as_array().map(Vec::len), Some(1), "{found}");
    // What is changed on disk is read again, and a text that is opened counts before its file.
    folder.write("shut.amp", "circuit pumps\n");
    assert_eq!(
        client.request("workspace/symbol", json!({"query": "pmp"}))[0]["name"],
        "pumps"
    );
    client.open(&folder.uri("shut.amp"), 1, "circuit open_pump\n");
    assert_eq!(
        client.request("workspace/symbol", json!({"query": "pmp"}))[0]["name"],
        "open_pump"
    );
    // A folder that is closed is no longer looked at.
    let gone = json!({"event": {"added": [], "removed": [{"uri": folder.root(), "name": "x"}]}});
    client.notify(
        "textDocument/didClose",
        json!({"textDocument": {"uri": folder.uri("shut.amp")}}),
    );
    client.notify("workspace/didChangeWorkspaceFolders", gone);
    assert_eq!(
        client.request("workspace/symbol", json!({"query": "pmp"})),
        json!([])
    );
}

#[test]
fn a_used_file_is_a_link() {
    let folder = Folder::with(&[("lab.amp", "part slow\nend\n")]);
    let mut client = Client::offering(json!({}));
    client.open(&folder.uri("bed.amp"), 1, "# Ω 𝛺\nuse \"lab.amp\"\n");
    let links = client.request(
        "textDocument/documentLink",
        json!({"textDocument": {"uri": folder.uri("bed.amp")}}),
    );
    assert_eq!(links[0]["target"], folder.uri("lab.amp"));
    assert_eq!(
        links[0]["range"],
        json!({"start": {"line": 1, "character": 5}, "end": {"line": 1, "character": 12}})
    );
}

#[test]
fn a_lens_counts_equations_when_it_is_seen_and_explains_them() {
    each(
        json!({"window": {"showDocument": {"support": true}}}),
        TEXT,
        |desk| {
            let lenses = desk.ask_all("textDocument/codeLens", json!({}));
            assert_eq!(desk.words(&lenses[0]["range"]), "bed");
            assert_eq!(lenses[0]["command"], Value::Null, "it is counted later");
            let lens = desk.client.request("codeLens/resolve", lenses[0].clone());
            assert_eq!(
                lens["command"]["title"],
                "3 unknown node voltages, 3 equations · explain"
            );
            let run = json!({"command": lens["command"]["command"], "arguments": lens["command"]["arguments"]});
            assert_eq!(
                desk.client.request("workspace/executeCommand", run),
                Value::Null
            );
            let asked = desk
                .client
                .wait_for(|it| it["method"] == "window/showDocument");
            let path = asked["params"]["uri"]
                .as_str()
                .and_then(|it| it.strip_prefix("file://"))
                .expect("a file")
                .to_owned();
            let page = std::fs::read_to_string(path).expect("the page is there");
            assert!(
                page.contains("3 unknown node voltages") && page.contains("out"),
                "{page}"
            );
            let foreign = json!({"range": lenses[0]["range"], "data": 7});
            assert_eq!(
                desk.client.request("codeLens/resolve", foreign.clone()),
                foreign
            );
        },
    );
}

#[test]
fn an_ended_line_is_put_in_order() {
    each(json!({}), "source Ω: s𝛺=1 V # 𝛺\n«»\n", |desk| {
        let edits = desk.ask(
            "textDocument/onTypeFormatting",
            0,
            json!({"ch": "\n", "options": {"tabSize": 2, "insertSpaces": true}}),
        );
        assert_eq!(desk.edited(&edits), "source Ω: s𝛺 = 1 V  # 𝛺\n\n");
    });
}
