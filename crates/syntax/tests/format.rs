//! The canonical form of every sample: what changes, and what must not.

use ampersum_syntax as syntax;

fn samples() -> Vec<(String, String)> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/samples");
    std::fs::read_dir(folder)
        .expect("the samples are there")
        .map(|it| it.expect("readable").path())
        .map(|it| {
            (
                it.display().to_string(),
                std::fs::read_to_string(&it).expect("readable"),
            )
        })
        .collect()
}

#[test]
fn samples_are_canonical() {
    for (name, text) in samples() {
        let formatted = syntax::format(&text);
        assert_eq!(formatted, text, "{name}");
    }
}

/// A tree without its spans, every word and number as the text has it.
fn shape(text: &str) -> Vec<String> {
    let tree = syntax::parse(text);
    let words = |it: &syntax::Statement| {
        let names: Vec<_> = it
            .names()
            .into_iter()
            .map(|(span, _)| span.of(text).to_owned())
            .collect();
        let mut names = names;
        names.sort();
        let mut values: Vec<String> = it
            .kind
            .exprs()
            .into_iter()
            .filter_map(|expr| syntax::quantity::read(text, expr.span).ok())
            .map(|it| format!("{:?} {:?}", it.value, it.dimension))
            .collect();
        values.sort();
        format!(
            "{:?} {names:?} {values:?}",
            std::mem::discriminant(&it.kind)
        )
    };
    tree.statements.iter().map(words).collect()
}

#[test]
fn squeezed_and_stretched_samples_come_back() {
    for (name, text) in samples() {
        for (from, to) in [
            (" -- ", "--"),
            (", ", " ,  "),
            (" = ", "="),
            (": ", " :"),
            ("\n\n", "\n\n\n\n"),
        ] {
            let changed: String = text
                .lines()
                .map(|line| {
                    if line.contains(['"', '#']) {
                        line.to_owned()
                    } else {
                        line.replace(from, to)
                    }
                })
                .collect::<Vec<_>>()
                .join("\n");
            let formatted = syntax::format(&changed);
            assert_eq!(
                shape(&formatted),
                shape(&changed),
                "{name}: {from:?} as {to:?}"
            );
            assert_eq!(
                syntax::format(&formatted),
                formatted,
                "{name}: {from:?} as {to:?}"
            );
        }
    }
}
