//! One message of the wire: headers, a blank line, a JSON body.

use std::io::{self, BufRead, Read, Write};

use serde_json::Value;
use tower_lsp::jsonrpc::{Request, Response};

/// What came in.
pub(crate) enum Incoming {
    /// A request or notification of the client.
    Request(Request),
    /// The client's answer to a request of ours.
    Response(Response),
    /// No message: a body that is no JSON, no object, or no message; a frame without a length.
    Malformed,
    /// A request whose number is null, so that no answer could be told from any other.
    Nameless,
    /// Nothing more will come.
    End,
}

/// Longer bodies are skipped unread.
const LONGEST_BODY: u64 = 256 << 20;
/// The one header that counts, in small letters.
const LENGTH: &str = "content-length:";
/// Longer header lines are no headers.
const LONGEST_HEADER: u64 = 4096;

/// Reads the next message.
pub(crate) fn read(input: &mut impl BufRead) -> Incoming {
    let length = match read_headers(input) {
        Ok(Some(Some(length))) => length,
        Ok(Some(None)) => return Incoming::Malformed,
        Ok(None) | Err(_) => return Incoming::End,
    };
    if length > LONGEST_BODY {
        return match io::copy(&mut input.take(length), &mut io::sink()) {
            Ok(skipped) if skipped == length => Incoming::Malformed,
            _ => Incoming::End,
        };
    }
    let mut body = Vec::new();
    match input.take(length).read_to_end(&mut body) {
        Ok(_) if body.len() as u64 == length => parse(&body),
        _ => Incoming::End,
    }
}

/// Writes one message in one go: who reads it is woken once.
pub(crate) fn write(output: &mut impl Write, message: &Value) -> io::Result<()> {
    let body = message.to_string();
    let frame = format!("Content-Length: {}\r\n\r\n{body}", body.len());
    output.write_all(frame.as_bytes())?;
    output.flush()
}

/// The length that the headers give, `Some(None)` where none of them does; `None` at the end of the input.
fn read_headers(input: &mut impl BufRead) -> io::Result<Option<Option<u64>>> {
    let mut length = None;
    let mut any = false;
    loop {
        let mut line = Vec::new();
        if input.take(LONGEST_HEADER).read_until(b'\n', &mut line)? == 0 {
            return Ok(None);
        }
        let line = String::from_utf8_lossy(&line);
        let line = line.trim();
        if line.is_empty() {
            // Blank lines between messages are harmless.
            if any {
                return Ok(Some(length));
            }
            continue;
        }
        any = true;
        // After a wrong length a header may stand behind what is left of a body: the next frame is found again by it.
        let lower = line.to_ascii_lowercase();
        if let Some(at) = lower.rfind(LENGTH) {
            length = line[at + LENGTH.len()..].trim().parse().ok();
        }
    }
}

fn parse(body: &[u8]) -> Incoming {
    let read = |body: &[u8]| serde_json::from_slice::<Value>(body).ok();
    let Some(value) = read(body).or_else(|| read(&without_lone_surrogates(body)?)) else {
        return Incoming::Malformed;
    };
    // A response reads as a request without a method too, so the method decides.
    if value.get("method").is_some_and(Value::is_string) {
        if value.get("id").is_some_and(Value::is_null) {
            return Incoming::Nameless;
        }
        serde_json::from_value(value).map_or(Incoming::Malformed, Incoming::Request)
    } else {
        serde_json::from_value(value).map_or(Incoming::Malformed, Incoming::Response)
    }
}

