//! A capacitor at the bare output of an op-amp.

use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use analysis::Answer;
use analysis::feedback::Verdict;
use circuit::{Circuit, Element, ElementId, ElementKind, GROUND, NodeId, OpampId, SourceKind};
use syntax::{Dimension, Fix, Number, Place, Span, TextEdit};
use teaching::{names, notation};

use crate::limits::{exceeds, joined, wires};
use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "capacitive_load",
    severity: Severity::Warning,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
A capacitor from an output to ground, to a rail, to another output or to the virtual ground of another stage delays what the
feedback brings back, and the op-amp rings or oscillates. A closed switch, a steady source or less than 25 Ω on the way change
nothing; of capacitors in a row counts what they are together. Above 100 pF that is a warning, above 50 pF a hint (levels of common practice, no source; a metre of cable has
some 100 pF). A resistor of 25 Ω to 100 Ω between the output and the capacitor cures most of it, with the feedback taken
before the resistor (two published notes on capacitive loads).
# Wrong
    source probe: in = 1 V
    opamp A1: plus in, minus out, drives out
    out -- C1 10 nF -- ground
    out -- R1 10k -- ground
# Right
    source probe: in = 1 V
    opamp A1: plus in, minus out, drives out
    out -- R2 100 -- far -- C1 10 nF -- ground
    out -- R1 10k -- ground
";

/// The smallest resistance, in ohms, that keeps a capacitor off an output.
const ENOUGH: u8 = 25;

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    let circuit = checked.circuit;
    if circuit.opamps.is_empty() || !circuit.elements.iter().any(is_capacitor) {
        return;
    }
    let wiring = Wiring::of(checked);
    let mut looked_at = HashSet::new();
    let mut told = 0;
    for (index, it) in circuit.opamps.iter().enumerate() {
        let id = OpampId(index as u32);
        if it.comparator || !looked_at.insert(wiring.spot(it.drives)) || checked.is_faulty(id) {
            continue;
        }
        let found = wiring
            .load(circuit, id)
            .and_then(|it| loaded(checked, id, &it));
        told += usize::from(found.is_some());
        findings.extend(found);
        if told == crate::MOST_OF_A_RULE {
            break;
        }
    }
}

/// The resistors in a row with a capacitor from an output to a voltage that stands still.
pub(crate) fn before_capacitors(checked: &Checked) -> HashSet<ElementId> {
    let circuit = checked.circuit;
    let resistors = || {
        let all = circuit.elements.iter().enumerate();
        all.filter(|it| it.1.kind == ElementKind::Resistor)
    };
    if circuit.opamps.is_empty() || !circuit.elements.iter().any(is_capacitor) {
        return HashSet::new();
    }
    let wiring = Wiring::of(checked);
    let outputs = circuit.opamps.iter().filter(|it| !it.comparator);
    let outputs: HashSet<usize> = outputs.map(|it| wiring.spot(it.drives)).collect();
    let capacitors = circuit.elements.iter().filter(|it| is_capacitor(it));
    // Each spot with what stands still at the other side of a capacitor.
    let behind: HashSet<(usize, bool)> = capacitors
        .flat_map(|it| [it.ends, [it.ends[1], it.ends[0]]])
        .map(|ends| ends.map(|it| wiring.spot(it)))
        .filter(|[near, far]| near != far && wiring.still[*far] && !wiring.still[*near])
        .map(|[near, far]| (near, outputs.contains(&far)))
        .collect();
    // From an output over the resistor, or from the capacitor: in a row it is all one.
    let leads = |from: usize, spot: usize| {
        let to = |output| behind.contains(&(spot, output));
        outputs.contains(&from) && (to(true) || to(false)) || wiring.still[from] && to(true)
    };
    let between = resistors().filter(|(_, it)| {
        let [a, b] = it.ends.map(|it| wiring.spot(it));
        leads(a, b) || leads(b, a)
    });
    between.map(|it| ElementId(it.0 as u32)).collect()
}

fn is_capacitor(it: &Element) -> bool {
    it.kind == ElementKind::Capacitor
}

/// The circuit as a fast change meets it: what closed switches and steady voltage sources join is one spot.
struct Wiring {
    /// Of each node, the node that stands for its spot.
    spots: Vec<usize>,
    /// Of each such node, whether its voltage stands still whatever a capacitor there draws: ground, outputs, virtual grounds.
    still: Vec<bool>,
    /// The spots that one small resistor alone keeps off what stands still, each with that resistor.
    beyond: HashMap<usize, usize>,
    /// Capacitors and small resistors at each spot.
    at: HashMap<usize, Vec<usize>>,
}

