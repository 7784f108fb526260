//! What `expect` claims, judged against the solution; and what a formula comes to.

use std::cmp::Ordering;

use circuit::{
    Carrier, Circuit, Claim, ClaimKind, ElementKind, Formula, Function, GROUND, OpampId, Part,
    SourceId, SourceKind, StateClaim, Within,
};
use syntax::{Dimension, Number, Operator, Ratio};

use crate::Answer;
use crate::board::Board;
use crate::linear::Budget;
use crate::solution::Solution;
use crate::states::{self, Mode, State, States};

/// The judgement of one claim; the vector of a circuit's judgements is indexed like its claims.
#[derive(Clone, PartialEq, Debug)]
pub struct Judgement {
    /// `None`: not computed.
    pub holds: Option<bool>,
    /// What stands left in the claim, as found, in the base unit of `dimension`.
    pub found: Option<Answer>,
    /// The unit of `found`.
    pub dimension: syntax::Dimension,
}

/// What a formula comes to with an answer put in; `None` where the answer does not fix it, or it has no value (a division by
/// zero, the root of a negative number).
pub fn evaluate(formula: &Formula, circuit: &Circuit, solution: &Solution) -> Option<Answer> {
    let value = |formula: &Formula| evaluate(formula, circuit, solution);
    match formula {
        Formula::Number(number) => Some(number.into()),
        Formula::Node(node) => solution.nodes.get(node.index())?.clone(),
        Formula::Current(carrier) => current(*carrier, circuit, solution),
        Formula::Power(carrier) => match carrier {
            Carrier::Element(id) => solution.elements.get(id.index())?.as_ref()?.power(),
            Carrier::Source(id) => solution.sources.get(id.index())?.as_ref()?.power(),
            Carrier::Opamp(id) => solution.opamps.get(id.index())?.as_ref()?.power(),
        },
        Formula::Negative(inner) => Some(-&value(inner)?),
        Formula::Raised(base, exponent) => value(base)?.powi(*exponent),
        Formula::Binary(operator, left, right) => {
            let (left, right) = (value(left)?, value(right)?);
            match operator {
                Operator::Plus => Some(&left + &right),
                Operator::Minus => Some(&left - &right),
                Operator::Times => Some(&left * &right),
                Operator::Over => left.over(&right),
            }
        }
        Formula::Call(function, arguments) => {
            let values = arguments
                .iter()
                .map(value)
                .collect::<Option<Vec<Answer>>>()?;
            call(*function, &values)
        }
    }
}

fn current(carrier: Carrier, circuit: &Circuit, solution: &Solution) -> Option<Answer> {
    let found = match carrier {
        Carrier::Element(id) => solution
            .elements
            .get(id.index())?
            .as_ref()
            .map(|it| it.current.clone()),
        Carrier::Source(id) => solution
            .sources
            .get(id.index())?
            .as_ref()
            .map(|it| it.current.clone()),
        Carrier::Opamp(id) => solution
            .opamps
            .get(id.index())?
            .as_ref()
            .map(|it| it.current.clone()),
    };
    // Some currents are known where the voltage is not.
    found.unwrap_or_else(|| match carrier {
        Carrier::Element(id) if circuit.elements[id.index()].kind == ElementKind::Capacitor => {
            Some(Answer::zero())
        }
        Carrier::Source(id) => {
            let source = &circuit.sources[id.index()];
            let free =
                matches!(source.kind, SourceKind::Current { .. }) && source.controls.is_empty();
            free.then(|| Answer::from(&source.constant))
        }
        _ => None,
    })
}

fn call(function: Function, values: &[Answer]) -> Option<Answer> {
    let (first, others) = values.split_first()?;
    match function {
        // A wire beside anything is a wire.
        Function::Parallel if values.iter().any(Answer::is_zero) => Some(Answer::zero()),
        Function::Parallel => {
            let one = Answer::from(&Number::ONE);
            let sum = values
                .iter()
                .try_fold(Answer::zero(), |sum, it| Some(&sum + &one.over(it)?))?;
            one.over(&sum)
        }
        Function::Abs => Some(first.abs()),
        Function::Sqrt => first.sqrt(),
        Function::Min => Some(others.iter().fold(first.clone(), |least, it| least.min(it))),
        Function::Max => Some(others.iter().fold(first.clone(), |most, it| most.max(it))),
        Function::Log10 => first.log10(),
        // A steady state has no phase.
        Function::Phase => None,
    }
}

