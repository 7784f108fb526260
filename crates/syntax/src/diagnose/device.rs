//! Devices: their clauses.

use super::{Line, insert, replace};
use crate::lexer::{Tok, Token};
use crate::{CLAUSES, Dimension, Fault, Fix, quantity};

/// The ports in a block's head, and whether they have a default.
pub(crate) fn ports<'t>(text: &'t str, tokens: &[Token]) -> Vec<(&'t str, bool)> {
    let begins = |at: &usize| matches!(tokens[at - 1].0, Tok::Colon | Tok::Comma);
    let names = (2..tokens.len()).filter(|at| tokens[*at].0.is_name());
    let default = |at: usize| tokens.get(at + 1).is_some_and(|it| it.0 == Tok::Equals);
    names
        .filter(begins)
        .map(|at| (tokens[at].1.of(text), default(at)))
        .collect()
}

/// The kind of device whose necessary words are all said.
pub fn device_of(says: impl Fn(&str) -> bool) -> Option<&'static str> {
    const MUST: [(&str, &[&str]); 5] = [
        ("opamp", &["plus", "minus", "drives"]),
        ("pot", &["from", "to", "wiper"]),
        ("diode", &["anode", "cathode"]),
        ("electrolytic", &["plus", "minus", "value"]),
        ("switch", &["from", "to"]),
    ];
    let all = |words: &[&str]| words.iter().all(|it| says(it));
    let kind = MUST.iter().find(|it| all(it.1)).map(|it| it.0)?;
    (kind != "switch" || says("open") || says("closed")).then_some(kind)
}

/// The words of a device's clauses in the order of its table.
struct Words<'t> {
    /// Before nodes; none where an order would have to guess a polarity.
    nodes: Vec<&'t str>,
    /// Before values; `None`: any value.
    values: Vec<(&'t str, Option<Dimension>)>,
}

