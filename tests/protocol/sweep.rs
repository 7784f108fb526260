//! Every request at places all over sound and spoilt texts: whatever stands there, the answer is one, or a sentence that says
//! why there is none.

use serde_json::{Value, json};

use crate::client::Client;
use crate::desk::{URI, position};

/// What spoils a text, wherever it is put.
const SPOILS: [&str; 8] = ["--", "(", ".", "\"", "circuit", "end\n", "Ω", "𝛺 "];

/// Every request about a place.
const AT: [&str; 9] = [
    "textDocument/completion",
    "textDocument/signatureHelp",
    "textDocument/hover",
    "textDocument/definition",
    "textDocument/references",
    "textDocument/documentHighlight",
    "textDocument/prepareRename",
    "textDocument/rename",
    "textDocument/onTypeFormatting",
];

/// Every request about a text.
const ABOUT: [&str; 7] = [
    "textDocument/semanticTokens/full",
    "textDocument/foldingRange",
    "textDocument/codeLens",
    "textDocument/documentLink",
    "textDocument/documentSymbol",
    "textDocument/formatting",
    "textDocument/diagnostic",
];

#[test]
fn every_request_is_answered_wherever_it_is_asked() {
    let examples = concat!(env!("CARGO_MANIFEST_DIR"), "/../examples");
    let mut texts: Vec<String> = std::fs::read_dir(examples)
        .expect("there are examples")
        .map(|it| it.expect("an entry").path())
        .filter(|it| it.extension().is_some_and(|it| it == "amp"))
        .map(|it| std::fs::read_to_string(it).expect("a text"))
        .collect();
    texts.sort();
    texts.truncate(8);
    let offers = json!({"textDocument": {"codeAction": {
        "codeActionLiteralSupport": {"codeActionKind": {"valueSet": []}}, "disabledSupport": true,
    }}});
    let mut client = Client::offering(offers);
    let mut seed = 20_261_128_u64;
    let mut random = |below: usize| {
        // Knuth's multiplier, from memory; any full-period generator would do.
        seed = seed
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (seed >> 33) as usize % below
    };
    for (number, sound) in texts.iter().enumerate() {
        let mut spoilt = sound.clone();
        spoilt.insert_str(
            place(sound, random(sound.len())),
            SPOILS[number % SPOILS.len()],
        );
        for text in [sound, &spoilt] {
            client.open(URI, number as i32, text);
            for _ in 0..6 {
                let at = position(text, place(text, random(text.len())), "utf-16");
                for method in AT {
                    let parameters = json!({
                        "textDocument": {"uri": URI}, "position": at, "newName": "zz9", "ch": "\n",
                        "context": {"includeDeclaration": true, "triggerKind": 1, "isRetrigger": false},
                        "options": {"tabSize": 2, "insertSpaces": true},
                    });
                    answered(&mut client, method, parameters, text);
                }
                let end = position(text, text.len(), "utf-16");
                for only in [json!(null), json!(["refactor"])] {
                    let parameters = json!({
                        "textDocument": {"uri": URI}, "range": {"start": at, "end": end},
                        "context": {"diagnostics": [], "only": only},
                    });
                    answered(&mut client, "textDocument/codeAction", parameters, text);
                }
                let parameters = json!({"textDocument": {"uri": URI}, "positions": [at]});
                answered(&mut client, "textDocument/selectionRange", parameters, text);
            }
            for method in ABOUT {
                let parameters = json!({
                    "textDocument": {"uri": URI}, "options": {"tabSize": 2, "insertSpaces": true},
                });
                answered(&mut client, method, parameters, text);
            }
            client.notify(
                "textDocument/didClose",
                json!({"textDocument": {"uri": URI}}),
            );
        }
    }
}

/// The boundary of a character at or before a byte.
fn place(text: &str, byte: usize) -> usize {
    (0..=byte)
        .rfind(|it| text.is_char_boundary(*it))
        .unwrap_or(0)
}

#[track_caller]
fn answered(client: &mut Client, method: &str, parameters: Value, text: &str) {
    let answer = client.request(method, parameters.clone());
    let code = &answer["error"]["code"];
    // A request that cannot be done says so in a sentence.
    let refused = code == -32803
        && answer["error"]["message"]
            .as_str()
            .is_some_and(|it| it.ends_with('.'));
    assert!(
        code.is_null() || refused,
        "{method} {parameters}: {answer}\n{text}"
    );
}
