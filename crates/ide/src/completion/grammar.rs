//! What the grammar lets stand at the caret, statement by statement.

use syntax::{BodyKind, Dimension};
use teaching::{notation, words};

use super::line::{Line, Tok, Token};
use super::stock::{Menu, item_kind};
use super::{About, Item, ItemKind};
use crate::View;
use crate::answers::answers;
use crate::names::Kind;

const CARRIERS: &[Kind] = &[Kind::Element, Kind::Source, Kind::Opamp, Kind::Device];
const VALUES: &[Kind] = &[Kind::Let, Kind::Parameter, Kind::Element];
const ALL_UNITS: &[&str] = &[
    "V", "mV", "mA", "uA", "k", "M", "ohm", "nF", "uF", "mH", "ms", "us", "Hz", "kHz", "W", "%",
];
const VOLTS: &[&str] = &["V", "mV"];
const TIMES: &[&str] = &["ms", "us", "s"];
const FREQUENCIES: &[&str] = &["Hz", "kHz", "MHz"];
const WAVES: [&str; 5] = ["sine", "square", "triangle", "step", "through"];

/// Everything that may stand at the caret.
pub(super) fn items<'v>(view: &'v View, line: &'v Line<'v>) -> Vec<Item> {
    let mut menu = Menu::new(view, line);
    let tokens = &line.before[..];
    if in_number(view, line) {
        return menu.items;
    }
    if let Some(text) = line.in_text {
        if tokens.len() == 1 && tokens[0].text == "use" {
            files(&mut menu, text);
        }
        return menu.items;
    }
    if let Some(device) = line.within {
        for (name, kind) in view.names().inside(line.start(), device) {
            menu.put(menu.item(name, item_kind(kind), kind.noun(), About::Nothing));
        }
        return menu.items;
    }
    statement(&mut menu, tokens);
    menu.items
}

/// Whether the caret stands inside a number, or behind its point or its `e`: only digits can come there.
fn in_number(view: &View, line: &Line) -> bool {
    let inside = |it: &Token| it.kind == Tok::Number && line.caret < it.span.end;
    let before = &view.text()[..line.caret as usize];
    line.before.last().is_some_and(inside) || (line.within.is_none() && is_cut_short(before))
}

/// Whether a text ends in `3.`, `2e` or `2.5e-`: in a number that lacks its last digits.
fn is_cut_short(before: &str) -> bool {
    let number = match before.strip_suffix('.') {
        Some(whole) => whole,
        None => match before.trim_end_matches(['+', '-', '−']).strip_suffix('e') {
            Some(number) => number,
            None => return false,
        },
    };
    // A name may end like a number.
    let mut words = number.rsplit(|it: char| !(it.is_alphanumeric() || matches!(it, '_' | '.')));
    let digits = words.next().unwrap_or_default();
    digits.starts_with(|it: char| it.is_ascii_digit())
        && digits.chars().all(|it| it.is_ascii_digit() || it == '.')
}

/// The body that a line stands in.
fn body(view: &View, at: u32) -> Option<BodyKind> {
    let tree = view.tree();
    let before = tree.statements.partition_point(|it| it.span.start < at);
    let last = syntax::StatementId(before.checked_sub(1)? as u32);
    let body = tree.body_of(last)?;
    match body.end == Some(last) {
        // Behind an `end` what was around goes on.
        true => tree
            .bodies
            .iter()
            .rfind(|it| it.kind == BodyKind::Circuit && it.head < last)
            .map(|it| it.kind),
        false => Some(body.kind),
    }
}

