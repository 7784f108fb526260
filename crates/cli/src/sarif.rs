//! Findings as SARIF 2.1.0 (OASIS standard, 2020), for services that show them beside a change.

use serde_json::{Value, json};
use syntax::{LineIndex, Place};

use crate::read::Examined;
use checks::{Finding, Severity};

/// One run over all files.
pub fn report(files: &[Examined]) -> Value {
    let mut used: Vec<&'static str> = files
        .iter()
        .flat_map(|it| &it.findings)
        .map(|it| it.rule)
        .collect();
    used.sort_unstable();
    used.dedup();
    let rules: Vec<Value> = used.iter().map(|it| rule(it)).collect();
    let results: Vec<Value> = files
        .iter()
        .flat_map(|it| {
            let lines: Vec<LineIndex> = it
                .book
                .files
                .iter()
                .map(|file| LineIndex::new(&file.text))
                .collect();
            it.findings
                .iter()
                .map(move |finding| result(it, &lines, finding))
        })
        .collect();
    json!({
        "$schema": "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json",
        "version": "2.1.0",
        "runs": [{
            "tool": { "driver": { "name": "ampersum", "version": env!("CARGO_PKG_VERSION"), "rules": rules } },
            "columnKind": "unicodeCodePoints",
            "results": results,
        }],
    })
}

fn rule(name: &str) -> Value {
    let doc = checks::registry::doc(name).unwrap_or("");
    let paragraph = doc
        .split("\n# ")
        .next()
        .unwrap_or(doc)
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    json!({
        "id": name,
        "shortDescription": { "text": name.replace('_', " ") },
        "fullDescription": { "text": if paragraph.is_empty() { name } else { &paragraph } },
        "help": { "text": doc },
    })
}

fn result(it: &Examined, lines: &[LineIndex], finding: &Finding) -> Value {
    let level = match finding.severity {
        Severity::Error => "error",
        Severity::Warning => "warning",
        Severity::Hint => "note",
    };
    let location = |place: Place, message: Option<&str>| {
        let mut out = json!({
            "physicalLocation": { "artifactLocation": artifact(it, place), "region": region(lines, place) },
        });
        if let Some(message) = message {
            out["message"] = json!({ "text": message });
        }
        out
    };
    let related: Vec<Value> = finding
        .related
        .iter()
        .map(|other| location(other.place, Some(&other.message)))
        .collect();
    let fixes: Vec<Value> = finding
        .fixes
        .iter()
        .map(|fix| {
            let replacements: Vec<Value> = fix
                .edits
                .iter()
                .map(|edit| {
                    let place = Place { span: edit.span, ..finding.place };
                    json!({ "deletedRegion": stretch(lines, place), "insertedContent": { "text": edit.text } })
                })
                .collect();
            json!({
                "description": { "text": fix.title },
                "artifactChanges": [{ "artifactLocation": artifact(it, finding.place), "replacements": replacements }],
            })
        })
        .collect();
    let mut out = json!({
        "ruleId": finding.rule,
        "level": level,
        "message": { "text": format!("{}. {}", finding.message, finding.help).trim() },
        "locations": [location(finding.place, None)],
    });
    if !related.is_empty() {
        out["relatedLocations"] = Value::Array(related);
    }
    if !fixes.is_empty() {
        out["fixes"] = Value::Array(fixes);
    }
    out
}

/// Where a text is: a relative reference of RFC 3986, or a `file` address of RFC 8089 for a whole path. Blanks and other
/// signs are escaped.
fn artifact(it: &Examined, place: Place) -> Value {
    let path = it.path_of(place.file).replace('\\', "/");
    if path == "-" {
        return json!({ "description": { "text": "standard input" } });
    }
    let drive = path.as_bytes().get(1) == Some(&b':');
    let mut uri = match (path.starts_with('/'), drive) {
        (true, _) => "file://".to_owned(),
        (false, true) => "file:///".to_owned(),
        (false, false) => String::new(),
    };
    for (index, byte) in path.bytes().enumerate() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => {
                uri.push(byte as char)
            }
            b':' if drive && index == 1 => uri.push(':'),
            _ => uri.push_str(&format!("%{byte:02X}")),
        }
    }
    json!({ "uri": uri })
}

fn region(lines: &[LineIndex], place: Place) -> Value {
    let mut out = stretch(lines, place);
    out["byteOffset"] = json!(place.span.start);
    out["byteLength"] = json!(place.span.end - place.span.start);
    out
}

/// A stretch of text by lines and columns.
fn stretch(lines: &[LineIndex], place: Place) -> Value {
    let Some(index) = lines.get(place.file.0 as usize) else {
        return json!({});
    };
    let (line, column) = index.line_col(place.span.start);
    let (end_line, end_column) = index.line_col(place.span.end);
    json!({
        "startLine": line + 1, "startColumn": column + 1, "endLine": end_line + 1, "endColumn": end_column + 1,
    })
}
