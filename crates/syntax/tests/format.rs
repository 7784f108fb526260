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

#[test]
fn spoilt_samples_keep_their_tree_and_have_one_canonical_form() {
    // A fixed multiplicative generator: the same mutations each time.
    let mut state = 0x2545_f491_4f6c_dd1du64;
    let mut below = |limit: usize| {
        state = state
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        (state >> 33) as usize % limit.max(1)
    };
    let inserts = [
        "--", " ", ",", "\"", "(", ")", "-", "#", "\n", "end", "1 k", "4k7", "µ", "Ω", "−", ":",
        "=", "\t", "e3", "%",
    ];
    for (name, text) in samples() {
        for _ in 0..60 {
            let mut characters: Vec<char> = text.chars().collect();
            for _ in 0..1 + below(3) {
                let at = below(characters.len());
                match below(3) {
                    0 => {
                        let end = (at + 1 + below(4)).min(characters.len());
                        characters.drain(at..end);
                    }
                    1 => {
                        let insert = inserts[below(inserts.len())];
                        characters.splice(at..at, insert.chars());
                    }
                    _ => {
                        let other = below(characters.len());
                        characters.swap(at, other);
                    }
                }
            }
            let spoilt: String = characters.into_iter().collect();
            let formatted = syntax::format(&spoilt);
            assert_eq!(
                shape(&formatted),
                shape(&spoilt),
                "{name}:\n{spoilt}\n-----\n{formatted}"
            );
            assert_eq!(syntax::format(&formatted), formatted, "{name}:\n{spoilt}");
        }
    }
}

#[test]
fn time_grows_with_the_text() {
    let many = |line: &dyn Fn(usize) -> String| (0..2_000).map(line).collect::<String>();
    let texts = [
        many(&|n| format!("let a{n} = 1  # {n}\n")),
        many(&|n| format!("work \"{n}\"\n  # {n}\n  a = 1\nend\n")),
        format!("a{} -- b\n", many(&|n| format!("\n-- R{n} 1k -- n{n}"))),
        format!("find a{}\n", many(&|n| format!("\n, n{n} - a  # {n}"))),
        format!("opamp A: plus a{}\n", many(&|n| format!("\n, minus n{n}"))),
    ];
    for text in &texts {
        let begin = std::time::Instant::now();
        let formatted = syntax::format(text);
        // A busy machine and an unoptimized build: a second at most; with the square of the lines it is minutes.
        assert!(begin.elapsed().as_secs() < 20, "{}", &text[..60]);
        assert_eq!(shape(&formatted), shape(text));
        assert_eq!(syntax::format(&formatted), formatted);
    }
}
