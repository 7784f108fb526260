//! The protocol over the wire: order, cancellation, failures, endings, positions.

use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::client::{Client, at};

const URI: &str = "file:///greenhouse/bed.amp";

/// The answer at `out` is −3.96 V; the title has characters of two, three and four bytes.
const CIRCUIT: &str = "\
circuit moisture_scaler \"Ω − 𝄞\"
supply +9 V and -9 V
source probe: in = 1.2 V
in -- R1 10k -- sum -- R2 33k -- out
opamp A1: plus ground, minus sum, drives out
out -- RL 4.7k -- ground
";

fn push() -> Value {
    json!({"textDocument": {
        "publishDiagnostics": {"versionSupport": true, "relatedInformation": true},
        "hover": {"contentFormat": ["markdown"]},
    }})
}

#[test]
fn a_hover_right_behind_an_edit_sees_it() {
    let mut client = Client::offering(push());
    client.open(URI, 1, CIRCUIT);
    let mut sent = Vec::new();
    for version in 2..200 {
        // 1.2 V and 2.4 V in turn, so that `out` is −3.96 V and −7.92 V.
        let volts = if version % 2 == 0 { "2.4" } else { "1.2" };
        let range =
            json!({"start": {"line": 2, "character": 19}, "end": {"line": 2, "character": 22}});
        client.change(URI, version, json!([{"range": range, "text": volts}]));
        sent.push((version, client.send("textDocument/hover", at(URI, 3, 34))));
    }
    for (version, id) in sent {
        let answer = client.answer(id);
        let words = answer["contents"]["value"].as_str().unwrap_or_default();
        let expected = if version % 2 == 0 {
            "**out = −7.92 V**"
        } else {
            "**out = −3.96 V**"
        };
        assert!(words.starts_with(expected), "version {version}: {words}");
    }
}

#[test]
fn changes_apply_one_after_another_in_the_units_of_the_client() {
    for (encodings, width) in [(json!(["utf-8", "utf-16"]), 4), (json!(["utf-16"]), 2)] {
        let mut client = Client::offering(json!({"general": {"positionEncodings": encodings}}));
        let named = &client.greeting["capabilities"]["positionEncoding"];
        assert_eq!(*named, encodings[0], "the first encoding that both know");
        client.open(URI, 1, "# 𝄞x\nsource s: a = 1 V\na -- R1 1k -- ground\n");
        // The x behind the clef, then what came in its place.
        let change = |from: u32, to: u32, text: &str| {
            let range = json!({"start": {"line": 0, "character": from}, "end": {"line": 0, "character": to}});
            json!({"range": range, "text": text})
        };
        let x = 2 + width;
        client.change(
            URI,
            2,
            json!([change(x, x + 1, "Ω\n## half"), change(x, 99, "")]),
        );
        // Line 0 is now "# 𝄞", line 1 the description of the source.
        let hover = client.hover(URI, 2, 7);
        assert!(hover.contains("half"), "{width}: {hover}");
        client.change(
            URI,
            3,
            json!([{"text": "source Ω𝛺: a = 1 V\na -- R1 1k -- ground\n"}]),
        );
        let range = &client.request("textDocument/hover", at(URI, 0, 7))["range"];
        let ends = if width == 4 { 7 + 2 + 4 } else { 7 + 1 + 2 };
        assert_eq!(range["end"], json!({"line": 0, "character": ends}));
    }
}

