//! Findings of a whole workspace, asked for and told; files that move; what takes long; traces.

use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::client::Client;
use crate::desk::{Folder, URI, each};

fn pulling() -> Value {
    json!({
        "textDocument": {"diagnostic": {"relatedDocumentSupport": true}},
        "workspace": {"diagnostics": {"refreshSupport": true}},
    })
}

fn at(folder: &Folder, offers: Value) -> Client {
    let mut client = Client::silent();
    client.greeting = client.request(
        "initialize",
        json!({"capabilities": offers, "workspaceFolders": [{"uri": folder.root(), "name": "class"}]}),
    );
    client.notify("initialized", json!({}));
    client
}

const BROKEN: &str = "# Ω 𝛺\nin -- R1 4,7k -- out\n";
const SOUND: &str = "# Ω 𝛺\nsource s: in = 1 V\nin -- R1 4.7k -- ground\n";

/// The rules found in each text of a report, by the end of its address.
fn rules(items: &Value) -> Vec<(String, Vec<String>)> {
    let rules = |it: &Value| -> Vec<String> {
        let list = it["items"].as_array().cloned().unwrap_or_default();
        let mut rules: Vec<_> = list
            .iter()
            .map(|it| it["code"].as_str().unwrap_or_default().to_owned())
            .collect();
        rules.sort();
        rules
    };
    let name = |it: &Value| {
        it["uri"]
            .as_str()
            .and_then(|it| it.rsplit('/').next())
            .unwrap_or_default()
            .to_owned()
    };
    let items = items.as_array().expect("a list");
    items.iter().map(|it| (name(it), rules(it))).collect()
}

#[test]
fn all_texts_of_a_folder_are_told_and_those_that_are_as_they_were_only_named() {
    let folder = Folder::with(&[("a.amp", BROKEN), ("beds/b.amp", SOUND)]);
    let mut client = at(&folder, pulling());
    assert_eq!(
        client.greeting["capabilities"]["diagnosticProvider"]["workspaceDiagnostics"],
        true
    );
    let report = client.request("workspace/diagnostic", json!({"previousResultIds": []}));
    let found = rules(&report["items"]);
    assert_eq!(found[0].0, "a.amp");
    assert!(
        found[0].1.contains(&"decimal_comma".to_owned()),
        "{found:?}"
    );
    assert_eq!(found[1], ("b.amp".to_owned(), vec![]));
    let known: Vec<_> = report["items"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|it| json!({"uri": it["uri"], "value": it["resultId"]}))
        .collect();
    folder.write("a.amp", SOUND);
    let again = client.request("workspace/diagnostic", json!({"previousResultIds": known}));
    let kinds: Vec<_> = again["items"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|it| it["kind"].clone())
        .collect();
    assert_eq!(kinds, ["full", "unchanged"]);
    assert_eq!(again["items"][0]["items"], json!([]));
}

#[test]
fn a_client_that_listens_is_told_what_changes() {
    let folder = Folder::with(&[("a.amp", SOUND), ("b.amp", SOUND)]);
    let mut client = at(&folder, pulling());
    let id = client.send(
        "workspace/diagnostic",
        json!({"previousResultIds": [], "partialResultToken": "Ω𝛺"}),
    );
    let piece = |it: &Value| it["method"] == "$/progress" && it["params"]["token"] == "Ω𝛺";
    let first = client.wait_for(piece);
    assert_eq!(rules(&first["params"]["value"]["items"]).len(), 2);
    client.open(&folder.uri("a.amp"), 1, BROKEN);
    let mut next = client.wait_for(piece);
    while !rules(&next["params"]["value"]["items"])[0]
        .1
        .contains(&"decimal_comma".to_owned())
    {
        next = client.wait_for(piece);
    }
    assert_eq!(next["params"]["value"]["items"][0]["version"], 1);
    assert_eq!(
        rules(&next["params"]["value"]["items"]).len(),
        1,
        "only what differs"
    );
    std::fs::remove_file(folder.uri("b.amp").strip_prefix("file://").expect("a file"))
        .expect("it can be removed");
    client.notify(
        "workspace/didChangeWatchedFiles",
        json!({"changes": [{"uri": folder.uri("b.amp"), "type": 3}]}),
    );
    let gone = client.wait_for(piece);
    assert_eq!(
        rules(&gone["params"]["value"]["items"]),
        [("b.amp".to_owned(), vec![])]
    );
    client.notify("$/cancelRequest", json!({"id": id}));
    assert_eq!(client.answer(id)["error"]["code"], -32800);
}

#[test]
fn used_files_are_told_beside_the_text_that_uses_them() {
    let folder = Folder::with(&[("lab.amp", "# Ω 𝛺\npart slow\n  gain 4,7\nend\n")]);
    let mut client = at(&folder, pulling());
    let bed = folder.uri("bed.amp");
    client.open(&bed, 1, "use \"lab.amp\"\ncircuit c\n");
    let report = client.request(
        "textDocument/diagnostic",
        json!({"textDocument": {"uri": bed}}),
    );
    let used = &report["relatedDocuments"][folder.uri("lab.amp")];
    assert_eq!(used["items"][0]["code"], "decimal_comma");
}

#[test]
fn a_used_file_that_is_not_open_is_told_to_those_who_do_not_ask() {
    let folder = Folder::with(&[("lab.amp", "# Ω 𝛺\npart slow\n  gain 4,7\nend\n")]);
    let mut client = at(&folder, json!({}));
    let (bed, lab) = (folder.uri("bed.amp"), folder.uri("lab.amp"));
    client.open(&bed, 1, "# 𝛺\nuse \"lab.amp\"\ncircuit c\n");
    let told = client.published(&lab);
    assert_eq!(told["diagnostics"][0]["code"], "decimal_comma");
    assert_eq!(
        told["diagnostics"][0]["range"]["start"],
        json!({"line": 2, "character": 7})
    );
    // Nobody uses it any more.
    client.change(&bed, 2, json!([{"text": "# 𝛺\ncircuit c\n"}]));
    assert_eq!(client.published(&lab)["diagnostics"], json!([]));
}