/// The same with U+FFFD for each half of a pair that stands alone, as clients write whose texts are UTF-16. `None`: there is
/// none.
fn without_lone_surrogates(body: &[u8]) -> Option<Vec<u8>> {
    let unit = |at: usize| {
        let digits = body.get(at..at + 6)?.strip_prefix(b"\\u")?;
        u16::from_str_radix(std::str::from_utf8(digits).ok()?, 16).ok()
    };
    let mut out = body.to_vec();
    let mut found = false;
    let mut at = 0;
    while at < body.len() {
        at += match (unit(at), unit(at + 6)) {
            (Some(0xD800..=0xDBFF), Some(0xDC00..=0xDFFF)) => 12,
            (Some(0xD800..=0xDFFF), _) => {
                out[at..at + 6].copy_from_slice(b"\\uFFFD");
                found = true;
                6
            }
            // Of an escaped backslash the second one escapes nothing.
            _ if body[at] == b'\\' => 2,
            _ => 1,
        };
    }
    found.then_some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kinds(mut wire: &[u8]) -> Vec<String> {
        let mut kinds = Vec::new();
        loop {
            kinds.push(match read(&mut wire) {
                Incoming::Request(it) => it.method().to_string(),
                Incoming::Response(it) => format!("answer {}", it.id()),
                Incoming::Malformed => "malformed".to_string(),
                Incoming::Nameless => "nameless".to_string(),
                Incoming::End => return kinds,
            });
        }
    }

    fn framed(body: &str) -> String {
        format!("Content-Length: {}\r\n\r\n{body}", body.len())
    }

    #[test]
    fn what_follows_a_bad_frame_is_still_read() {
        let good = framed(r#"{"jsonrpc":"2.0","method":"good"}"#);
        for bad in [
            framed("{notjson}"),
            framed("[]"),
            framed("{}"),
            framed(&"[".repeat(5000)),
            framed("\u{1F50C}"),
            "Content-Length: many\r\n\r\n".to_string(),
            "Content-Type: text\r\n\r\n".to_string(),
        ] {
            assert_eq!(
                kinds(format!("{bad}{good}").as_bytes()),
                ["malformed", "good"],
                "{bad:.40}"
            );
        }
    }

    #[test]
    fn half_a_pair_alone_is_read_as_a_replacement() {
        let text = |body: &str| match parse(body.as_bytes()) {
            Incoming::Request(it) => it.params().expect("some")["text"].to_string(),
            _ => "malformed".to_owned(),
        };
        let with = |it: &str| {
            text(&format!(
                r#"{{"jsonrpc":"2.0","method":"m","params":{{"text":"{it}"}}}}"#
            ))
        };
        for (written, read) in [
            (r"a\ud834b", "\"a\u{FFFD}b\""),
            (r"\udd1e\ud834\udd1e\ud834", "\"\u{FFFD}\u{1D11E}\u{FFFD}\""),
            (r"\\ud834 \ud834", "\"\\\\ud834 \u{FFFD}\""),
        ] {
            assert_eq!(with(written), read, "{written}");
        }
    }

    #[test]
    fn after_a_wrong_length_the_next_frame_but_one_is_read_again() {
        let good = framed(r#"{"jsonrpc":"2.0","method":"good"}"#);
        let body = r#"{"jsonrpc":"2.0","method":"cut"}"#;
        let short = format!("Content-Length: 7\r\n\r\n{body}");
        assert_eq!(
            kinds(format!("{short}{good}").as_bytes()),
            ["malformed", "good"]
        );
        let long = format!("Content-Length: {}\r\n\r\n{body}", body.len() + 9);
        let wire = format!("{long}{good}{good}");
        assert_eq!(kinds(wire.as_bytes()), ["malformed", "malformed", "good"]);
    }

    #[test]
    fn headers_may_differ_in_case_and_number() {
        let wire = "content-length:33\nContent-Type: application/vscode-jsonrpc; charset=utf-8\n\n{\"jsonrpc\":\"2.0\",\"method\":\"good\"}";
        assert_eq!(kinds(wire.as_bytes()), ["good"]);
    }

    #[test]
    fn answers_are_told_from_requests() {
        let wire = framed(r#"{"jsonrpc":"2.0","id":7,"result":null}"#)
            + &framed(r#"{"jsonrpc":"2.0","id":"7","method":"m"}"#)
            + &framed(r#"{"jsonrpc":"2.0","id":null,"method":"m"}"#);
        assert_eq!(kinds(wire.as_bytes()), ["answer 7", "m", "nameless"]);
    }

    #[test]
    fn a_frame_cut_short_is_the_end() {
        assert_eq!(
            kinds(b"Content-Length: 33\r\n\r\n{\"jsonrpc\""),
            Vec::<String>::new()
        );
    }
}
