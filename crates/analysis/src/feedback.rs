//! Which way feedback acts: a verdict for each block of op-amps that move each other's inputs.
//!
//! With the outputs v as independent sources the inputs see d = M·v + b. Op-amps with one pole each obey v′ = W·(M·v + b),
//! W their positive speeds; M falls into strongly connected blocks, each judged alone, exactly. With capacitors or
//! inductors two such maps are judged, at rest and at the first instant, and between the two the natural frequencies with
//! quick op-amps ([`growth`]: a Wien bridge with too much gain); where those are too many, [`Proof::BothEnds`] says so.

use std::sync::OnceLock;

use circuit::{Circuit, ElementKind, NodeId, OpampId, Part};
use syntax::{Number, Ratio};

mod blocks;
mod eliminate;
mod exact;
mod field;
mod growth;
mod knot;
mod map;
mod polynomial;

pub(crate) use blocks::{reached, strongly_connected};
pub(crate) use eliminate::{BUDGET, Sum, add, eliminate, null_vector};
pub(crate) use field::Field;
#[cfg(test)]
pub(crate) use field::scrambled;
pub(crate) use growth::Slow;
pub(crate) use map::{Map, Moment, Rules, moved};

use crate::faults::{Fault, FaultKind};
use crate::linear::modular::Modular;
use crate::network::{Network, fraction};
pub(crate) use exact::sign;
use knot::{Knot, severity};

/// The verdict on one block.
#[derive(Clone, PartialEq, Debug)]
pub struct Feedback {
    /// The op-amps of the block, in the order of the text.
    pub block: Vec<OpampId>,
    /// What was found.
    pub verdict: Verdict,
    /// What ideal op-amps would do: other than `verdict` where the figures of the parts decide.
    pub ideally: Verdict,
    /// Whether the outputs come to rest where the equations of the parts say: with V+ = V−, or where nothing holds that, with each output at
    /// its finite gain times them.
    pub rests: bool,
    /// How firmly.
    pub proof: Proof,
    /// For each op-amp of the block, what returns from its own output to its own inputs with the other outputs held.
    pub returns: Vec<Return>,
    /// Whether the returns are those of the first instant of a sudden change, when capacitors keep their voltages and inductors
    /// their currents: the verdict comes from there, and at rest the same block would settle. Else they are those at rest.
    pub sudden: bool,
    /// The smallest sets of op-amps whose inputs, swapped, would make the block `Negative`.
    pub repairs: Vec<Vec<OpampId>>,
}

/// Shares of an output that return to the op-amp's own inputs, no unit; `None` where they are not determined.
#[derive(Clone, PartialEq, Debug)]
pub struct Return {
    /// dV+/dVout.
    pub to_plus: Option<Ratio>,
    /// dV−/dVout.
    pub to_minus: Option<Ratio>,
}

/// What feedback does.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Verdict {
    /// Stable at every op-amp speed.
    Negative,
    /// Unstable at every op-amp speed.
    Positive,
    /// Stable if the op-amps are alike; other speeds may not be.
    NegativeIfAlike,
    /// Alike ones are not stable; some other speeds are, or (see the proof) may be.
    DependsOnSpeeds,
    /// Both paths are equal at these values.
    Cancels,
    /// The output cannot move its own inputs.
    None,
    /// Only through capacitors.
    NoneAtDc,
    /// Grows as an oscillation.
    Oscillates,
    /// Grows without turning.
    RunsAway,
    /// On the border.
    Marginal,
    /// With the outputs held an input is adrift, if only at these values, so nothing can be said.
    InputFloats,
    /// More op-amps move each other than are judged together.
    TooMany,
    /// With ideal op-amps it would not come to rest; the finite gains of the parts hold it.
    HeldByGain,
}

impl Verdict {
    /// Whether such feedback brings V+ = V− about at direct current: what depends on speeds may swing, but rests nowhere else.
    pub fn holds_inputs_equal(self) -> bool {
        matches!(
            self,
            Verdict::Negative | Verdict::NegativeIfAlike | Verdict::DependsOnSpeeds
        )
    }

