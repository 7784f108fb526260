//! Runs a text through the program and reads the JSON it prints.

use std::collections::BTreeMap;
use std::path::PathBuf;

use dashu_ratio::RBig;
use serde_json::Value;

/// A folder or file of this package.
pub fn here(path: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// The workspace's root.
pub fn root() -> PathBuf {
    here("..")
        .canonicalize()
        .expect("the tests lie inside the workspace")
}

/// `ampersum solve --json` of a text that lies nowhere.
pub fn solve(text: &str) -> Report {
    Report::new(ampersum::solve_json("bench.amp", text))
}

/// `ampersum check --json` of a text that lies nowhere.
pub fn check(text: &str) -> Report {
    Report::new(ampersum::check_json("bench.amp", text))
}

/// What a command printed about one file.
pub struct Report {
    pub findings: Vec<Finding>,
    pub circuits: Vec<Answer>,
}

impl Report {
    pub fn new(whole: Value) -> Self {
        let file = &whole["files"][0];
        assert!(file.is_object(), "one file was asked for: {whole:#}");
        Self {
            findings: findings(file),
            circuits: list(&file["circuits"])
                .iter()
                .cloned()
                .map(Answer)
                .collect(),
        }
    }

    /// The findings of the file and of its circuits.
    pub fn all_findings(&self) -> Vec<Finding> {
        let mut all = self.findings.clone();
        for circuit in &self.circuits {
            all.extend(circuit.findings());
        }
        all
    }

    pub fn only_circuit(&self) -> &Answer {
        assert_eq!(self.circuits.len(), 1, "one circuit was asked for");
        &self.circuits[0]
    }
}

/// What was printed about one circuit.
pub struct Answer(pub Value);

impl Answer {
    pub fn name(&self) -> &str {
        self.0["name"].as_str().unwrap_or_default()
    }

    pub fn solved(&self) -> bool {
        self.0["solved"].as_bool() == Some(true)
    }

    pub fn findings(&self) -> Vec<Finding> {
        findings(&self.0)
    }

    pub fn errors(&self) -> Vec<Finding> {
        let mut findings = self.findings();
        findings.retain(|finding| finding.severity == "error");
        findings
    }

    /// Every node voltage, exactly: as written, else with ideal op-amps; empty where there is no answer.
    pub fn nodes(&self) -> BTreeMap<String, RBig> {
        let nodes = match &self.0["nodes"] {
            Value::Null => &self.0["ideal"]["nodes"],
            nodes => nodes,
        };
        keys(nodes)
            .into_iter()
            .map(|name| (name.to_owned(), exact(&nodes[name])))
            .collect()
    }

    pub fn node(&self, name: &str) -> RBig {
        if name == "ground" {
            return RBig::ZERO;
        }
        exact(&self.0["nodes"][name])
    }

    /// `part("elements", "R1", "current")`
    pub fn part(&self, group: &str, name: &str, what: &str) -> RBig {
        exact(&self.0[group][name][what])
    }

    /// The names of a group, in the order printed.
    pub fn names(&self, group: &str) -> Vec<&str> {
        keys(&self.0[group])
    }

    /// Which way feedback of this op-amp acts: as printed, else as its finding says.
    pub fn feedback(&self, opamp: &str) -> String {
        if let Some(verdict) = self.0["opamps"][opamp]["feedback"].as_str() {
            return verdict.to_owned();
        }
        let told = [
            ("positive_feedback", "positive"),
            ("feedback_cancels", "cancels"),
            ("no_feedback", "none"),
        ];
        for finding in self.findings() {
            if let Some((_, verdict)) = told.iter().find(|(rule, _)| *rule == finding.rule)
                && finding.is_about(opamp)
            {
                return (*verdict).to_owned();
            }
        }
        format!("no verdict on {opamp}: {:#}", self.0)
    }
}

/// One finding.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Finding {
    pub rule: String,
    pub severity: String,
    pub message: String,
    pub subjects: Vec<String>,
    pub line: usize,
    pub start: usize,
    pub end: usize,
    /// The titles of its fixes.
    pub fixes: Vec<String>,
}

impl Finding {
    pub fn is_about(&self, name: &str) -> bool {
        self.subjects.iter().any(|subject| subject == name)
    }
}

/// The exact value of a printed number.
#[track_caller]
pub fn exact(number: &Value) -> RBig {
    let Some(text) = number["exact"].as_str() else {
        panic!("an exact number should stand here: {number}");
    };
    ratio(text)
}

/// `-99/25`, `3`, `0.0047`, `2e-7`
#[track_caller]
pub fn ratio(text: &str) -> RBig {
    let (number, exponent) = match text.split_once(['e', 'E']) {
        Some((number, exponent)) => (number, exponent.parse::<i32>().expect("an exponent")),
        None => (text, 0),
    };
    let digits = number.replacen('.', "", 1);
    let decimals = number.split_once('.').map_or(0, |(_, after)| after.len()) as i32;
    let value: RBig = digits
        .parse()
        .unwrap_or_else(|_| panic!("`{text}` is no number"));
    value * power_of_ten(exponent - decimals)
}

/// 10^exponent.
pub fn power_of_ten(exponent: i32) -> RBig {
    RBig::from(10).pow(exponent as isize)
}

fn findings(owner: &Value) -> Vec<Finding> {
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let place = |value: &Value| value.as_u64().expect("a finding says where it is") as usize;
    list(&owner["findings"])
        .iter()
        .map(|finding| Finding {
            rule: text(&finding["rule"]),
            severity: text(&finding["severity"]),
            message: text(&finding["message"]),
            subjects: list(&finding["subjects"]).iter().map(text).collect(),
            line: place(&finding["line"]),
            start: place(&finding["start"]),
            end: place(&finding["end"]),
            fixes: list(&finding["fixes"])
                .iter()
                .map(|it| text(&it["title"]))
                .collect(),
        })
        .collect()
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn keys(value: &Value) -> Vec<&str> {
    value
        .as_object()
        .map(|object| object.keys().map(String::as_str).collect())
        .unwrap_or_default()
}