#[test]
fn a_finding_leads_to_its_page_and_carries_what_it_is_about() {
    let offers = json!({"textDocument": {"publishDiagnostics": {"codeDescriptionSupport": true, "dataSupport": true}}});
    each(
        offers,
        "source Ω: s𝛺 = 1 V\ns𝛺 -- R1 1k -- loose\ns𝛺 -- R2 1k -- ground\n",
        |desk| {
            let published = desk.client.published(URI);
            let found = published["diagnostics"].as_array().expect("a list");
            let loose = found
                .iter()
                .find(|it| it["code"] == "loose_end")
                .expect("it is found");
            assert_eq!(desk.words(&loose["range"]), "loose");
            assert_eq!(loose["data"]["rule"], "loose_end");
            assert!(
                loose["data"]["subjects"]
                    .as_array()
                    .is_some_and(|it| it.contains(&json!("loose")))
            );
            let page = loose["codeDescription"]["href"]
                .as_str()
                .and_then(|it| it.strip_prefix("file://"))
                .expect("a file");
            let page = std::fs::read_to_string(page).expect("the page is there");
            assert!(
                page.starts_with("# loose_end\n") && page.contains("# Wrong"),
                "{page}"
            );
        },
    );
}

#[test]
fn a_moved_file_is_followed_by_its_users() {
    let folder = Folder::with(&[
        ("ampersum.toml", ""),
        ("lab.amp", "part slow\nend\n"),
        ("beds/shut.amp", "use \"../lab.amp\"\n"),
    ]);
    let mut client = at(
        &folder,
        json!({"workspace": {"fileOperations": {"willRename": true}, "workspaceEdit": {"documentChanges": true}}}),
    );
    let filters =
        &client.greeting["capabilities"]["workspace"]["fileOperations"]["willRename"]["filters"];
    assert_eq!(filters[0]["pattern"]["glob"], "**/*.amp");
    client.open(&folder.uri("bed.amp"), 3, "# Ω 𝛺\nuse \"lab.amp\"\n");
    let moved =
        json!({"files": [{"oldUri": folder.uri("lab.amp"), "newUri": folder.uri("parts/Ω.amp")}]});
    let edit = client.request("workspace/willRenameFiles", moved);
    let changes = edit["documentChanges"].as_array().expect("a list");
    assert_eq!(
        changes[0]["textDocument"],
        json!({"uri": folder.uri("bed.amp"), "version": 3})
    );
    assert_eq!(changes[0]["edits"][0]["newText"], "parts/Ω.amp");
    assert_eq!(
        changes[0]["edits"][0]["range"]["start"],
        json!({"line": 1, "character": 5})
    );
    assert_eq!(changes[1]["edits"][0]["newText"], "../parts/Ω.amp");
    let nothing =
        json!({"files": [{"oldUri": folder.uri("x.amp"), "newUri": folder.uri("y.amp")}]});
    assert_eq!(
        client.request("workspace/willRenameFiles", nothing),
        Value::Null
    );
}

/// A text that takes a while on any machine.
fn long() -> String {
    let circuit = |number| {
        format!("circuit c{number}\nsource s: a = 1 V\na -- R1 1k -- b -- R2 1k -- ground\n")
    };
    (0..6_000).map(circuit).collect()
}

#[test]
fn long_work_is_shown_and_its_end_too() {
    let mut client = Client::offering(json!({"window": {"workDoneProgress": true}}));
    let text = long();
    client.open(URI, 1, &text);
    let created = client.wait_for(|it| it["method"] == "window/workDoneProgress/create");
    let token = created["params"]["token"].clone();
    let begun =
        client.wait_for(|it| it["method"] == "$/progress" && it["params"]["token"] == token);
    assert_eq!(begun["params"]["value"]["kind"], "begin");
    assert_eq!(begun["params"]["value"]["title"], "Checking bed.amp");
    client.change(URI, 2, json!([{"text": "# Ω\n"}]));
    let ended =
        client.wait_for(|it| it["method"] == "$/progress" && it["params"]["token"] == token);
    assert_eq!(ended["params"]["value"]["kind"], "end");
}

#[test]
fn cancelling_a_check_stops_it() {
    let mut client = Client::offering(json!({}));
    let text = long();
    client.open(URI, 1, &text);
    let start = Instant::now();
    let id = client.send(
        "textDocument/hover",
        json!({"textDocument": {"uri": URI}, "position": {"line": 1, "character": 0}}),
    );
    client.notify("$/cancelRequest", json!({"id": id}));
    assert_eq!(client.answer(id)["error"]["code"], -32800);
    assert!(start.elapsed() < Duration::from_secs(20), "at once");
}

#[test]
fn a_client_that_traces_is_told_how_requests_are_answered() {
    let mut client = Client::offering(json!({}));
    let trace = |it: &Value| it["method"] == "$/logTrace";
    client.notify("$/setTrace", json!({"value": "messages"}));
    client.request("trial/waiting", Value::Null);
    let told = client.wait_for(trace);
    assert!(
        told["params"]["message"]
            .as_str()
            .is_some_and(|it| it.starts_with("trial/waiting answered in "))
    );
    client.notify("$/setTrace", json!({"value": "off"}));
    client.request("trial/waiting", Value::Null);
    assert_eq!(client.try_wait_for(Duration::from_millis(100), trace), None);
}
