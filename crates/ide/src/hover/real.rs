//! What real op-amps change at a node, what each source does there, and the resistances that are seen.

use analysis::Answer;
use analysis::gap::{PartOfGap, Reason};
use analysis::shares::{Giver, Resistance};
use circuit::{NodeId, OpampId, SourceId};
use syntax::Dimension;
use teaching::{names, notation, real};

use super::Block;
use crate::answers::Answers;

/// The equation with real op-amps, and how far the answer is from the ideal one, by cause.
pub(super) fn node(answers: &Answers, node: NodeId) -> Vec<Block> {
    let mut blocks = Vec::new();
    if let Some(explanation) = answers.real_explanation() {
        blocks.push(Block::Words("With the op-amps as their parts say:".into()));
        let own = explanation.at(node);
        blocks.extend(own.map(|it| Block::Equation(it.written.text.clone())));
    }
    if let (Some(gap), Some(written)) = (answers.gap(), answers.node(node)) {
        let adds = |it: &PartOfGap| it.adds.get(node.index()).cloned();
        let parts: Vec<_> = gap
            .parts
            .iter()
            .filter_map(|it| Some((it.reason, adds(it)?)))
            .collect();
        let whole = parts.iter().fold(Answer::zero(), |sum, it| &sum + &it.1);
        let volts = |it: &Answer| notation::short(it, Dimension::VOLT);
        let causes = parts.iter().filter(|it| !it.1.is_zero()).map(|it| {
            let (reason, volts) = it;
            format!("{} {}", real::name(*reason), real::part(volts, *reason))
        });
        let causes = names::list(causes);
        let limits = gap.parts.iter().any(|it| it.reason == Reason::Limit);
        let ideal = match limits {
            true => "Ideal op-amps without limits",
            false => "Ideal op-amps",
        };
        blocks.push(Block::Words(match causes.is_empty() {
            true => format!("{ideal} would give the same here."),
            false => format!(
                "{ideal} would give {}. The gap of {} is made of: {causes}.",
                volts(&(written - &whole)),
                volts(&whole)
            ),
        }));
    }
    blocks
}

/// More lines than this tell nobody anything.
const MOST_SHARES: usize = 8;

/// The node's voltage by source, with the gain from each.
pub(super) fn shares(answers: &Answers, node: NodeId) -> Vec<Block> {
    let Some(shares) = answers.shares() else {
        return Vec::new();
    };
    let circuit = answers.circuit;
    let mut lines = Vec::new();
    for it in &shares.shares {
        let (Some(volts), gain) = (
            it.volts.get(node.index()),
            it.gains.as_ref().and_then(|it| it.get(node.index())),
        ) else {
            continue;
        };
        if volts.is_zero() && gain.is_none_or(Answer::is_zero) {
            continue;
        }
        let (volts, from) = (
            notation::short(volts, Dimension::VOLT),
            real::giver(circuit, it.of),
        );
        lines.push(match (it.of, gain) {
            (Giver::Source(id), Some(gain)) => format!(
                "{volts} from `{from}`, {} times it",
                notation::full(gain, real::gain_dimension(circuit, id))
            ),
            _ => format!("{volts} from `{from}`"),
        });
    }
    if lines.is_empty() || lines.len() > MOST_SHARES {
        return Vec::new();
    }
    vec![Block::Words("By source:".into()), Block::Lines(lines)]
}

/// The resistance that a source sees.
pub(super) fn seen(answers: &Answers, source: SourceId) -> Option<String> {
    let seen = answers.shares()?.inputs.iter().find(|it| it.0 == source)?;
    Some(match &seen.1 {
        Resistance::Infinite => "sees no load: its voltage drives no current".into(),
        ohms => format!("sees {}", real::resistance(ohms)),
    })
}

/// The resistance that is seen at an output, where it is not ideal.
pub(super) fn seen_at(answers: &Answers, opamp: OpampId) -> Option<String> {
    let seen = answers.shares()?.outputs.iter().find(|it| it.0 == opamp)?;
    let Resistance::Ohms(ohms) = &seen.1 else {
        return None;
    };
    let out = names::node(
        answers.circuit,
        answers.circuit.opamps[opamp.index()].drives,
    );
    (!ohms.is_zero()).then(|| {
        format!(
            "output resistance {} at {out}",
            notation::short(ohms, Dimension::OHM)
        )
    })
}
