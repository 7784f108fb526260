//! Each equation explained term by term, with the reason for its form. No answers: an explanation may be given before
//! the circuit is solved.

mod around;
mod real;

use std::collections::HashSet;

use analysis::board::{Board, Piece};
use analysis::equations::{Equation, EquationKind, Equations, Term};
use analysis::feedback::Feedback;
use analysis::states::Mode;
use circuit::{
    Carrier, Circuit, ElementId, ElementKind, GROUND, NodeId, OpampId, SourceId, SourceKind,
};
use syntax::{Dimension, Number, Place};

use around::Around;
use real::no_sum;

use crate::equation::{self, Paper, Written};
use crate::{Sums, Writing, feedback, names, notation};

/// The explanation of a circuit's equations.
#[derive(Clone, PartialEq, Debug)]
pub struct Explanation {
    /// "3 unknown node voltages, 3 equations".
    pub heading: String,
    /// What holds for all of them: directions, ideal op-amps, nodes without a name.
    pub notes: Vec<String>,
    /// In the order of the equations.
    pub equations: Vec<Explained>,
}

/// The explanation of one equation.
#[derive(Clone, PartialEq, Debug)]
pub struct Explained {
    /// The node that it belongs to.
    pub at: NodeId,
    /// Every node whose current sum it is or stands for.
    pub covers: Vec<NodeId>,
    /// "Current sum at `sum`".
    pub title: String,
    /// The equation on paper.
    pub written: Written,
    /// Why it has this form.
    pub why: String,
    /// Term by term, in the order of the text; empty for an equation that is one term.
    pub terms: Vec<ExplainedTerm>,
    /// Where the text says it.
    pub place: Place,
}

/// The explanation of one term.
#[derive(Clone, PartialEq, Debug)]
pub struct ExplainedTerm {
    /// As in the equation, with its sign.
    pub text: String,
    /// What it is, in a sentence.
    pub sentence: String,
    /// Where the text says it: from the part's name to its value.
    pub place: Place,
}

impl Explanation {
    /// The equations that concern one node: its own, or the one that stands in place of its sum.
    pub fn at(&self, node: NodeId) -> impl Iterator<Item = &Explained> {
        self.equations
            .iter()
            .filter(move |it| it.covers.contains(&node))
    }
}

/// "3 unknown node voltages, 3 equations".
pub fn count(equations: &Equations) -> String {
    let plural = |count: usize| if count == 1 { "" } else { "s" };
    let (unknowns, list) = (equations.unknowns.len(), equations.list.len());
    format!(
        "{unknowns} unknown node voltage{}, {list} equation{}",
        plural(unknowns),
        plural(list)
    )
}

/// Explains all equations of a circuit with ideal op-amps.
pub fn explain(
    circuit: &Circuit,
    equations: &Equations,
    feedback: &[Feedback],
    writing: Writing,
) -> Explanation {
    on_paper(Paper::ideal(circuit), equations, feedback, writing)
}

/// The same with each op-amp by the law of its part.
pub fn explain_real(
    circuit: &Circuit,
    board: &Board,
    feedback: &[Feedback],
    writing: Writing,
) -> Explanation {
    let paper = Paper::real(circuit, board);
    on_paper(paper, &board.paper(), feedback, writing)
}

fn on_paper(
    paper: Paper,
    equations: &Equations,
    feedback: &[Feedback],
    writing: Writing,
) -> Explanation {
    let context = Context {
        paper,
        circuit: paper.circuit,
        equations,
        writing,
        around: Around::of(&paper, equations, feedback),
    };
    Explanation {
        heading: count(equations),
        notes: context.notes(),
        equations: equations
            .list
            .iter()
            .map(|it| context.explained(it))
            .collect(),
    }
}

