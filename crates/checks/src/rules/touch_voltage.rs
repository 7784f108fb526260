//! More voltage between two points than may be touched.

use analysis::extremes::{extremes, held};
use analysis::{Answer, Outcome};
use circuit::{Circuit, GROUND, NodeId};
use syntax::{Dimension, Number, Place};
use teaching::{names, notation};

use crate::limits::exceeds;
use crate::{Check, Checked, Finding, Rule, Settings, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "touch_voltage",
    severity: Severity::Warning,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
What counts is the largest voltage between any two points, rails among them: +40 V and −40 V are 80 V. The usual limits are
60 V of direct voltage and 42.4 V at the peak of a wave, those of IEC 61010-1 for instruments in use; 60 V direct are also the
limit for bare parts in dry places after IEC 61140 and IEC 60364-4-41 (from memory: look into the current edition). Above them
nobody builds on a student's bench without the instructor's written agreement. **Below them nothing is permitted by this tool
either**: capacitors stay charged when the power is off, parts get hot, mains is never touched, and local rules come first.
The limits are set in `ampersum.toml`: `[limits] touch_voltage` and `touch_peak`.
# Wrong
    source ladder: top = 75 V
    top -- R1 100k -- ground
# Right
    source ladder: top = 24 V
    top -- R1 100k -- ground
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    let settings = checked.settings;
    let direct = |nodes| {
        let widest = widest(&levels(checked.circuit, nodes, &[]), |_| true)?;
        let far = widest.exceeds(&settings.touch_voltage);
        far.then(|| (told(checked, &widest, false), widest.volts.to_f64()))
    };
    let mut found = Vec::new();
    match checked.standings() {
        [] => found.extend(direct(held_by_sources(checked.circuit)).map(|it| it.0)),
        _ => checked.in_each_standing(&mut found, |it| Vec::from_iter(direct(it.nodes.clone()))),
    }
    let found = (!found.is_empty()).then_some(found);
    findings.extend(
        found
            .or_else(|| {
                let peaks = at_peaks(checked).into_iter().filter_map(|it| {
                    let widest = widest(&it, |level| level.moves)?;
                    widest.exceeds(&settings.touch_peak).then_some(widest)
                });
                let peak = peaks.max_by(|a, b| a.volts.to_f64().total_cmp(&b.volts.to_f64()))?;
                Some(vec![told(checked, &peak, true)])
            })
            .into_iter()
            .flatten(),
    );
}

/// A point of the circuit and its voltage against ground.
#[derive(Clone)]
struct Level {
    volts: Answer,
    point: Point,
    /// Whether a wave moves it.
    moves: bool,
}

#[derive(Clone, Copy)]
enum Point {
    Node(NodeId),
    /// A rail that is no node: of this op-amp, by its index; the high one or the low one.
    Rail(usize, bool),
}

/// Two points and the voltage between them.
struct Pair {
    high: Level,
    low: Level,
    volts: Answer,
    /// All points that are as far apart.
    points: Vec<Point>,
}

impl Pair {
    fn exceeds(&self, limit: &Number) -> bool {
        exceeds(&self.volts, &Answer::from(limit))
    }
}

/// Where the answer is not known, the nodes that sources hold in the steady state whatever else is wrong.
fn held_by_sources(circuit: &Circuit) -> Vec<Option<Answer>> {
    let constants: Vec<&Number> = circuit.sources.iter().map(|it| &it.constant).collect();
    held(circuit, &constants)
}

/// All points at each corner of the waves.
fn at_peaks(checked: &Checked) -> Vec<Vec<Level>> {
    let circuit = checked.circuit;
    let outcome = checked.study.outcome(circuit, &checked.book.parts);
    let linear = matches!(outcome, Outcome::AsIdeal | Outcome::Real);
    let Some(found) = extremes(circuit, &checked.book.parts, checked.study, linear) else {
        return Vec::new();
    };
    let moves = found.moves;
    let corners = found.corners.into_iter();
    corners.map(|it| levels(circuit, it, &moves)).collect()
}

fn levels(circuit: &Circuit, nodes: Vec<Option<Answer>>, moves: &[bool]) -> Vec<Level> {
    let nodes = nodes.into_iter().enumerate();
    let nodes = nodes.filter_map(|(index, volts)| {
        Some(Level {
            volts: volts?,
            point: Point::Node(NodeId(index as u32)),
            moves: moves.get(index).copied().unwrap_or_default(),
        })
    });
    let rails = circuit.opamps.iter().enumerate().flat_map(|(index, it)| {
        let rails = it
            .supply
            .iter()
            .flat_map(|it| [(&it.high, true), (&it.low, false)]);
        let hidden = rails.filter(|(rail, _)| rail.node.is_none());
        hidden.map(move |(rail, high)| Level {
            volts: Answer::from(&rail.volts),
            point: Point::Rail(index, high),
            moves: false,
        })
    });
    nodes.chain(rails).collect()
}