    /// Whether it holds an output where its equations say, if only because gains are finite.
    pub fn holds(self) -> bool {
        self.holds_inputs_equal() || self == Verdict::HeldByGain
    }
}

/// What a verdict rests on.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Proof {
    /// Holds at any op-amp speed.
    AnySpeed,
    /// Holds for like op-amps.
    Alike,
    /// Holds for the bandwidths given.
    Given,
    /// No closed test is known: tried at many speeds.
    Sampled,
    /// With capacitors or inductors: judged at rest and at the first instant; what grows slowly between is not counted.
    BothEnds,
    /// With capacitors or inductors: judged at rest, at the first instant, and by the natural frequencies with quick op-amps.
    Between,
}

/// Judges every op-amp: each is in exactly one block of the result, which is in the order of the blocks' first op-amps.
pub fn feedback(
    circuit: &Circuit,
    parts: &[Part],
    network: &Network,
    faults: &[Fault],
) -> Vec<Feedback> {
    judged(circuit, parts, faults, &Maps::of(circuit, network))
}

pub(crate) fn judged(
    circuit: &Circuit,
    parts: &[Part],
    faults: &[Fault],
    maps: &Maps,
) -> Vec<Feedback> {
    let floats = floating(circuit, maps, faults);
    let towards = maps.graph(circuit, &floats);
    let unknowable = reached(&towards, (0..floats.len()).filter(|it| floats[*it]));
    let mut all = Vec::new();
    for block in strongly_connected(&towards) {
        if block.len() > MOST_IN_A_LOOP {
            all.push(maps.plain(circuit, block, Verdict::TooMany));
        } else if block.len() > 1 || towards[block[0]].contains(&block[0]) {
            maps.judge(circuit, parts, block, &mut all);
        } else {
            let verdict = if cancels(faults, block[0]) {
                Verdict::Cancels
            } else if unknowable[block[0]] {
                Verdict::InputFloats
            } else {
                Verdict::None
            };
            all.push(maps.plain(circuit, block, verdict));
        }
    }
    all.sort_by_key(|it| it.block[0]);
    all
}

/// Whether the rank of all equations together has told that its feedback cancels.
fn cancels(faults: &[Fault], opamp: usize) -> bool {
    let of = faults
        .iter()
        .filter(|it| it.kind == FaultKind::CancelsAtTheseValues);
    of.flat_map(Fault::opamps).any(|it| it.index() == opamp)
}

/// The tests on a block take time with the cube of its op-amps and more.
const MOST_IN_A_LOOP: usize = 64;

/// What the outputs move, at the moments that count.
pub(crate) struct Maps {
    /// Whatever the values, at rest.
    pub pattern: Map<Modular>,
    /// With the values as they are, at rest.
    pub rest: Values,
    /// With capacitors and inductors; `None` without any.
    pub quick: Option<Quick>,
}

/// What the outputs move where capacitors carry current and inductors are no wires.
pub(crate) struct Quick {
    /// The circuit with inductors that fix nothing.
    pub network: Network,
    /// Whatever the values and the frequency.
    pub ever: Map<Modular>,
    /// At the first instant, with the values as they are.
    instant: Values,
    slow: OnceLock<Slow>,
}

impl Quick {
    /// What the two ends say, with what grows slowly between them counted too.
    fn judged(&self, circuit: &Circuit, block: &[usize], ends: &Ends) -> (Verdict, Proof) {
        let unswapped = vec![false; block.len()];
        let (verdict, proof) = ends.judged(&unswapped);
        let slow = || Slow::of(circuit, &self.network);
        let slack = vec![Ratio::ZERO; block.len()];
        let slow = self.slow.get_or_init(slow);
        let Some(growth) = slow.growth(circuit, block, &slack) else {
            return (verdict, proof);
        };
        // Where quick op-amps settle at once whatever their speeds, what rest says of speeds is of no account: the frequencies decide.
        let verdict = match verdict {
            Verdict::DependsOnSpeeds if ends.instant.judged(&unswapped).0 == Verdict::Negative => {
                Verdict::Negative
            }
            other => other,
        };
        match growth.refine(verdict) {
            Verdict::DependsOnSpeeds => (Verdict::DependsOnSpeeds, proof),
            refined => (refined, Proof::Between),
        }
    }
}

