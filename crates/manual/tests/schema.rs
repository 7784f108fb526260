//! The schema is whole in itself, fits what the book shows, and names every word that the program may answer with.

use ampersum_manual::fence::fences;
use ampersum_manual::{OUTPUT_SCHEMA, page};
use analysis::feedback::Verdict;
use serde_json::Value;

fn schema() -> Value {
    serde_json::from_str(OUTPUT_SCHEMA).expect("the schema is JSON")
}

/// What a `$ref` stands for.
fn referred<'s>(root: &'s Value, reference: &str) -> &'s Value {
    let pointer = reference.strip_prefix('#').expect("a place in this file");
    root.pointer(pointer)
        .unwrap_or_else(|| panic!("{reference} leads nowhere"))
}

#[test]
fn every_reference_leads_somewhere_and_every_definition_is_used() {
    fn references(value: &Value, found: &mut Vec<String>) {
        match value {
            Value::Object(object) => {
                for (key, value) in object {
                    match (key.as_str(), value) {
                        ("$ref", Value::String(to)) => found.push(to.clone()),
                        _ => references(value, found),
                    }
                }
            }
            Value::Array(all) => all.iter().for_each(|it| references(it, found)),
            _ => {}
        }
    }
    let root = schema();
    let mut found = Vec::new();
    references(&root, &mut found);
    for reference in &found {
        referred(&root, reference);
    }
    for name in root["$defs"].as_object().expect("definitions").keys() {
        assert!(
            found.contains(&format!("#/$defs/{name}")),
            "{name} is not used"
        );
    }
}

#[test]
fn what_the_book_shows_fits() {
    let root = schema();
    let text = &page("output").expect("the page").text;
    let shown: Vec<_> = fences(text)
        .into_iter()
        .filter(|it| it.language == "json")
        .collect();
    assert!(!shown.is_empty());
    for fence in shown {
        let value: Value = serde_json::from_str(fence.text).expect("JSON");
        fits(&root, &root, &value, "");
    }
}

/// Holds a value to types, choices, required keys, and keys that the schema names; not to conditions.
fn fits(root: &Value, schema: &Value, value: &Value, at: &str) {
    if let Some(to) = schema["$ref"].as_str() {
        fits(root, referred(root, to), value, at);
    }
    if let Some(choices) = schema["oneOf"].as_array()
        && choices
            .iter()
            .all(|it| it.get("$ref").is_some() || it.get("type").is_some())
    {
        let null = choices.iter().any(|it| it["type"] == "null");
        match choices.iter().find(|it| it["type"] != "null") {
            Some(other) if !(null && value.is_null()) => fits(root, other, value, at),
            _ => {}
        }
    }
    for part in schema["allOf"].as_array().into_iter().flatten() {
        fits(root, part, value, at);
    }
    let kind = match value {
        Value::Null => "null",
        Value::Bool(_) => "boolean",
        Value::Number(_) => "number",
        Value::String(_) => "string",
        Value::Array(_) => "array",
        Value::Object(_) => "object",
    };
    let is = |it: &Value| it == kind || it == "integer" && value.is_u64();
    match &schema["type"] {
        Value::Array(kinds) => assert!(kinds.iter().any(is), "{at} is {kind}"),
        Value::Null => {}
        one => assert!(is(one), "{at} is {kind}"),
    }
    if let Some(words) = schema["enum"].as_array() {
        assert!(words.contains(value), "{at} is {value}");
    }
    for key in schema["required"].as_array().into_iter().flatten() {
        let key = key.as_str().expect("a key");
        // shortened, as the page says
        assert!(value.get(key).is_some(), "{at} has no {key}");
    }
    let named = schema["properties"].as_object();
    for (key, inner) in value.as_object().into_iter().flatten() {
        let at = format!("{at}/{key}");
        match named.and_then(|it| it.get(key)) {
            Some(schema) => fits(root, schema, inner, &at),
            None if schema["additionalProperties"].is_object() => {
                fits(root, &schema["additionalProperties"], inner, &at)
            }
            None => {}
        }
    }
    for (index, inner) in value.as_array().into_iter().flatten().enumerate() {
        if schema["items"].is_object() {
            fits(root, &schema["items"], inner, &format!("{at}/{index}"));
        }
    }
}

#[test]
fn every_key_of_circuits_equations_opamps_and_findings_is_explained() {
    let root = schema();
    let text = &page("output").expect("the page").text;
    for name in [
        "file", "circuit", "equation", "opamp", "output", "finding", "location", "number",
    ] {
        let keys = root["$defs"][name]["properties"].as_object().expect("keys");
        for key in keys.keys().filter(|it| *it != "walk") {
            assert!(text.contains(&format!("`{key}`")), "`{key}` of {name}");
        }
    }
}

#[test]
fn every_verdict_and_severity_is_a_word_of_the_schema_and_of_the_book() {
    use Verdict::*;
    let all = [
        Negative,
        Positive,
        NegativeIfAlike,
        DependsOnSpeeds,
        Cancels,
        None,
        NoneAtDc,
        Oscillates,
        RunsAway,
        Marginal,
        InputFloats,
        TooMany,
        HeldByGain,
    ];
    let root = schema();
    let words = root["$defs"]["verdict"]["enum"].as_array().expect("words");
    let book = &page("equations").expect("the page").text;
    for verdict in all {
        let id = teaching::feedback::id(verdict);
        assert!(words.contains(&id.into()), "{id}");
        assert!(book.contains(&format!("`{id}`")), "{id}");
    }
    assert_eq!(words.len(), all.len());
    let severities = root["$defs"]["finding"]["properties"]["severity"]["enum"].as_array();
    for rule in checks::RULES {
        assert!(severities.is_some_and(|it| it.contains(&rule.severity.word().into())));
    }
}