fn statement(menu: &mut Menu, tokens: &[Token]) {
    let inside = body(menu.view, menu.line.start());
    let Some(first) = tokens.first() else {
        return beginning(menu, inside);
    };
    if let Some(open) = menu.line.open_bracket() {
        return brackets(menu, &tokens[..open], &tokens[open + 1..]);
    }
    let rest = &tokens[1..];
    if inside == Some(BodyKind::Part) {
        return property(menu, first.text, rest);
    }
    if rest.first().is_some_and(|it| is_wire(it)) {
        return path(menu, tokens);
    }
    if tokens.len() >= 3 && tokens[2].text == ":" && !matches!(first.text, "source" | "allow") {
        return device(menu, first.text, &tokens[3..]);
    }
    match first.text {
        "source" => source(menu, rest),
        "let" => equation(menu, rest, &[]),
        "supply" => rails(menu, rest),
        "opamps" if rest.is_empty() => menu.word("are", "Which part the op-amps are."),
        "opamps" => menu.parts(),
        "start" => equation(menu, rest, &[]),
        "expect" => expect(menu, rest),
        "allow" => allow(menu, rest),
        "find" => list(menu, rest, &[("points", "How many points it gives.")]),
        "record" => list(menu, rest, &[("for", "For how long it is recorded.")]),
        "response" => response(menu, rest),
        "require" => require(menu, rest),
        "vary" => vary(menu, rest),
        "work" if rest.last().is_some_and(|it| it.text == "for") => menu.circuits(),
        "work" if !rest.is_empty() => menu.word("for", "The circuit that the sheet is about."),
        "work" | "circuit" | "part" | "use" | "problem" | "ask" | "answer" | "end" | "ampersum" => {
        }
        "block" => {}
        _ if inside == Some(BodyKind::Work) => equation(menu, tokens, &[]),
        kind if rest.is_empty() => named(menu, kind),
        _ => {}
    }
}

/// Where a line begins.
fn beginning(menu: &mut Menu, inside: Option<BodyKind>) {
    let statements = words::STATEMENTS;
    match inside {
        Some(BodyKind::Part) => {
            menu.words(words::PROPERTIES);
            menu.some(statements, &["end"]);
        }
        Some(BodyKind::Work) => {
            menu.names(&[Kind::Node], true);
            menu.words(words::FUNCTIONS);
            menu.some(statements, &["let", "end"]);
        }
        Some(BodyKind::Block) => {
            menu.names(&[Kind::Node], true);
            devices(menu);
            menu.some(statements, &["source", "let", "allow", "end"]);
        }
        None if menu
            .view
            .tree()
            .bodies
            .iter()
            .any(|it| it.kind == BodyKind::Circuit) =>
        {
            menu.some(
                statements,
                &["circuit", "part", "block", "use", "let", "work"],
            );
        }
        inside => {
            menu.names(&[Kind::Node], true);
            devices(menu);
            let file = inside.is_none();
            for (word, meaning) in statements {
                let of_file = matches!(*word, "ampersum" | "use" | "part" | "block");
                if *word != "end" && (file || !of_file) {
                    menu.word(word, meaning);
                }
            }
            menu.ground();
        }
    }
}

fn devices(menu: &mut Menu) {
    for (word, meaning) in words::DEVICES {
        let mut item = menu.item(word, ItemKind::Word, "", About::Meaning(meaning));
        let letter = match *word {
            "opamp" | "comparator" => "A",
            "switch" => "S",
            "pot" => "P",
            "diode" => "D",
            _ => "C",
        };
        let clauses = clauses(menu, word).unwrap_or_default();
        item.snippet = Some(format!("{word} {}: {clauses}", menu.next_free(letter)));
        menu.put(item);
    }
    let blocks: Vec<String> = menu
        .view
        .names()
        .shelf(crate::names::Home::Blocks)
        .iter()
        .map(|it| it.to_string())
        .collect();
    for name in blocks {
        let about = About::Block(name.clone());
        let mut item = menu.item(&name, ItemKind::Block, "a block", about);
        let filled = clauses(menu, &name).unwrap_or_default();
        let letter: String = name.chars().take(1).flat_map(char::to_uppercase).collect();
        item.snippet = Some(format!("{name} {}: {}", menu.next_free(&letter), filled));
        menu.put(item);
    }
}

/// What a device or a block asks for, with places to fill in.
fn clauses(menu: &Menu, kind: &str) -> Option<String> {
    let fixed = match kind {
        "opamp" | "comparator" => "plus ${1:node}, minus ${2:node}, drives ${3:node}",
        "switch" => "from ${1:node}, to ${2:node}, ${3|open,closed|}",
        "pot" => "from ${1:node}, to ${2:node}, wiper ${3:node}, total ${4:10k}, at ${5:50 %}",
        "diode" => "anode ${1:node}, cathode ${2:node}",
        "electrolytic" => "plus ${1:node}, minus ${2:node}, value ${3:10 uF}",
        block => {
            let ports = menu.view.names().ports(block)?;
            let nodes = ports.iter().filter(|it| it.1 == Kind::Node).zip(1..);
            let filled = nodes.map(|((port, _), number)| format!("{port} ${{{number}:node}}"));
            return Some(filled.collect::<Vec<_>>().join(", "));
        }
    };
    Some(fixed.to_owned())
}

