//! A client of the server that offers what a test wants, over the wire.

use std::collections::VecDeque;
use std::io::{BufRead, BufReader, Read, Write};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::{Duration, Instant};

use ampersum_tests::binary;
use serde_json::{Value, json};

/// Longer than anything takes on a busy machine.
const PATIENCE: Duration = Duration::from_secs(30);

/// A running server and its client.
pub struct Client {
    server: Child,
    input: Option<ChildStdin>,
    incoming: Receiver<Value>,
    /// What came in and was not asked for yet.
    waiting: VecDeque<Value>,
    /// Requests of the server, each answered as a willing client would.
    pub asked: Vec<Value>,
    next: i64,
    /// The answer to `initialize`.
    pub greeting: Value,
}

impl Client {
    /// Starts a server and says what the client offers.
    pub fn offering(capabilities: Value) -> Client {
        let mut client = Client::silent();
        client.greeting = client.request(
            "initialize",
            json!({"processId": null, "rootUri": null, "capabilities": capabilities}),
        );
        client.notify("initialized", json!({}));
        client
    }

    /// Starts a server and says nothing yet.
    pub fn silent() -> Client {
        let mut command = Command::new(binary());
        command
            .arg("serve")
            .env("AMPERSUM_TRIAL", "1")
            .env_remove("AMPERSUM_LOG");
        Client::running(command)
    }

    /// Starts this server.
    pub fn running(mut command: Command) -> Client {
        let mut server = command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the server starts");
        let (input, output) = (
            server.stdin.take(),
            server.stdout.take().expect("it is piped"),
        );
        let (sender, incoming) = channel();
        std::thread::spawn(move || {
            let mut output = BufReader::new(output);
            while let Some(message) = read(&mut output) {
                if sender.send(message).is_err() {
                    break;
                }
            }
        });
        Client {
            server,
            input,
            incoming,
            waiting: VecDeque::new(),
            asked: Vec::new(),
            next: 0,
            greeting: Value::Null,
        }
    }

    /// Sends bytes as they are.
    pub fn raw(&mut self, bytes: &[u8]) {
        let input = self.input.as_mut().expect("the input is open");
        input
            .write_all(bytes)
            .and_then(|()| input.flush())
            .expect("the server reads");
    }

    /// Sends a body in a frame.
    pub fn frame(&mut self, body: &str) {
        self.raw(format!("Content-Length: {}\r\n\r\n{body}", body.len()).as_bytes());
    }

    /// Sends a notification.
    pub fn notify(&mut self, method: &str, parameters: Value) {
        self.frame(&json!({"jsonrpc": "2.0", "method": method, "params": parameters}).to_string());
    }

    /// Sends a request; its number.
    pub fn send(&mut self, method: &str, parameters: Value) -> i64 {
        self.next += 1;
        self.frame(
            &json!({"jsonrpc": "2.0", "id": self.next, "method": method, "params": parameters})
                .to_string(),
        );
        self.next
    }

    /// The answer to a request: its result, or `{"error": …}`.
    pub fn answer(&mut self, id: i64) -> Value {
        let answer = self.wait_for(|it| it["id"] == id && it["method"].is_null());
        if answer["error"].is_object() {
            json!({"error": answer["error"]})
        } else {
            answer["result"].clone()
        }
    }

    /// Asks and waits.
    pub fn request(&mut self, method: &str, parameters: Value) -> Value {
        let id = self.send(method, parameters);
        self.answer(id)
    }

    /// The first message of this kind that was not taken yet.
    #[track_caller]
    pub fn wait_for(&mut self, wanted: impl Fn(&Value) -> bool) -> Value {
        self.try_wait_for(PATIENCE, wanted)
            .expect("the message comes")
    }

    /// The same, or `None` once `patience` is over.
    pub fn try_wait_for(
        &mut self,
        patience: Duration,
        wanted: impl Fn(&Value) -> bool,
    ) -> Option<Value> {
        let until = Instant::now() + patience;
        loop {
            if let Some(index) = self.waiting.iter().position(&wanted) {
                return self.waiting.remove(index);
            }
            match self
                .incoming
                .recv_timeout(until.saturating_duration_since(Instant::now()))
            {
                Ok(message) => self.take_in(message),
                Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => return None,
            }
        }
    }