/// What capacitors do at an output.
struct Load {
    /// All together, in farads.
    farads: Answer,
    /// Which ones, in the order of the text.
    capacitors: Vec<usize>,
    /// The resistors between them and the output, too small to help.
    resistors: Vec<usize>,
}

impl Wiring {
    fn of(checked: &Checked) -> Wiring {
        let circuit = checked.circuit;
        let sources = circuit.sources.iter().filter_map(|it| match it.kind {
            SourceKind::Voltage { plus, minus } => it.controls.is_empty().then_some([plus, minus]),
            SourceKind::Current { .. } => None,
        });
        let spots = joined(circuit.nodes.len(), wires(circuit).chain(sources));
        let mut wiring = Wiring {
            still: vec![false; spots.len()],
            spots,
            beyond: HashMap::new(),
            at: HashMap::new(),
        };
        let ground = wiring.spot(GROUND);
        wiring.still[ground] = true;
        for (index, it) in circuit.opamps.iter().enumerate() {
            let output = wiring.spot(it.drives);
            wiring.still[output] = true;
            let feedback = checked.study.feedback_of(OpampId(index as u32));
            let held = feedback.is_some_and(|it| {
                matches!(it.verdict, Verdict::Negative | Verdict::NegativeIfAlike)
            });
            let [plus, minus] = [it.plus, it.minus].map(|it| wiring.spot(it));
            if held && !it.comparator && plus == ground {
                wiring.still[minus] = true;
            }
        }
        let enough = Number::decimal(ENOUGH.into(), 0);
        wiring.beyond = wiring.nearly_still(circuit, &enough);
        for (index, it) in circuit.elements.iter().enumerate() {
            let small = || it.value.compare(&enough).is_some_and(Ordering::is_lt);
            let counts = is_capacitor(it) || it.kind == ElementKind::Resistor && small();
            let [a, b] = it.ends.map(|it| wiring.spot(it));
            if counts && a != b {
                wiring.at.entry(a).or_default().push(index);
                wiring.at.entry(b).or_default().push(index);
            }
        }
        wiring
    }

    fn spot(&self, node: NodeId) -> usize {
        self.spots[node.index()]
    }

    /// In a row it is all one whether the resistor or the capacitor comes first.
    fn nearly_still(&self, circuit: &Circuit, enough: &Number) -> HashMap<usize, usize> {
        let small = |it: &&(usize, &Element)| {
            it.1.kind == ElementKind::Resistor
                && it.1.value.compare(enough).is_some_and(Ordering::is_lt)
        };
        let all = circuit.elements.iter().enumerate().collect::<Vec<_>>();
        let ends = all.iter().filter(small).flat_map(|(index, it)| {
            let [a, b] = it.ends.map(|it| self.spot(it));
            [(a, b, *index), (b, a, *index)]
        });
        ends.filter(|(near, far, _)| self.still[*far] && !self.still[*near])
            .map(|(near, _, index)| (near, index))
            .collect()
    }

    /// The other end of an element.
    fn across(&self, element: &Element, spot: usize) -> usize {
        let [a, b] = element.ends.map(|it| self.spot(it));
        if a == spot { b } else { a }
    }

