//! The settings' schema, and what the server says of settings.

use std::time::Duration;

use serde_json::{Value, json};

use crate::client::Client;
use crate::desk::URI;

fn file(path: &str) -> Value {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../editors/").to_owned() + path;
    let text = std::fs::read_to_string(path).expect("the file is there");
    serde_json::from_str(&text).expect("JSON")
}

/// Each setting of the schema with each value that it may have: section, key, value.
fn all() -> Vec<(String, String, Value)> {
    let schema = file("ampersum.schema.json");
    let mut all = Vec::new();
    for (section, it) in schema["properties"].as_object().expect("sections") {
        for (key, it) in it["properties"].as_object().into_iter().flatten() {
            let values = it["enum"]
                .as_array()
                .cloned()
                .unwrap_or_else(|| vec![it["default"].clone()]);
            assert!(
                values.contains(&it["default"]),
                "{section}.{key} has a default"
            );
            all.extend(
                values
                    .into_iter()
                    .map(|value| (section.clone(), key.clone(), value)),
            );
        }
    }
    all
}

fn told(client: &mut Client, settings: Value) -> Option<String> {
    client.notify(
        "workspace/didChangeConfiguration",
        json!({"settings": settings}),
    );
    client.published(URI);
    let message = client.try_wait_for(Duration::from_millis(200), |it| {
        it["method"] == "window/showMessage"
    });
    message.and_then(|it| it["params"]["message"].as_str().map(str::to_owned))
}

#[test]
fn every_setting_of_the_schema_is_known_to_the_server() {
    let mut client = Client::offering(json!({}));
    client.open(URI, 1, "# Ω 𝛺\n");
    client.published(URI);
    let mut settings = json!({"ampersum": {}});
    for (section, key, value) in all() {
        settings["ampersum"][section][key] = value;
    }
    settings["ampersum"]["rules"]["loose_end"] = json!("off");
    assert_eq!(told(&mut client, settings.clone()), None);
    // One that is wrong is told, once.
    settings["ampersum"]["writing"]["lens"] = json!("Ω");
    assert!(told(&mut client, settings.clone()).is_some_and(|it| it.contains("circuits")));
    settings["ampersum"]["writing"]["inlay"] = json!("off");
    assert_eq!(told(&mut client, settings), None);
    assert!(
        told(&mut client, json!({"ampersum": {"writings": {}}}))
            .is_some_and(|it| it.contains("writings"))
    );
}

#[test]
fn the_manual_and_the_packed_extension_know_the_same_settings() {
    let manual = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../crates/manual/book/output.md"
    );
    let manual = std::fs::read_to_string(manual).expect("the manual is there");
    for (_, key, _) in all() {
        assert!(
            manual.contains(&format!("\n{key} = ")),
            "the manual shows {key}"
        );
    }
    let package = file("vscode/package.json");
    let schema = file("ampersum.schema.json");
    let properties = package["contributes"]["configuration"]["properties"]
        .as_object()
        .expect("settings");
    for (name, it) in properties {
        let Some((section, key)) = name
            .strip_prefix("ampersum.")
            .map(|it| it.split_once('.').unwrap_or((it, "")))
        else {
            continue;
        };
        let known = &schema["properties"][section];
        let known = if key.is_empty() {
            known
        } else {
            &known["properties"][key]
        };
        assert!(known.is_object(), "{name}");
        assert_eq!(it["enum"], known["enum"], "{name}");
        if !key.is_empty() {
            assert_eq!(it["default"], known["default"], "{name}");
        }
    }
    for key in [
        "ampersum.rules",
        "ampersum.limits",
        "ampersum.answers.hidden",
        "ampersum.writing.lens",
    ] {
        assert!(properties.contains_key(key), "{key}");
    }
}
