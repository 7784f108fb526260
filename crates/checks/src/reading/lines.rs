//! The words of errors of reading.

use syntax::{BodyKind, FaultKind, Limit, Span};

use super::Said;

pub(super) fn said(kind: &FaultKind, span: Span, text: &str) -> Said {
    let word = span.of(text);
    match kind {
        FaultKind::OpenString if word == "\"" => Said::new(
            "a text ends here that has not begun",
            "A text stands between two quotes, `\"`: put the first one where it begins.",
        ),
        FaultKind::OpenString => Said::new(
            "this text has no closing quote",
            "A text ends on its own line: put `\"` where it ends. If it is long, go on in the next line with another text.",
        ),
        FaultKind::DecimalComma => Said::new(
            format!("`{word}` is written with a comma"),
            format!(
                "Numbers are written with a point, because a comma separates the parts of a line: write `{}`. In a list a blank \
                 follows the comma.",
                word.replace(',', ".")
            ),
        ),
        FaultKind::StrayCharacter(sign) => {
            Said::new(format!("`{sign}` is not a sign of the language"), stray_help(*sign))
        }
        FaultKind::NotAStatement(nearest) => Said::new(
            format!("no line begins with `{word}`"),
            match nearest {
                Some(nearest) => format!("Did you mean `{nearest}`?"),
                None if syntax::element(word).is_some() => {
                    super::naming::in_a_path(word, syntax::element(word).unwrap_or(""))
                }
                None if word.starts_with(|it: char| !it.is_alphabetic()) => {
                    "A remark begins with `#`. Every other line is a path (`in -- R1 10k -- sum`), a device, or begins with a word such as \
                     `source`, `let` or `expect`."
                        .into()
                }
                None => "A line is a path (`in -- R1 10k -- sum`), a device (`opamp A1: plus in, minus fb, drives out`), or begins \
                         with a word such as `source`, `let` or `expect`."
                    .into(),
            },
        ),
        FaultKind::BareEquation if word == "ground" => Said::new(
            "this equation says what is so anyway",
            "`ground` is the node at 0 V, in every circuit: the line can go.",
        ),
        FaultKind::BareEquation => Said::new(
            "this equation says neither that a source holds it nor that it is a claim",
            "To hold a voltage, write `source NAME:` before it; to have it checked, write `expect`; to give a value a name, write `let`.",
        ),
        FaultKind::ElementAlone => Said::new(
            format!("{} stands alone, between no nodes", one(word, "this element")),
            "An element lies between two nodes, and a path says which: `in -- R1 10k -- sum`.",
        ),
        FaultKind::SingleDash if word.chars().count() > 1 => Said::new(
            format!("`{word}` joins nothing"),
            "Between two stations of a path stand two dashes, in either direction: `in -- R1 10k -- sum`.",
        ),
        FaultKind::SingleDash => Said::new(
            "one dash alone joins nothing",
            "Between two stations of a path stand two dashes: `in -- R1 10k -- sum`. A single dash is a minus sign.",
        ),
        FaultKind::WireInEquation => Said::new(
            "`--` stands inside an expression",
            "Two dashes join a path. Close the brackets before the path goes on; to take away a negative number, write `a - (-b)`.",
        ),
        FaultKind::PathEnds => Said::new(
            match word {
                "" | "--" => "this path ends without a node",
                _ => "this path begins without a node",
            },
            "A current comes from a node and goes to a node: `in -- R1 10k -- sum`. The node at 0 V is called `ground`.",
        ),
        FaultKind::ElementValue if !word.starts_with(['R', 'C', 'L']) => Said::new(
            format!("{} has no value, and a node cannot touch another node", one(word, "this element")),
            format!(
                "If it is an element, its value follows its name: `{word} 10k`. If it is a node: a wire has no line of its own, because \
                 one node has one name. Write the same name at both places."
            ),
        ),
        FaultKind::ElementValue => {
            let name = one(word, "this element");
            let example = match word.chars().next() {
                Some('C') => format!("`{word} 100 nF`"),
                Some('L') => format!("`{word} 10 mH`"),
                Some(_) => format!("`{word} 10k`"),
                None => "`R1 10k`".into(),
            };
            Said::new(format!("{name} has no value"), format!("Its value follows its name, such as {example}."))
        }
        FaultKind::Expected { what, example } => expected(word, what, example),
        FaultKind::ExtraWords => Said::new(
            format!("the line is complete before `{}`", first_line(word)),
            "Begin a new line with what follows, or put `#` before it if it is a remark. A product is written with `*`.",
        ),
        FaultKind::UnknownUnit(nearest) => {
            let help = match nearest {
                Some(nearest) => format!("Write `{nearest}`. If a product is meant, put `*` between the number and the name."),
                None => "Units are V, A, ohm, S, F, H, s, Hz, W, deg, % and dB, with a prefix such as k, m or u. If a product is \
                         meant, put `*` between the number and the name."
                    .into(),
            };
            Said::new(format!("`{word}` is not a unit"), help)
        }
        FaultKind::TwoNumbers => {
            let joined: String = word.split_whitespace().collect();
            let joined = if joined == word { "10000" } else { &joined };
            Said::new(
                "two numbers stand side by side",
                format!("One number has no blank inside: write `{joined}`, or shorter with a prefix, as in `10k`."),
            )
        }
        FaultKind::SourceForm => Said::new(
            "this source does not say where it is connected",
            "Left of `=` stands a node, `a = 5 V`, or a difference of two nodes, `a - b = 5 V`. Ground is left out: for the other \
             polarity write `a = -5 V`. A source of current is `source s: 2 mA from a into b`.",
        ),
        FaultKind::MissingEnd(Some(kind)) => {
            let noun = match kind {
                BodyKind::Part => "part",
                BodyKind::Block => "block",
                BodyKind::Circuit => "circuit",
                BodyKind::Work => "work sheet",
            };
            Said::new(format!("this {noun} has no `end`"), "Write `end` on a line of its own below its last line.")
        }
        FaultKind::MissingEnd(None) => Said::new(
            "nothing is open here that this `end` could close",
            "`end` closes a `part`, a `block` or a `work` sheet; a circuit ends by itself.",
        ),
        FaultKind::WrongPlace { belongs } => {
            Said::new(format!("`{}` is out of place here", first_line(word)), format!("Its place is {belongs}."))
        }
        FaultKind::NewerVersion => Said::new(
            format!("this file is written for version {word} of the language"),
            "This tool reads version 1. A newer tool reads the file; an older file says `ampersum 1`.",
        ),
        FaultKind::TooBig(limit) => too_big(*limit),
    }
}

