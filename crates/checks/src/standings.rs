//! The states by which limits are judged: the one answer, or each stable state with its name.

use std::cell::OnceCell;

use analysis::Outcome;
use analysis::feedback::Verdict;
use analysis::solution::Solution;
use analysis::states::{Mode, State};
use circuit::{ClaimKind, OpampId};
use teaching::states;

use crate::rules::output_current::Overload;
use crate::{Checked, Finding};

/// So many stable states are judged one by one; of more, what they agree on.
const MOST: usize = 16;

/// A way in which the circuit may rest.
pub(crate) struct Standing<'a> {
    /// Its voltages and currents.
    pub(crate) solution: &'a Solution,
    /// How each op-amp stands; empty where that is not known.
    pub(crate) modes: Vec<Mode>,
    /// What tells it from the others, "`A1` is high"; `None` for the only one.
    state: Option<String>,
    /// What outputs would have to deliver; found when someone asks.
    pub(crate) demand: OnceCell<Option<Solution>>,
    /// Outputs that are asked for too much current; found when someone asks.
    pub(crate) overloads: OnceCell<Vec<Overload>>,
}

impl<'a> Standing<'a> {
    fn new(solution: &'a Solution, modes: Vec<Mode>, state: Option<String>) -> Standing<'a> {
        Standing {
            solution,
            modes,
            state,
            demand: OnceCell::new(),
            overloads: OnceCell::new(),
        }
    }
}

impl<'a> Checked<'a> {
    /// Each way in which the circuit may rest, as far as limits are judged by it; none where the answer is not known.
    pub(crate) fn standings(&self) -> &[Standing<'a>] {
        self.standings.get_or_init(|| self.find_standings())
    }

    fn find_standings(&self) -> Vec<Standing<'a>> {
        let (circuit, study, parts) = (self.circuit, self.study, &self.book.parts);
        let ids = || (0..circuit.opamps.len() as u32).map(OpampId);
        let modes =
            || -> Option<Vec<Mode>> { ids().map(|it| study.mode(circuit, parts, it)).collect() };
        let one = |solution| Standing::new(solution, modes().unwrap_or_default(), None);
        // Where the answer is not known, what sources hold is.
        let known = |answer: Option<&'a Solution>| {
            let bare = |it| Standing::new(it, Vec::new(), None);
            let held = || study.held(circuit).filter(|_| !self.incomplete()).map(bare);
            answer.map(one).or_else(held).into_iter().collect()
        };
        if self.incomplete() || *study.outcome(circuit, parts) != Outcome::Several {
            return known(self.answer());
        }
        let states = study.states(circuit, parts).into_iter();
        let stable: Vec<_> = states.flat_map(|it| it.stable()).collect();
        // Where feedback is positive by mistake all voltages behind it are other ones than were meant.
        if stable.len() > MOST || self.is_positive_unclaimed() {
            return known(study.answer(circuit, parts));
        }
        let named = |it: &State| {
            let words = states::told_apart(study, circuit, parts, it);
            (!words.is_empty()).then_some(words)
        };
        let standing =
            |it: &'a State| Standing::new(it.solution(circuit, parts), it.modes.clone(), named(it));
        stable.into_iter().map(standing).collect()
    }

    /// Whether positive feedback that no claim about its op-amps accepts makes the states.
    fn is_positive_unclaimed(&self) -> bool {
        let claimed = |id: &OpampId| {
            let mut claims = self.circuit.claims.iter();
            claims.any(|it| matches!(&it.kind, Some(ClaimKind::State { opamp, .. }) if opamp == id))
        };
        let comparing = |id: &OpampId| self.circuit.opamps[id.index()].comparator;
        let mut feedback = self.study.feedback.iter();
        feedback.any(|it| {
            let block = &it.block;
            it.verdict == Verdict::Positive && !block.iter().any(|id| claimed(id) || comparing(id))
        })
    }

    /// Runs a rule over every way in which the circuit may rest. A finding comes with how far it goes: of equal ones in several states the worst is
    /// told, with its state unless it is the same in all.
    pub(crate) fn in_each_standing(
        &self,
        findings: &mut Vec<Finding>,
        judge: impl Fn(&'a Solution) -> Vec<(Finding, f64)>,
    ) {
        self.in_each_state(findings, |it| judge(it.solution));
    }

    /// The same for a rule that looks at more than voltages and currents.
    pub(crate) fn in_each_state(
        &self,
        findings: &mut Vec<Finding>,
        judge: impl Fn(&Standing<'a>) -> Vec<(Finding, f64)>,
    ) {
        let standings = self.standings();
        let mut found: Vec<Found> = Vec::new();
        for standing in standings {
            for (finding, size) in judge(standing) {
                let state = standing.state.as_deref();
                let same = |it: &&mut Found| {
                    it.finding.place == finding.place && it.finding.subjects == finding.subjects
                };
                let Some(first) = found.iter_mut().find(same).filter(|_| state.is_some()) else {
                    found.push(Found {
                        finding,
                        size,
                        state,
                        states: 1,
                        alike: true,
                    });
                    continue;
                };
                first.states += 1;
                first.alike &= first.finding.message == finding.message;
                if size > first.size {
                    (first.finding, first.size, first.state) = (finding, size, state);
                }
            }
        }
        findings.extend(found.into_iter().map(|it| it.told(standings.len())));
    }
}

/// A finding in one state or more.
struct Found<'s> {
    finding: Finding,
    size: f64,
    state: Option<&'s str>,
    states: usize,
    alike: bool,
}