    /// What hangs at an output: the capacitors from there, alone or in a row, to what stands still.
    fn load(&self, circuit: &Circuit, id: OpampId) -> Option<Load> {
        let opamp = &circuit.opamps[id.index()];
        let output = self.spot(opamp.drives);
        // The spots that too little resistance keeps off the output, each with the resistors on the way.
        let mut near: BTreeMap<usize, Vec<usize>> = BTreeMap::from([(output, Vec::new())]);
        let mut open = vec![output];
        while let Some(spot) = open.pop() {
            for index in self.at.get(&spot).into_iter().flatten() {
                let element = &circuit.elements[*index];
                let far = self.across(element, spot);
                let mut way = near[&spot].clone();
                way.push(*index);
                let ohms = way.iter().map(|it| circuit.elements[*it].value.to_f64());
                let small = !is_capacitor(element) && ohms.sum::<f64>() < f64::from(ENOUGH);
                if small && !self.still[far] && !near.contains_key(&far) {
                    near.insert(far, way);
                    open.push(far);
                }
            }
        }
        // A capacitor to an own input is part of the feedback.
        let own = [opamp.plus, opamp.minus].map(|it| self.spot(it));
        let is_own =
            |it: &usize| own.contains(it) && !near.contains_key(it) && *it != self.spot(GROUND);
        let mut net = Net::default();
        let mut seen: HashSet<usize> = near.keys().copied().collect();
        let mut open: Vec<usize> = near.keys().copied().collect();
        while let Some(spot) = open.pop() {
            for index in self.at.get(&spot).into_iter().flatten() {
                let element = &circuit.elements[*index];
                let far = self.across(element, spot);
                if !is_capacitor(element) || is_own(&far) {
                    continue;
                }
                let end = |it: usize| match near.contains_key(&it) {
                    true => End::Output,
                    false if self.still[it] || self.beyond.contains_key(&it) => End::Still,
                    false => End::Between(it),
                };
                net.capacitors.insert(*index, [end(spot), end(far)]);
                if end(far) == End::Between(far) && seen.insert(far) {
                    open.push(far);
                }
            }
        }
        net.prune();
        let farads = net.farads(circuit)?;
        let capacitors: Vec<usize> = net.capacitors.keys().copied().collect();
        let mut resistors: Vec<usize> = Vec::new();
        for index in &capacitors {
            for spot in circuit.elements[*index].ends.map(|it| self.spot(it)) {
                resistors.extend(near.get(&spot).into_iter().flatten());
                resistors.extend(self.beyond.get(&spot).filter(|_| !near.contains_key(&spot)));
            }
        }
        resistors.sort_unstable();
        resistors.dedup();
        Some(Load {
            farads,
            capacitors,
            resistors,
        })
    }
}

/// Where a capacitor of a net ends.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
enum End {
    Output,
    Still,
    /// A spot that only capacitors hold.
    Between(usize),
}

/// The capacitors between an output and what stands still.
#[derive(Default)]
struct Net {
    capacitors: BTreeMap<usize, [End; 2]>,
}

impl Net {
    /// Takes away what leads nowhere: no current flows there.
    fn prune(&mut self) {
        self.capacitors.retain(|_, it| it[0] != it[1]);
        loop {
            let mut count: HashMap<End, usize> = HashMap::new();
            for end in self.capacitors.values().flatten() {
                *count.entry(*end).or_default() += 1;
            }
            let leads = |end: &End| !matches!(end, End::Between(_)) || count[end] > 1;
            let before = self.capacitors.len();
            self.capacitors.retain(|_, it| it.iter().all(leads));
            if self.capacitors.len() == before {
                return;
            }
        }
    }

    /// What they are together, spot after spot replaced by capacitors between its neighbours (a star by a mesh); `None` for nets that nobody builds
    /// by hand.
    fn farads(&self, circuit: &Circuit) -> Option<Answer> {
        const MOST: usize = 16;
        let mut between: BTreeMap<[End; 2], Answer> = BTreeMap::new();
        let add =
            |between: &mut BTreeMap<[End; 2], Answer>, mut ends: [End; 2], farads: &Answer| {
                ends.sort();
                let sum = between.entry(ends).or_insert_with(Answer::zero);
                *sum = &*sum + farads;
            };
        for (index, ends) in &self.capacitors {
            add(
                &mut between,
                *ends,
                &Answer::from(&circuit.elements[*index].value),
            );
        }
        let spots = between.keys().flatten().copied();
        let spots: BTreeSet<End> = spots.filter(|it| matches!(it, End::Between(_))).collect();
        if spots.len() > MOST {
            return None;
        }
        for spot in spots {
            let star: Vec<(End, Answer)> = between
                .iter()
                .filter(|(ends, _)| ends.contains(&spot))
                .map(|([a, b], farads)| (if *a == spot { *b } else { *a }, farads.clone()))
                .collect();
            between.retain(|ends, _| !ends.contains(&spot));
            let sum = star.iter().fold(Answer::zero(), |sum, it| &sum + &it.1);
            for (index, (a, first)) in star.iter().enumerate() {
                for (b, second) in &star[index + 1..] {
                    add(&mut between, [*a, *b], &(first * second).over(&sum)?);
                }
            }
        }
        let all = between.remove(&[End::Output, End::Still]);
        Some(all.unwrap_or_else(Answer::zero))
    }
}