/// The explanation as Markdown, for an editor or a page.
pub fn markdown(explanation: &Explanation) -> String {
    let mut text = format!("**{}**\n", explanation.heading);
    for note in &explanation.notes {
        text.push_str(&format!("\n{note}\n"));
    }
    for it in &explanation.equations {
        text.push_str(&format!("\n{}\n", equation_markdown(it)));
    }
    text
}

/// One equation's explanation as Markdown.
pub fn equation_markdown(it: &Explained) -> String {
    let mut text = format!(
        "**{}**\n\n    {}\n\n{}\n",
        it.title, it.written.text, it.why
    );
    for (index, term) in it.terms.iter().enumerate() {
        let gap = if index == 0 { "\n" } else { "" };
        text.push_str(&format!("{gap}- `{}`: {}\n", term.text, term.sentence));
    }
    text.trim_end().into()
}

/// The explanation for a terminal.
pub fn plain(explanation: &Explanation) -> String {
    let mut text = format!("{}\n", explanation.heading);
    for note in &explanation.notes {
        text.push_str(&format!("{note}\n"));
    }
    for (index, it) in explanation.equations.iter().enumerate() {
        text.push_str(&format!(
            "\n{}. {}\n       {}\n   {}\n",
            index + 1,
            it.title,
            it.written.text,
            it.why
        ));
        for term in &it.terms {
            text.push_str(&format!("   - {}: {}\n", term.text, term.sentence));
        }
    }
    text.replace('`', "")
}

struct Context<'a> {
    paper: Paper<'a>,
    /// What the equations are about.
    circuit: &'a Circuit,
    equations: &'a Equations,
    writing: Writing,
    around: Around<'a>,
}

