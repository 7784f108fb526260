//! How an explanation and a fix reach the reader in each kind of client.

use serde_json::{Value, json};

use crate::client::Client;

const URI: &str = "file:///greenhouse/bed.amp";

const CIRCUIT: &str = "\
supply +9 V and -9 V
source probe: in = 1.2 V
in -- R1 10k -- sum -- R2 33k -- out
opamp A1: plus ground, minus sum, drives out
";

const EQUATION: &str = "(sum − in)/R1 + (sum − out)/R2 = 0";

fn literals(more: Value) -> Value {
    let mut offers = json!({"textDocument": {"codeAction": {
        "codeActionLiteralSupport": {"codeActionKind": {"valueSet": []}}, "isPreferredSupport": true,
    }}});
    for (key, value) in more.as_object().into_iter().flatten() {
        offers[key] = value.clone();
    }
    offers
}

/// The action with this title, at `sum` in the path.
fn action(client: &mut Client, title: &str) -> Value {
    client.open(URI, 1, CIRCUIT);
    let actions = client.actions(URI, 2, 17, 17);
    let titles: Vec<_> = actions.iter().map(|it| it["title"].clone()).collect();
    actions
        .into_iter()
        .find(|it| it["title"] == title)
        .unwrap_or_else(|| panic!("{title} is none of {titles:?}"))
}

fn run(client: &mut Client, command: &Value) -> Value {
    client.request(
        "workspace/executeCommand",
        json!({"command": command["command"], "arguments": command["arguments"]}),
    )
}

const EXPLAIN: &str = "Explain the equation at `sum`";
const COMMENT: &str = "Write the explanation as a comment above";

#[test]
fn a_client_that_shows_documents_is_given_a_page() {
    let mut client = Client::offering(literals(
        json!({"window": {"showDocument": {"support": true}}, "workspace": {"applyEdit": true}}),
    ));
    let action = action(&mut client, EXPLAIN);
    assert_eq!(action["kind"], "explain");
    assert_eq!(run(&mut client, &action["command"]), Value::Null);
    let asked = client.wait_for(|it| it["method"] == "window/showDocument");
    assert_eq!(asked["params"]["takeFocus"], false);
    let uri = asked["params"]["uri"].as_str().expect("an address");
    let path = uri.strip_prefix("file://").expect("a file").to_string();
    let page = std::fs::read_to_string(&path).expect("the page is there");
    assert!(page.contains(EQUATION), "{page}");
    assert!(page.contains("Ohm's law"), "term by term: {page}");
    let folder = std::path::Path::new(&path)
        .parent()
        .expect("a folder")
        .to_path_buf();
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        assert_eq!(
            folder.metadata().expect("it is there").permissions().mode() & 0o777,
            0o700
        );
    }
    client.request("shutdown", Value::Null);
    client.notify("exit", Value::Null);
    assert_eq!(client.ended(), Some(0));
    assert!(!folder.exists(), "the pages go with the server");
}

#[test]
fn a_client_that_only_applies_edits_is_given_a_comment() {
    let mut client = Client::offering(literals(json!({"workspace": {"applyEdit": true}})));
    let action = action(&mut client, EXPLAIN);
    assert_eq!(run(&mut client, &action["command"]), Value::Null);
    let asked = client.wait_for(|it| it["method"] == "workspace/applyEdit");
    let edit = &asked["params"]["edit"]["changes"][URI][0];
    assert_eq!(
        edit["range"],
        json!({"start": {"line": 2, "character": 0}, "end": {"line": 2, "character": 0}})
    );
    let comment = edit["newText"].as_str().expect("a text");
    assert!(
        comment.starts_with(&format!("# Equation at sum: {EQUATION}\n#   ")),
        "{comment}"
    );
    assert!(comment.lines().all(|it| it.starts_with('#')), "{comment}");
    client.change(URI, 2, json!([{"text": format!("# new\n{CIRCUIT}")}]));
    // The text has changed: the place of the equation is found again, and the edit is for the new version.
    assert_eq!(run(&mut client, &action["command"]), Value::Null);
    let again = client.wait_for(|it| it["method"] == "workspace/applyEdit");
    assert_eq!(
        again["params"]["edit"]["changes"][URI][0]["range"]["start"]["line"],
        3
    );
}

#[test]
fn a_client_without_either_is_told_one_line_and_can_read_the_rest_in_its_log() {
    let mut client = Client::offering(literals(json!({})));
    let action = action(&mut client, EXPLAIN);
    assert_eq!(run(&mut client, &action["command"]), Value::Null);
    let log = client.wait_for(|it| it["method"] == "window/logMessage");
    assert!(
        log["params"]["message"]
            .as_str()
            .is_some_and(|it| it.contains("Ohm's law")),
        "{log}"
    );
    let shown = client.wait_for(|it| it["method"] == "window/showMessage");
    assert_eq!(
        shown["params"]["message"],
        format!("Equation at sum: {EQUATION}")
    );
}