    fn take_in(&mut self, message: Value) {
        if message["method"].is_string() && !message["id"].is_null() {
            let result = match message["method"].as_str() {
                Some("workspace/configuration") => json!([null]),
                Some("window/showDocument") => json!({"success": true}),
                Some("workspace/applyEdit") => json!({"applied": true}),
                _ => Value::Null,
            };
            self.frame(
                &json!({"jsonrpc": "2.0", "id": message["id"], "result": result}).to_string(),
            );
            self.asked.push(message.clone());
        }
        self.waiting.push_back(message);
    }

    /// Opens a text.
    pub fn open(&mut self, uri: &str, version: i32, text: &str) {
        let document =
            json!({"uri": uri, "languageId": "ampersum", "version": version, "text": text});
        self.notify("textDocument/didOpen", json!({"textDocument": document}));
    }

    /// Changes a text.
    pub fn change(&mut self, uri: &str, version: i32, changes: Value) {
        let document = json!({"uri": uri, "version": version});
        self.notify(
            "textDocument/didChange",
            json!({"textDocument": document, "contentChanges": changes}),
        );
    }

    /// The next diagnostics of a text, in full.
    #[track_caller]
    pub fn published(&mut self, uri: &str) -> Value {
        self.wait_for(|it| {
            it["method"] == "textDocument/publishDiagnostics" && it["params"]["uri"] == uri
        })["params"]
            .clone()
    }

    /// The hover at a place, as its text; empty where there is none.
    pub fn hover(&mut self, uri: &str, line: u32, character: u32) -> String {
        let answer = self.request("textDocument/hover", at(uri, line, character));
        answer["contents"]["value"]
            .as_str()
            .unwrap_or_default()
            .to_string()
    }

    /// The actions in a range of one line.
    pub fn actions(&mut self, uri: &str, line: u32, from: u32, to: u32) -> Vec<Value> {
        let range = json!({"start": {"line": line, "character": from}, "end": {"line": line, "character": to}});
        let parameters =
            json!({"textDocument": {"uri": uri}, "range": range, "context": {"diagnostics": []}});
        self.request("textDocument/codeAction", parameters)
            .as_array()
            .cloned()
            .unwrap_or_default()
    }

    /// Closes the server's input.
    pub fn hang_up(&mut self) {
        self.input = None;
    }

    /// What the server ends with, once it does.
    pub fn ended(&mut self) -> Option<i32> {
        let until = Instant::now() + PATIENCE;
        while Instant::now() < until {
            if let Some(status) = self
                .server
                .try_wait()
                .expect("the server can be waited for")
            {
                return status.code();
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        None
    }

    /// Everything on standard error, once the server has ended.
    pub fn errors(&mut self) -> String {
        let mut errors = String::new();
        self.server
            .stderr
            .take()
            .expect("it is piped")
            .read_to_string(&mut errors)
            .expect("it is text");
        errors
    }
}

impl Drop for Client {
    fn drop(&mut self) {
        // It may have ended already.
        let _ = self.server.kill();
        let _ = self.server.wait();
    }
}

/// The parameters of most requests.
pub fn at(uri: &str, line: u32, character: u32) -> Value {
    json!({"textDocument": {"uri": uri}, "position": {"line": line, "character": character}})
}

fn read(output: &mut impl BufRead) -> Option<Value> {
    let mut length = 0;
    loop {
        let mut line = String::new();
        if output.read_line(&mut line).ok()? == 0 {
            return None;
        }
        match line.trim_end() {
            "" => break,
            header => {
                let value = header.strip_prefix("Content-Length: ");
                length = value
                    .expect("only lengths, or something else was printed")
                    .parse()
                    .expect("a number");
            }
        }
    }
    let mut body = vec![0; length];
    output.read_exact(&mut body).ok()?;
    Some(serde_json::from_slice(&body).expect("JSON"))
}