impl Found<'_> {
    fn told(self, of: usize) -> Finding {
        let mut finding = self.finding;
        if let Some(state) = self.state.filter(|_| !self.alike || self.states < of) {
            finding.message.push_str(&format!(", when {state}"));
            if self.states > 1 {
                let rest = " It is the worst of several stable states in which this holds.";
                finding.help.push_str(rest);
            }
        }
        finding
    }
}

#[cfg(test)]
mod tests {
    use crate::tests::findings;

    const LATCH: &str = "supply +9 V and -9 V\nsource s: in = 0.1 V\np -- R2 10k -- o\np -- R3 10k -- ground\ncomparator A1: plus p, minus in, drives o\n";

    /// Rule and message of each finding.
    fn told(text: &str) -> Vec<(&'static str, String)> {
        let found = findings(text).into_iter();
        found.map(|it| (it.rule, it.message)).collect()
    }

    #[test]
    fn what_sources_hold_is_told_in_every_state() {
        let held = "source big: x = 20 V\nx -- R9 200 -- ground\nelectrolytic C9: plus ground, minus x, value 10 uF, rated 10 V\n";
        for claim in [
            "expect A1 latches\n",
            "expect finding several_states at A1\n",
        ] {
            let told = told(&format!("{LATCH}{held}{claim}"));
            let mut rules: Vec<&str> = told.iter().map(|it| it.0).collect();
            rules.sort_unstable();
            assert_eq!(
                rules,
                ["resistor_power", "reversed_polarity", "voltage_rating"],
                "{told:#?}"
            );
            assert!(!told.iter().any(|it| it.1.contains("when")), "{told:#?}");
        }
    }

    #[test]
    fn what_sources_hold_is_told_where_nothing_else_is_known() {
        let held = "source big: x = 20 V\nx -- R9 200 -- ground\nelectrolytic C9: plus ground, minus x, value 10 uF, rated 10 V\n";
        let source = "source s: in = 1 V\nin -- R1 10k -- m -- ";
        for (text, rule) in [
            (
                "C1 1 uF -- o\nopamp A1: plus ground, minus m, drives o\n",
                "no_feedback",
            ),
            (
                "C1 1 uF -- o\nopamp A1: plus ground, minus m, drives o\nstart m - o = 0 V\n",
                "",
            ),
            (
                "R2 33k -- o\nopamp A1: plus m, minus ground, drives o\n",
                "positive_feedback",
            ),
            (
                "R2 33k -- o\nsupply +2 V and -2 V\nopamp A1: plus ground, minus m, drives o\n",
                "swing",
            ),
            (
                "R2 10k -- o\nopamp A1: plus in, minus ground, drives o\n",
                "inputs_tied",
            ),
            (
                "R2 10k -- w -- C1 1 uF -- ground\nsupply +9 V and -9 V\nw -- R3 10k -- o\np -- R4 10k -- o\np -- R5 10k -- ground\n\
                 comparator A1: plus p, minus w, drives o\nexpect A1 oscillates\n",
                "",
            ),
        ] {
            let told = told(&format!("{source}{text}{held}"));
            let mut rules: Vec<&str> = told.iter().map(|it| it.0).collect();
            rules.retain(|it| *it != "not_built");
            let known = ["resistor_power", "reversed_polarity", "voltage_rating"];
            let (held, other): (Vec<&str>, Vec<&str>) =
                rules.into_iter().partition(|it| known.contains(it));
            assert_eq!(held.len(), 3, "{text}{told:#?}");
            assert_eq!(other.concat(), rule, "{text}{told:#?}");
        }
        // Two sources that contradict each other hold nothing for sure.
        let told = told(&format!(
            "{source}R2 10k -- ground\n{held}source other: x = 2 V\n"
        ));
        assert_eq!(told.len(), 1, "{told:#?}");
        assert_eq!(told[0].0, "source_conflict");
    }

    #[test]
    fn what_holds_in_one_state_names_it() {
        // a divider of 1 kΩ and 10 kΩ behind 9 V: 90/11 V, or the reverse
        let one = "o -- R5 1k -- a -- R6 10k -- ground\nelectrolytic C1: plus a, minus ground, value 10 uF, rated 25 V\nexpect A1 latches\n";
        let told = told(&format!("{LATCH}{one}"));
        assert_eq!(told.len(), 1, "{told:#?}");
        assert_eq!(
            told[0].1,
            "the plus end of `C1` is the lower one: −8.1818 V from `a` to `ground`, when `A1` is low"
        );
    }

    #[test]
    fn points_that_are_far_apart_in_one_state() {
        let text = "supply +29 V and -29 V\nsource s: in = 0.1 V\np -- R2 10k -- o\np -- R3 10k -- ground\ncomparator A1: plus p, minus in, drives o\nsource b: q - o = 10 V\nq -- R4 100k -- ground\nexpect A1 latches\n";
        let told = told(text);
        let [(rule, message)] = &told[..] else {
            panic!("{told:#?}");
        };
        assert_eq!(*rule, "touch_voltage");
        assert!(message.contains("68 V apart"), "{message}");
        assert!(message.ends_with(", when `A1` is high"), "{message}");
    }
}