impl Line<'_> {
    /// What is wrong with `kind NAME: clause, …`.
    pub(super) fn device(&self) -> Option<Fault> {
        let head = self.element_as_a_device().or_else(|| self.misspelt_head());
        if head.is_some() {
            return head;
        }
        if self.tokens.len() == 3 {
            return Some(self.wanted(3, "a clause", self.clause_example()));
        }
        let clauses = self.clauses();
        clauses
            .into_iter()
            .find_map(|(first, end)| self.clause(first, end))
    }

    /// The first token of each clause, and the one behind it.
    fn clauses(&self) -> Vec<(usize, usize)> {
        let depths = self.depths();
        let commas = (3..self.tokens.len())
            .filter(|at| self.tok(*at) == Some(Tok::Comma) && depths[*at] == 0);
        let mut first = 3;
        let clauses = commas.chain([self.tokens.len()]).map(|end| {
            let clause = (first, end);
            first = end + 1;
            clause
        });
        clauses.collect()
    }

    fn words(&self) -> Words<'_> {
        let (nodes, values): (&[&str], &[_]) = match self.word(0) {
            "switch" => (&["from", "to"], &[]),
            "pot" => (
                &["from", "to", "wiper"],
                &[
                    ("total", Some(Dimension::OHM)),
                    ("at", Some(Dimension::NONE)),
                ],
            ),
            "electrolytic" => (
                &[],
                &[
                    ("value", Some(Dimension::FARAD)),
                    ("rated", Some(Dimension::VOLT)),
                ],
            ),
            _ => (&[], &[]),
        };
        let Some(ports) = self.blocks.names.get(self.word(0)) else {
            return Words {
                nodes: nodes.to_vec(),
                values: values.to_vec(),
            };
        };
        let of = |default: bool| ports.iter().filter(move |it| it.1 == default);
        Words {
            nodes: of(false).map(|it| it.0).collect(),
            values: of(true).map(|it| (it.0, None)).collect(),
        }
    }

    /// Whether a word begins a clause of such a device.
    pub(super) fn is_clause(&self, word: &str) -> bool {
        match self.blocks.names.get(self.word(0)) {
            Some(ports) => ports.iter().any(|it| it.0 == word) || matches!(word, "part" | "supply"),
            None => CLAUSES.contains(&word),
        }
    }

    /// A node or a value that stands where a clause begins; its way out is the word before it, where the count tells which.
    pub(super) fn bare_clause(&self) -> Option<Fault> {
        let states = ["open", "closed", "on", "off", "shut"];
        let is_bare = |&(first, end): &(usize, usize)| {
            let name = self.tok(first).is_some_and(Tok::is_name) && end == first + 1;
            let word = self.word(first);
            name && !self.is_clause(word) && !states.contains(&word)
                || matches!(self.tok(first), Some(Tok::Open))
                || self.tok(first).is_some_and(Tok::is_quantity)
        };
        let clauses = self.clauses();
        let first = clauses.iter().find(|it| is_bare(it))?.0;
        let words = self.words();
        let said = |word: &str| {
            let mut said = clauses.iter().filter(|it| !is_bare(it));
            said.any(|it| self.word(it.0) == word)
        };
        let mut nodes = words.nodes.iter().filter(|it| !said(it));
        let mut values: Vec<_> = words.values.iter().filter(|it| !said(it.0)).collect();
        let mut edits = Vec::new();
        let mut line = Vec::new();
        for clause in &clauses {
            let (first, end) = *clause;
            let text = match first < end {
                true => self.span(first).to(self.span(end - 1)).of(self.text),
                false => "",
            };
            if !is_bare(clause) {
                line.push(text.to_owned());
                continue;
            }
            let word = match self.tok(first).is_some_and(Tok::is_name) {
                true => nodes.next().copied(),
                false => {
                    let read = quantity::read(self.text, self.span(first)).ok();
                    let dimension = read.map(|it| it.dimension);
                    let bare = dimension == Some(Dimension::NONE) && !text.ends_with('%');
                    let fits = |wanted: Option<Dimension>| {
                        wanted.is_none() || wanted == dimension && !bare
                    };
                    let at = values.iter().position(|it| fits(it.1));
                    at.map(|at| values.remove(at).0)
                }
            };
            let Some(word) = word else {
                edits.clear();
                break;
            };
            edits.push(insert(self.span(first).start, format!("{word} ")));
            line.push(format!("{word} {text}"));
        }
        // Where nodes are left over, nobody knows which.
        let fits = nodes.next().is_none()
            || !clauses
                .iter()
                .any(|it| is_bare(it) && self.tok(it.0).is_some_and(Tok::is_name));
        let fault = self.wanted(
            first,
            "a clause with its word in front",
            self.clause_example(),
        );
        Some(match edits.is_empty() || !fits {
            true => fault,
            false => fault.fix(Fix::likely(format!("write `{}`", line.join(", ")), edits)),
        })
    }

    fn clause(&self, first: usize, end: usize) -> Option<Fault> {
        if first == end {
            // An empty clause: at the comma behind it, or at the end.
            return Some(self.wanted(first, "a clause", self.clause_example()));
        }
        match self.tok(first)? {
            Tok::Plus | Tok::Minus => return Some(self.signs_for_pins(first)),
            tok if tok.is_name()
                && matches!(self.tok(first + 1), Some(Tok::Plus | Tok::Minus))
                && self.tok(first + 2).is_some_and(Tok::is_ref) =>
            {
                return Some(self.signs_for_pins(first));
            }
            tok if !tok.is_name() => {
                let clause = || self.wanted(first, "a clause", self.clause_example());
                return Some(self.bare_clause().unwrap_or_else(clause));
            }
            _ => {}
        }
        if first + 1 == end {
            return self.lone_word(first);
        }
        if let Some(fault) = self.open_bracket(first + 1, end) {
            return Some(fault);
        }
        if self.tok(first) == Some(Tok::Supply) {
            // `supply +9 V, -9 V` looks like two clauses.
            let goes_on = matches!(self.tok(end + 1), Some(Tok::Plus | Tok::Minus))
                || self.tok(end + 1).is_some_and(Tok::is_quantity);
            return self
                .rails(first + 1, if goes_on { self.tokens.len() } else { end })
                .or_else(|| self.next_clause(first + 2, end));
        }
        match self.tok(first + 1)? {
            Tok::Equals | Tok::Colon => {
                let gap = self.with_gap(first + 1);
                let touches = self.span(first + 2).start == gap.end;
                let title = format!("leave out `{}`", self.word(first + 1));
                let (what, example) = wanted_by(self.word(first));
                Some(self.wanted(first + 1, what, example).fix(Fix::safe(
                    title,
                    vec![replace(gap, if touches { " " } else { "" })],
                )))
            }
            // `plus to ground`
            tok if tok.is_name()
                && matches!(
                    self.word(first + 1),
                    "to" | "at" | "is" | "on" | "into" | "node" | "the"
                )
                && CLAUSES.contains(&self.word(first))
                && first + 3 == end
                && self.tok(first + 2).is_some_and(Tok::is_ref) =>
            {
                let (what, example) = wanted_by(self.word(first));
                let title = format!("leave out `{}`", self.word(first + 1));
                let fix = Fix::likely(title, vec![replace(self.with_gap(first + 1), "")]);
                Some(self.wanted(first + 1, what, example).fix(fix))
            }
            Tok::Minus | Tok::Plus if self.tok(first + 2).is_some_and(Tok::is_quantity) => Some(
                self.wanted(first + 1, "a value", "(-2 mV)")
                    .fix(self.in_brackets(first + 1, end - 1)),
            ),
            tok if tok.is_quantity() || tok.is_ref() => self.next_clause(first + 2, end),
            _ => None,
        }
    }

    /// A clause that goes on behind its argument.
    /// `R (30k`
    fn open_bracket(&self, at: usize, end: usize) -> Option<Fault> {
        let count = |wanted: &[Tok]| {
            (at..end)
                .filter(|at| self.tok(*at).is_some_and(|it| wanted.contains(&it)))
                .count()
        };
        let opens = matches!(self.tok(at), Some(Tok::Open | Tok::Call));
        if !opens || count(&[Tok::Open, Tok::Call]) <= count(&[Tok::Close]) {
            return None;
        }
        let last = self.span(end - 1).end;
        let fault = Fault::new(
            self.span(at),
            crate::FaultKind::Expected {
                what: "a value in closed brackets",
                example: "R (2 * Rstock)",
            },
        );
        Some(fault.fix(Fix::likely("close the bracket", vec![insert(last, ")")])))
    }

    fn next_clause(&self, at: usize, end: usize) -> Option<Fault> {
        if at >= end {
            return None;
        }
        match self.tok(at)? {
            Tok::Star | Tok::Slash | Tok::Caret | Tok::Plus | Tok::Minus
                if self.tok(at - 1).is_some_and(Tok::is_quantity) =>
            {
                Some(
                    self.wanted(at, "brackets around the value", "(2 * R1)")
                        .fix(self.in_brackets(at - 1, end - 1)),
                )
            }
            Tok::And if CLAUSES.contains(&self.word(at + 1)) => {
                let fix = Fix::safe("write a comma", vec![replace(self.with_gap(at), ",")]);
                Some(self.wanted(at, "`,`", "plus in, minus fb").fix(fix))
            }
            tok if tok.is_name()
                && (CLAUSES.contains(&self.word(at)) || at + 1 < end)
                && tok != Tok::And =>
            {
                let known = CLAUSES.contains(&self.word(at));
                let comma = Fix {
                    title: "put a comma before it".into(),
                    safe: known,
                    edits: vec![insert(self.span(at - 1).end, ",")],
                };
                let fault = self.wanted(at, "`,`", "plus in, minus fb");
                match self.behind_a_number(at) {
                    Some(unit) if !known => Some(unit),
                    _ => Some(fault.fix(comma)),
                }
            }
            _ => self.behind_a_number(at),
        }
    }

    /// `opamp A2: + in, - fb`
    fn signs_for_pins(&self, at: usize) -> Fault {
        let begins = |at: usize| at == 3 || self.tok(at - 1) == Some(Tok::Comma);
        let mut edits = Vec::new();
        for first in (3..self.tokens.len()).filter(|index| begins(*index)) {
            // `in+ ground`
            let index = first + usize::from(self.tok(first).is_some_and(Tok::is_name));
            let pin = match self.tok(index) {
                Some(Tok::Plus) => "plus",
                Some(Tok::Minus) => "minus",
                _ => {
                    let output = matches!(self.word(first), "out" | "output");
                    if output && self.tok(first + 1).is_some_and(Tok::is_ref) {
                        edits.push(replace(self.span(first), "drives"));
                    }
                    continue;
                }
            };
            let touches = self.span(index).end == self.span(index + 1).start;
            edits.push(replace(
                self.span(first).to(self.span(index)),
                if touches {
                    format!("{pin} ")
                } else {
                    pin.to_string()
                },
            ));
        }
        let named = usize::from(self.tok(at).is_some_and(Tok::is_name));
        let fault = self.wanted(at, "a clause", "plus in");
        let span = self.span(at).to(self.span(at + named));
        Fault { span, ..fault }.fix(Fix::safe("write `plus` and `minus`", edits))
    }

    /// A clause of one word that needs more.
    fn lone_word(&self, at: usize) -> Option<Fault> {
        let word = self.word(at);
        let speaks_alone = match word {
            "open" | "closed" => true,
            word => self.word(0) == "switch" && word != "from" && word != "to",
        };
        let last = at + 1 == self.tokens.len();
        // Nothing goes by position.
        let known = self.is_a_block() || crate::DEVICES.contains(&self.word(0));
        if !speaks_alone && known && !self.is_clause(word) {
            let fault = self.bare_clause()?;
            return Some(fault.unfinished(last));
        }
        // `minus, sum`: the comma is one too many
        let next = self.tok(at + 2).is_some_and(Tok::is_name)
            && !self.is_clause(self.word(at + 2))
            && matches!(self.tok(at + 3), None | Some(Tok::Comma));
        if !speaks_alone && self.is_clause(word) && self.tok(at + 1) == Some(Tok::Comma) && next {
            let (what, example) = wanted_by(word);
            let fix = Fix::likely(
                "leave out the comma",
                vec![replace(self.with_gap(at + 1), "")],
            );
            return Some(self.wanted(at, what, example).fix(fix));
        }
        let (what, example) = wanted_by(word);
        (!speaks_alone).then(|| self.wanted(at, what, example).unfinished(last))
    }

    fn clause_example(&self) -> &'static str {
        match self.word(0) {
            "switch" => "from a",
            "pot" => "wiper w",
            "diode" => "anode a",
            "electrolytic" => "value 47 uF",
            _ if self.is_a_block() => "in a",
            // What is not said yet helps most.
            _ => {
                let said = |word: &str| (0..self.tokens.len()).any(|at| self.word(at) == word);
                let open = ["plus in", "minus fb", "drives out"].into_iter();
                let mut open = open.filter(|it| !it.split(' ').next().is_some_and(said));
                open.next().unwrap_or("plus in")
            }
        }
    }
}

/// What stands behind a clause's word.
fn wanted_by(word: &str) -> (&'static str, &'static str) {
    match word {
        "plus" => ("a node", "plus in"),
        "minus" => ("a node", "minus fb"),
        "drives" => ("a node", "drives out"),
        "from" | "to" | "wiper" | "anode" | "cathode" => ("a node", "ground"),
        "part" => ("a part", "part ideal"),
        "supply" => ("the rails", "supply +9 V and -9 V"),
        "total" => ("a value", "total 10k"),
        "at" => ("a share", "at 30 %"),
        "value" => ("a value", "value 47 uF"),
        "rated" => ("a value", "rated 25 V"),
        _ => ("a node or a value", "in a"),
    }
}