/// Judges every claim of a circuit whose answer is the ideal one. `answer` gives the solution for other constants of the sources, for each
/// of several choices.
pub(crate) fn judge(
    circuit: &Circuit,
    solution: &Solution,
    answers: impl Fn(&[Vec<&Number>]) -> Vec<Solution>,
) -> Vec<Judgement> {
    circuit
        .claims
        .iter()
        .map(|claim| match &claim.kind {
            Some(ClaimKind::Equal {
                always,
                left,
                right,
                at: None,
                within,
                dimension,
                free,
                ..
            }) => {
                let equality = Equality {
                    circuit,
                    left,
                    right,
                    within,
                    dimension: *dimension,
                };
                let found = evaluate(left, circuit, solution);
                let here = equality.holds(solution);
                let holds = match here {
                    Some(true) if *always && !free.is_empty() => {
                        equality.holds_for_all(free, &answers)
                    }
                    _ => here,
                };
                Judgement {
                    holds,
                    found,
                    dimension: *dimension,
                }
            }
            Some(ClaimKind::State {
                state: StateClaim::Linear,
                ..
            }) => Judgement {
                holds: Some(true),
                found: None,
                dimension: Dimension::NONE,
            },
            _ => unjudged(claim),
        })
        .collect()
}

/// A claim of which no value is told.
pub(crate) fn told(claim: &Claim, holds: Option<bool>) -> Judgement {
    Judgement {
        holds,
        ..unjudged(claim)
    }
}

/// Judges every claim of a circuit by its stable states. A value must be as claimed in each of them; `always` counts for all values of the
/// sources with every op-amp as it stands.
pub(crate) fn judge_states(
    circuit: &Circuit,
    parts: &[Part],
    states: &States,
    stable: &[&State],
) -> Vec<Judgement> {
    let values: Vec<Vec<Judgement>> = stable
        .iter()
        .map(|state| {
            let solution = state.solution(circuit, parts);
            let solve = |drives: &[Vec<&Number>]| {
                let board = Board::standing(circuit, parts, &state.modes);
                let behind = &board.constants()[board.own_sources()..];
                let drives: Vec<Vec<&Number>> = drives
                    .iter()
                    .map(|it| it.iter().chain(behind).copied().collect())
                    .collect();
                board.solve_for(&drives, Budget::default())
            };
            judge(circuit, solution, solve)
        })
        .collect();
    let claims = circuit.claims.iter().enumerate();
    claims
        .map(|(index, claim)| match &claim.kind {
            Some(ClaimKind::State { opamp, state }) => {
                of_state(circuit, parts, states, stable, claim, *opamp, state)
            }
            Some(ClaimKind::Equal { .. }) => {
                let mut each = values.iter().map(|it| &it[index]);
                let Some(first) = each.next() else {
                    return unjudged(claim);
                };
                each.fold(first.clone(), |all, it| Judgement {
                    holds: match (all.holds, it.holds) {
                        (Some(false), _) | (_, Some(false)) => Some(false),
                        (Some(true), Some(true)) => Some(true),
                        _ => None,
                    },
                    found: all.found.filter(|found| Some(found) == it.found.as_ref()),
                    dimension: all.dimension,
                })
            }
            _ => unjudged(claim),
        })
        .collect()
}

/// Whether a claim says that an op-amp stands at a limit or goes there.
pub(crate) fn is_of_limits(claim: &Claim) -> bool {
    let linear = |it: &StateClaim| matches!(it, StateClaim::Linear);
    matches!(&claim.kind, Some(ClaimKind::State { state, .. }) if !linear(state))
}