/// Shares with the values as they are.
pub(crate) struct Values {
    /// For each op-amp the shares of its plus and minus input; `None`: adrift.
    pub inputs: Vec<[Option<Sum<Ratio>>; 2]>,
    /// Doubles stand in for numbers that grew too long.
    pub approximate: bool,
    /// Some value is rounded, so that what cancels to the last digits counts as equal.
    rounded: bool,
}

impl Maps {
    pub fn of(circuit: &Circuit, network: &Network) -> Maps {
        let stores = |it: &circuit::Element| {
            matches!(it.kind, ElementKind::Capacitor | ElementKind::Inductor)
        };
        let quick = circuit.elements.iter().any(stores).then(|| {
            let network = Network::without_inductors(circuit);
            Quick {
                ever: whatever(circuit, &network, Moment::Ever),
                instant: Values::of(circuit, &network, Moment::Instant),
                slow: OnceLock::new(),
                network,
            }
        });
        Maps {
            pattern: whatever(circuit, network, Moment::Rest),
            rest: Values::of(circuit, network, Moment::Rest),
            quick,
        }
    }

    /// Whatever the values and the frequency.
    fn ever(&self) -> &Map<Modular> {
        self.quick.as_ref().map_or(&self.pattern, |it| &it.ever)
    }

    /// Which inputs each output moves, at some frequency and with some values.
    fn graph(&self, circuit: &Circuit, floats: &[bool]) -> Vec<Vec<usize>> {
        let mut towards = vec![Vec::new(); circuit.opamps.len()];
        let follows = |it: usize| !floats[it] && !circuit.opamps[it].comparator;
        for (index, opamp) in circuit.opamps.iter().enumerate().filter(|it| follows(it.0)) {
            for (from, _) in self.ever().difference(opamp).into_iter().flatten() {
                // A comparator stands at a rail whatever moves: it leads no small change on.
                if !circuit.opamps[from].comparator {
                    towards[from].push(index);
                }
            }
        }
        towards
    }

    /// A block of one that nothing returns to.
    fn plain(&self, circuit: &Circuit, block: Vec<usize>, verdict: Verdict) -> Feedback {
        self.result(circuit, block, verdict, Proof::AnySpeed, Vec::new(), None)
    }

    fn result(
        &self,
        circuit: &Circuit,
        block: Vec<usize>,
        verdict: Verdict,
        proof: Proof,
        repairs: Vec<Vec<OpampId>>,
        instant: Option<&Values>,
    ) -> Feedback {
        let values = instant.unwrap_or(&self.rest);
        let share = |input: &Option<Sum<Ratio>>, of: usize| match input {
            Some(sum) if !values.approximate => Some(
                sum.binary_search_by_key(&of, |it| it.0)
                    .map_or(Ratio::ZERO, |at| sum[at].1.clone()),
            ),
            _ => None,
        };
        let returns = block.iter().map(|&it| {
            let [plus, minus] = &values.inputs[it];
            Return {
                to_plus: share(plus, it),
                to_minus: share(minus, it),
            }
        });
        let returns = returns.collect();
        debug_assert!(block.iter().all(|it| *it < circuit.opamps.len()));
        Feedback {
            block: block.into_iter().map(|it| OpampId(it as u32)).collect(),
            verdict,
            ideally: verdict,
            rests: verdict.holds(),
            proof,
            returns,
            sudden: instant.is_some(),
            repairs,
        }
    }

