//! The words of errors of naming and of values.

use circuit::FaultKind;
use syntax::{Dimension, Span};
use teaching::{names, words};

use super::Said;

pub(super) fn said(kind: &FaultKind, span: Span, text: &str) -> Said {
    let word = span.of(text);
    match kind {
        FaultKind::NameTaken {
            name,
            is: "reserved",
            ..
        } => Said::new(
            format!("`{name}` is a word of the language and cannot be a name"),
            match name.as_str() {
                "ground" => "`ground` is the node at 0 V, in every circuit. Choose another name.",
                "end" => "`end` closes a part, a block or a work sheet. Choose another name.",
                _ => "Choose another name.",
            },
        ),
        FaultKind::NameTaken {
            name,
            is: "a circuit",
            ..
        } => Said::new(
            format!("another circuit of this file is called `{name}` already"),
            "A circuit is asked for by its name, so each has one of its own. Choose another one here.",
        ),
        FaultKind::NameTaken { name, is, line } => Said::new(
            match line {
                Some(line) => format!("`{name}` is already {is}, in line {line}"),
                None => format!("`{name}` is already {is}"),
            },
            "Every node, element, source, device and `let` of a circuit has a name of its own. Choose another one here.",
        ),
        FaultKind::UnknownName {
            name,
            nearest: Some(nearest),
            ..
        }
        | FaultKind::UnknownWord {
            word: name,
            nearest: Some(nearest),
            ..
        } if word == nearest && word != name => Said::new(
            format!("nothing uses `{word}`, and nothing is called `{name}`"),
            format!("Other lines read `{name}`. Perhaps the two are one: give them the same name."),
        ),
        FaultKind::UnknownName {
            name,
            wanted,
            nearest,
            also,
        } => Said::new(
            match *wanted {
                "name" => format!("nothing here is called `{name}`"),
                wanted => format!("there is no {wanted} `{name}`"),
            },
            match nearest {
                Some(first) => did_you_mean(first, also),
                None => unknown_name(name, wanted),
            },
        ),
        FaultKind::UnknownWord {
            word,
            wanted,
            nearest,
        } => Said::new(
            format!("there is no {wanted} `{word}`"),
            match syntax::element(word).filter(|_| *wanted == "device") {
                Some(path) => in_a_path(word, path),
                None => unknown_word(wanted, nearest.as_deref()),
            },
        ),
        FaultKind::ClauseMissing { name, missing } => {
            let said = names::list(missing.iter().map(|it| format!("`{it}`")));
            let those = if missing.len() == 1 { "it" } else { "them" };
            Said::new(
                format!("`{name}` does not say {said}"),
                format!(
                    "Nothing goes by position, so every connection is named. Add {those} after a comma, such as {}.",
                    clauses(missing)
                ),
            )
        }
        FaultKind::SaidTwice(word) => Said::new(
            format!("`{word}` was already said"),
            "Only one of the two can hold. Take the other out.",
        ),
        FaultKind::InsideName(name) => {
            let (block, inner) = name.split_once('.').unwrap_or((name, ""));
            Said::new(
                format!("`{name}` lies inside `{block}` and cannot be wired from outside"),
                format!(
                    "The inside of a block can be read, in an `expect` for instance. To wire it, make `{inner}` a port of the block."
                ),
            )
        }
        FaultKind::Expected { what, example } => super::lines::expected(word, what, example),
        FaultKind::Ring(name) => Said::new(
            format!("`{name}` is worked out from itself"),
            "Follow the names on its right side: they lead back to it. One of them needs a value of its own.",
        ),
        FaultKind::NoValue { name, is } => Said::new(
            format!("`{name}` is {is} and has no value of its own"),
            no_value(name, is),
        ),
        FaultKind::UnitsDiffer { left, right, doing } => units_differ(*left, *right, doing),
        FaultKind::UnitNeeded { needed, found } => unit_needed(*needed, *found, word),
        FaultKind::UnitMisplaced(unit) => Said::new(
            format!("`{unit}` cannot stand here"),
            match *unit {
                "Vpp" => {
                    "Vpp is the size of a wave from its lowest to its highest point: `sine 2 Vpp at 1 kHz`. A steady voltage is \
                          written in V."
                }
                "Vrms" => {
                    "Vrms is the effective size of a wave: `sine 1 Vrms at 1 kHz`. A steady voltage is written in V."
                }
                "dB" => {
                    "A value in decibels is a ratio and stands alone, in no sum or product: write `-3 dB`, or the ratio itself, \
                         0.708."
                }
                _ => "Write the value in its base unit.",
            },
        ),
        FaultKind::NotPositive => Said::new(
            match word {
                "" => "this value is not above zero".to_string(),
                _ => format!("`{word}` is not above zero"),
            },
            "A value here is above zero. A wire has no element: write one node name at both places. A gap has no line at all.",
        ),
        FaultKind::DivisionByZero => Said::new(
            match word {
                "" => "something is divided by zero here".to_string(),
                _ => format!("`{word}` is zero, and something is divided by it"),
            },
            "Look at the values that it is made of.",
        ),
        FaultKind::DriveForm => Said::new(
            match word {
                "" => "a source cannot be driven by this".to_string(),
                _ => format!("a source cannot be driven by `{word}`"),
            },
            "A drive is a constant, or a sum of constants times voltages of other nodes, such as `100 * (p - n) + 1 V`: no product of \
             two voltages, and not the source's own node.",
        ),
        FaultKind::RailNotHeld(name) if word != name => Said::new(
            format!(
                "this source holds `{word}`, which stands only here, and nothing holds the rail `{name}`"
            ),
            format!("Did you mean `{name}`?"),
        ),
        FaultKind::RailNotHeld(name) => Said::new(
            format!("no constant source holds the rail `{name}`"),
            format!(
                "A rail is a value, `supply 5 V`, or a node that a source holds at a constant voltage: `source rail: {name} = 5 V`."
            ),
        ),
        FaultKind::StartNowhere => Said::new(
            "no capacitor or inductor lies there, so nothing could start there",
            "`start a - b = 2 V` sets the capacitor between `a` and `b`, `start a = 2 V` the one between `a` and ground, and \
             `start current(L1) = 1 mA` an inductor.",
        ),
        FaultKind::WhichSource => Said::new(
            "several sources reach what this response is taken from",
            "Say which one drives it, `driven by` and the source's name; the others are then at zero.",
        ),
        FaultKind::UseFile { ring: true } => Said::new(
            "this file uses the one that uses it",
            "Parts and blocks that both need go into a third file, which both use.",
        ),
        FaultKind::UseFile { ring: false } => Said::new(
            format!("there is no file {} in the workspace", word.trim()),
            "The path counts from this file, and must stay inside the workspace: the folder above with `ampersum.toml`, or else this \
             file's own.",
        ),
        FaultKind::TooBig(what) => Said::new(
            format!("this goes beyond a limit of the language: {what}"),
            "Make it smaller, or split it.",
        ),
    }
}