/// The two points furthest apart, at least one of which is picked.
fn widest(levels: &[Level], pick: impl Fn(&Level) -> bool) -> Option<Pair> {
    let size = |it: &&Level| it.volts.to_f64();
    // of equal ones the first
    let highest = |it: &mut dyn Iterator<Item = &Level>| -> Option<Level> {
        it.reduce(|a, b| if size(&b) > size(&a) { b } else { a })
            .cloned()
    };
    let lowest = |it: &mut dyn Iterator<Item = &Level>| -> Option<Level> {
        it.reduce(|a, b| if size(&b) < size(&a) { b } else { a })
            .cloned()
    };
    let picked = || levels.iter().filter(|it| pick(it));
    let pairs = [
        (highest(&mut picked())?, lowest(&mut levels.iter())?),
        (highest(&mut levels.iter())?, lowest(&mut picked())?),
    ];
    let pairs = pairs.into_iter().map(|(high, low)| Pair {
        volts: &high.volts - &low.volts,
        points: Vec::new(),
        high,
        low,
    });
    let mut pair = pairs.reduce(|a, b| {
        if b.volts.to_f64() > a.volts.to_f64() {
            b
        } else {
            a
        }
    })?;
    let ends = [&pair.high.volts, &pair.low.volts];
    let at_an_end = levels.iter().filter(|it| ends.contains(&&it.volts));
    pair.points = at_an_end.map(|it| it.point).collect();
    Some(pair)
}

fn told(checked: &Checked, pair: &Pair, wave: bool) -> Finding {
    let circuit = checked.circuit;
    let settings = checked.settings;
    let (limit, key) = match wave {
        true => (&settings.touch_peak, "touch_peak"),
        false => (&settings.touch_voltage, "touch_voltage"),
    };
    let said = notation::number(limit, Dimension::VOLT);
    let (what, kind) = match wave {
        true => (format!("the {said} at a wave's peak"), " at their peaks"),
        false => (format!("the {said} of direct voltage"), ""),
    };
    let points = match (pair.high.point, pair.low.point) {
        (Point::Rail(a, _), Point::Rail(b, _)) if a == b => {
            format!("the rails of `{}`", circuit.opamps[a].name)
        }
        (high, low) => format!("{} and {}", words(circuit, high), words(circuit, low)),
    };
    let message = match checked.shown(&pair.volts, Dimension::VOLT) {
        Some(volts) => {
            format!("{points} are {volts} apart{kind}, more than {what} that may be touched")
        }
        None => format!("{points} are further apart{kind} than {what} that may be touched"),
    };
    let mut defaults = Settings::default();
    let usual = match wave {
        true => &mut defaults.touch_peak,
        false => &mut defaults.touch_voltage,
    };
    let source = if limit != usual {
        format!("The limit is the setting `{key}` of this folder.")
    } else if wave {
        "The limit is that of IEC 61010-1 for instruments in use (from memory; look into the current edition), as the setting `touch_peak` has it."
            .to_owned()
    } else {
        "The limit is that of IEC 61010-1 for instruments in use, and of IEC 61140 and IEC 60364-4-41 for bare parts in dry places (from \
         memory; look into the current edition), as the setting `touch_voltage` has it."
            .to_owned()
    };
    let share = Answer::from(limit).over(&pair.volts).map(|it| it.to_f64());
    let cure = match share.filter(|_| !settings.hidden) {
        Some(share) => format!(
            "Sources and rails at {} % of their values would keep to it.",
            (share * 100.0).floor()
        ),
        None => "Lower sources and rails would keep to it.".to_owned(),
    };
    let help = format!(
        "{source} {cure} Above it nobody builds without the instructor's written agreement; below it capacitors still stay charged, \
         parts get hot, mains is never touched, and local rules come first."
    );
    let size = |it: &Level| it.volts.to_f64().abs();
    let first = match size(&pair.high) >= size(&pair.low) {
        true => [pair.high.point, pair.low.point],
        false => [pair.low.point, pair.high.point],
    };
    let all = first.iter().chain(&pair.points);
    let subjects = all.flat_map(|it| match *it {
        Point::Node(GROUND) => None,
        Point::Node(node) => Some(circuit.node_name(node).to_owned()),
        Point::Rail(opamp, _) => Some(circuit.opamps[opamp].name.clone()),
    });
    let mut finding = checked
        .finding(&RULE, place(checked, first[0]), message, help)
        .about(subjects);
    let other = place(checked, first[1]);
    if !matches!(first[1], Point::Node(GROUND)) && other != finding.place {
        finding = finding.also(other, "the other point");
    }
    finding
}