    /// Judges a block whose op-amps move each other.
    fn judge(&self, circuit: &Circuit, parts: &[Part], block: Vec<usize>, all: &mut Vec<Feedback>) {
        let reactive = |it: &usize| {
            let opamp = &circuit.opamps[*it];
            let reactive = &self.ever().reactive;
            reactive[opamp.plus.index()] || reactive[opamp.minus.index()]
        };
        match &self.quick {
            Some(quick @ Quick { instant, .. }) if block.iter().any(reactive) => {
                let ends = Ends {
                    rest: Knot::new(&self.rest.block(&block)),
                    instant: Knot::new(&instant.block(&block)),
                    cancels_at_rest: self.is_sound(circuit, &block),
                };
                let unswapped = vec![false; block.len()];
                let (verdict, proof) = quick.judged(circuit, &block, &ends);
                let settles = |knot: &Knot| knot.judged(&unswapped).0 == Verdict::Negative;
                let sudden = verdict == Verdict::Positive && settles(&ends.rest);
                let repairs = match has_repair(verdict) {
                    true => repairs(
                        &block,
                        &[ends.rest.local_signs(), ends.instant.local_signs()],
                        |swapped, _| {
                            matches!(
                                ends.judged(swapped).0,
                                Verdict::Negative | Verdict::NoneAtDc
                            )
                        },
                    ),
                    false => Vec::new(),
                };
                let proof = if self.rest.approximate || instant.approximate {
                    Proof::Sampled
                } else {
                    proof
                };
                let instant = sudden.then_some(instant);
                all.push(self.result(circuit, block, verdict, proof, repairs, instant));
            }
            _ => self.judge_at_rest(circuit, parts, block, all),
        }
    }

    /// Judges a block that neither capacitors nor inductors take part in: each part that is one with the values as they
    /// are stands alone, unless it is singular in itself.
    fn judge_at_rest(
        &self,
        circuit: &Circuit,
        parts: &[Part],
        block: Vec<usize>,
        all: &mut Vec<Feedback>,
    ) {
        let p = self.rest.block(&block);
        let whole = Knot::new(&p);
        let mut singular = Vec::new();
        let mut alone = Vec::new();
        for (rows, regular) in whole.parts() {
            let part: Vec<usize> = rows.iter().map(|it| block[*it]).collect();
            match regular || self.is_sound(circuit, &part) {
                true => alone.push(part),
                false => singular.extend(part),
            }
        }
        if !singular.is_empty() {
            singular.sort_unstable();
            let verdict = if self.is_sound(circuit, &block) {
                Verdict::Cancels
            } else {
                Verdict::None
            };
            all.push(self.plain(circuit, singular, verdict));
        }
        for part in alone {
            let own = (part.len() < block.len()).then(|| {
                let p = self.rest.block(&part);
                (Knot::new(&p), p)
            });
            let (knot, p) = own.as_ref().map_or((&whole, &p), |(knot, p)| (knot, p));
            let (mut verdict, mut proof) = knot.judged(&vec![false; part.len()]);
            if matches!(verdict, Verdict::NegativeIfAlike | Verdict::DependsOnSpeeds)
                && let Some(settles) = settles_as_given(circuit, parts, &part, p)
            {
                (verdict, proof) = (
                    if settles {
                        Verdict::Negative
                    } else {
                        Verdict::Positive
                    },
                    Proof::Given,
                );
            }
            let repairs = match has_repair(verdict) {
                true => repairs(
                    &part,
                    &[knot.local_signs()],
                    |swapped, firmly| match firmly {
                        true => knot.judged(swapped).0 == Verdict::Negative,
                        false => knot.settles(&alike(swapped)) == Some(true),
                    },
                ),
                false => Vec::new(),
            };
            let proof = if self.rest.approximate {
                Proof::Sampled
            } else {
                proof
            };
            all.push(self.result(circuit, part, verdict, proof, repairs, None));
        }
    }

    /// Whether the rules of these op-amps could fix their outputs at rest, with some values.
    fn is_sound(&self, circuit: &Circuit, block: &[usize]) -> bool {
        // The op-amps of a block rise.
        let place = |column: usize| block.binary_search(&column).ok();
        let rows = block.iter().map(|it| {
            let sum = self
                .pattern
                .difference(&circuit.opamps[*it])
                .unwrap_or_default();
            sum.into_iter()
                .filter_map(|(column, share)| Some((place(column)?, share)))
                .collect()
        });
        eliminate(block.len(), 0, rows.collect(), u64::MAX)
            .is_some_and(|it| it.values.iter().all(Option::is_some))
    }
}