/// Behind a line's first word, where that is a device or a node.
fn named(menu: &mut Menu, kind: &str) {
    let letter = match kind {
        "opamp" | "comparator" => "A".to_owned(),
        "switch" => "S".to_owned(),
        "pot" => "P".to_owned(),
        "diode" => "D".to_owned(),
        "electrolytic" => "C".to_owned(),
        block if menu.view.names().ports(block).is_some() => {
            block.chars().take(1).flat_map(char::to_uppercase).collect()
        }
        _ => return menu.behind(" --", "a path through elements"),
    };
    // With a name that no other has it goes on.
    let typed = menu.typed();
    if !typed.is_empty()
        && let Some(clauses) = clauses(menu, kind)
    {
        menu.behind_filled(&format!(": {clauses}"), "what it asks for");
    }
    let name = menu.next_free(&letter);
    if name == typed {
        return;
    }
    let mut item = menu.item(
        &name,
        ItemKind::Device,
        "the next free name",
        About::Nothing,
    );
    item.text = format!("{name}: ");
    menu.put(item);
}

fn is_wire(it: &Token) -> bool {
    it.kind == Tok::Sign && matches!(it.text, "--" | "−−" | "-−" | "−-")
}

fn path(menu: &mut Menu, tokens: &[Token]) {
    let mut items = tokens.split(is_wire);
    let last = items.next_back().unwrap_or_default();
    let before = items.next_back().unwrap_or_default();
    let is_node = |it: &[Token]| it.len() == 1;
    match last {
        [] if is_node(before) => {
            element(menu);
            menu.nodes();
        }
        [] => {
            menu.nodes();
            element(menu);
        }
        [name] => {
            let known = menu.view.names().known(menu.line.start(), name.text);
            if known.is_some_and(|it| it.1 == Kind::Node) || name.text == "ground" {
                return menu.behind(" -- ", "the path goes on");
            }
            menu.values(letter(name.text));
        }
        [name, value, ..] => {
            let bare =
                value.kind == Tok::Number && !value.text.ends_with(|it: char| !it.is_ascii_digit());
            if last.len() == 2 && bare {
                menu.units(match letter(name.text) {
                    'C' => &["nF", "uF", "pF", "mF"],
                    'L' => &["mH", "uH", "H"],
                    'R' => &["k", "M", "ohm"],
                    _ => &["k", "M", "ohm", "nF", "uF", "mH"],
                });
            }
            if !menu.is_before("--") {
                menu.behind(" -- ", "the path goes on");
            }
            if !last.iter().any(|it| it.text.ends_with('%')) {
                menu.behind(" 1 %", "its tolerance");
            }
            if letter(name.text) != 'C' && !last.iter().any(|it| it.text.ends_with('W')) {
                menu.behind(" 0.25 W", "its rating");
            }
        }
    }
}

/// The first letter of a name, which says what an element probably is.
fn letter(name: &str) -> char {
    name.chars().next().unwrap_or('R')
}

/// An element that is new: the name that is typed, or the next free ones.
fn element(menu: &mut Menu) {
    let typed = syntax::Span {
        start: menu.line.word.start,
        end: menu.line.caret,
    };
    let typed = typed.of(menu.view.text()).to_owned();
    let looks_like_one = typed.starts_with(['R', 'C', 'L'])
        && typed.len() > 1
        && menu
            .view
            .names()
            .known(menu.line.start(), &typed)
            .is_none_or(|it| it.1 != Kind::Node);
    let mut names: Vec<String> = ["R", "C", "L"]
        .iter()
        .map(|it| menu.next_free(it))
        .collect();
    if looks_like_one {
        names.insert(0, typed);
    }
    for name in names {
        let values = menu.usual_values(letter(&name));
        let Some(value) = values.first() else {
            continue;
        };
        let text = format!("{name} {value} -- ");
        let mut item = menu.item(
            text.trim(),
            ItemKind::Element,
            "a new element",
            About::Nothing,
        );
        item.snippet = Some(format!("{name} ${{1:{value}}} -- "));
        item.text = text;
        menu.put(item);
    }
}

/// Clauses of devices that name a node.
const NODE_CLAUSES: [&str; 8] = [
    "plus", "minus", "drives", "from", "to", "wiper", "anode", "cathode",
];