fn loaded(checked: &Checked, id: OpampId, load: &Load) -> Option<Finding> {
    let circuit = checked.circuit;
    let opamp = &circuit.opamps[id.index()];
    let all = load.capacitors.iter().map(|it| &circuit.elements[*it]);
    let sum = &load.farads;
    let picofarads = |count: u8| Answer::from(&Number::decimal(count.into(), -12));
    if !exceeds(sum, &picofarads(50)) {
        return None;
    }
    let largest = all.clone().max_by(|a, b| {
        let larger = a.value.compare(&b.value);
        // of equal ones the first
        larger.unwrap_or(Ordering::Equal).then(Ordering::Greater)
    })?;
    let named = |all: &[&Element]| names::few(all, |it| format!("`{}`", it.name));
    let together = named(&all.clone().collect::<Vec<_>>());
    let hangs = if load.capacitors.len() == 1 {
        "hangs"
    } else {
        "hang"
    };
    let resistors = load.resistors.iter().map(|it| &circuit.elements[*it]);
    let resistors: Vec<&Element> = resistors.collect();
    let farads = notation::short(sum, Dimension::FARAD);
    let message = match &resistors[..] {
        [] => format!(
            "{together} {hangs} {farads} at the bare output of `{}`",
            opamp.name
        ),
        _ => format!(
            "{together} {hangs} {farads} at the output of `{}`, with less than {ENOUGH} Ω between",
            opamp.name
        ),
    };
    let cure = match &resistors[..] {
        [one] => format!("Make `{}` 100 Ω", one.name),
        [] => format!("Put 100 Ω between the output and `{}`", largest.name),
        _ => format!("Put 100 Ω in place of {}", named(&resistors)),
    };
    let help = format!(
        "A capacitor there delays what the feedback brings back, so that the op-amp rings or oscillates; some 100 pF are what most stand \
         (common practice, no source). {cure}, and take the feedback before it."
    );
    let mut finding = checked
        .finding(&RULE, largest.name_place, message, help)
        .about(all.map(|it| it.name.clone()))
        .about([opamp.name.clone()])
        .about(checked.subjects(&[opamp.drives], &[]))
        .about(resistors.iter().map(|it| it.name.clone()));
    finding = finding.also(opamp.pin_places[2], "the output");
    if !exceeds(sum, &picofarads(100)) {
        finding.severity = Severity::Hint;
    }
    let hundred = Answer::from(&Number::decimal(100u8.into(), 0));
    let (title, edit) = match (&resistors[..], load.capacitors.len()) {
        ([one], _) => (
            format!("make `{}` 100 Ω", one.name),
            checked
                .revalue(one, &hundred)
                .filter(|_| one.place.file == largest.place.file),
        ),
        ([], 1) => (
            format!("put 100 Ω before `{}`", largest.name),
            series(checked, largest, opamp.drives),
        ),
        _ => return Some(finding),
    };
    Some(match edit {
        Some(edit) => finding.fix(Fix::likely(title, vec![edit])),
        None => finding,
    })
}