#[test]
fn every_client_finds_the_explanation_in_the_hover() {
    for formats in [json!(["markdown"]), json!(["plaintext"]), json!(null)] {
        let mut client =
            Client::offering(json!({"textDocument": {"hover": {"contentFormat": formats}}}));
        client.open(URI, 1, CIRCUIT);
        let hover = client.hover(URI, 2, 17);
        assert!(
            hover.contains(EQUATION) && hover.contains("add up to zero"),
            "{hover}"
        );
        assert_eq!(
            hover.contains("**"),
            formats == json!(["markdown"]),
            "{hover}"
        );
    }
}

#[test]
fn writing_the_comment_twice_leaves_one() {
    let mut client = Client::offering(literals(json!({})));
    let edit = action(&mut client, COMMENT)["edit"]["changes"][URI][0].clone();
    let comment = edit["newText"].as_str().expect("a text").to_string();
    let lines: Vec<_> = CIRCUIT.split_inclusive('\n').collect();
    let written = [lines[..2].concat(), comment.clone(), lines[2..].concat()].concat();
    client.change(URI, 2, json!([{"text": written}]));
    let line = 2 + comment.lines().count() as u32;
    let actions = client.actions(URI, line, 17, 17);
    let again = actions
        .iter()
        .find(|it| it["title"] == COMMENT)
        .expect("it is offered again");
    let edit = &again["edit"]["changes"][URI][0];
    assert_eq!(
        edit["range"],
        json!({"start": {"line": 2, "character": 0}, "end": {"line": line, "character": 0}})
    );
    assert_eq!(
        edit["newText"], comment,
        "the same words in place of the old ones"
    );
}

#[test]
fn edits_come_later_only_to_clients_that_can_wait_for_them() {
    let resolve = json!({"textDocument": {"codeAction": {
        "codeActionLiteralSupport": {"codeActionKind": {"valueSet": []}},
        "dataSupport": true, "resolveSupport": {"properties": ["edit"]},
    }}, "workspace": {"workspaceEdit": {"documentChanges": true}}});
    let mut client = Client::offering(resolve);
    let lazy = action(&mut client, COMMENT);
    assert_eq!(lazy["edit"], Value::Null);
    let resolved = client.request("codeAction/resolve", lazy.clone());
    let change = &resolved["edit"]["documentChanges"][0];
    assert_eq!(change["textDocument"]["version"], 1);
    assert!(
        change["edits"][0]["newText"]
            .as_str()
            .is_some_and(|it| it.starts_with("# Equation at sum: "))
    );
    let explain = action(&mut client, EXPLAIN);
    assert_eq!(
        client.request("codeAction/resolve", explain.clone()),
        explain,
        "what is complete comes back as it is"
    );
    client.change(URI, 2, json!([{"text": "# other\n"}]));
    let stale = client.request("codeAction/resolve", lazy);
    assert_eq!(
        stale["error"]["code"], -32803,
        "an edit for an older version is refused: {stale}"
    );
}

#[test]
fn a_fix_is_offered_at_its_finding_and_one_is_preferred() {
    let mut client = Client::offering(literals(json!({})));
    client.open(URI, 1, "in -- R1 4,7k -- ground\n");
    let fixes: Vec<_> = client
        .actions(URI, 0, 10, 10)
        .into_iter()
        .filter(|it| it["kind"] == "quickfix")
        .collect();
    assert_eq!(
        fixes.iter().filter(|it| it["isPreferred"] == true).count(),
        1,
        "{fixes:?}"
    );
    assert_eq!(fixes[0]["diagnostics"][0]["code"], "decimal_comma");
    assert_eq!(fixes[0]["edit"]["changes"][URI][0]["newText"], "4.7");
    let only = json!({"textDocument": {"uri": URI}, "range": {"start": {"line": 0, "character": 10}, "end": {"line": 0, "character": 10}},
        "context": {"diagnostics": [], "only": ["explain"]}});
    assert_eq!(
        client.request("textDocument/codeAction", only),
        json!([]),
        "a fix is no explanation"
    );
}

#[test]
fn a_client_that_knows_only_commands_is_given_commands() {
    let mut client = Client::offering(json!({"workspace": {"applyEdit": true}}));
    client.open(URI, 1, "in -- R1 4,7k -- ground\n");
    let actions = client.actions(URI, 0, 10, 10);
    let fix = actions
        .iter()
        .find(|it| it["command"] == "ampersum.change")
        .expect("the fix is a command");
    assert!(fix["kind"].is_null(), "{fix}");
    assert_eq!(run(&mut client, fix), Value::Null);
    let asked = client.wait_for(|it| it["method"] == "workspace/applyEdit");
    assert_eq!(asked["params"]["edit"]["changes"][URI][0]["newText"], "4.7");
    client.change(URI, 2, json!([{"text": "in -- R1 4,7k -- ground\n\n"}]));
    assert_eq!(
        run(&mut client, fix)["error"]["code"],
        -32803,
        "it was for the text before"
    );
    let mut bare = Client::offering(json!({}));
    bare.open(URI, 1, "in -- R1 4,7k -- ground\n");
    assert!(
        bare.actions(URI, 0, 10, 10)
            .iter()
            .all(|it| it["command"] != "ampersum.change"),
        "it could not change the text"
    );
}