fn did_you_mean(first: &str, also: &[String]) -> String {
    let others: String = also.iter().map(|it| format!(" or `{it}`")).collect();
    format!("Did you mean `{first}`{others}?")
}

fn unknown_name(name: &str, wanted: &str) -> String {
    match wanted {
        "node" => format!("A node exists by standing in a path or a device, or left of `=` in a source. Here `{name}` is only read."),
        "part" => format!("A part is described above the first circuit, `part {name}` … `end`, or in a file that this one uses."),
        "op-amp" if name.contains('.') => {
            let block = name.split('.').next().unwrap_or(name);
            format!("Inside `{block}` no `opamp` line has that name.")
        }
        "op-amp" => format!("An op-amp is made by a line such as `opamp {name}: plus in, minus fb, drives out`."),
        "source" => format!("A source is made by a line such as `source {name}: in = 1 V`."),
        "circuit" => format!("A circuit begins with a line `circuit {name}`."),
        "block" => format!("A block is described above the first circuit, `block {name}: in, out` … `end`, or in a file that this one uses."),
        _ => "A name is made by a path, a source, a device or a `let` of this circuit, or by a `let` of its file.".into(),
    }
}

/// An element is no device.
pub(super) fn in_a_path(word: &str, path: &str) -> String {
    let word = word.to_lowercase();
    format!(
        "A {word} stands in a path, between two nodes: `{path}`. The unit of its value says what it is."
    )
}