/// The edit that puts a resistor between an output and a capacitor of a path.
fn series(checked: &Checked, capacitor: &circuit::Element, output: NodeId) -> Option<TextEdit> {
    let circuit = checked.circuit;
    let left = capacitor.ends[0] == output;
    let end = capacitor.end_places[usize::from(!left)];
    let in_path = !capacitor.polarised && !capacitor.name.contains('.');
    if !in_path || checked.text(end) != circuit.node_name(output) {
        return None;
    }
    let taken = |name: &str| {
        let elements = circuit.elements.iter().map(|it| it.name.as_str());
        let sources = circuit.sources.iter().map(|it| it.name.as_str());
        let opamps = circuit.opamps.iter().map(|it| it.name.as_str());
        let nodes = circuit.nodes.iter().map(|it| it.name.as_str());
        let lets = circuit.lets.iter().map(|it| it.name.as_str());
        let mut all = elements
            .chain(sources)
            .chain(opamps)
            .chain(nodes)
            .chain(lets);
        all.any(|it| it == name) || circuit.perhaps.names.contains(name)
    };
    let stem = format!("R{}", &capacitor.name);
    let name = if taken(&stem) {
        (2..100)
            .map(|it| format!("{stem}_{it}"))
            .find(|it| !taken(it))?
    } else {
        stem
    };
    let Place { span, .. } = end;
    Some(match left {
        true => TextEdit {
            span: Span::at(span.end),
            text: format!(" -- {name} 100"),
        },
        false => TextEdit {
            span: Span::at(span.start),
            text: format!("{name} 100 -- "),
        },
    })
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn one_and_several_at_an_output() {
        report(
            r#"
source probe: in = 1 V
opamp A1: plus in, minus u, drives u
u -- C1 10 nF -- ground
opamp A2: plus u, minus w, drives w
w -- C2 47 pF -- ground
ground -- C3 33 pF -- w -- R1 10k -- ground
"#,
            expect![[r#"
                warning: capacitive_load at `C1`
                  `C1` hangs 10 nF at the bare output of `A1`
                  A capacitor there delays what the feedback brings back, so that the op-amp rings or oscillates; some 100 pF are what most stand (common practice, no source). Put 100 Ω between the output and `C1`, and take the feedback before it.
                  `u`: the output
                  fix: put 100 Ω before `C1`: u -- RC1 100 -- C1 10 nF -- ground
                hint: capacitive_load at `C2`
                  `C2` and `C3` hang 80 pF at the bare output of `A2`
                  A capacitor there delays what the feedback brings back, so that the op-amp rings or oscillates; some 100 pF are what most stand (common practice, no source). Put 100 Ω between the output and `C2`, and take the feedback before it.
                  `w`: the output
            "#]],
        );
    }

    #[test]
    fn in_the_feedback_or_behind_a_resistor_it_is_none() {
        report(
            r#"
source probe: in = 1 V
in -- R1 10k -- m -- R2 10k -- out
m -- C1 1 nF -- out
opamp A1: plus ground, minus m, drives out
out -- R3 47k -- far -- C2 1 uF -- ground
out -- C3 40 pF -- ground
"#,
            expect![[""]],
        );
    }

    #[test]
    fn what_a_fast_change_meets_counts() {
        // What hangs at `out`, and the beginning of the message; none: no finding.
        let cases: &[(&str, &str)] = &[
            (
                "switch S1: from out, to a, closed\na -- C2 1 nF -- ground",
                "`C2` hangs 1 nF at the bare output",
            ),
            (
                "switch S1: from out, to a, open\na -- C2 1 nF -- ground\na -- R2 1k -- ground",
                "",
            ),
            (
                "source f: out - a = 2 V\na -- C2 1 nF -- ground",
                "`C2` hangs 1 nF at the bare output",
            ),
            // 1/(1/1 + 1/1) = 0.5
            (
                "out -- C1 1 nF -- k -- C2 1 nF -- ground\nk -- R2 1M -- ground",
                "`C1` and `C2` hang 500 pF at the bare output",
            ),
            ("out -- C1 1 nF -- k -- R2 1k -- ground", ""),
            // 2 nF in a row with 3 + 6 nF: 2·9/11 = 18/11
            (
                "out -- C1 2 nF -- k -- C2 3 nF -- ground\nk -- C3 6 nF -- ground\nk -- R2 1M -- ground",
                "`C1`, `C2` and `C3` hang 1.6364 nF",
            ),
            (
                "out -- C1 1 nF -- v -- R8 10k -- y\nopamp A2: plus ground, minus v, drives y",
                "`C1` hangs 1 nF at the bare output",
            ),
            (
                "out -- R7 1 -- a -- C1 10 nF -- ground",
                "`C1` hangs 10 nF at the output of `A1`, with less than 25 Ω between",
            ),
            (
                "out -- R7 10 -- a -- C1 10 nF -- ground",
                "`C1` hangs 10 nF at the output of `A1`, with less than 25 Ω between",
            ),
            (
                "out -- R7 10 -- b -- R8 20 -- a -- C1 10 nF -- ground\nallow resistor_range at R8: \"in a row\"\nallow resistor_range at R7: \"in a row\"",
                "",
            ),
            ("out -- R7 47 -- a -- C1 10 nF -- ground", ""),
            (
                "out -- C1 10 nF -- a -- R7 10 -- ground",
                "`C1` hangs 10 nF at the output of `A1`, with less than 25 Ω between",
            ),
            ("out -- C1 10 nF -- a -- R7 47 -- ground", ""),
        ];
        let head = "source s: in = 1 V\nopamp A1: plus in, minus out, drives out\nout -- R1 10k -- ground\n";
        for (lines, begins) in cases {
            let found = crate::tests::findings(&format!("{head}{lines}\n"));
            let told: Vec<&str> = found.iter().map(|it| it.message.as_str()).collect();
            match (&told[..], *begins) {
                ([], "") => {}
                ([one], begins) if !begins.is_empty() && one.starts_with(begins) => {}
                _ => panic!("{lines}: {told:#?}"),
            }
        }
    }
}