/// What the outputs move whatever the values.
pub(crate) fn whatever(circuit: &Circuit, network: &Network, moment: Moment) -> Map<Modular> {
    moved(circuit, network, moment, &[], u64::MAX).expect("without a limit")
}

impl Values {
    pub fn of(circuit: &Circuit, network: &Network, moment: Moment) -> Values {
        let values = circuit.elements.iter().map(|it| &it.value);
        let factors = circuit
            .sources
            .iter()
            .flat_map(|it| it.controls.iter().map(|it| &it.1));
        let rounded = values
            .chain(factors)
            .any(|it| matches!(it, Number::Rounded { .. }));
        let exact = moved::<Ratio>(circuit, network, moment, &[], BUDGET);
        let inputs = match &exact {
            Some(map) => exactly(circuit, map),
            None => in_doubles(circuit, network, moment),
        };
        Values {
            inputs,
            approximate: exact.is_none(),
            rounded,
        }
    }

    /// The rows of P = −M of a block, whose op-amps rise. An input that is adrift counts as moved by nothing.
    pub fn block(&self, block: &[usize]) -> Vec<Sum<Ratio>> {
        let row = |opamp: &usize| -> Sum<Ratio> {
            let [Some(plus), Some(minus)] = &self.inputs[*opamp] else {
                return Vec::new();
            };
            let mut row = Vec::new();
            let mut columns: Vec<usize> = plus.iter().chain(minus).map(|it| it.0).collect();
            columns.sort_unstable();
            columns.dedup();
            for column in columns {
                let Ok(place) = block.binary_search(&column) else {
                    continue;
                };
                let share = |sum: &Sum<Ratio>| {
                    let at = sum.binary_search_by_key(&column, |it| it.0).ok()?;
                    Some(sum[at].1.clone())
                };
                let difference = match (share(plus), share(minus)) {
                    (None, None) => continue,
                    (Some(plus), None) => -plus,
                    (None, Some(minus)) => minus,
                    (Some(plus), Some(minus)) => {
                        let difference = &minus - &plus;
                        let size = |it: &Ratio| it.to_f64().value().abs();
                        let is_noise = (self.rounded || self.approximate)
                            && size(&difference) <= 1e-12 * (size(&plus) + size(&minus));
                        if is_noise { Ratio::ZERO } else { difference }
                    }
                };
                if !difference.is_zero() {
                    row.push((place, difference));
                }
            }
            row
        };
        block.iter().map(row).collect()
    }
}

fn exactly(circuit: &Circuit, map: &Map<Ratio>) -> Vec<[Option<Sum<Ratio>>; 2]> {
    let inputs = |it: &circuit::Opamp| [it.plus, it.minus].map(|pin| map.node(pin).cloned());
    circuit.opamps.iter().map(inputs).collect()
}

/// The shares in doubles. Where one is too small for a double it stays above zero: shares through resistors are.
fn in_doubles(
    circuit: &Circuit,
    network: &Network,
    moment: Moment,
) -> Vec<[Option<Sum<Ratio>>; 2]> {
    let map = moved::<f64>(circuit, network, moment, &[], u64::MAX).expect("without a limit");
    let pattern = whatever(circuit, network, moment);
    let shares = |node: NodeId| {
        let found = map.node(node)?;
        let share = |column: usize| {
            found
                .iter()
                .find(|it| it.0 == column)
                .map_or(f64::MIN_POSITIVE, |it| it.1)
        };
        let entry = |column: usize| {
            (
                column,
                Ratio::try_from(share(column)).unwrap_or(Ratio::ZERO),
            )
        };
        Some(pattern.node(node)?.iter().map(|it| entry(it.0)).collect())
    };
    circuit
        .opamps
        .iter()
        .map(|it| [shares(it.plus), shares(it.minus)])
        .collect()
}

