//! Values as printed on parts and in tables: marking codes after IEC 60062, preferred numbers after IEC 60063.
//!
//! The cases stand in `published/facts-value-codes.json` and `published/facts-tables.json`, each with its source.

use std::fs;

use serde_json::Value;

use crate::harness::{check, here};

fn cases(file: &str) -> Vec<Value> {
    let text = fs::read_to_string(here("published").join(file)).expect("the cases are there");
    serde_json::from_str(&text).expect("a list of cases")
}

/// "IEC 60062:2016 …, letter code clauses, from memory".
fn source(case: &Value) -> String {
    let source = &case["source"];
    let memory = if source["from_memory"] == true {
        ", from memory"
    } else {
        ""
    };
    let part = |key: &str| source[key].as_str().unwrap_or("").to_owned();
    format!(
        "{} ({}; {}{memory})",
        case["id"].as_str().unwrap_or(""),
        part("title"),
        part("where")
    )
}

/// Codes that the language refuses, since a value begins with a digit and ends with its unit; each offers what it says.
const REFUSED: [(&str, &str); 4] = [
    ("R10", "0.1"),
    ("R0047", "0.0047"),
    ("L20", "0.2 mohm"),
    ("330RG", "330 2 %"),
];

#[test]
fn marking_codes_have_their_values() {
    let mut read = 0;
    for case in cases("facts-value-codes.json") {
        let code = case["inputs"]["code"].as_str().expect("a code");
        let farads = case["inputs"]["quantity"] == "capacitance";
        let (part, code, unit) = if farads {
            ("C1", format!("{code}F"), "F")
        } else {
            ("R1", code.to_owned(), "ohm")
        };
        let value = case["value"].as_f64().expect("a number");
        let text = |code: &str| {
            format!(
                "source s: a = 1 V\na -- R9 1k -- ground\na -- {part} {code} -- ground\nexpect {part} = {value} {unit} within 0.000001 %\n"
            )
        };
        let errors = |text: &str| check(text).only_circuit().errors();
        let refused = REFUSED.iter().find(|it| it.0 == code);
        if let Some((_, meant)) = refused {
            let errors = errors(&text(&code));
            assert_eq!(errors.len(), 1, "{}\n{code}{errors:?}", source(&case));
            assert_eq!(errors[0].fixes.first(), Some(&format!("write `{meant}`")));
        }
        let text = text(refused.map_or(&code, |it| it.1));
        assert_eq!(errors(&text), [], "{}\n{text}", source(&case));
        read += 1;
    }
    assert!(read >= 14, "all codes are read or spelled out");
}

#[test]
fn series_have_the_members_of_the_tables() {
    let mut series = 0;
    let mut wishes = 0;
    for case in cases("facts-tables.json") {
        let Some(name) = case["inputs"]["series"].as_str() else {
            continue;
        };
        let mut claims = String::new();
        if let Some(members) = case["value"].as_array() {
            series += 1;
            for member in members.iter().filter_map(Value::as_u64) {
                claims.push_str(&format!(
                    "expect nearest({name}, {member} ohm) = {member} ohm within 0 ohm\n"
                ));
                // A little beside a member it is still the nearest one.
                claims.push_str(&format!(
                    "expect nearest({name}, {member}.01 ohm) = {member} ohm within 0 ohm\n"
                ));
            }
            // No other member lies between two neighbours: their geometric middle goes to one of them.
            for pair in members
                .windows(2)
                .filter_map(|it| Some((it[0].as_u64()?, it[1].as_u64()?)))
            {
                let middle = ((pair.0 * pair.1) as f64).sqrt();
                for (wish, member) in [(middle * 0.9999, pair.0), (middle * 1.0001, pair.1)] {
                    claims.push_str(&format!(
                        "expect nearest({name}, {wish} ohm) = {member} ohm within 0 ohm\n"
                    ));
                }
            }
        } else {
            wishes += 1;
            let wish = case["inputs"]["ohms"].as_f64().expect("a wish");
            let member = case["value"].as_f64().expect("a member");
            claims.push_str(&format!(
                "expect nearest({name}, {wish} ohm) = {member} ohm within 0 ohm\n"
            ));
        }
        let text = format!("source s: a = 1 V\na -- R9 1k -- ground\n{claims}");
        assert_eq!(
            check(&text).only_circuit().errors(),
            [],
            "{}",
            source(&case)
        );
    }
    assert!(
        series >= 4 && wishes >= 3,
        "{series} series and {wishes} wishes were tried"
    );
}
