//! One open text with marks, seen in one way of counting characters.

use std::path::PathBuf;
use std::sync::atomic::{AtomicU32, Ordering};

use serde_json::{Value, json};

use crate::client::Client;

pub const URI: &str = "file:///greenhouse/bed.amp";

/// The three ways of counting.
pub const ENCODINGS: [&str; 3] = ["utf-8", "utf-16", "utf-32"];

/// A client with one open text. `«»` in a text marks a caret, `«word»` a stretch.
pub struct Desk {
    pub client: Client,
    pub text: String,
    /// Bytes.
    pub marks: Vec<(usize, usize)>,
    encoding: &'static str,
}

/// Runs a test three times. The text must hold what each way counts differently.
pub fn each(offers: Value, marked: &str, test: impl Fn(&mut Desk)) {
    assert!(
        marked.contains('Ω') && marked.contains('𝛺'),
        "the text has to tell the ways of counting apart"
    );
    for encoding in ENCODINGS {
        let mut desk = Desk::new(encoding, offers.clone(), marked);
        test(&mut desk);
    }
}

impl Desk {
    pub fn new(encoding: &'static str, mut offers: Value, marked: &str) -> Desk {
        offers["general"] = json!({"positionEncodings": [encoding]});
        let mut client = Client::offering(offers);
        assert_eq!(
            client.greeting["capabilities"]["positionEncoding"],
            encoding
        );
        let (text, marks) = unmark(marked);
        client.open(URI, 1, &text);
        Desk {
            client,
            text,
            marks,
            encoding,
        }
    }

    /// The position of a byte.
    pub fn position(&self, byte: usize) -> Value {
        position(&self.text, byte, self.encoding)
    }

    /// The range of a mark.
    pub fn range(&self, mark: usize) -> Value {
        let (start, end) = self.marks[mark];
        json!({"start": self.position(start), "end": self.position(end)})
    }

    /// Asks about the end of a mark, with more parameters.
    pub fn ask(&mut self, method: &str, mark: usize, more: Value) -> Value {
        let mut parameters =
            json!({"textDocument": {"uri": URI}, "position": self.position(self.marks[mark].1)});
        merge(&mut parameters, more);
        self.client.request(method, parameters)
    }

    /// Asks about the text.
    pub fn ask_all(&mut self, method: &str, more: Value) -> Value {
        let mut parameters = json!({"textDocument": {"uri": URI}});
        merge(&mut parameters, more);
        self.client.request(method, parameters)
    }

    /// The words of a range.
    pub fn words(&self, range: &Value) -> &str {
        let bytes = self.bytes(range);
        &self.text[bytes.0..bytes.1]
    }

    /// The bytes of a range.
    pub fn bytes(&self, range: &Value) -> (usize, usize) {
        (
            byte(&self.text, &range["start"], self.encoding),
            byte(&self.text, &range["end"], self.encoding),
        )
    }

    /// The text after these edits.
    pub fn edited(&self, edits: &Value) -> String {
        let mut edits: Vec<_> = edits
            .as_array()
            .expect("a list of edits")
            .iter()
            .map(|it| {
                (
                    self.bytes(&it["range"]),
                    it["newText"].as_str().expect("a text"),
                )
            })
            .collect();
        edits.sort();
        let mut text = self.text.clone();
        for ((start, end), new) in edits.into_iter().rev() {
            text.replace_range(start..end, new);
        }
        text
    }
}

fn merge(into: &mut Value, more: Value) {
    for (key, value) in more.as_object().into_iter().flatten() {
        into[key] = value.clone();
    }
}

/// A text without its marks, and what they marked.
pub fn unmark(marked: &str) -> (String, Vec<(usize, usize)>) {
    let (mut text, mut marks, mut open) = (String::new(), Vec::new(), None);
    for character in marked.chars() {
        match character {
            '«' => open = Some(text.len()),
            '»' => marks.push((open.take().expect("a mark is opened first"), text.len())),
            other => text.push(other),
        }
    }
    (text, marks)
}

fn width(character: char, encoding: &str) -> u64 {
    match encoding {
        "utf-8" => character.len_utf8() as u64,
        "utf-16" => character.len_utf16() as u64,
        _ => 1,
    }
}

/// Line and character of a byte, counted without the server's help; lines end with LF alone here.
pub fn position(text: &str, byte: usize, encoding: &str) -> Value {
    let before = &text[..byte];
    let line = before.matches('\n').count();
    let own = before.rsplit('\n').next().unwrap_or_default();
    let character: u64 = own.chars().map(|it| width(it, encoding)).sum();
    json!({"line": line, "character": character})
}

fn byte(text: &str, position: &Value, encoding: &str) -> usize {
    let line = position["line"].as_u64().expect("a line") as usize;
    let character = position["character"].as_u64().expect("a character");
    let start: usize = text.split_inclusive('\n').take(line).map(str::len).sum();
    let mut counted = 0;
    for (at, it) in text[start..].char_indices() {
        if counted >= character {
            assert_eq!(counted, character, "a position never splits a character");
            return start + at;
        }
        counted += width(it, encoding);
    }
    text.len()
}

/// A folder of its own on disk, gone at the end.
pub struct Folder(PathBuf);

impl Folder {
    pub fn with(files: &[(&str, &str)]) -> Folder {
        static NUMBER: AtomicU32 = AtomicU32::new(0);
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        let folder = Folder(
            std::env::temp_dir().join(format!("ampersum-protocol-{}-{number}", std::process::id())),
        );
        for (name, text) in files {
            folder.write(name, text);
        }
        folder
    }

    pub fn write(&self, name: &str, text: &str) {
        let path = self.0.join(name);
        std::fs::create_dir_all(path.parent().expect("it lies in a folder"))
            .expect("a folder can be made");
        std::fs::write(path, text).expect("a file can be written");
    }

    pub fn uri(&self, name: &str) -> String {
        format!(
            "file://{}",
            self.0.join(name).to_str().expect("plain letters")
        )
    }

    pub fn root(&self) -> String {
        format!("file://{}", self.0.to_str().expect("plain letters"))
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        // What can't be removed now may stay in the system's own place for such things.
        let _ = std::fs::remove_dir_all(&self.0);
    }
}