fn device(menu: &mut Menu, kind: &str, tokens: &[Token]) {
    let clauses: Vec<&[Token]> = tokens.split(|it| it.text == ",").collect();
    let (last, before) = clauses
        .split_last()
        .map_or((&[][..], &[][..]), |(last, before)| (*last, before));
    let said: Vec<&str> = before
        .iter()
        .filter_map(|it| Some(it.first()?.text))
        .collect();
    let ports = menu.view.names().ports(kind).map(<[_]>::to_vec);
    let Some(word) = last.first() else {
        let typed = menu.typed();
        let asks_node = match ports.iter().flatten().find(|it| it.0 == typed) {
            Some(port) => port.1 == Kind::Node,
            None => {
                let mut clauses = words::clauses(kind).into_iter().flatten();
                clauses.any(|it| it.0 == typed) && NODE_CLAUSES.contains(&typed)
            }
        };
        if asks_node {
            menu.nodes_behind();
        }
        let exclusive = said.iter().any(|it| matches!(*it, "open" | "closed"));
        for (clause, meaning) in words::clauses(kind).into_iter().flatten() {
            let done = said.contains(clause) || exclusive && matches!(*clause, "open" | "closed");
            if !done {
                menu.word(clause, meaning);
            }
        }
        for (port, kind) in ports
            .iter()
            .flatten()
            .filter(|it| !said.contains(&it.0.as_str()))
        {
            menu.put(menu.item(port, item_kind(*kind), kind.noun(), About::Nothing));
        }
        if ports.is_some() {
            for (clause, meaning) in words::clauses("opamp").into_iter().flatten() {
                if matches!(*clause, "part" | "supply") && !said.contains(clause) {
                    menu.word(clause, meaning);
                }
            }
        }
        return;
    };
    let own = ports
        .as_ref()
        .and_then(|it| it.iter().find(|it| it.0 == word.text))
        .map(|it| it.1);
    let argument = &last[1..];
    let missing = || missing_clause(kind, ports.as_deref(), &said, word.text);
    if argument.is_empty() {
        match (word.text, own) {
            (_, Some(Kind::Parameter)) => {
                menu.values('R');
                menu.behind(" (", "a value with arithmetic");
            }
            (_, Some(_)) => menu.nodes(),
            ("part", None) => menu.parts(),
            ("supply", None) => rails(menu, &[]),
            ("total", None) => menu.values('R'),
            ("value", None) => menu.values('C'),
            ("at", None) => {
                menu.put(menu.item("50 %", ItemKind::Value, "of the total", About::Nothing))
            }
            ("rated", None) => menu.put(menu.item("25 V", ItemKind::Value, "", About::Nothing)),
            ("open" | "closed", None) => {}
            _ => menu.nodes(),
        }
        // The word at the caret may be whole already.
        let whole = !menu.line.word.of(menu.view.text()).is_empty()
            && menu.line.caret == menu.line.word.end;
        if let Some(clause) = missing().filter(|_| whole) {
            menu.behind(&format!(", {clause} "), "what is missing");
        }
        return;
    }
    match word.text {
        "supply" => rails(menu, argument),
        "total" => menu.units(&["k", "M", "ohm"]),
        "value" => menu.units(&["uF", "nF", "mF"]),
        "rated" => menu.units(VOLTS),
        "at" => menu.units(&["%"]),
        _ => {}
    }
    if let Some(clause) = missing() {
        menu.behind(&format!(", {clause} "), "what is missing");
    }
}

/// The first clause that a device must have and has not.
fn missing_clause(
    kind: &str,
    ports: Option<&[(String, Kind)]>,
    said: &[&str],
    now: &str,
) -> Option<String> {
    let must: Vec<String> = match (kind, ports) {
        (_, Some(ports)) => ports
            .iter()
            .filter(|it| it.1 == Kind::Node)
            .map(|it| it.0.clone())
            .collect(),
        ("opamp" | "comparator", _) => ["plus", "minus", "drives"].map(str::to_owned).to_vec(),
        ("switch", _) => ["from", "to"].map(str::to_owned).to_vec(),
        ("pot", _) => ["from", "to", "wiper", "total", "at"]
            .map(str::to_owned)
            .to_vec(),
        ("diode", _) => ["anode", "cathode"].map(str::to_owned).to_vec(),
        ("electrolytic", _) => ["plus", "minus", "value"].map(str::to_owned).to_vec(),
        _ => Vec::new(),
    };
    must.into_iter()
        .find(|it| it != now && !said.contains(&it.as_str()))
}