fn words(circuit: &Circuit, point: Point) -> String {
    match point {
        Point::Node(node) => names::node(circuit, node),
        Point::Rail(opamp, high) => format!(
            "the {} rail of `{}`",
            if high { "high" } else { "low" },
            circuit.opamps[opamp].name
        ),
    }
}

fn place(checked: &Checked, point: Point) -> Place {
    match point {
        Point::Node(node) => checked.node_place(node),
        Point::Rail(opamp, _) => {
            let opamp = &checked.circuit.opamps[opamp];
            opamp.supply.as_ref().map_or(opamp.place, |it| it.place)
        }
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::Settings;
    use crate::tests::{findings, findings_with, report};

    #[test]
    fn between_two_nodes_and_between_rails() {
        report(
            r#"
source ladder: top = 40 V
source below: bottom = -30 V
top -- R1 100k -- mid -- R2 100k -- bottom
"#,
            expect![[r#"
                warning: touch_voltage at `top`
                  `top` and `bottom` are 70 V apart, more than the 60 V of direct voltage that may be touched
                  The limit is that of IEC 61010-1 for instruments in use, and of IEC 61140 and IEC 60364-4-41 for bare parts in dry places (from memory; look into the current edition), as the setting `touch_voltage` has it. Sources and rails at 85 % of their values would keep to it. Above it nobody builds without the instructor's written agreement; below it capacitors still stay charged, parts get hot, mains is never touched, and local rules come first.
                  `bottom`: the other point
            "#]],
        );
        report(
            r#"
supply +32 V and -32 V
source probe: in = 1 V
opamp A1: plus in, minus out, drives out
out -- R1 10k -- ground
"#,
            expect![[r#"
                warning: touch_voltage at `supply +32 V and -32 V`
                  the rails of `A1` are 64 V apart, more than the 60 V of direct voltage that may be touched
                  The limit is that of IEC 61010-1 for instruments in use, and of IEC 61140 and IEC 60364-4-41 for bare parts in dry places (from memory; look into the current edition), as the setting `touch_voltage` has it. Sources and rails at 93 % of their values would keep to it. Above it nobody builds without the instructor's written agreement; below it capacitors still stay charged, parts get hot, mains is never touched, and local rules come first.
            "#]],
        );
    }

    #[test]
    fn at_the_peak_of_waves() {
        report(
            r#"
source coil: a = sine 30 V at 50 Hz
source other: b = sine 15 V at 60 Hz
a -- R1 100k -- m -- R2 100k -- b
"#,
            expect![[r#"
                warning: touch_voltage at `a`
                  `b` and `a` are 45 V apart at their peaks, more than the 42.4 V at a wave's peak that may be touched
                  The limit is that of IEC 61010-1 for instruments in use (from memory; look into the current edition), as the setting `touch_peak` has it. Sources and rails at 94 % of their values would keep to it. Above it nobody builds without the instructor's written agreement; below it capacitors still stay charged, parts get hot, mains is never touched, and local rules come first.
                  `b`: the other point
                hint: not_built at `sine`
                  this version reads how a source changes with time and does not compute it yet
                  The source stands at its level in the steady state: a wave at its offset, a step at its first level.
                hint: not_built at `sine`
                  this version reads how a source changes with time and does not compute it yet
                  The source stands at its level in the steady state: a wave at its offset, a step at its first level.
            "#]],
        );
    }

    #[test]
    fn what_a_source_holds_is_told_whatever_else_is_wrong() {
        let broken = "source ladder: top = 75 V\ntop -- R1 -- ground\n";
        let rules: Vec<&str> = findings(broken).iter().map(|it| it.rule).collect();
        assert_eq!(rules, ["touch_voltage", "element_value"]);
    }

    #[test]
    fn a_class_may_set_other_limits() {
        let text = "source ladder: top = 24 V\ntop -- R1 100k -- ground\n";
        let settings = Settings::from_toml("ampersum.toml", "[limits]\ntouch_voltage = \"12 V\"\n");
        let found = findings_with(text, &settings);
        assert_eq!(found.len(), 1);
        assert!(
            found[0]
                .help
                .starts_with("The limit is the setting `touch_voltage` of this folder."),
            "{}",
            found[0].help
        );
    }
}