fn of_state(
    circuit: &Circuit,
    parts: &[Part],
    states: &States,
    stable: &[&State],
    claim: &Claim,
    opamp: OpampId,
    state: &StateClaim,
) -> Judgement {
    let mode = |it: &&State| it.modes[opamp.index()];
    let at = |it: &&State, high: bool| {
        let output = it.solution(circuit, parts).opamps.get(opamp.index());
        let margin = output.and_then(Option::as_ref).and_then(|it| match high {
            true => it.margin_high.as_ref(),
            false => it.margin_low.as_ref(),
        });
        let own = if high { Mode::High } else { Mode::Low };
        mode(it) == own || margin.and_then(Answer::sign) == Some(Ordering::Equal)
    };
    let rests = !stable.is_empty();
    let limited = circuit.opamps[opamp.index()].supply.is_some();
    let holds = match state {
        StateClaim::Linear => Some(rests && stable.iter().all(|it| mode(it) == Mode::Linear)),
        StateClaim::Oscillates => Some(!rests),
        _ if !limited => None,
        StateClaim::AtRail { high } => Some(rests && stable.iter().all(|it| at(it, *high))),
        StateClaim::Latches => {
            let stands = |high: bool| {
                stable
                    .iter()
                    .any(|it| at(it, high) || it.sides[opamp.index()] == Some(high))
            };
            Some(stands(true) && stands(false))
        }
        StateClaim::Goes { .. } => return goes(circuit, parts, states, claim),
    };
    told(claim, holds)
}

/// `expect A1 goes high at in = 2 V`: as the source that holds the node moves, a state with the op-amp on its low side ends there, and it is on its high side beyond,
/// at the rail or held back from it by its limit of current.
/// What is found is the nearest value at which that happens.
pub(crate) fn goes(circuit: &Circuit, parts: &[Part], states: &States, claim: &Claim) -> Judgement {
    let Some(ClaimKind::State {
        opamp,
        state:
            StateClaim::Goes {
                high,
                source,
                at,
                within,
            },
    }) = &claim.kind
    else {
        return unjudged(claim);
    };
    let switches = states.switches(circuit, parts);
    let of = |it: &&states::Switch| {
        it.source == *source
            && it.from_sides[opamp.index()] == Some(!high)
            && it
                .to_sides
                .iter()
                .any(|it| it[opamp.index()] == Some(*high))
    };
    // The source may hold the node with its minus end.
    let node = |it: &Answer| match circuit.sources[source.index()].kind {
        SourceKind::Voltage { plus: GROUND, .. } => -it,
        _ => it.clone(),
    };
    let claimed = Answer::from(at);
    let far = |it: &Answer| (it - &claimed).abs();
    let values = switches.list.iter().filter(of).map(|it| node(&it.at));
    let found = values.min_by(|a, b| far(a).to_f64().total_cmp(&far(b).to_f64()));
    let allowed = allowed(within, &claimed, Dimension::VOLT);
    let near = found
        .as_ref()
        .and_then(|it| far(it).compare(&allowed))
        .map(Ordering::is_le);
    let holds = match (&found, near) {
        (_, Some(true)) => Some(true),
        (None, _) | (_, Some(false)) if switches.complete => Some(false),
        _ => None,
    };
    Judgement {
        holds,
        found,
        dimension: Dimension::VOLT,
    }
}

/// What may lie between the two sides of a claim. A share of zero is nothing, so there the usual amount counts.
fn allowed(within: &Within, right: &Answer, dimension: Dimension) -> Answer {
    let of_zero = || {
        let places = if dimension == Dimension::VOLT { -6 } else { -9 };
        Answer::from(&Number::decimal(1u8.into(), places))
    };
    match within {
        Within::Amount(amount) => Answer::from(amount).abs(),
        _ if right.sign() == Some(Ordering::Equal) => of_zero(),
        Within::Ratio(share) => (&Answer::from(share) * right).abs(),
        Within::Usual => (&Answer::from(&Number::decimal(1u8.into(), -3)) * right).abs(),
    }
}