/// Op-amps of which nothing can be said: with the outputs held, an input hangs in the air, if only at these values.
fn floating(circuit: &Circuit, maps: &Maps, faults: &[Fault]) -> Vec<bool> {
    let mut adrift = vec![false; circuit.nodes.len()];
    for fault in faults {
        if let FaultKind::InputOpen
        | FaultKind::InputNoDcPath
        | FaultKind::FloatingPart { .. }
        | FaultKind::CurrentIntoNothing = fault.kind
        {
            fault.nodes.iter().for_each(|it| adrift[it.index()] = true);
        }
    }
    let floats = |(opamp, inputs): (&circuit::Opamp, &[Option<Sum<Ratio>>; 2])| {
        let pins = [opamp.plus, opamp.minus];
        pins.iter().zip(inputs).any(|(pin, share)| {
            let fixed_by_other_values = share.is_none() && maps.pattern.node(*pin).is_some();
            adrift[pin.index()] || maps.ever().node(*pin).is_none() || fixed_by_other_values
        })
    };
    let inputs = &maps.rest.inputs;
    circuit.opamps.iter().zip(inputs).map(floats).collect()
}

/// A block with capacitors or inductors, seen at its two ends.
struct Ends {
    rest: Knot,
    instant: Knot,
    /// Whether at rest, with other values, the rules would fix the outputs.
    cancels_at_rest: bool,
}

impl Ends {
    fn judged(&self, swapped: &[bool]) -> (Verdict, Proof) {
        let instant = self.instant.judged(swapped).0;
        let rest = self.rest.judged(swapped).0;
        // A determinant below zero at rest is a real growing root for all that; other tests at rest prove nothing here.
        let verdict = if instant == Verdict::Positive || self.rest.sign(swapped) < 0 {
            Verdict::Positive
        } else if rest == Verdict::Cancels {
            if self.cancels_at_rest {
                Verdict::Cancels
            } else {
                Verdict::NoneAtDc
            }
        } else if rest == Verdict::Positive {
            return (Verdict::DependsOnSpeeds, Proof::Sampled);
        } else if instant == Verdict::Cancels || severity(rest) >= severity(instant) {
            rest
        } else {
            instant
        };
        (verdict, Proof::BothEnds)
    }
}

/// The verdict on op-amps whose rows of P are known: at rest, and where capacitors or inductors take part at the first instant too. The
/// worst of their blocks.
pub(crate) fn verdict_on(rest: &[Sum<Ratio>], instant: Option<&[Sum<Ratio>]>) -> (Verdict, Proof) {
    let instant = instant.unwrap_or(rest);
    let mut towards: Vec<Vec<usize>> = vec![Vec::new(); rest.len()];
    for (row, (slow, quick)) in rest.iter().zip(instant).enumerate() {
        slow.iter()
            .chain(quick)
            .for_each(|it| towards[it.0].push(row));
    }
    let blocks = strongly_connected(&towards).into_iter().map(|block| {
        let within = |rows: &[Sum<Ratio>]| -> Vec<Sum<Ratio>> {
            let place =
                |it: &(usize, Ratio)| Some((block.binary_search(&it.0).ok()?, it.1.clone()));
            block
                .iter()
                .map(|row| rows[*row].iter().filter_map(place).collect())
                .collect()
        };
        let (slow, quick) = (within(rest), within(instant));
        let swapped = vec![false; block.len()];
        if slow == quick {
            return Knot::new(&slow).judged(&swapped);
        }
        let ends = Ends {
            rest: Knot::new(&slow),
            instant: Knot::new(&quick),
            cancels_at_rest: false,
        };
        ends.judged(&swapped)
    });
    blocks
        .max_by_key(|it| severity(it.0))
        .unwrap_or((Verdict::Negative, Proof::AnySpeed))
}

/// Equal speeds; a swap of inputs counts as a negative one.
fn alike(swapped: &[bool]) -> Vec<Ratio> {
    swapped
        .iter()
        .map(|it| if *it { Ratio::NEG_ONE } else { Ratio::ONE })
        .collect()
}