pub(super) fn expected(word: &str, what: &str, example: &str) -> Said {
    let message = match word {
        "" => format!("the line ends where {what} is expected"),
        _ => format!("`{}` stands where {what} is expected", first_line(word)),
    };
    match example {
        "" => Said::new(message, format!("Put {what} here.")),
        _ => Said::new(message, format!("For instance `{example}`.")),
    }
}

fn stray_help(sign: char) -> String {
    match sign {
        '–' | '—' | '―' | '‐' | '‑' => {
            "A path is joined by two plain dashes, `--`.".into()
        }
        '“' | '”' | '„' | '‘' | '’' | '\'' | '«' | '»' => {
            "A text stands between two plain quotes, `\"`.".into()
        }
        '×' | '·' | '∙' | '⋅' => "A product is written with `*`.".into(),
        '÷' => "A quotient is written with `/`.".into(),
        '²' | '³' => "A power is written with `^`, such as `a^2`.".into(),
        '≤' => "Write `<=`.".into(),
        '≥' => "Write `>=`.".into(),
        '[' | ']' | '{' | '}' => "Brackets are round: `(` and `)`.".into(),
        ';' => {
            "A line says one thing and needs no sign at its end; clauses are separated by commas."
                .into()
        }
        '.' => "A point stands only inside a number, `4.7`, or a name, `F1.mid`.".into(),
        '\u{FFFD}' => {
            "The file is not written in UTF-8 here: save it so, and type the character again."
                .into()
        }
        _ => "Take it out. A remark begins with `#`.".into(),
    }
}

fn too_big(limit: Limit) -> Said {
    let (message, help) = match limit {
        Limit::File => (
            "this file is larger than 16 MiB",
            "Split it, and bring the parts together with `use`.",
        ),
        Limit::Line => (
            "this line is longer than 10,000 characters",
            "Cut it before a `--` or a comma: the next line goes on.",
        ),
        Limit::Name => (
            "this name is longer than 64 characters",
            "Choose a shorter one.",
        ),
        Limit::Digits => (
            "this number has more than 40 digits",
            "Write fewer digits, with a power of ten: `1.5e9`.",
        ),
        Limit::Exponent => (
            "this power of ten lies beyond 30",
            "Powers of ten go from `e-30` to `e30`.",
        ),
        Limit::Power => ("this power is above 32", "Powers go from `^-32` to `^32`."),
        Limit::Signs => (
            "more than 1,000 signs stand around one value",
            "Give a part of the expression a name with `let`.",
        ),
        Limit::AllSigns => (
            "more than 500,000 signs of arithmetic stand above, and from here on the rest is left out",
            "Split the file, and bring the parts together with `use`.",
        ),
        Limit::Faults => (
            "more than 5,000 lines cannot be read, and from here on the rest is left out",
            "Mend the lines above, the first one first: many others may come from it.",
        ),
        Limit::Brackets => (
            "brackets are more than 64 deep here",
            "Give an inner part a name with `let`.",
        ),
    };
    Said::new(message, help)
}

fn one(word: &str, otherwise: &str) -> String {
    match word {
        "" => otherwise.into(),
        _ => format!("`{}`", first_line(word)),
    }
}

/// No more than a headline can bear.
fn first_line(word: &str) -> String {
    const MOST: usize = 40;
    let line = word.lines().next().unwrap_or("");
    match line.char_indices().nth(MOST) {
        Some((cut, _)) => format!("{}…", &line[..cut]),
        None => line.into(),
    }
}