fn source(menu: &mut Menu, rest: &[Token]) {
    match rest {
        [] => menu.put({
            let name = menu.next_free("V");
            let mut item = menu.item(
                &name,
                ItemKind::Source,
                "the next free name",
                About::Nothing,
            );
            item.text = format!("{name}: ");
            item
        }),
        [_] => menu.behind(": ", "where it stands and what it holds"),
        [_, _, drive @ ..] => match drive.iter().position(|it| it.text == "=") {
            Some(equals) => self::drive(menu, &drive[equals + 1..], VOLTS),
            None => match drive {
                [] => {
                    if !menu.typed().is_empty() {
                        menu.behind_filled(" = ${1:1 V}", "the voltage that it holds");
                        menu.behind_filled(" - ${1:node} = ${2:1 V}", "between two nodes");
                    }
                    menu.nodes();
                    menu.some(words::WAVES, &WAVES);
                }
                [node] if node.kind == Tok::Name && !WAVES.contains(&node.text) => {
                    menu.behind(" = ", "the voltage that it holds");
                    menu.behind(" - ", "between two nodes");
                }
                [_, minus] if minus.text == "-" || minus.text == "−" => menu.nodes(),
                [_, minus, _] if minus.text == "-" || minus.text == "−" => {
                    menu.behind(" = ", "the voltage that it holds");
                }
                drive => current(menu, drive),
            },
        },
    }
}

/// A current's drive, and where it flows.
fn current(menu: &mut Menu, drive: &[Token]) {
    match drive.last().map(|it| it.text) {
        Some("from") if is_node(menu, menu.typed()) => {
            menu.behind(" into ground", "where it flows");
            menu.nodes();
        }
        Some("from" | "into") => menu.nodes(),
        _ if drive.iter().any(|it| it.text == "into") => {}
        _ if drive.iter().any(|it| it.text == "from") => menu.some(words::WAVES, &["into"]),
        Some(_) => {
            self::drive(menu, drive, &["mA", "uA", "A"]);
            menu.some(words::WAVES, &["from"]);
        }
        None => {}
    }
}

fn is_node(menu: &Menu, name: &str) -> bool {
    let known = menu.view.names().known(menu.line.start(), name);
    name == "ground" || known.is_some_and(|it| it.1 == Kind::Node)
}

