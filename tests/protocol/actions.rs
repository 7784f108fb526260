//! Code actions: which are offered to whom, and what they change.

use serde_json::{Value, json};

use crate::desk::{Desk, URI, each};

const TEXT: &str = "\
source Ω: s𝛺 = 1 V
s𝛺 -- RΩ «4,7kΩ» -- out
out -- R2 3,3kΩ -- ground
«out -- R3 1k -- R4 1k -- ground»
";

fn offers(more: Value) -> Value {
    let mut action = json!({"codeActionLiteralSupport": {"codeActionKind": {"valueSet": []}}, "isPreferredSupport": true});
    for (key, value) in more.as_object().into_iter().flatten() {
        action[key] = value.clone();
    }
    json!({"textDocument": {"codeAction": action}})
}

fn actions(desk: &mut Desk, mark: usize, only: Value) -> Vec<Value> {
    let context = json!({"diagnostics": [], "only": only});
    let parameters = json!({"range": desk.range(mark), "context": context});
    let answer = desk.ask_all("textDocument/codeAction", parameters);
    answer
        .as_array()
        .unwrap_or_else(|| panic!("a list: {answer}"))
        .clone()
}

fn titled<'a>(actions: &'a [Value], title: &str) -> &'a Value {
    let found = actions
        .iter()
        .find(|it| it["title"].as_str().is_some_and(|it| it.starts_with(title)));
    found.unwrap_or_else(|| panic!("{title} is none of {actions:#?}"))
}

#[test]
fn fixes_are_offered_one_by_one_and_all_together() {
    each(offers(json!({})), TEXT, |desk| {
        let all = actions(desk, 0, Value::Null);
        let fix = titled(&all, "Write `4.7`");
        assert_eq!(
            (&fix["kind"], &fix["isPreferred"]),
            (&json!("quickfix"), &json!(true))
        );
        assert_eq!(fix["diagnostics"][0]["code"], "decimal_comma");
        assert_eq!(
            desk.edited(&fix["edit"]["changes"][URI]),
            desk.text.replace("4,7", "4.7")
        );
        let preferred = all.iter().filter(|it| it["isPreferred"] == true).count();
        assert_eq!(preferred, 1, "one for its one diagnostic");
        let kinds = &desk.client.greeting["capabilities"]["codeActionProvider"]["codeActionKinds"];
        assert!(
            kinds
                .as_array()
                .is_some_and(|it| it.contains(&json!("source.fixAll.ampersum")))
        );
        for only in ["source.fixAll", "source.fixAll.ampersum"] {
            let all = actions(desk, 0, json!([only]));
            assert_eq!(all.len(), 1, "{all:?}");
            let fixed = desk.text.replace("4,7", "4.7").replace("3,3", "3.3");
            assert_eq!(desk.edited(&all[0]["edit"]["changes"][URI]), fixed);
        }
        assert_eq!(
            actions(desk, 0, json!(["source.organizeImports"])),
            Vec::<Value>::new()
        );
    });
}

#[test]
fn rewrites_come_when_they_are_asked_for_and_say_why_when_they_cannot() {
    each(offers(json!({"disabledSupport": true})), TEXT, |desk| {
        let all = actions(desk, 1, json!(["refactor"]));
        let join = titled(&all, "Join `R3` and `R4`");
        assert_eq!(join["kind"], "refactor.rewrite");
        let edited = desk.edited(&join["edit"]["changes"][URI]);
        assert_eq!(edited, desk.text.replace("R3 1k -- R4 1k", "R3 2k"));
        let block = titled(&all, "Make these lines a block");
        assert_eq!(block["kind"], "refactor.extract");
        let edited = desk.edited(&block["edit"]["changes"][URI]);
        assert!(
            edited.starts_with("block stage: out\n  out -- R3 1k -- R4 1k -- ground\nend\n"),
            "{edited}"
        );
        assert!(edited.contains("\nstage S1: out out\n"), "{edited}");
        assert!(all.iter().all(|it| {
            it["kind"]
                .as_str()
                .is_some_and(|it| it.starts_with("refactor"))
        }));
        // Something else reads R4 now.
        let end = desk.position(desk.text.len());
        desk.client.change(
            URI,
            2,
            json!([{"range": {"start": end, "end": end}, "text": "expect current(R4) = 0 A\n"}]),
        );
        let all = actions(desk, 1, json!(["refactor"]));
        let join = titled(&all, "Join `R3` and `R4`");
        assert_eq!(join["disabled"]["reason"], "`R4` stands in line 5 too.");
        assert_eq!(join["edit"], Value::Null);
        let unasked = actions(desk, 1, Value::Null);
        assert!(unasked.iter().all(|it| it["disabled"].is_null()));
    });
}

#[test]
fn a_warning_can_be_accepted() {
    let text = "source Ω: s𝛺 = 1 V\ns𝛺 -- R1 1kΩ -- ground\ns𝛺 -- R2 1k -- «loose»\n";
    each(offers(json!({})), text, |desk| {
        let all = actions(desk, 0, json!(["quickfix"]));
        let accept = titled(&all, "Accept `loose_end` at `loose`");
        assert_eq!(accept["diagnostics"][0]["code"], "loose_end");
        assert_eq!(accept["isPreferred"], Value::Null);
        let edited = desk.edited(&accept["edit"]["changes"][URI]);
        assert!(
            edited.ends_with("-- loose\nallow loose_end at loose: \"it is meant so\"\n"),
            "{edited}"
        );
    });
}

#[test]
fn edits_come_late_only_to_clients_that_fetch_them() {
    for resolves in [true, false] {
        let more = match resolves {
            true => json!({"dataSupport": true, "resolveSupport": {"properties": ["edit"]}}),
            false => json!({}),
        };
        each(
            offers(more),
            "source Ω: s𝛺 = 1 V\ns𝛺 -- R1 1k -- «out» -- R2 1k -- ground\n",
            |desk| {
                let all = actions(desk, 0, json!(["explain"]));
                let comment = titled(&all, "Write the explanation");
                assert_eq!(comment["edit"].is_null(), resolves);
                let resolved = match resolves {
                    true => desk.client.request("codeAction/resolve", comment.clone()),
                    false => comment.clone(),
                };
                let edited = desk.edited(&resolved["edit"]["changes"][URI]);
                assert!(edited.contains("# Equation at out: "), "{edited}");
                let foreign = json!({"title": "x", "data": {"whose": "other"}});
                assert_eq!(
                    desk.client.request("codeAction/resolve", foreign.clone()),
                    foreign
                );
            },
        );
    }
}

#[test]
fn a_client_without_actions_is_given_commands() {
    each(json!({"workspace": {"applyEdit": true}}), TEXT, |desk| {
        let all = actions(desk, 0, Value::Null);
        let fix = titled(&all, "Write `4.7`");
        let run = json!({"command": fix["command"], "arguments": fix["arguments"]});
        assert_eq!(
            desk.client.request("workspace/executeCommand", run),
            Value::Null
        );
        let asked = desk
            .client
            .wait_for(|it| it["method"] == "workspace/applyEdit");
        assert_eq!(
            desk.edited(&asked["params"]["edit"]["changes"][URI]),
            desk.text.replace("4,7", "4.7")
        );
    });
}