#[test]
fn two_thousand_random_edits_leave_the_text_that_the_client_has() {
    let mut client = Client::offering(json!({}));
    let pieces = [
        "a",
        "Ω",
        "𝄞",
        "\n",
        "\r\n",
        "in -- R1 10k -- out",
        "#",
        "\u{2212}",
        "",
    ];
    let mut text: Vec<u16> = Vec::new();
    client.open(URI, 0, "");
    let mut seed = 20_261_125_u64;
    let mut random = |below: usize| {
        // Knuth's multiplier, from memory; any full-period generator would do.
        seed = seed
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (seed >> 33) as usize % below
    };
    for version in 1..=2000 {
        let mut changes = Vec::new();
        for _ in 0..=random(2) {
            let [mut from, mut to] = [random(text.len() + 1), random(text.len() + 1)];
            if from > to {
                std::mem::swap(&mut from, &mut to);
            }
            to = to.min(from + 12);
            let whole = |at: usize| {
                at == 0
                    || at == text.len()
                    || !(splits_pair(&text, at) || splits_line_end(&text, at))
            };
            if !whole(from) || !whole(to) {
                continue;
            }
            let new = pieces[random(pieces.len())];
            changes.push(json!({"range": {"start": position(&text, from), "end": position(&text, to)}, "text": new}));
            text.splice(from..to, new.encode_utf16());
        }
        client.change(URI, version, json!(changes));
        if version % 50 == 0 {
            let theirs = client.request("trial/text", json!({"uri": URI}));
            assert_eq!(
                theirs,
                String::from_utf16(&text).expect("whole characters"),
                "version {version}"
            );
        }
    }
}

fn splits_pair(text: &[u16], at: usize) -> bool {
    (0xDC00..0xE000).contains(&text[at])
}

fn splits_line_end(text: &[u16], at: usize) -> bool {
    text[at - 1] == u16::from(b'\r') && text[at] == u16::from(b'\n')
}

/// Line and character of an index, counted without the server's help.
fn position(text: &[u16], at: usize) -> Value {
    let (mut line, mut character) = (0, 0);
    for index in 0..at {
        let next = text.get(index + 1);
        match text[index] {
            10 => (line, character) = (line + 1, 0),
            13 if next != Some(&10) => (line, character) = (line + 1, 0),
            _ => character += 1,
        }
    }
    json!({"line": line, "character": character})
}

#[test]
fn an_encoding_that_was_not_offered_is_not_named() {
    let client = Client::offering(json!({}));
    assert_eq!(
        client.greeting["capabilities"]["positionEncoding"],
        Value::Null
    );
}

#[test]
fn cancelling_answers_at_once_and_stops_the_work() {
    let mut client = Client::offering(json!({}));
    let ids: Vec<_> = (0..4)
        .map(|_| client.send("trial/wait", json!({"seconds": 600})))
        .collect();
    waits(&mut client, 4);
    for id in &ids {
        client.notify("$/cancelRequest", json!({"id": id}));
    }
    for id in ids {
        assert_eq!(client.answer(id)["error"]["code"], -32800);
    }
    waits(&mut client, 0);
}

/// Returns once so many requests wait.
#[track_caller]
fn waits(client: &mut Client, number: u32) {
    let until = Instant::now() + Duration::from_secs(20);
    while client.request("trial/waiting", Value::Null) != number {
        assert!(Instant::now() < until, "never {number}");
        std::thread::sleep(Duration::from_millis(5));
    }
}

#[test]
fn work_of_one_request_holds_up_no_other() {
    let mut client = Client::offering(push());
    client.open(URI, 1, CIRCUIT);
    for _ in 0..8 {
        client.send("trial/wait", json!({"seconds": 60}));
    }
    assert!(client.hover(URI, 3, 34).starts_with("**out = −3.96 V**"));
}

#[test]
fn a_panic_is_the_error_of_its_request_alone() {
    let mut client = Client::offering(push());
    for place in ["handler", "work"] {
        let answer = client.request("trial/panic", json!({"in": place}));
        assert_eq!(answer["error"]["code"], -32603, "{place}");
    }
    client.open(URI, 1, CIRCUIT);
    assert!(client.hover(URI, 3, 34).starts_with("**out = −3.96 V**"));
    client.request("shutdown", Value::Null);
    client.notify("exit", Value::Null);
    assert_eq!(client.ended(), Some(0));
    assert_eq!(client.errors(), "", "standard error stays silent");
}