fn unknown_word(wanted: &str, nearest: Option<&str>) -> String {
    let list = |words: &[words::Word]| names::list(words.iter().map(|it| format!("`{}`", it.0)));
    let known = match wanted {
        "device" => format!("Devices are {}, and the blocks of this file and of those it uses.", list(words::DEVICES)),
        "function" => format!("Functions are {}.", list(words::FUNCTIONS)),
        "property" => format!("A part can say {}.", list(words::PROPERTIES)),
        "series" => "The series of stock values are `E6`, `E12`, `E24`, `E48`, `E96` and `E192`.".into(),
        "rule" => "`ampersum rule` lists the rules.".into(),
        "package" => "Packages are `single_8`, `dual_8` and `quad_14`.".into(),
        "side" => "Of a headroom and of inputs the sides are `low` and `high`, of a current `source` and `sink`.".into(),
        "port" => "Devices join it, and a line of the block names it: say it among the ports in the head of the block.".into(),
        "clause" => "Look at the clauses of this kind of device: each begins with a word that says what it connects or sets.".into(),
        _ => String::new(),
    };
    match nearest {
        Some(nearest) => format!("Did you mean `{nearest}`?"),
        None => known,
    }
}

fn clauses(missing: &[String]) -> String {
    let example = |word: &String| match word.as_str() {
        "plus" => "plus in".into(),
        "minus" => "minus fb".into(),
        "drives" => "drives out".into(),
        "from" | "to" | "wiper" | "anode" | "cathode" => format!("{word} a"),
        "total" => "total 10k".into(),
        "at" => "at 30 %".into(),
        "value" => "value 47 uF".into(),
        "open" | "closed" | "open` or `closed" => "closed".into(),
        port => format!("{port} a"),
    };
    format!(
        "`, {}`",
        missing
            .iter()
            .map(example)
            .collect::<Vec<String>>()
            .join(", ")
    )
}

fn no_value(name: &str, is: &str) -> String {
    match is {
        "an op-amp" => format!("Take the voltage of its output node, or its output current, `current({name})`."),
        "a source" => format!("Take the voltage of the node that it holds, or its current, `current({name})`."),
        "a block" => format!("Take something inside it, such as `{name}.R1`, or a node at one of its ports."),
        "a pot" => format!("Take one of its halves, `{name}.from` or `{name}.to`."),
        _ if is.contains("answer") => "An answer exists once the circuit is solved, so it can stand in `expect`, `find` and `record`, \
                                       and in no value that the circuit is made of."
            .into(),
        _ => "Take a node's voltage, or `current(…)` of a part.".into(),
    }
}

/// "volts", "plain numbers".
fn unit(dimension: Dimension) -> String {
    match dimension {
        Dimension::NONE => "plain numbers".into(),
        _ => dimension.name().into_owned(),
    }
}

fn units_differ(left: Dimension, right: Dimension, doing: &str) -> Said {
    let message = format!("{} and {} cannot be {doing}", unit(left), unit(right));
    let mut help = format!(
        "The left side is in {}, the right side in {}.",
        unit(left),
        unit(right)
    );
    let factor = left.over(right);
    if factor != Dimension::NONE && right != Dimension::NONE && left != Dimension::NONE {
        if let Some(symbol) = factor.unit() {
            help.push_str(&format!(
                " A factor in {} ({symbol}) on the right would make them alike.",
                factor.name()
            ));
        } else if let Some(symbol) = right.over(left).unit() {
            let inverse = right.over(left);
            help.push_str(&format!(
                " A factor in {} ({symbol}) on the left would make them alike.",
                inverse.name()
            ));
        }
    } else if right == Dimension::NONE || left == Dimension::NONE {
        help.push_str(" Perhaps a unit is missing.");
    }
    Said::new(message, help)
}

fn unit_needed(needed: Dimension, found: Dimension, word: &str) -> Said {
    let number = !word.is_empty()
        && word
            .chars()
            .all(|it| it.is_ascii_digit() || matches!(it, '.' | '-' | '−' | ' '));
    let symbol = needed.unit();
    let example = match (symbol, number) {
        (Some(symbol), true) => format!("Write `{word} {symbol}`, with a prefix if you like."),
        (Some(symbol), false) => format!("Write a value in {symbol}."),
        (None, _) if needed == Dimension::NONE => "Write a number without a unit here.".into(),
        (None, _) => format!("Write a value in {}.", needed.name()),
    };
    match found {
        Dimension::NONE => Said::new(
            format!("{} are needed here, and there is no unit", unit(needed)),
            example,
        ),
        _ if needed == Dimension::NONE => Said::new(
            format!("a plain number is needed here, not {}", unit(found)),
            example,
        ),
        _ => Said::new(
            format!("{} are needed here, not {}", unit(needed), unit(found)),
            example,
        ),
    }
}