impl Context<'_> {
    fn notes(&self) -> Vec<String> {
        let v = self.writing.voltage.text();
        let way = match self.writing.sums {
            Sums::Leaving => "a current counts as leaving its node",
            Sums::Entering => "a current counts as entering its node",
        };
        let mut notes = vec![format!("Ground is 0 V. In a current sum {way}.")];
        match self.paper.board {
            Some(board) => notes.extend(self.laws(board)),
            None if self.circuit.opamps.is_empty() => {}
            None => notes.push(format!(
                "Every op-amp is taken as ideal: no current flows into its inputs, and with negative feedback {v}+ = {v}−."
            )),
        }
        let limit = |it: &Equation| matches!(it.kind, EquationKind::Limit { .. });
        let held = |it: &Board| it.modes.iter().any(|it| *it != Mode::Linear);
        if self.equations.list.iter().any(limit) || self.paper.board.is_some_and(held) {
            notes.push(format!(
                "Where one stands at a limit, what the limit says stands in place of {v}+ = {v}−."
            ));
        }
        let unnamed = self
            .equations
            .unknowns
            .iter()
            .filter(|it| !self.circuit.nodes[it.index()].named);
        let unnamed: Vec<String> = unnamed
            .take(4)
            .map(|it| names::node(self.circuit, *it))
            .collect();
        if let [first, rest @ ..] = unnamed.as_slice() {
            let more = if rest.is_empty() { "" } else { ", and so on" };
            notes.push(format!("{first} is the node between the two parts that it names{more}; the file gives it no name of its own."));
        }
        notes
    }

    fn explained(&self, equation: &Equation) -> Explained {
        let written = self.paper.write(equation, self.writing);
        let at = names::node(self.circuit, equation.at);
        let mut covers = vec![equation.at];
        let (title, why) = match &equation.kind {
            EquationKind::Held { by } => match self.paper.piece(*by) {
                Some((opamp, _)) => (self.title_output(opamp), self.why_output(opamp)),
                None => (self.title_held(*by), self.why_held(*by, equation.at)),
            },
            EquationKind::Virtual {
                opamp,
                replaces,
                tied,
            } => {
                covers.push(*replaces);
                covers.extend(tied.iter().map(|(node, _)| *node));
                let opamp = self.of_text(*opamp);
                (
                    self.title_output(opamp),
                    self.why_virtual(opamp, *replaces, tied),
                )
            }
            EquationKind::Limit {
                opamp,
                mode,
                value,
                replaces,
                tied,
            } => {
                covers.push(*replaces);
                covers.extend(tied.iter().map(|(node, _)| *node));
                let name = &self.paper.text.opamps[opamp.index()].name;
                let v = self.writing.voltage.text();
                let limit = match mode {
                    Mode::High => "its high limit",
                    Mode::Low => "its low limit",
                    _ => "its limit of current",
                };
                (
                    format!("`{name}` at {limit}, in place of {v}+ = {v}−"),
                    self.why_limit(*opamp, *mode, value, *replaces, tied),
                )
            }
            EquationKind::Sum => {
                let mut why = self.why_sum(equation.at);
                why.push_str(&self.not_held(&[equation.at]));
                (format!("Current sum at {at}"), why)
            }
            EquationKind::JoinedSum { nodes, ties } => {
                covers.extend(nodes);
                let title = format!(
                    "One current sum for {}",
                    names::nodes(self.circuit, nodes.iter().copied())
                );
                let mut why = self.why_joined(nodes, ties);
                why.push_str(&self.not_held(nodes));
                (title, why)
            }
        };
        covers.sort();
        covers.dedup();
        let terms = match equation.kind {
            EquationKind::Held { .. } | EquationKind::Virtual { .. } => Vec::new(),
            EquationKind::Limit {
                mode: Mode::High | Mode::Low,
                ..
            } => Vec::new(),
            _ => written.terms.iter().map(|it| self.term(it)).collect(),
        };
        Explained {
            at: equation.at,
            covers,
            title,
            written,
            why,
            terms,
            place: self.paper.place(equation),
        }
    }

    fn title_held(&self, by: Carrier) -> String {
        let name = names::carrier(self.circuit, by);
        let [a, b] = names::carrier_ends(self.circuit, by);
        let words = names::nodes(self.circuit, [a, b]);
        match (by, a, b) {
            (Carrier::Source(_), GROUND, node) | (Carrier::Source(_), node, GROUND) => {
                format!("{}, held by `{name}`", names::node(self.circuit, node))
            }
            (Carrier::Source(_), ..) => format!("{words}, held apart by `{name}`"),
            _ => format!("{words}, joined by `{name}`"),
        }
    }

    fn why_held(&self, by: Carrier, at: NodeId) -> String {
        let it = names::sentence(&names::the(self.circuit, by));
        let [a, b] = names::carrier_ends(self.circuit, by).map(|it| names::node(self.circuit, it));
        let Carrier::Source(id) = by else {
            let like = match by {
                Carrier::Element(id)
                    if self.circuit.elements[id.index()].kind == ElementKind::Inductor =>
                {
                    "is a wire at rest: its current does not change, so there is no voltage across it"
                }
                _ => "is a wire: there is no voltage across it",
            };
            return format!(
                "{it} {like}, and {a} and {b} are at one voltage. {}",
                self.instead(by, at)
            );
        };
        let source = &self.circuit.sources[id.index()];
        let drive = equation::drive(self.circuit, source);
        let at_rest = if source.wave.is_some() {
            " at rest (its level in the steady state)"
        } else {
            ""
        };
        let grounded = names::carrier_ends(self.circuit, by)[1] == GROUND;
        match (source.controls.is_empty(), grounded) {
            (true, true) => format!(
                "{it} holds {a} at {drive}{at_rest}, whatever current that takes. {}",
                self.instead(by, at)
            ),
            (true, false) => {
                format!(
                    "{it} holds {a} {drive} above {b}{at_rest}, whatever current that takes. {}",
                    self.instead(by, at)
                )
            }
            (false, true) => format!(
                "{it} makes {a} follow other voltages, {drive}{at_rest}. {}",
                self.instead(by, at)
            ),
            (false, false) => {
                format!(
                    "{it} makes the difference {a} − {b} follow other voltages, {drive}{at_rest}. {}",
                    self.instead(by, at)
                )
            }
        }
    }

    /// Which current sum an equation with a tie's unknown current saves.
    fn instead(&self, tie: Carrier, at: NodeId) -> String {
        let output = match self.around.tie(tie) {
            Some(EquationKind::JoinedSum { nodes, .. }) => {
                let nodes = names::nodes(self.circuit, nodes.iter().copied());
                return format!(
                    "The current through it is not known, so {nodes} share one current sum."
                );
            }
            Some(EquationKind::Virtual { opamp, .. } | EquationKind::Limit { opamp, .. }) => {
                Some(*opamp)
            }
            _ => None,
        };
        match (output, names::carrier_ends(self.circuit, tie)) {
            (Some(opamp), _) => format!(
                "It leads to the output of `{}`, which delivers whatever current is needed, so no current sum is written at \
                 either end.",
                self.paper.text.opamps[self.of_text(opamp).index()].name
            ),
            (None, ends) if self.is_driven(tie) || !ends.contains(&GROUND) => format!(
                "It carries whatever current is needed, so this equation stands in place of a current sum at {}.",
                names::node(self.circuit, at)
            ),
            _ => format!(
                "So {} is known at once, and no current sum is needed there.",
                names::node(self.circuit, at)
            ),
        }
    }

    /// Whether a source follows other voltages.
    fn is_driven(&self, by: Carrier) -> bool {
        matches!(by, Carrier::Source(id) if !self.circuit.sources[id.index()].controls.is_empty())
    }

    fn why_virtual(&self, opamp: OpampId, replaces: NodeId, tied: &[(NodeId, Carrier)]) -> String {
        let part = &self.paper.text.opamps[opamp.index()];
        let (v, out) = (
            self.writing.voltage.text(),
            names::node(self.circuit, replaces),
        );
        let feedback = self.around.feedback(opamp);
        let mut why = feedback::reason(self.paper.text, feedback, opamp, self.writing);
        match (part.plus, part.minus) {
            _ if self.is_raised(opamp) => why.push_str(&self.why_raised(opamp)),
            (GROUND, minus) => why.push_str(&format!(
                " Here plus is ground, so {v}− = {} is 0 V without being wired to ground: a virtual ground.",
                names::node(self.circuit, minus)
            )),
            (plus, GROUND) => {
                why.push_str(&format!(" Here minus is ground, so {v}+ = {} is 0 V.", names::node(self.circuit, plus)))
            }
            (plus, minus) if minus == replaces => why.push_str(&format!(
                " Here minus is the output itself: {out} follows {}.",
                names::node(self.circuit, plus)
            )),
            (plus, minus) => why.push_str(&format!(
                " Here {v}+ is {} and {v}− is {}.",
                names::node(self.circuit, plus),
                names::node(self.circuit, minus)
            )),
        }
        why.push_str(&no_sum(&out));
        why.push_str(&self.tied_words(tied));
        why
    }

    /// Why no sum stands at what is tied to an output either.
    fn tied_words(&self, tied: &[(NodeId, Carrier)]) -> String {
        if tied.is_empty() {
            return String::new();
        }
        let nodes = names::nodes(self.circuit, tied.iter().map(|it| it.0));
        let by = names::few(tied, |it| names::the(self.circuit, it.1));
        let (verb, them, their) = match tied.len() {
            1 => ("ties", "it", "its current is"),
            _ => ("tie", "them", "their currents are"),
        };
        format!(
            " None is written at {nodes} either: {by} {verb} {them} to the output, and {their} not known."
        )
    }

    fn why_limit(
        &self,
        opamp: OpampId,
        mode: Mode,
        value: &Number,
        replaces: NodeId,
        tied: &[(NodeId, Carrier)],
    ) -> String {
        let part = &self.paper.text.opamps[opamp.index()];
        let (name, v, out) = (
            &part.name,
            self.writing.voltage.text(),
            names::node(self.circuit, replaces),
        );
        let mut why = match (mode, part.comparator) {
            (Mode::High | Mode::Low, false) if self.has_figures(opamp) => {
                self.why_limit_real(opamp, mode, value)
            }
            (Mode::High | Mode::Low, true) => {
                let [limit, holds] = match mode {
                    Mode::High => ["high", "is above"],
                    _ => ["low", "is not above"],
                };
                format!(
                    "`{name}` is a comparator and never linear: its output is at its {limit} limit as long as plus ({}) {holds} minus ({}). \
                     That stands in place of {v}+ = {v}−.",
                    names::node(self.circuit, part.plus),
                    names::node(self.circuit, part.minus)
                )
            }
            (Mode::High | Mode::Low, false) => {
                let [limit, sense] = match mode {
                    Mode::High => ["high", "above"],
                    _ => ["low", "below"],
                };
                format!(
                    "`{name}` stands at its {limit} limit, {}: {v}+ stays {sense} {v}−, and {out} cannot follow any further. So {v}+ = {v}− does not \
                     hold, and what {out} is stands in its place.",
                    notation::number(value, Dimension::VOLT)
                )
            }
            _ => {
                let size = if value.to_f64() < 0.0 {
                    value.neg()
                } else {
                    value.clone()
                };
                let does = match mode {
                    Mode::Sourcing => "delivers all the current that it can",
                    _ => "takes in all the current that it can",
                };
                return format!(
                    "`{name}` {does}, {}: {out} stays where that current leaves it, and {v}+ = {v}− does not hold. In its place stands the \
                     current sum at {out}, since the current of the output is known.",
                    notation::number(&size, Dimension::AMPERE)
                );
            }
        };
        why.push_str(&format!(
            " No current sum is written at {out}: the output delivers whatever current is needed there."
        ));
        why.push_str(&self.tied_words(tied));
        why
    }

    fn why_sum(&self, at: NodeId) -> String {
        let mut why = format!(
            "No charge piles up at a node: the currents that {} {} add up to zero.",
            self.writing.sums.verb(),
            names::node(self.circuit, at)
        );
        self.silent_words(&mut why, &[at]);
        why
    }

    fn why_joined(&self, nodes: &[NodeId], ties: &[Carrier]) -> String {
        let words = names::nodes(self.circuit, nodes.iter().copied());
        let by = names::few(ties, |it| names::the(self.circuit, *it));
        let verb = if ties.len() == 1 { "ties" } else { "tie" };
        let mut why = format!(
            "{} {verb} {words} together, and how much current flows there is not known beforehand. Taken together, what leaves one \
             of these nodes that way enters another, so it drops out: the currents that {} the group add up to zero.",
            names::sentence(&by),
            self.writing.sums.verb(),
        );
        let group: HashSet<NodeId> = nodes.iter().copied().collect();
        let mut inside: Vec<ElementId> = Vec::new();
        for node in nodes {
            inside.extend(self.around.node(*node).resistors.iter().filter(|it| {
                let [first, second] = self.circuit.elements[it.index()].ends;
                first == *node && second != first && group.contains(&second)
            }));
        }
        inside.sort();
        if !inside.is_empty() {
            let has = if inside.len() == 1 {
                "has both its ends"
            } else {
                "have both their ends"
            };
            why.push_str(&format!(
                " {} {has} inside the group, so no term stands for it.",
                names::few(&inside, |it| format!(
                    "`{}`",
                    self.circuit.elements[it.index()].name
                ))
            ));
        }
        self.silent_words(&mut why, nodes);
        why
    }

    fn silent_words(&self, why: &mut String, nodes: &[NodeId]) {
        let mut capacitors: Vec<ElementId> = nodes
            .iter()
            .flat_map(|it| &self.around.node(*it).capacitors)
            .copied()
            .collect();
        capacitors.dedup();
        if !capacitors.is_empty() {
            let names = names::carriers(
                self.circuit,
                capacitors.iter().map(|it| Carrier::Element(*it)),
            );
            let carries = if capacitors.len() == 1 {
                "carries"
            } else {
                "carry"
            };
            why.push_str(&format!(" {names} {carries} no current at rest: a capacitor's voltage does not change there."));
        }
        let inputs: Vec<String> = nodes
            .iter()
            .flat_map(|it| &self.around.node(*it).inputs)
            .map(|(opamp, pin)| {
                let name = &self.paper.text.opamps[opamp.index()].name;
                format!("the {pin} input of `{name}`")
            })
            .collect();
        if !inputs.is_empty() {
            let takes = if inputs.len() == 1 { "takes" } else { "take" };
            why.push_str(&format!(
                " {} {takes} no current.",
                names::sentence(&names::few(&inputs, String::clone))
            ));
        }
    }

    fn term(&self, written: &equation::WrittenTerm) -> ExplainedTerm {
        let sentence = match written.term.branch {
            Carrier::Element(id) => self.element_term(id, &written.term),
            Carrier::Source(id) => {
                self.source_term(id, &written.term, written.text.starts_with('−'))
            }
            Carrier::Opamp(_) => {
                format!(
                    "the current of {}, which is not known.",
                    names::the(self.circuit, written.term.branch)
                )
            }
        };
        ExplainedTerm {
            text: written.text.clone(),
            sentence,
            place: equation::term_place(self.circuit, &written.term),
        }
    }

    fn element_term(&self, id: ElementId, term: &Term) -> String {
        let element = &self.circuit.elements[id.index()];
        if element.kind != ElementKind::Resistor {
            let the = names::the(self.circuit, term.branch);
            return format!("the current through {the}, which is not known.");
        }
        let name = self.element_name(id);
        let value = notation::number(&element.value, Dimension::OHM);
        let [from, to] = [term.from, term.to].map(|it| self.node(it));
        let (way, first, second) = match self.writing.sums {
            Sums::Leaving => (
                format!("what leaves {from} through {name} ({value}) towards {to}"),
                &from,
                &to,
            ),
            Sums::Entering => (
                format!("what enters {from} through {name} ({value}) from {to}"),
                &to,
                &from,
            ),
        };
        let across = match (term.from, term.to) {
            (node, GROUND) | (GROUND, node) => {
                format!(
                    "Ground is 0 V, so the voltage across {name} is that of {}",
                    self.node(node)
                )
            }
            _ => format!("The voltage across {name} is {first} − {second}"),
        };
        format!("{way}. {across}; divided by the resistance it is the current (Ohm's law).")
    }

    fn source_term(&self, id: SourceId, term: &Term, negative: bool) -> String {
        let source = &self.circuit.sources[id.index()];
        let (name, node) = (&source.name, names::node(self.circuit, term.from));
        let drive = equation::drive(self.circuit, source);
        let counts = match negative {
            true => format!(
                "negative among the currents that {}",
                self.writing.sums.verb()
            ),
            false => "positive".into(),
        };
        if let Some((opamp, piece)) = self.paper.piece(term.branch) {
            return match piece {
                Piece::Output => self.limit_term(opamp, &node, &counts),
                _ => self.bias_term(opamp, piece, &drive, &node, &counts),
            };
        }
        if !matches!(source.kind, SourceKind::Current { .. }) {
            return format!("the current of the source `{name}`, which is not known.");
        }
        let rest = if source.wave.is_some() {
            ", its level at rest"
        } else {
            ""
        };
        let does = match term.minus {
            false => format!("takes {drive} out of {node}"),
            true => format!("pushes {drive} into {node}"),
        };
        let known = match source.controls.is_empty() {
            true => "whatever the voltages are",
            false => "a current that follows other voltages",
        };
        format!("the source `{name}` {does}{rest}, {known}; it counts {counts}.")
    }
}