#[test]
fn bad_bodies_are_answered_and_survived() {
    let mut client = Client::offering(push());
    for body in [
        "{notjson}",
        "[]",
        "3",
        "{\"jsonrpc\":\"2.0\"}",
        "{\"id\":1,\"method\":7}",
    ] {
        client.frame(body);
        let answer = client.wait_for(|it| it["id"].is_null() && it["error"].is_object());
        assert_eq!(answer["error"]["code"], -32700, "{body}");
    }
    client.raw(b"Content-Type: application/json\r\n\r\n");
    client.wait_for(|it| it["error"]["code"] == -32700);
    client.notify("textDocument/didChange", json!({"textDocument": 3}));
    client.notify("textDocument/didOpen", json!([]));
    client.change("file:///not/open.amp", 3, json!([{"text": "x"}]));
    client.notify("some/thing", json!({}));
    assert_eq!(
        client.request("some/thing", json!({}))["error"]["code"],
        -32601
    );
    assert_eq!(
        client.request("textDocument/hover", json!({"x": 1}))["error"]["code"],
        -32602
    );
    assert_eq!(client.hover("file:///not/open.amp", 0, 0), "");
    client.open(URI, 1, CIRCUIT);
    assert!(client.hover(URI, 3, 34).starts_with("**out"));
    assert_eq!(client.hover(URI, 999, 999), "", "a place outside the text");
}

#[test]
fn a_wrong_length_costs_its_neighbours_at_most() {
    let mut client = Client::offering(push());
    for length in [1, 40, 200] {
        let body = r#"{"jsonrpc":"2.0","id":"lost","method":"trial/waiting"}"#;
        client.raw(format!("Content-Length: {length}\r\n\r\n{body}").as_bytes());
        // What stands right behind it may be lost with it.
        client.notify("some/thing", json!({"words": "Ω 𝄞"}));
        client.notify(
            "some/thing",
            json!({"words": "Ω 𝄞 and so many more that the longest is over, whatever it was"}),
        );
        client.wait_for(|it| it["error"]["code"] == -32700);
        assert_eq!(client.request("trial/waiting", Value::Null), 0, "{length}");
    }
}

#[test]
fn the_process_ends_as_the_client_says() {
    let ended = |say: &dyn Fn(&mut Client)| {
        let mut client = Client::offering(json!({}));
        say(&mut client);
        client.ended()
    };
    for parameters in [Value::Null, json!({}), json!([])] {
        let clean = ended(&|it| {
            assert_eq!(
                it.request("shutdown", parameters.clone()),
                Value::Null,
                "{parameters}"
            );
            it.notify("exit", parameters.clone());
        });
        assert_eq!(clean, Some(0), "shutdown, then exit");
    }
    assert_eq!(
        ended(&|it| it.notify("exit", Value::Null)),
        Some(1),
        "exit alone"
    );
    assert_eq!(ended(&|it| it.hang_up()), Some(1), "the client is gone");
    let busy = ended(&|it| {
        it.send("trial/wait", json!({"seconds": 60}));
        it.hang_up();
    });
    assert_eq!(busy, Some(1), "the client is gone, a request running");
    let mut silent = Client::silent();
    silent.notify("exit", Value::Null);
    assert_eq!(silent.ended(), Some(1), "exit before initialize");
}

#[test]
fn the_process_ends_with_the_one_that_started_it() {
    let mut editor = std::process::Command::new("sleep")
        .arg("1000")
        .spawn()
        .expect("sleep runs");
    let mut client = Client::silent();
    client.request(
        "initialize",
        json!({"processId": editor.id(), "capabilities": {}}),
    );
    editor
        .kill()
        .and_then(|()| editor.wait())
        .expect("it can be ended");
    assert_eq!(client.ended(), Some(1));
}

