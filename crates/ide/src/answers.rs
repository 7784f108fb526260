//! The answers of one circuit, as far as they may be shown.

use analysis::gap::Gap;
use analysis::shares::Shares;
use analysis::solution::{Carried, Output, Solution};
use analysis::states::{Mode, State};
use analysis::{Answer, Outcome, Study, Trouble};
use circuit::{Circuit, ElementId, NodeId, OpampId, Part, SourceId};
use syntax::Dimension;
use teaching::explain::Explanation;
use teaching::{feedback, names};

use crate::View;

/// One circuit with its answers.
pub(crate) struct Answers<'v> {
    pub(crate) circuit: &'v Circuit,
    pub(crate) parts: &'v [Part],
    pub(crate) study: &'v Study,
    /// Why the answers are not known to be those of the circuit as written.
    pub(crate) doubt: Option<Doubt>,
    /// `None`: the settings hide them.
    solution: Option<&'v Solution>,
    view: &'v View,
    index: usize,
}

/// The answers of a circuit of the book.
pub(crate) fn answers(view: &View, index: usize) -> Answers<'_> {
    let (book, study) = (view.book(), &view.studies()[index]);
    let circuit = &book.circuits[index];
    let hidden = view.settings().hidden;
    Answers {
        circuit,
        parts: &book.parts,
        study,
        doubt: if hidden {
            None
        } else {
            doubt(circuit, &book.parts, study)
        },
        solution: (!hidden).then(|| {
            let ideal = || study.solution(circuit, &book.parts);
            study.answer(circuit, &book.parts).unwrap_or_else(ideal)
        }),
        view,
        index,
    }
}

impl<'v> Answers<'v> {
    /// A node's voltage.
    pub(crate) fn node(&self, node: NodeId) -> Option<&'v Answer> {
        self.solution?.nodes.get(node.index())?.as_ref()
    }

    /// What an element carries.
    pub(crate) fn element(&self, element: ElementId) -> Option<&'v Carried> {
        self.solution?.elements.get(element.index())?.as_ref()
    }

    /// What a source carries.
    pub(crate) fn source(&self, source: SourceId) -> Option<&'v Carried> {
        self.solution?.sources.get(source.index())?.as_ref()
    }

    /// An op-amp's output.
    pub(crate) fn opamp(&self, opamp: OpampId) -> Option<&'v Output> {
        self.solution?.opamps.get(opamp.index())?.as_ref()
    }

    /// Why there is no value; `None` where it is only hidden. `value` is what it is in a state, where there is more than one.
    pub(crate) fn silence(
        &self,
        dimension: Dimension,
        value: impl Fn(&Solution) -> Option<Answer>,
    ) -> Option<String> {
        self.solution?;
        let value = |it: &State| value(it.solution(self.circuit, self.parts));
        let (study, circuit, parts) = (self.study, self.circuit, self.parts);
        let by_state = teaching::states::by_state(study, circuit, parts, dimension, value);
        Some(match by_state {
            Some(values) => format!("It depends on what happened before: {values}."),
            None => "The equations do not fix it.".to_string(),
        })
    }

    /// How an op-amp stands, where that is not simply linear: "`A1` stands at its high limit of 5 V".
    pub(crate) fn stands(&self, opamp: OpampId) -> Option<String> {
        self.solution?;
        let (circuit, parts) = (self.circuit, self.parts);
        let name = &circuit.opamps[opamp.index()].name;
        match self.study.mode(circuit, parts, opamp) {
            Some(Mode::Linear) => None,
            Some(mode) => {
                let at = teaching::states::stands(circuit, parts, opamp, mode);
                Some(format!("`{name}` stands {at}."))
            }
            None if *self.study.outcome(circuit, parts) == Outcome::Several => {
                let choice = teaching::states::choice(self.study, circuit, parts, opamp);
                Some(format!(
                    "`{name}` has more than one stable state: {choice}."
                ))
            }
            None => None,
        }
    }

    /// Where an op-amp switches, as one source moves.
    pub(crate) fn switches(&self, opamp: OpampId) -> Vec<String> {
        let (circuit, parts) = (self.circuit, self.parts);
        let settled = matches!(
            self.study.outcome(circuit, parts),
            Outcome::AtLimits | Outcome::Several | Outcome::Restless
        );
        if !settled || self.solution.is_none() {
            return Vec::new();
        }
        let Some(states) = self.study.states(circuit, parts) else {
            return Vec::new();
        };
        let list = states.switches(circuit, parts).list.iter();
        let mut lines = Vec::new();
        for line in list
            .filter(|it| it.leaving.contains(&opamp))
            .flat_map(|it| teaching::states::switch(circuit, it))
        {
            if !lines.contains(&line) {
                lines.push(line);
            }
        }
        lines
    }

    /// The circuit's equations with ideal op-amps, explained.
    pub(crate) fn explanation(&self) -> &'v Explanation {
        self.view.explanation(self.index, false)
    }

    /// The same with real op-amps, where there are any.
    pub(crate) fn real_explanation(&self) -> Option<&'v Explanation> {
        self.view
            .is_real(self.index)
            .then(|| self.view.explanation(self.index, true))
    }

    /// The answer as written less the ideal one; nothing where the settings hide answers.
    pub(crate) fn gap(&self) -> Option<&'v Gap> {
        self.solution?;
        self.study.gap(self.circuit, self.parts)
    }

    /// What each source does; nothing where the settings hide answers, or where it would take long.
    pub(crate) fn shares(&self) -> Option<&'v Shares> {
        const MOST: usize = 20_000;
        self.solution?;
        let sides = self.circuit.sources.len() + 3 * self.circuit.opamps.len();
        match sides * self.circuit.nodes.len() <= MOST {
            true => self.study.shares(self.circuit, self.parts),
            false => None,
        }
    }
}

