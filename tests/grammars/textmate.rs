//! The TextMate grammar in the engine of VS Code: each token's class is the parser's, but for what one line cannot show.
//!
//! `install` beside this file installs the engine. Where it is not there the test says so and is skipped, unless
//! `AMPERSUM_EDITORS` is `required`, as `tests/run` has it.

use std::io::Write;
use std::process::{Command, Stdio};

use syntax::TokenClass;

use crate::generate;
use crate::random::{Random, seed};
use crate::texts::{Text, damaged, root, samples, tables, target};
use crate::trees::{is_explained, sound_tokens};

/// A class for every byte of each text; `None` without the engine.
fn coloured(texts: &[Text]) -> Option<Vec<Vec<TokenClass>>> {
    let modules = target().join("grammars/node_modules");
    if !modules.join("vscode-textmate").exists() {
        let required = std::env::var_os("AMPERSUM_EDITORS").is_some_and(|it| it == "required");
        assert!(
            !required,
            "the engine has to be there: tests/grammars/install"
        );
        eprintln!("skipped: tests/grammars/install installs the engine");
        return None;
    }
    let mut node = Command::new("node")
        .arg(root().join("tests/grammars/tokenize.js"))
        .arg(modules)
        .arg(root().join("editors/grammars/ampersum.tmLanguage.json"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("node runs");
    let list: Vec<&str> = texts.iter().map(|it| it.text.as_str()).collect();
    let mut input = node.stdin.take().expect("it was piped");
    input
        .write_all(serde_json::to_string(&list).expect("a list").as_bytes())
        .expect("it reads");
    drop(input);
    let output = node.wait_with_output().expect("it ends");
    assert!(output.status.success(), "the script fails");
    let found: Vec<Vec<(usize, usize, String)>> =
        serde_json::from_slice(&output.stdout).expect("lists of tokens");
    let bytes = texts.iter().zip(found).map(|(text, tokens)| {
        let mut classes = vec![TokenClass::Name; text.text.len()];
        for (start, end, scope) in tokens {
            let end = end.min(classes.len());
            classes[start.min(end)..end].fill(class_of(&scope));
        }
        classes
    });
    Some(bytes.collect())
}

fn class_of(scope: &str) -> TokenClass {
    let classes = [
        ("keyword.operator", TokenClass::Sign),
        ("punctuation", TokenClass::Sign),
        ("keyword", TokenClass::Word),
        ("constant.language", TokenClass::Word),
        ("support.type.property-name", TokenClass::Word),
        ("support.function", TokenClass::Function),
        ("entity.name.function", TokenClass::Function),
        ("constant.numeric", TokenClass::Number),
        ("string", TokenClass::Text),
        ("comment.line.documentation", TokenClass::Description),
        ("comment", TokenClass::Comment),
        ("invalid", TokenClass::Error),
    ];
    let class = classes
        .iter()
        .find(|(beginning, _)| scope.starts_with(beginning));
    class.map_or(TokenClass::Name, |(_, class)| *class)
}

#[derive(PartialEq, Eq, Debug)]
struct Difference {
    token: String,
    should: TokenClass,
    is: TokenClass,
    line: String,
}

/// How many tokens there are, and each that differs.
fn compare(texts: &[Text]) -> Option<(usize, Vec<Difference>)> {
    let coloured = coloured(texts)?;
    let mut tokens = 0;
    let mut differing = Vec::new();
    for (Text { text, .. }, classes) in texts.iter().zip(coloured) {
        for token in sound_tokens(text) {
            tokens += 1;
            let found = classes[token.span.range()]
                .iter()
                .find(|it| **it != token.class);
            if let Some(found) = found {
                let row = text[..token.span.start as usize].matches('\n').count();
                differing.push(Difference {
                    token: token.span.of(text).to_owned(),
                    should: token.class,
                    is: *found,
                    line: text.lines().nth(row).unwrap_or_default().to_owned(),
                });
            }
        }
    }
    Some((tokens, differing))
}

#[test]
fn every_token_of_the_samples_is_coloured_as_the_parser_has_it() {
    let Some((tokens, differing)) = compare(&samples()) else {
        return;
    };
    assert!(tokens > 3_000, "{tokens} tokens");
    assert_eq!(differing, []);
}

#[test]
fn generated_files_are_coloured_as_the_parser_has_them() {
    let mut random = Random::new(seed(19));
    let texts: Vec<Text> = (0..400)
        .map(|_| Text {
            name: "generated".into(),
            text: generate::file(&mut random),
        })
        .collect();
    let Some((tokens, differing)) = compare(&texts) else {
        return;
    };
    assert!(tokens > 30_000, "{tokens} tokens");
    explain(differing);
}

#[test]
fn a_broken_line_spoils_no_other() {
    let mut random = Random::new(seed(23));
    let samples = samples();
    let mut texts = tables();
    texts.extend((0..400).map(|_| Text {
        name: "damaged".into(),
        text: damaged(&random.pick(&samples).text, &mut random),
    }));
    let Some((tokens, differing)) = compare(&texts) else {
        return;
    };
    assert!(tokens > 30_000, "{tokens} tokens");
    explain(differing);
}

#[track_caller]
fn explain(differing: Vec<Difference>) {
    for Difference {
        token,
        should,
        is,
        line,
    } in differing
    {
        assert!(
            is_explained(&token, should, is),
            "`{token}` is {should:?} and coloured as {is:?} in `{line}`"
        );
    }
}
