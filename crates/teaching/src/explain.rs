//! Each equation explained term by term, with the reason for its form. No answers: an explanation may be given before
//! the circuit is solved.

use analysis::equations::{Equation, EquationKind, Equations, Term};
use analysis::feedback::Feedback;
use circuit::{
    Carrier, Circuit, ElementId, ElementKind, GROUND, NodeId, OpampId, SourceId, SourceKind,
};
use syntax::{Dimension, Place};

use crate::equation::{self, Written};
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

/// Explains all equations of a circuit.
pub fn explain(
    circuit: &Circuit,
    equations: &Equations,
    feedback: &[Feedback],
    writing: Writing,
) -> Explanation {
    let context = Context {
        circuit,
        equations,
        feedback,
        writing,
        silent: silent(circuit),
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
    circuit: &'a Circuit,
    equations: &'a Equations,
    feedback: &'a [Feedback],
    writing: Writing,
    silent: Vec<Silent>,
}

/// What touches a node and has no term in its sum.
#[derive(Clone, Default)]
struct Silent {
    capacitors: Vec<ElementId>,
    inputs: Vec<(OpampId, &'static str)>,
}

fn silent(circuit: &Circuit) -> Vec<Silent> {
    let mut silent = vec![Silent::default(); circuit.nodes.len()];
    for (index, element) in circuit.elements.iter().enumerate() {
        if element.kind == ElementKind::Capacitor {
            for end in element.ends {
                silent[end.index()].capacitors.push(ElementId(index as u32));
            }
        }
    }
    for (index, opamp) in circuit.opamps.iter().enumerate() {
        silent[opamp.plus.index()]
            .inputs
            .push((OpampId(index as u32), "plus"));
        silent[opamp.minus.index()]
            .inputs
            .push((OpampId(index as u32), "minus"));
    }
    silent
}

impl Context<'_> {
    fn notes(&self) -> Vec<String> {
        let v = self.writing.voltage.text();
        let way = match self.writing.sums {
            Sums::Leaving => "a current counts as leaving its node",
            Sums::Entering => "a current counts as entering its node",
        };
        let mut notes = vec![format!("Ground is 0 V. In a current sum {way}.")];
        if !self.circuit.opamps.is_empty() {
            notes.push(format!(
                "Every op-amp is taken as ideal: no current flows into its inputs, and with negative feedback {v}+ = {v}−."
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
        let written = equation::write(self.circuit, equation, self.writing);
        let at = names::node(self.circuit, equation.at);
        let mut covers = vec![equation.at];
        let (title, why) = match &equation.kind {
            EquationKind::Held { by } => (
                format!("{} is held", names::sentence(&self.held_nodes(*by))),
                self.why_held(*by),
            ),
            EquationKind::Virtual {
                opamp,
                replaces,
                tied,
            } => {
                covers.push(*replaces);
                covers.extend(tied.iter().map(|(node, _)| *node));
                let name = &self.circuit.opamps[opamp.index()].name;
                (
                    format!(
                        "`{name}`, in place of a current sum at {}",
                        names::node(self.circuit, *replaces)
                    ),
                    { self.why_virtual(*opamp, *replaces, tied) },
                )
            }
            EquationKind::Sum => (format!("Current sum at {at}"), self.why_sum(equation.at)),
            EquationKind::JoinedSum { nodes, ties } => {
                covers.extend(nodes);
                let title = format!(
                    "One current sum for {}",
                    names::nodes(self.circuit, nodes.iter().copied())
                );
                (title, self.why_joined(nodes, ties))
            }
        };
        covers.sort();
        covers.dedup();
        let terms = match equation.kind {
            EquationKind::Held { .. } | EquationKind::Virtual { .. } => Vec::new(),
            _ => written.terms.iter().map(|it| self.term(it)).collect(),
        };
        Explained {
            at: equation.at,
            covers,
            title,
            written,
            why,
            terms,
            place: equation::place(self.circuit, equation),
        }
    }

    fn held_nodes(&self, by: Carrier) -> String {
        match names::carrier_ends(self.circuit, by) {
            [GROUND, node] | [node, GROUND] => names::node(self.circuit, node),
            [a, b] => format!(
                "the difference between {} and {}",
                names::node(self.circuit, a),
                names::node(self.circuit, b)
            ),
        }
    }

    fn why_held(&self, by: Carrier) -> String {
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
                self.instead(by)
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
                self.instead(by)
            ),
            (true, false) => {
                format!(
                    "{it} holds {a} above {b} by {drive}{at_rest}, whatever current that takes. {}",
                    self.instead(by)
                )
            }
            (false, true) => format!(
                "{it} makes {a} follow other voltages, {drive}{at_rest}. {}",
                self.instead(by)
            ),
            (false, false) => {
                format!(
                    "{it} makes the difference {a} − {b} follow other voltages, {drive}{at_rest}. {}",
                    self.instead(by)
                )
            }
        }
    }

    /// Which current sum an equation with a tie's unknown current saves.
    fn instead(&self, tie: Carrier) -> String {
        let joined = self.equations.list.iter().find_map(|it| match &it.kind {
            EquationKind::JoinedSum { nodes, ties } if ties.contains(&tie) => Some(nodes),
            _ => None,
        });
        if let Some(nodes) = joined {
            let nodes = names::nodes(self.circuit, nodes.iter().copied());
            return format!(
                "The current through it is not known, so {nodes} share one current sum."
            );
        }
        let output = self.equations.list.iter().find_map(|it| match &it.kind {
            EquationKind::Virtual { opamp, tied, .. } if tied.iter().any(|(_, by)| *by == tie) => {
                Some(*opamp)
            }
            _ => None,
        });
        match (output, names::carrier_ends(self.circuit, tie)) {
            (Some(opamp), _) => format!(
                "It leads to the output of `{}`, which delivers whatever current is needed, so no current sum is written at \
                 either end.",
                self.circuit.opamps[opamp.index()].name
            ),
            (None, [node, GROUND] | [GROUND, node]) => {
                format!("So {} is known at once, and no current sum is needed there.", names::node(self.circuit, node))
            }
            _ => "The current through it is not known, so this equation stands in place of a current sum.".into(),
        }
    }

    fn why_virtual(&self, opamp: OpampId, replaces: NodeId, tied: &[(NodeId, Carrier)]) -> String {
        let part = &self.circuit.opamps[opamp.index()];
        let (v, out) = (
            self.writing.voltage.text(),
            names::node(self.circuit, replaces),
        );
        let feedback = self.feedback.iter().find(|it| it.block.contains(&opamp));
        let mut why = feedback::reason(self.circuit, feedback, opamp, self.writing);
        match (part.plus, part.minus) {
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
        why.push_str(&format!(
            " No current sum is written at {out}: the output delivers whatever current is needed there, so that sum would only \
             bring in one more unknown."
        ));
        for (node, by) in tied {
            why.push_str(&format!(
                " None is written at {} either: {} ties it to the output, and its current is not known.",
                names::node(self.circuit, *node),
                names::the(self.circuit, *by)
            ));
        }
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
        let by = names::list(ties.iter().map(|it| names::the(self.circuit, *it)));
        let verb = if ties.len() == 1 { "ties" } else { "tie" };
        let mut why = format!(
            "{} {verb} {words} together, and how much current flows there is not known beforehand. Taken together, what leaves one \
             of these nodes that way enters another, so it drops out: the currents that {} the group add up to zero.",
            names::sentence(&by),
            self.writing.sums.verb(),
        );
        let inside = self.circuit.elements.iter().filter(|it| {
            it.kind == ElementKind::Resistor
                && it.ends[0] != it.ends[1]
                && it.ends.iter().all(|end| nodes.contains(end))
        });
        let inside: Vec<String> = inside.map(|it| format!("`{}`", it.name)).collect();
        if !inside.is_empty() {
            let has = if inside.len() == 1 {
                "has both its ends"
            } else {
                "have both their ends"
            };
            why.push_str(&format!(
                " {} {has} inside the group, so no term stands for it.",
                names::list(&inside)
            ));
        }
        self.silent_words(&mut why, nodes);
        why
    }

    fn silent_words(&self, why: &mut String, nodes: &[NodeId]) {
        let mut capacitors: Vec<ElementId> = nodes
            .iter()
            .flat_map(|it| &self.silent[it.index()].capacitors)
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
            .flat_map(|it| &self.silent[it.index()].inputs)
            .map(|(opamp, pin)| {
                format!(
                    "the {pin} input of `{}`",
                    self.circuit.opamps[opamp.index()].name
                )
            })
            .collect();
        if !inputs.is_empty() {
            let takes = if inputs.len() == 1 { "takes" } else { "take" };
            why.push_str(&format!(
                " {} {takes} no current.",
                names::sentence(&names::list(&inputs))
            ));
        }
    }

    fn term(&self, written: &equation::WrittenTerm) -> ExplainedTerm {
        let sentence = match written.term.branch {
            Carrier::Element(id) => self.element_term(id, &written.term),
            Carrier::Source(id) => self.source_term(id, &written.term),
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
        let (name, kind) = (&element.name, names::element_noun(element.kind));
        if element.kind != ElementKind::Resistor {
            return format!("the current through the {kind} `{name}`, which is not known.");
        }
        let value = notation::number(&element.value, Dimension::OHM);
        let (from, to) = (
            names::node(self.circuit, term.from),
            names::node(self.circuit, term.to),
        );
        let (verb, start, end) = match self.writing.sums {
            Sums::Leaving => ("leaves", &from, &to),
            Sums::Entering => ("enters", &to, &from),
        };
        let across = match (term.from, term.to) {
            (_, GROUND) => {
                format!("the voltage across it is that of {from} alone, because ground is 0 V")
            }
            (GROUND, _) => {
                format!("the voltage across it is that of {to} alone, because ground is 0 V")
            }
            _ => {
                format!("the voltage across it is the difference of its two ends, {start} − {end}")
            }
        };
        format!(
            "the current that {verb} {from} through `{name}` ({value}), from {start} to {end}. By Ohm's law it is voltage over \
                 resistance, and {across}."
        )
    }

    fn source_term(&self, id: SourceId, term: &Term) -> String {
        let source = &self.circuit.sources[id.index()];
        let (name, node) = (&source.name, names::node(self.circuit, term.from));
        let drive = equation::drive(self.circuit, source);
        if !matches!(source.kind, SourceKind::Current { .. }) {
            return format!("the current of the source `{name}`, which is not known.");
        }
        let rest = if source.wave.is_some() {
            ", its level at rest"
        } else {
            ""
        };
        let (does, counts) = match (term.minus, self.writing.sums) {
            (false, Sums::Leaving) => (format!("takes {drive} out of {node}"), "positive"),
            (true, Sums::Leaving) => (
                format!("pushes {drive} into {node}"),
                "negative among the currents that leave",
            ),
            (false, Sums::Entering) => (
                format!("takes {drive} out of {node}"),
                "negative among the currents that enter",
            ),
            (true, Sums::Entering) => (format!("pushes {drive} into {node}"), "positive"),
        };
        let known = match source.controls.is_empty() {
            true => "whatever the voltages are",
            false => "a current that follows other voltages",
        };
        format!("the source `{name}` {does}{rest}, {known}; it counts {counts}.")
    }
}