/// Why an answer is not known to be the circuit's own.
pub(crate) struct Doubt {
    /// What stands beside each value; nothing where only a line is broken, since then most answers are as they were.
    pub(crate) mark: &'static str,
    /// In a sentence.
    pub(crate) why: String,
}

impl Answers<'_> {
    /// What stands beside a value, with a blank before it.
    pub(crate) fn mark(&self) -> String {
        let mark = self.doubt.as_ref().map_or("", |it| it.mark);
        if mark.is_empty() {
            String::new()
        } else {
            format!(" ({mark})")
        }
    }
}

fn doubt(circuit: &Circuit, parts: &[Part], study: &Study) -> Option<Doubt> {
    let troubles = match study.outcome(circuit, parts) {
        Outcome::Unknown(troubles) => troubles,
        Outcome::Restless => {
            let why = "This is the ideal answer without limits. The circuit never rests: no state of its op-amps is stable.";
            return Some(Doubt {
                mark: "ideal answer",
                why: why.to_string(),
            });
        }
        _ => return None,
    };
    let reasons = |kind: Kind| {
        let own = troubles
            .iter()
            .filter_map(|it| reason(circuit, study, it))
            .filter(|it| it.0 == kind);
        names::list(own.map(|it| it.1))
    };
    let (ideal, missing, unread) = (
        reasons(Kind::Ideal),
        reasons(Kind::Missing),
        reasons(Kind::Unread),
    );
    let mut why = Vec::new();
    let mut add = |words: &str, reasons: &str| {
        if !reasons.is_empty() {
            why.push(format!("{words}{reasons}."));
        }
    };
    add(
        "This is the ideal answer, and not known to be the circuit's own, because of ",
        &ideal,
    );
    add(
        "This answer leaves out what is not computed yet: ",
        &missing,
    );
    add("This answer leaves out ", &unread);
    let mark = match (ideal.is_empty(), missing.is_empty()) {
        (false, _) => "ideal answer",
        (true, false) => "incomplete answer",
        (true, true) => "",
    };
    (!why.is_empty()).then(|| Doubt {
        mark,
        why: why.join(" "),
    })
}

/// What a trouble takes from an answer.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    Ideal,
    Missing,
    Unread,
}

/// Why an answer may not be the whole truth; a circuit that has no single answer tells that where a value is missing.
fn reason(circuit: &Circuit, study: &Study, trouble: &Trouble) -> Option<(Kind, String)> {
    let name = |it: OpampId| format!("`{}`", circuit.opamps[it.index()].name);
    Some(match trouble {
        Trouble::NoSingleAnswer => return None,
        Trouble::Unread => (Kind::Unread, "the lines that could not be read".to_string()),
        Trouble::TooManyStates => (
            Kind::Ideal,
            "more ways in which the op-amps could stand than are looked at".to_string(),
        ),
        Trouble::NotBuilt(index) => {
            let later = circuit.later.get(*index)?;
            let names = names::list(later.names.first().map(|it| format!(" `{it}`")));
            (Kind::Missing, format!("{}{names}", later.what))
        }
        Trouble::Feedback(block) => {
            let block = study.feedback.get(*block)?;
            let opamp = *block.block.first()?;
            (
                Kind::Ideal,
                format!(
                    "the feedback of {} ({})",
                    name(opamp),
                    feedback::line(circuit, block, opamp)
                ),
            )
        }
        Trouble::BeyondRail(opamp) => (
            Kind::Ideal,
            format!(
                "{}, which cannot reach that voltage with its supply",
                name(*opamp)
            ),
        ),
        Trouble::BeyondCurrent(opamp) => (
            Kind::Ideal,
            format!("{}, which cannot deliver that much current", name(*opamp)),
        ),
    })
}