fn drive(menu: &mut Menu, tokens: &[Token], size: &[&'static str]) {
    let Some(first) = tokens.first() else {
        if size == VOLTS {
            menu.some(words::WAVES, &WAVES);
        }
        return operands(menu);
    };
    if !WAVES.contains(&first.text) {
        return behind_operand(menu, tokens, size, |_| {});
    }
    let keywords = ["at", "offset", "phase", "duty", "to"];
    let key = tokens
        .iter()
        .rposition(|it| keywords.contains(&it.text) || it.text == ",")
        .unwrap_or(0);
    let units = match tokens[key].text {
        "at" if matches!(first.text, "step" | "through") => TIMES,
        "at" => FREQUENCIES,
        "phase" => &["deg"],
        "duty" => &["%"],
        _ => size,
    };
    // A usual value behind a word that asks for one.
    let usual = |word: &str| match word {
        "at" if matches!(first.text, "step" | "through") => Some("1 ms"),
        "at" => Some("1 kHz"),
        "phase" => Some("90 deg"),
        "duty" => Some("50 %"),
        _ => None,
    };
    if let Some(value) = usual(menu.typed()) {
        menu.behind(&format!(" {value}"), "a usual value");
    } else if tokens.len() == key + 1
        && let Some(value) = usual(tokens[key].text)
    {
        menu.put(menu.item(value, ItemKind::Value, "a usual value", About::Nothing));
    }
    let said = |word: &str| tokens.iter().any(|it| it.text == word);
    behind_operand(menu, &tokens[key + 1..], units, |menu| match first.text {
        "step" if !said("to") => menu.word("to", "The level after the step."),
        "through" if tokens[key].text != "at" => menu.some(words::WAVES, &["at"]),
        "through" => menu.behind(", ", "the next corner"),
        _ if !said("at") => menu.some(words::WAVES, &["at"]),
        "step" => {}
        _ => {
            for word in ["offset", "phase", "duty"] {
                let fits = word != "duty" || first.text == "square";
                if fits && !said(word) {
                    menu.some(words::WAVES, &[word]);
                }
            }
        }
    });
}

fn rails(menu: &mut Menu, tokens: &[Token]) {
    match tokens.last() {
        None => {
            for pair in ["+9 V and -9 V", "+15 V and -15 V", "5 V"] {
                menu.put(menu.item(pair, ItemKind::Value, "the rails", About::Nothing));
            }
            menu.names(&[Kind::Node], true);
        }
        Some(it) if it.text == "and" => {
            menu.names(&[Kind::Node], true);
            menu.ground();
        }
        Some(it) if it.kind != Tok::Sign => {
            if it.kind == Tok::Number {
                units_if_bare(menu, it, VOLTS);
            }
            if !tokens.iter().any(|it| it.text == "and") {
                menu.word("and", "The other rail.");
            }
        }
        Some(_) => {}
    }
}

/// `e = e`, and what may follow it.
fn equation(menu: &mut Menu, tokens: &[Token], then: &[words::Word]) {
    let Some(equals) = tokens.iter().position(|it| it.text == "=") else {
        return behind_operand(menu, tokens, ALL_UNITS, |menu| {
            menu.behind(" = ", "and what it is")
        });
    };
    let right = &tokens[equals + 1..];
    let said = right
        .iter()
        .rposition(|it| then.iter().any(|word| word.0 == it.text));
    let right = said.map_or(right, |it| &right[it + 1..]);
    behind_operand(menu, right, ALL_UNITS, |menu| {
        for (word, meaning) in then {
            if !tokens[equals..].iter().any(|it| it.text == *word) {
                menu.word(word, meaning);
            }
        }
    });
}

fn expect(menu: &mut Menu, tokens: &[Token]) {
    let view = menu.view;
    match tokens {
        [] => {
            let typed = menu.line.word.of(view.text());
            if let Some(value) = present_value(view, menu.line.start(), typed) {
                menu.behind(&format!(" = {value}"), "its present value");
            }
            operands(menu);
            menu.names(&[Kind::Opamp], false);
            menu.some(words::CLAIMS, &["always", "finding"]);
        }
        [it] if it.text == "finding" => menu.rules(),
        [it, _] if it.text == "finding" => menu.word("at", "What the finding is about."),
        [it, _, at] if it.text == "finding" && at.text == "at" => subjects(menu),
        [it, ..] if it.text == "finding" => {}
        [name, state @ ..] if is_opamp(view, menu.line.start(), name.text) => match state {
            [] => {
                menu.some(words::CLAIMS, &["linear", "latches", "oscillates"]);
                for text in [
                    "at high rail",
                    "at low rail",
                    "goes high at ",
                    "goes low at ",
                ] {
                    menu.put(menu.item(text.trim(), ItemKind::Word, "its state", About::Nothing));
                }
            }
            [at] if at.text == "at" => {
                for text in ["high rail", "low rail"] {
                    menu.put(menu.item(text, ItemKind::Word, "", About::Nothing));
                }
            }
            [.., high] if matches!(high.text, "high" | "low") && state[0].text == "goes" => {
                menu.word("at", "Where its present state ends.");
            }
            [.., at] if at.text == "at" => menu.nodes(),
            [first, .., node] if first.text == "goes" && node.kind == Tok::Name => {
                menu.behind(" = ", "at this voltage")
            }
            _ => {}
        },
        _ => {
            let tokens = match tokens[0].text {
                "always" => &tokens[1..],
                _ => tokens,
            };
            let claims: Vec<_> = words::CLAIMS
                .iter()
                .filter(|it| matches!(it.0, "at" | "within"))
                .copied()
                .collect();
            if let [one] = tokens
                && let Some(value) = present_value(view, menu.line.start(), one.text)
            {
                menu.behind(&format!(" = {value}"), "its present value");
            }
            if let [left, equals] = tokens
                && equals.text == "="
                && let Some(value) = present_value(view, menu.line.start(), left.text)
            {
                menu.put(menu.item(&value, ItemKind::Value, "its present value", About::Nothing));
            }
            equation(menu, tokens, &claims);
        }
    }
}

fn is_opamp(view: &View, at: u32, name: &str) -> bool {
    let known = view.names().known(at, name);
    known.is_some_and(|it| it.1 == Kind::Opamp)
}

/// What a node's voltage is now, as the language writes it.
fn present_value(view: &View, at: u32, name: &str) -> Option<String> {
    let (index, circuit) = view.circuit_at(at)?;
    let name = syntax::normal(name);
    let node = circuit.nodes.iter().position(|it| it.name == *name)?;
    let node = circuit::NodeId(node as u32);
    if node == circuit::GROUND {
        return None;
    }
    let answers = answers(view, index);
    // What is not known to be true of the circuit is no claim to make.
    let known = answers.doubt.as_ref().is_none_or(|it| it.mark.is_empty());
    let value = answers.node(node).filter(|_| known)?;
    Some(notation::language(value, Dimension::VOLT))
}

fn allow(menu: &mut Menu, tokens: &[Token]) {
    match tokens {
        [] => menu.rules(),
        [_] => menu.word("at", "What the finding is about."),
        [_, _] => subjects(menu),
        [_, _, _] => menu.behind(": \"", "and why"),
        _ => {}
    }
}

/// What findings can be about: first what this circuit's are.
fn subjects(menu: &mut Menu) {
    let here = menu.view.circuit_at(menu.line.start()).map(|it| it.0);
    let rule = menu
        .line
        .before
        .get(menu.line.before.len().saturating_sub(2))
        .map(|it| it.text);
    let mut subjects: Vec<String> = Vec::new();
    for it in menu.view.findings() {
        if it.circuit == here && Some(it.rule) == rule {
            subjects.extend(it.subjects.iter().cloned());
        }
    }
    for name in subjects {
        menu.put(menu.item(
            &name,
            ItemKind::Node,
            "a finding is about it",
            About::Nothing,
        ));
    }
    menu.names(
        &[
            Kind::Node,
            Kind::Element,
            Kind::Source,
            Kind::Opamp,
            Kind::Device,
        ],
        false,
    );
}

/// `e, e`, and the word behind it.
fn list(menu: &mut Menu, tokens: &[Token], then: &[words::Word]) {
    let ends = tokens
        .iter()
        .position(|it| then.iter().any(|word| word.0 == it.text));
    if let Some(end) = ends {
        if tokens[end].text == "for" {
            behind_operand(menu, &tokens[end + 1..], TIMES, |_| {});
        }
        return;
    }
    behind_operand(menu, tokens, ALL_UNITS, |menu| {
        for (word, meaning) in then {
            menu.word(word, meaning);
        }
    });
}

fn response(menu: &mut Menu, tokens: &[Token]) {
    let key = tokens
        .iter()
        .rposition(|it| matches!(it.text, "driven" | "by" | "from" | "to"));
    match key.map(|it| (tokens[it].text, &tokens[it + 1..])) {
        None => behind_operand(menu, tokens, ALL_UNITS, |menu| {
            menu.word("driven", "Which source drives it: `driven by NAME`.");
            menu.word("from", "The lowest frequency.");
        }),
        Some(("driven", _)) => menu.word("by", "The source that drives it."),
        Some(("by", [])) => menu.names(&[Kind::Source], false),
        Some(("by", _)) => menu.word("from", "The lowest frequency."),
        Some(("from", rest)) => behind_operand(menu, rest, FREQUENCIES, |menu| {
            menu.word("to", "The highest frequency.")
        }),
        Some((_, rest)) => behind_operand(menu, rest, FREQUENCIES, |_| {}),
    }
}

fn require(menu: &mut Menu, tokens: &[Token]) {
    let sign = tokens
        .iter()
        .rposition(|it| matches!(it.text, "<" | ">" | "<=" | ">="));
    match sign {
        Some(at) => behind_operand(menu, &tokens[at + 1..], ALL_UNITS, |_| {}),
        None => behind_operand(menu, tokens, ALL_UNITS, |menu| {
            for sign in [" < ", " > ", " <= ", " >= "] {
                menu.behind(sign, "a condition");
            }
        }),
    }
}

fn vary(menu: &mut Menu, tokens: &[Token]) {
    let key = tokens
        .iter()
        .rposition(|it| matches!(it.text, "among" | "from" | "to" | "by" | "in"));
    let operand = |menu: &mut Menu, rest: &[Token]| behind_operand(menu, rest, ALL_UNITS, |_| {});
    match key.map(|it| (tokens[it].text, &tokens[it + 1..])) {
        None if tokens.is_empty() => menu.names(VALUES, false),
        None => {
            menu.word("from", "The first value: `from 1k to 10k in E24`.");
            menu.word("among", "The values, one after another: `among 1k, 10k`.");
        }
        Some(("in", [])) => menu.series(),
        Some(("from", rest)) if !rest.is_empty() => {
            operand(menu, rest);
            menu.word("to", "The last value.");
        }
        Some(("to", rest)) if !rest.is_empty() => {
            operand(menu, rest);
            menu.word("in", "The series that the values are from.");
            menu.word("by", "How far the values are apart.");
        }
        Some((_, rest)) => operand(menu, rest),
    }
}

fn property(menu: &mut Menu, word: &str, rest: &[Token]) {
    let units: &[&str] = match word {
        "gain" | "rejection" => &["dB", "V/mV"],
        "bandwidth" => FREQUENCIES,
        "slew" => &["V/us"],
        "input_resistance" | "output_resistance" => &["ohm", "k", "M", "G"],
        "offset" => &["mV", "uV"],
        "bias_current" | "bias_offset" => &["nA", "pA", "uA"],
        "current" | "source" => &["mA"],
        _ => VOLTS,
    };
    match (word, rest) {
        ("package", []) => {
            for name in ["single_8", "dual_8", "quad_14"] {
                menu.put(menu.item(name, ItemKind::Value, "a case", About::Nothing));
            }
        }
        ("headroom" | "inputs", []) => menu.word("low", "From the low rail."),
        (_, []) => menu.names(&[Kind::Let], false),
        (_, [.., last]) if last.kind == Tok::Number => {
            units_if_bare(menu, last, units);
            let said = |word: &str| rest.iter().any(|it| it.text == word);
            match word {
                "supply" if !said("to") => menu.word("to", "The most voltage between the rails."),
                "headroom" | "inputs" if said("low") && !said("high") => {
                    menu.behind(", high ", "from the high rail")
                }
                "source" if !said("sink") => menu.behind(", sink ", "what it can take in"),
                _ => {}
            }
        }
        _ => {}
    }
}

/// Inside brackets: an expression, or what a function asks for.
fn brackets(menu: &mut Menu, before: &[Token], inside: &[Token]) {
    let function = before
        .last()
        .filter(|it| it.kind == Tok::Name)
        .map(|it| it.text);
    let commas = inside.iter().any(|it| it.text == ",");
    match (function, inside) {
        (Some("nearest"), []) => menu.series(),
        (Some("current" | "power"), []) => menu.names(CARRIERS, false),
        (Some("current" | "power"), _) => {}
        (Some("nearest"), _) if !commas => {}
        _ => {
            let argument = inside
                .iter()
                .rposition(|it| it.text == ",")
                .map_or(inside, |it| &inside[it + 1..]);
            behind_operand(menu, argument, ALL_UNITS, |_| {});
        }
    }
}

/// What an expression may begin with, or have behind a sign.
fn operands(menu: &mut Menu) {
    menu.names(&[Kind::Node], true);
    menu.names(VALUES, false);
    for (name, meaning) in words::FUNCTIONS {
        let mut item = menu.item(name, ItemKind::Function, "", About::Meaning(meaning));
        item.snippet = Some(format!("{name}($1)"));
        item.text = format!("{name}(");
        menu.put(item);
    }
    menu.names(&[Kind::Instance], false);
}

/// An operand where one is missing; else units behind a bare number, and whatever may follow.
fn behind_operand(menu: &mut Menu, tokens: &[Token], units: &[&str], then: impl FnOnce(&mut Menu)) {
    match tokens.last() {
        None => operands(menu),
        Some(it) if it.kind == Tok::Sign && it.text != ")" => operands(menu),
        Some(it) => {
            units_if_bare(menu, it, units);
            then(menu);
        }
    }
}

fn units_if_bare(menu: &mut Menu, it: &Token, units: &[&str]) {
    if it.kind == Tok::Number && it.text.ends_with(|it: char| it.is_ascii_digit()) {
        menu.units(units);
    }
}

/// The files beside this one, for `use`.
fn files(menu: &mut Menu, text: syntax::Span) {
    let name = std::path::Path::new(&menu.view.document().name);
    let entries = name
        .parent()
        .filter(|it| it.is_absolute())
        .and_then(|it| std::fs::read_dir(it).ok());
    let mut files: Vec<String> = entries
        .into_iter()
        .flatten()
        .flatten()
        .map(|it| it.file_name().to_string_lossy().into_owned())
        .filter(|it| {
            it.ends_with(".amp") && Some(it.as_str()) != name.file_name().and_then(|it| it.to_str())
        })
        .collect();
    files.sort();
    for file in files {
        let mut item = menu.item(
            &file,
            ItemKind::File,
            "a file beside this one",
            About::Nothing,
        );
        item.insert = syntax::Span {
            start: text.start,
            end: menu.line.caret,
        };
        item.replace = text;
        menu.put(item);
    }
}