/// The judgement of a claim that cannot be judged.
pub(crate) fn unjudged(claim: &Claim) -> Judgement {
    let dimension = match &claim.kind {
        Some(ClaimKind::Equal { dimension, .. }) => *dimension,
        _ => Dimension::NONE,
    };
    Judgement {
        holds: None,
        found: None,
        dimension,
    }
}

/// `left = right within …`
struct Equality<'a> {
    circuit: &'a Circuit,
    left: &'a Formula,
    right: &'a Formula,
    within: &'a Within,
    dimension: Dimension,
}

/// How many random choices of the free sources' values an `always` is tried at, beside the four kinds of
/// [`Equality::choices`].
const TRIALS: usize = 6;

impl Equality<'_> {
    /// Whether it holds in one solution; `None` where a side has no value or the bounds cannot tell.
    fn holds(&self, solution: &Solution) -> Option<bool> {
        let left = evaluate(self.left, self.circuit, solution)?;
        let right = evaluate(self.right, self.circuit, solution)?;
        let allowed = allowed(self.within, &right, self.dimension);
        (&left - &right)
            .abs()
            .compare(&allowed)
            .map(Ordering::is_le)
    }

    /// Whether it holds whatever the free sources give. Voltages and currents are linear in them, so two sides that are sums of these agree
    /// everywhere if they agree at zero and with each source alone; products and quotients are tried at random values too,
    /// where polynomials that differ agree with no chance. A choice without a value (a division by zero) says nothing.
    fn holds_for_all(
        &self,
        free: &[SourceId],
        answers: &impl Fn(&[Vec<&Number>]) -> Vec<Solution>,
    ) -> Option<bool> {
        let choices = self.choices(free);
        let written: Vec<&Number> = self.circuit.sources.iter().map(|it| &it.constant).collect();
        let drives: Vec<Vec<&Number>> = choices
            .iter()
            .map(|choice| {
                let mut drives = written.clone();
                free.iter()
                    .zip(choice)
                    .for_each(|(id, value)| drives[id.index()] = value);
                drives
            })
            .collect();
        let mut told = 0;
        for solution in answers(&drives) {
            match self.holds(&solution) {
                Some(true) => told += 1,
                Some(false) => return Some(false),
                None => {}
            }
        }
        (told > TRIALS / 2).then_some(true)
    }

    /// Values of the free sources: all zero, each one alone, each one negated, and random ones of the size that is written.
    fn choices(&self, free: &[SourceId]) -> Vec<Vec<Number>> {
        let one = |id: &SourceId| {
            let source = &self.circuit.sources[id.index()];
            match source.kind {
                _ if !source.constant.is_zero() => source.constant.clone(),
                SourceKind::Voltage { .. } => Number::ONE,
                SourceKind::Current { .. } => Number::decimal(1u8.into(), -3),
            }
        };
        let sizes: Vec<Number> = free.iter().map(one).collect();
        let mut choices = vec![vec![Number::ZERO; free.len()]];
        for alone in 0..free.len() {
            for sign in [1, -1] {
                let value = |at: usize| {
                    if at == alone {
                        sizes[at].mul(&Number::Exact(Ratio::from(sign)))
                    } else {
                        Number::ZERO
                    }
                };
                choices.push((0..free.len()).map(value).collect());
            }
        }
        let mut random = Random(0x9e37_79b9_7f4a_7c15);
        choices.extend((0..TRIALS).map(|_| {
            sizes
                .iter()
                .map(|size| size.mul(&random.factor()))
                .collect()
        }));
        choices
    }
}

/// The same numbers at every run: a linear congruential generator with Knuth's multiplier (from memory).
struct Random(u64);

impl Random {
    /// A fraction between −4 and 4, never 0.
    fn factor(&mut self) -> Number {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        let pick = (self.0 >> 33) % 7998 + 1;
        let signed = if pick > 3999 {
            3999 - pick as i64
        } else {
            pick as i64
        };
        Number::Exact(Ratio::from_parts(signed.into(), 1000u16.into()))
    }
}
