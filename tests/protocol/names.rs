//! References, highlights, rename.

use serde_json::{Value, json};

use crate::client::Client;
use crate::desk::{Desk, Folder, URI, each};

const TEXT: &str = "\
source Ω: «s𝛺» = 1 V
«s𝛺» -- R1 1kΩ -- «»out -- R2 1kΩ -- ground
opamp A1: plus out, minus q, drives q
expect «s𝛺» = 1 V
";

fn places(desk: &Desk, answer: &Value, range: impl Fn(&Value) -> &Value) -> Vec<(usize, usize)> {
    let list = answer.as_array().expect("a list");
    list.iter().map(|it| desk.bytes(range(it))).collect()
}

#[test]
fn references_are_all_places_of_a_name() {
    each(json!({}), TEXT, |desk| {
        let answer = desk.ask(
            "textDocument/references",
            0,
            json!({"context": {"includeDeclaration": true}}),
        );
        let marks: Vec<_> = desk
            .marks
            .iter()
            .filter(|it| it.0 < it.1)
            .copied()
            .collect();
        assert_eq!(places(desk, &answer, |it| &it["range"]), marks);
        assert_eq!(answer[0]["uri"], URI);
        let none = desk.client.request(
            "textDocument/references",
            json!({"textDocument": {"uri": URI}, "position": {"line": 9, "character": 0}, "context": {"includeDeclaration": true}}),
        );
        assert_eq!(none, Value::Null);
    });
}

#[test]
fn highlights_tell_writing_from_reading() {
    each(json!({}), TEXT, |desk| {
        let answer = desk.ask("textDocument/documentHighlight", 0, json!({}));
        let kinds: Vec<_> = answer
            .as_array()
            .expect("a list")
            .iter()
            .map(|it| it["kind"].clone())
            .collect();
        assert_eq!(json!(kinds), json!([3, 2, 2]), "the source writes");
        assert_eq!(places(desk, &answer, |it| &it["range"])[0], desk.marks[0]);
    });
}

#[test]
fn a_rename_is_prepared_refused_or_made() {
    let offers = json!({"textDocument": {"rename": {"prepareSupport": true}}});
    each(offers, TEXT, |desk| {
        assert_eq!(
            desk.client.greeting["capabilities"]["renameProvider"],
            json!({"prepareProvider": true})
        );
        let prepared = desk.ask("textDocument/prepareRename", 0, json!({}));
        assert_eq!(prepared["placeholder"], "s𝛺");
        assert_eq!(desk.bytes(&prepared["range"]), desk.marks[0]);
        let edit = desk.ask("textDocument/rename", 0, json!({"newName": "𝛺Ω"}));
        assert_eq!(
            desk.edited(&edit["changes"][URI]),
            desk.text.replace("s𝛺", "𝛺Ω")
        );
        let taken = desk.ask("textDocument/rename", 0, json!({"newName": "out"}));
        assert_eq!(taken["error"]["code"], -32803);
        assert_eq!(
            taken["error"]["message"],
            "`out` is already a node, in line 2."
        );
        let ground = desk.text.find("ground").expect("it stands there");
        let parameters = json!({"textDocument": {"uri": URI}, "position": desk.position(ground)});
        let refused = desk
            .client
            .request("textDocument/prepareRename", parameters);
        assert_eq!(
            refused["error"]["message"],
            "`ground` is the reference, 0 V: it keeps its name."
        );
        let nothing =
            json!({"textDocument": {"uri": URI}, "position": desk.position(desk.text.len())});
        assert_eq!(
            desk.client.request("textDocument/prepareRename", nothing),
            Value::Null
        );
    });
}

#[test]
fn a_rename_reaches_files_that_are_not_open_and_says_so() {
    let folder = Folder::with(&[
        ("ampersum.toml", ""),
        (
            "Ω𝛺/bed.amp",
            "use \"../lab.amp\"\ncircuit c\n# Ω 𝛺\nhalf H1: in a, out b\nexpect H1.mid𝛺 = 1 V\n",
        ),
    ]);
    let mut client = Client::silent();
    let offers = json!({"workspace": {"workspaceEdit": {
        "documentChanges": true, "changeAnnotationSupport": {"groupsOnLabel": true},
    }}});
    client.request(
        "initialize",
        json!({"processId": null, "capabilities": offers, "workspaceFolders": [{"uri": folder.root(), "name": "Ω"}]}),
    );
    client.notify("initialized", json!({}));
    let lab = folder.uri("lab.amp");
    client.open(
        &lab,
        7,
        "block half: in, out\n  in -- R1 1k -- mid𝛺 -- R2 1k -- out\nend\n",
    );
    let edit = client.request(
        "textDocument/rename",
        json!({"textDocument": {"uri": lab}, "position": {"line": 1, "character": 18}, "newName": "tap"}),
    );
    let changes = &edit["documentChanges"];
    assert_eq!(
        changes[0]["textDocument"],
        json!({"uri": lab, "version": 7})
    );
    assert_eq!(changes[0]["edits"][0]["annotationId"], Value::Null);
    assert_eq!(changes[1]["textDocument"]["version"], Value::Null);
    // The client may spell the address otherwise, but it is that file.
    assert!(
        changes[1]["textDocument"]["uri"]
            .as_str()
            .is_some_and(|it| it.ends_with("/bed.amp"))
    );
    let change = &changes[1]["edits"][0];
    assert_eq!(
        change["range"],
        json!({"start": {"line": 4, "character": 10}, "end": {"line": 4, "character": 15}})
    );
    let annotation = change["annotationId"].as_str().expect("it is annotated");
    assert_eq!(
        edit["changeAnnotations"][annotation]["needsConfirmation"],
        true
    );
    assert_eq!(
        edit["changeAnnotations"][annotation]["label"],
        "In files that are not open"
    );
}