/// Whether the block settles at the speeds that its parts give; `None` where one gives none.
fn settles_as_given(
    circuit: &Circuit,
    parts: &[Part],
    block: &[usize],
    p: &[Sum<Ratio>],
) -> Option<bool> {
    let mut p = p.to_vec();
    let mut speeds = Vec::new();
    for (row, opamp) in block.iter().enumerate() {
        let part = parts.get(circuit.opamps[*opamp].part?.index())?;
        speeds.push(fraction(part.bandwidth.as_ref()?));
        if let Some(gain) = part.gain.as_ref().map(fraction).filter(|it| !it.is_zero()) {
            add(&mut p[row], row, &(Ratio::ONE / gain));
        }
    }
    let positive = speeds.iter().all(|it| sign(it) > 0);
    positive.then(|| Knot::new(&p).settles(&speeds)).flatten()
}

fn has_repair(verdict: Verdict) -> bool {
    matches!(verdict, Verdict::Positive | Verdict::DependsOnSpeeds)
}

/// Up to this many op-amps every set of swaps is tried; beyond, local signs leave the choice, see [`repairs`].
const ALL_SWAPS: usize = 8;
/// Up to this many, sets of swaps that only make like op-amps settle count too, where none does better.
const LIKE_SWAPS: usize = 6;
/// Beyond [`ALL_SWAPS`] at most this many op-amps without a local sign are tried both ways.
const FREE_SWAPS: usize = 6;

/// The smallest sets of swaps that make a block good; all of the smallest size.
///
/// `Negative` needs every P_ii ≥ 0, so an op-amp whose local sign (at rest, and at the first instant) is not zero leaves no
/// choice. Where nothing makes it `Negative` (large blocks have no closed test), good is what settles for like op-amps; that
/// is tried up to [`LIKE_SWAPS`] op-amps. Beyond [`ALL_SWAPS`], and with more than [`FREE_SWAPS`] op-amps without a local sign, none
/// is found.
fn repairs(
    block: &[usize],
    local: &[Vec<i8>],
    good: impl Fn(&[bool], bool) -> bool,
) -> Vec<Vec<OpampId>> {
    let wanted = |row: usize| {
        let signs: Vec<i8> = local
            .iter()
            .map(|it| it[row])
            .filter(|it| *it != 0)
            .collect();
        match (signs.contains(&1), signs.contains(&-1)) {
            (true, true) => None,
            (_, negative) => Some((negative, signs.is_empty())),
        }
    };
    let size = block.len();
    let mut found = Vec::new();
    if let Some(wanted) = (0..size).map(wanted).collect::<Option<Vec<_>>>() {
        let free: Vec<usize> = (0..size).filter(|it| wanted[*it].1).collect();
        if free.len() <= FREE_SWAPS.max(ALL_SWAPS * usize::from(size <= ALL_SWAPS)) {
            for set in 0..1usize << free.len() {
                let mut swapped: Vec<bool> = wanted.iter().map(|it| it.0).collect();
                free.iter()
                    .enumerate()
                    .for_each(|(bit, row)| swapped[*row] = set >> bit & 1 == 1);
                if good(&swapped, true) {
                    found.push(swapped);
                }
            }
        }
    }
    if found.is_empty() && size <= LIKE_SWAPS {
        let sets = (1..1usize << size).map(|set| {
            (0..size)
                .map(|it| set >> it & 1 == 1)
                .collect::<Vec<bool>>()
        });
        found.extend(sets.filter(|swapped| good(swapped, false)));
    }
    let swaps = |it: &Vec<bool>| it.iter().filter(|swap| **swap).count();
    let least = found.iter().map(swaps).min();
    found.retain(|it| Some(swaps(it)) == least);
    let named = |it: Vec<bool>| {
        (0..size)
            .filter(|row| it[*row])
            .map(|row| OpampId(block[row] as u32))
            .collect()
    };
    found
        .into_iter()
        .map(named)
        .filter(|it: &Vec<OpampId>| !it.is_empty())
        .collect()
}
