//! Random edits: the server's text is the client's at every checkpoint, and what it says at the end of a text is what it
//! says of that text when it is opened fresh.
//!
//! `AMPERSUM_EDITS=1000000 cargo nextest run -p ampersum-tests random_edits` makes more of them.

use serde_json::{Value, json};

use crate::client::Client;
use crate::desk::{ENCODINGS, URI, position};

const PIECES: [&str; 18] = [
    "a",
    "Ω",
    "𝛺",
    "\n",
    "\n",
    " ",
    "in -- R1 10k -- out\n",
    "#",
    "\u{2212}",
    "",
    "",
    "circuit c𝛺\n",
    "circuit d\n",
    "4.7k",
    " -- ",
    "opamp A1: plus in, minus out, drives out\n",
    "source s𝛺: in = 1 V\n",
    "expect out = 1 V # Ω\n",
];

#[test]
fn random_edits_leave_the_text_and_the_findings_of_a_fresh_one() {
    let edits: usize = std::env::var("AMPERSUM_EDITS")
        .ok()
        .and_then(|it| it.parse().ok())
        .unwrap_or(20_000);
    for (seed, encoding) in ENCODINGS.into_iter().enumerate() {
        run(encoding, seed as u64, edits / ENCODINGS.len());
    }
}

fn run(encoding: &'static str, seed: u64, edits: usize) {
    let offers = json!({
        "general": {"positionEncodings": [encoding]},
        "textDocument": {"publishDiagnostics": {"versionSupport": true}},
    });
    let mut client = Client::offering(offers.clone());
    let mut text = "source s𝛺: in = 1 V\nin -- R1 1kΩ -- out -- R2 1k -- ground\n".to_owned();
    client.open(URI, 0, &text);
    let mut seed = 20_261_127 + seed;
    let mut random = |below: usize| {
        // Knuth's multiplier, from memory; any full-period generator would do.
        seed = seed
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (seed >> 33) as usize % below
    };
    let checkpoint = (edits / 5).clamp(1, 10_000);
    for version in 1..=edits {
        let mut changes = Vec::new();
        for _ in 0..=random(2) {
            let at = |it: usize| {
                (0..=it.min(text.len()))
                    .rfind(|it| text.is_char_boundary(*it))
                    .unwrap_or(0)
            };
            let start = at(random(text.len() + 1));
            // A text that grows too long is cut.
            let cut = if text.len() > 2_000 { 400 } else { 12 };
            let end = at(start + random(cut)).max(start);
            let new = PIECES[random(PIECES.len())];
            let range = json!({"start": position(&text, start, encoding), "end": position(&text, end, encoding)});
            text.replace_range(start..end, new);
            changes.push(json!({"range": range, "text": new}));
        }
        client.change(URI, version as i32, json!(changes));
        if version % checkpoint == 0 {
            let theirs = client.request("trial/text", json!({"uri": URI}));
            assert_eq!(theirs, text, "{encoding}, version {version}");
            let settled = settled(&mut client, version);
            let mut fresh = Client::offering(offers.clone());
            fresh.open(URI, version as i32, &text);
            assert_eq!(
                settled,
                fresh.published(URI)["diagnostics"],
                "{encoding}, version {version}:\n{text}"
            );
        }
    }
}

/// The diagnostics of a version once none waits for its line to be finished: those of the last publication.
fn settled(client: &mut Client, version: usize) -> Value {
    // Half a second after the last change a line no longer counts as being written.
    let hover = json!({"textDocument": {"uri": URI}, "position": {"line": 0, "character": 0}});
    std::thread::sleep(std::time::Duration::from_millis(600));
    client.request("textDocument/hover", hover);
    let mut last = Value::Null;
    let published = |it: &Value| {
        it["method"] == "textDocument/publishDiagnostics" && it["params"]["uri"] == URI
    };
    let patience = |last: &Value| match last["version"] == version {
        true => std::time::Duration::from_millis(100),
        false => std::time::Duration::from_secs(30),
    };
    while let Some(message) = client.try_wait_for(patience(&last), published) {
        last = message["params"].clone();
    }
    assert_eq!(last["version"], version, "the newest version is told");
    last["diagnostics"].clone()
}