#[test]
fn nothing_is_answered_before_initialize_and_nothing_after_shutdown() {
    let mut client = Client::silent();
    for method in ["textDocument/hover", "some/thing", "shutdown", "$/some"] {
        let answer = client.request(method, at(URI, 0, 0));
        assert_eq!(answer["error"]["code"], -32002, "{method}");
    }
    client.request("initialize", json!({"capabilities": {}}));
    assert_eq!(
        client.request("initialize", json!({"capabilities": {}}))["error"]["code"],
        -32600
    );
    client.request("shutdown", Value::Null);
    for method in ["textDocument/hover", "some/thing", "initialize", "shutdown"] {
        let answer = client.request(method, at(URI, 0, 0));
        assert_eq!(answer["error"]["code"], -32600, "{method}");
    }
}

#[test]
fn a_request_without_a_number_and_what_is_said_again_change_nothing() {
    let offered = json!({"workspace": {
        "didChangeWatchedFiles": {"dynamicRegistration": true},
        "configuration": true,
        "codeLens": {"refreshSupport": true},
    }});
    let mut client = Client::offering(offered);
    client.frame(r#"{"jsonrpc":"2.0","id":null,"method":"textDocument/hover","params":{}}"#);
    let answer = client.wait_for(|it| it["error"]["code"] == -32600);
    assert_eq!(answer["id"], Value::Null);
    // The first one brought a registration; then the lenses are asked for anew, without parameters.
    client.wait_for(|it| it["method"] == "client/registerCapability");
    client.notify("initialized", json!({}));
    client.notify(
        "workspace/didChangeConfiguration",
        json!({"settings": {"ampersum": {}}}),
    );
    let next = client.wait_for(|it| {
        it["method"] == "client/registerCapability" || it["method"] == "workspace/codeLens/refresh"
    });
    assert_eq!(next["method"], "workspace/codeLens/refresh");
    assert!(next.get("params").is_none(), "{next}");
}

#[test]
fn messages_sent_without_waiting_for_the_greeting_are_answered_in_order() {
    let mut client = Client::silent();
    let greeting = client.send("initialize", json!({"capabilities": push()}));
    client.notify("initialized", json!({}));
    client.open(URI, 1, CIRCUIT);
    let hover = client.send("textDocument/hover", at(URI, 3, 34));
    let first = client.wait_for(|_| true);
    assert_eq!(first["id"], greeting);
    assert!(
        client.answer(hover)["contents"]["value"]
            .as_str()
            .is_some_and(|it| it.starts_with("**out"))
    );
}

#[test]
fn diagnostics_carry_the_version_that_they_are_for() {
    let mut client = Client::offering(push());
    client.open(URI, 7, "in -- R1 10kOhm -- out\n");
    let first = client.published(URI);
    assert_eq!(first["version"], 7);
    assert_eq!(first["diagnostics"][0]["code"], "unknown_unit");
    assert_eq!(first["diagnostics"][0]["source"], "ampersum");
    let range = json!({"start": {"line": 0, "character": 11}, "end": {"line": 0, "character": 15}});
    assert_eq!(first["diagnostics"][0]["range"], range);
    for version in 8..400 {
        client.change(
            URI,
            version,
            json!([{"text": format!("# {version}\nin -- R1 10kOhm -- out\n")}]),
        );
    }
    let mut last = 7;
    while last < 399 {
        let version = client.published(URI)["version"]
            .as_i64()
            .expect("a version");
        assert!(version >= last, "{version} after {last}");
        last = version;
    }
    client.notify(
        "textDocument/didClose",
        json!({"textDocument": {"uri": URI}}),
    );
    assert_eq!(
        client.published(URI)["diagnostics"],
        json!([]),
        "a closed text has none"
    );
}

#[test]
fn edits_are_taken_while_the_client_reads_nothing() {
    let mut client = Client::offering(push());
    // 30 kB of findings a version, and a pipe takes 64 kB.
    let faulty = "in -- R1 10kOhm -- out\n".repeat(60);
    client.open(URI, 1, &faulty);
    for version in 2..2000 {
        client.change(
            URI,
            version,
            json!([{"text": format!("# {version}\n{faulty}")}]),
        );
    }
    let mut versions = 0;
    while client.published(URI)["version"] != 1999 {
        versions += 1;
    }
    assert!(
        versions < 1900,
        "old diagnostics are left out: {versions} were sent"
    );
}

#[test]
fn an_unfinished_line_is_told_once_it_is_left_alone() {
    let mut client = Client::offering(push());
    client.open(URI, 1, "ground -- R1 10k -- ground\n");
    client.published(URI);
    let insert = |line: u32, character: u32, text: &str| {
        let place = json!({"line": line, "character": character});
        json!([{"range": {"start": place, "end": place}, "text": text}])
    };
    let codes = |published: &Value| {
        let list = published["diagnostics"]
            .as_array()
            .cloned()
            .unwrap_or_default();
        list.iter()
            .map(|it| it["code"].as_str().unwrap_or_default().to_string())
            .collect::<Vec<_>>()
    };
    client.change(URI, 2, insert(1, 0, "in -- R2"));
    let typed = client.published(URI);
    assert!(
        !codes(&typed).contains(&"element_value".to_string()),
        "it is being written: {typed}"
    );
    let later = client.published(URI);
    assert_eq!(later["version"], 2);
    assert!(
        codes(&later).contains(&"element_value".to_string()),
        "half a second went by: {later}"
    );
    client.change(URI, 3, insert(1, 8, "0"));
    assert!(
        !codes(&client.published(URI)).contains(&"element_value".to_string()),
        "it is being written again"
    );
    client.change(URI, 4, insert(0, 0, "# elsewhere\n"));
    let left = client.published(URI);
    assert_eq!(left["version"], 4);
    assert!(
        codes(&left).contains(&"element_value".to_string()),
        "another line is written: {left}"
    );
}

#[test]
fn what_is_offered_is_answered_and_nothing_else() {
    let everything = json!({
        "textDocument": {
            "codeAction": {
                "codeActionLiteralSupport": {"codeActionKind": {"valueSet": []}},
                "resolveSupport": {"properties": ["edit"]},
                "dataSupport": true,
            },
            "diagnostic": {},
        },
        "workspace": {"diagnostics": {"refreshSupport": true}},
    });
    let mut client = Client::offering(everything);
    client.open(URI, 1, CIRCUIT);
    let place = json!({"textDocument": {"uri": URI}, "position": {"line": 3, "character": 34}});
    let range = json!({"start": {"line": 0, "character": 0}, "end": {"line": 6, "character": 0}});
    let ranged =
        json!({"textDocument": {"uri": URI}, "range": range, "context": {"diagnostics": []}});
    let whole = json!({"textDocument": {"uri": URI}});
    let offered = client.greeting["capabilities"].clone();
    for (capability, method, parameters) in [
        ("hoverProvider", "textDocument/hover", &place),
        ("definitionProvider", "textDocument/definition", &place),
        (
            "documentSymbolProvider",
            "textDocument/documentSymbol",
            &whole,
        ),
        ("inlayHintProvider", "textDocument/inlayHint", &ranged),
        ("codeActionProvider", "textDocument/codeAction", &ranged),
        ("diagnosticProvider", "textDocument/diagnostic", &whole),
        ("completionProvider", "textDocument/completion", &place),
        (
            "signatureHelpProvider",
            "textDocument/signatureHelp",
            &place,
        ),
        (
            "referencesProvider",
            "textDocument/references",
            &json!({"textDocument": {"uri": URI}, "position": place["position"], "context": {"includeDeclaration": true}}),
        ),
        (
            "documentHighlightProvider",
            "textDocument/documentHighlight",
            &place,
        ),
        ("foldingRangeProvider", "textDocument/foldingRange", &whole),
        (
            "documentFormattingProvider",
            "textDocument/formatting",
            &json!({"textDocument": {"uri": URI}, "options": {"tabSize": 2, "insertSpaces": true}}),
        ),
        ("codeLensProvider", "textDocument/codeLens", &whole),
        (
            "renameProvider",
            "textDocument/rename",
            &json!({"textDocument": {"uri": URI}, "position": place["position"], "newName": "x"}),
        ),
        (
            "workspaceSymbolProvider",
            "workspace/symbol",
            &json!({"query": ""}),
        ),
    ] {
        let answered = client.request(method, parameters.clone());
        let is_answered = answered["error"]["code"] != -32601;
        assert_eq!(
            is_answered,
            !offered[capability].is_null(),
            "{method}: {answered}"
        );
        assert!(
            !is_answered || answered["error"].is_null(),
            "{method}: {answered}"
        );
    }
}

#[test]
fn a_client_that_asks_for_diagnostics_is_sent_none() {
    let pull = json!({
        "textDocument": {"diagnostic": {}, "publishDiagnostics": {}},
        "workspace": {"diagnostics": {"refreshSupport": true}},
    });
    let mut client = Client::offering(pull);
    client.open(URI, 1, "in -- R1 10kOhm -- out\n");
    let ask = |client: &mut Client, known: Value| {
        client.request(
            "textDocument/diagnostic",
            json!({"textDocument": {"uri": URI}, "previousResultId": known}),
        )
    };
    let first = ask(&mut client, Value::Null);
    assert_eq!(first["kind"], "full");
    assert_eq!(first["items"][0]["code"], "unknown_unit");
    assert_eq!(
        ask(&mut client, first["resultId"].clone())["kind"],
        "unchanged"
    );
    client.change(
        URI,
        2,
        json!([{"text": "in -- R1 10kOhm -- out\nin -- R2"}]),
    );
    let typed = ask(&mut client, Value::Null);
    let told = |report: &Value| {
        report["items"]
            .as_array()
            .is_some_and(|it| it.iter().any(|it| it["code"] == "element_value"))
    };
    assert!(!told(&typed), "the line is being written: {typed}");
    client.wait_for(|it| it["method"] == "workspace/diagnostic/refresh");
    assert!(
        told(&ask(&mut client, Value::Null)),
        "half a second went by"
    );
    let sent = client.try_wait_for(Duration::from_millis(200), |it| {
        it["method"] == "textDocument/publishDiagnostics"
    });
    assert_eq!(sent, None);
}

#[test]
fn settings_come_with_the_greeting_and_when_they_are_asked_for_and_mistakes_are_told_once() {
    let mut client = Client::silent();
    let hidden = json!({"ampersum": {"answers": {"hidden": true}, "rules": {"lose_end": "off"}}});
    client.request(
        "initialize",
        json!({"capabilities": push(), "initializationOptions": hidden}),
    );
    client.notify("initialized", json!({}));
    client.open(URI, 1, CIRCUIT);
    let told = client.wait_for(|it| it["method"] == "window/showMessage");
    assert!(
        told["params"]["message"]
            .as_str()
            .is_some_and(|it| it.contains("lose_end") && it.contains("loose_end")),
        "{told}"
    );
    assert!(
        client.hover(URI, 3, 34).starts_with("**out**"),
        "the answer is hidden"
    );
    client.change(URI, 2, json!([{"text": format!("# more\n{CIRCUIT}")}]));
    client.published(URI);
    client.notify(
        "workspace/didChangeConfiguration",
        json!({"settings": {"ampersum": {}}}),
    );
    client.notify(
        "textDocument/didClose",
        json!({"textDocument": {"uri": "file:///not/open.amp"}}),
    );
    assert!(
        client.hover(URI, 4, 34).starts_with("**out = −3.96 V**"),
        "and shown again"
    );
    let again = client.try_wait_for(Duration::from_millis(200), |it| {
        it["method"] == "window/showMessage"
    });
    assert_eq!(again, None);

    let offers = json!({"workspace": {
        "configuration": true, "didChangeConfiguration": {"dynamicRegistration": true},
        "didChangeWatchedFiles": {"dynamicRegistration": true},
    }});
    let mut client = Client::offering(offers);
    client.wait_for(|it| it["method"] == "workspace/configuration");
    let registered = client.wait_for(|it| it["method"] == "client/registerCapability");
    assert_eq!(
        registered["params"]["registrations"]
            .as_array()
            .map(Vec::len),
        Some(2)
    );
}
