//! JSON for programs: the shapes that the manual promises. Fields are added, never changed in meaning.

use analysis::claims::Judgement;
use analysis::equations::{Equation, EquationKind};
use analysis::feedback::{Feedback, Verdict};
use analysis::gap::{Gap, PartOfGap};
use analysis::shares::{Giver, Resistance, Share, Shares};
use analysis::solution::{Carried, Output, Solution};
use analysis::states::Mode;
use analysis::{Answer, Outcome, Study, Trouble};
use checks::suit::Suited;
use checks::{Finding, Severity};
use circuit::{Circuit, Claim, ClaimKind, NodeId};
use serde_json::{Map, Value, json};
use syntax::{Dimension, FileId, LineIndex, Place, Span};
use teaching::explain::Explained;
use teaching::{real, states};

use crate::fix::Made;
use crate::read::{Examined, OnPaper};

/// What a command reports of each circuit.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Shape {
    /// Findings alone.
    Check,
    /// Everything that is computed; with `shares` what each source does too.
    Solve {
        /// With shares, gains and resistances.
        shares: bool,
    },
    /// Unknowns and equations; with `matrix` the table too.
    Equations {
        /// With the table of factors.
        matrix: bool,
        /// Of real op-amps.
        real: bool,
    },
}

/// What of a file is asked for.
#[derive(Clone, Copy, Default, Debug)]
pub struct Only<'a> {
    /// This circuit alone.
    pub circuit: Option<&'a str>,
    /// Equations that concern this node alone.
    pub node: Option<&'a str>,
}

/// The outer object.
pub fn report(files: &[Examined], shape: Shape, only: Only) -> Value {
    let files: Vec<Value> = files.iter().map(|it| file(it, shape, only)).collect();
    json!({ "ampersum": env!("CARGO_PKG_VERSION"), "files": files })
}

fn file(it: &Examined, shape: Shape, only: Only) -> Value {
    let writer = Writer::new(it, only.node);
    let circuits: Vec<Value> = (0..it.book.circuits.len())
        .filter(|index| {
            only.circuit
                .is_none_or(|name| it.book.circuits[*index].name == name)
        })
        .map(|index| writer.circuit(index, shape))
        .collect();
    json!({ "path": it.path, "findings": writer.findings(None), "circuits": circuits })
}

/// Puts what `check --fix` has edited beside each file.
pub fn tell_edits(report: &mut Value, edited: &[Vec<Made>]) {
    let files = report["files"].as_array_mut().into_iter().flatten();
    for (file, made) in files.zip(edited) {
        let made = made
            .iter()
            .map(|it| json!({ "line": it.line, "old": it.old, "new": it.new }));
        file["edited"] = made.collect();
    }
}

/// The outer object of `suit`: each of these circuits with what rules each class out.
pub fn suited(it: &Examined, circuits: &[(usize, Vec<Suited>)]) -> Value {
    let writer = Writer::new(it, None);
    let circuits = circuits.iter().map(|(index, classes)| {
        let circuit = &it.book.circuits[*index];
        let classes = classes.iter().map(|class| {
            let findings = class.findings.iter().map(|it| writer.finding(it));
            let mut out = Map::new();
            out.insert("name".into(), json!(class.class.part.name));
            out.insert("suits".into(), json!(class.findings.is_empty()));
            out.insert("usual_rails".into(), json!(class.usual_rails));
            if !class.off.is_empty() {
                let off = class.off.iter().map(|(node, volts)| {
                    let name = circuit.node_name(*node).to_owned();
                    (name, number(volts, Dimension::VOLT))
                });
                out.insert("off".into(), Value::Object(off.collect()));
            }
            out.insert("findings".into(), findings.collect());
            Value::Object(out)
        });
        json!({
            "name": circuit.name,
            "title": circuit.title,
            "classes": classes.collect::<Vec<_>>(),
            "findings": writer.findings(Some(*index)),
        })
    });
    let circuits: Vec<Value> = circuits.collect();
    let file = json!({ "path": it.path, "findings": writer.findings(None), "circuits": circuits });
    json!({ "ampersum": env!("CARGO_PKG_VERSION"), "files": [file] })
}

struct Writer<'a> {
    it: &'a Examined,
    node: Option<&'a str>,
    lines: Vec<LineIndex>,
}

impl<'a> Writer<'a> {
    fn new(it: &'a Examined, node: Option<&'a str>) -> Writer<'a> {
        Writer {
            it,
            node,
            lines: it
                .book
                .files
                .iter()
                .map(|file| LineIndex::new(&file.text))
                .collect(),
        }
    }

    fn circuit(&self, index: usize, shape: Shape) -> Value {
        let (circuit, study) = (&self.it.book.circuits[index], &self.it.studies[index]);
        let mut out = Map::new();
        out.insert("name".into(), json!(circuit.name));
        out.insert("title".into(), json!(circuit.title));
        match shape {
            Shape::Check => {}
            Shape::Solve { shares } => {
                let outcome = study.outcome(circuit, &self.it.book.parts);
                let why = why(outcome, circuit, study, &self.it.findings, index);
                out.insert("solved".into(), json!(why.is_empty()));
                if !why.is_empty() {
                    out.insert("why".into(), json!(why));
                }
                self.equations(&mut out, &self.it.on_paper(index, false));
                self.answers(&mut out, circuit, study, outcome);
                gap(&mut out, circuit, study.gap(circuit, &self.it.book.parts));
                if shares {
                    self::shares(
                        &mut out,
                        circuit,
                        study.shares(circuit, &self.it.book.parts),
                    );
                }
                self.claims(&mut out, index);
            }
            Shape::Equations { matrix, real } => {
                let paper = self.it.on_paper(index, real);
                self.equations(&mut out, &paper);
                if matrix {
                    table(&mut out, &paper);
                }
            }
        }
        out.insert("findings".into(), self.findings(Some(index)));
        Value::Object(out)
    }

    fn equations(&self, out: &mut Map<String, Value>, paper: &OnPaper) {
        let circuit = paper.circuit;
        let names: Vec<&str> = paper
            .equations
            .unknowns
            .iter()
            .map(|it| circuit.node_name(*it))
            .collect();
        out.insert("unknowns".into(), json!(names));
        let all = paper.equations.list.iter().zip(&paper.outputs);
        let all = all.zip(&paper.explanation.equations);
        let concerns = |said: &Explained| {
            self.node
                .is_none_or(|name| said.covers.iter().any(|it| circuit.node_name(*it) == name))
        };
        let list: Vec<Value> = all
            .filter(|(_, said)| concerns(said))
            .map(|((it, output), said)| self.equation(circuit, it, *output, said))
            .collect();
        out.insert("equations".into(), Value::Array(list));
    }

    fn equation(
        &self,
        circuit: &Circuit,
        equation: &Equation,
        output: Option<NodeId>,
        said: &Explained,
    ) -> Value {
        let (kind, replaces) = match &equation.kind {
            EquationKind::Held { .. } => ("held", output.map(|it| circuit.node_name(it))),
            EquationKind::Virtual { replaces, .. } => {
                ("virtual", Some(circuit.node_name(*replaces)))
            }
            EquationKind::Limit { replaces, .. } => ("limit", Some(circuit.node_name(*replaces))),
            EquationKind::Sum => ("sum", None),
            EquationKind::JoinedSum { .. } => ("joined sum", None),
        };
        let term = |it: &teaching::equation::WrittenTerm| {
            let mut term = Map::new();
            term.insert("text".into(), json!(it.text));
            term.insert(
                "element".into(),
                json!(teaching::names::carrier(circuit, it.term.branch)),
            );
            term.insert("from".into(), json!(circuit.node_name(it.term.from)));
            term.insert("to".into(), json!(circuit.node_name(it.term.to)));
            self.location(&mut term, teaching::equation::term_place(circuit, &it.term));
            Value::Object(term)
        };
        let mut object = Map::new();
        object.insert("at".into(), json!(circuit.node_name(equation.at)));
        object.insert("kind".into(), json!(kind));
        object.insert("text".into(), json!(said.written.text));
        object.insert("replaces".into(), json!(replaces));
        object.insert("why".into(), json!(said.why));
        object.insert(
            "terms".into(),
            Value::Array(said.written.terms.iter().map(term).collect()),
        );
        self.location(&mut object, said.place);
        Value::Object(object)
    }

    fn answers(
        &self,
        out: &mut Map<String, Value>,
        circuit: &Circuit,
        study: &Study,
        outcome: &Outcome,
    ) {
        let parts = &self.it.book.parts;
        let answer = study.answer(circuit, parts);
        let known = answer.is_some();
        if let Some(solution) = answer {
            out.insert("nodes".into(), nodes(circuit, solution));
            out.insert(
                "elements".into(),
                carried(
                    circuit.elements.iter().map(|it| &it.name),
                    &solution.elements,
                ),
            );
            out.insert(
                "sources".into(),
                carried(circuit.sources.iter().map(|it| &it.name), &solution.sources),
            );
        }
        let mut opamps = Map::new();
        for (index, opamp) in circuit.opamps.iter().enumerate() {
            let mut it = Map::new();
            let output = answer.and_then(|solution| solution.opamps.get(index)?.as_ref());
            if let Some(output) = output {
                drive(&mut it, output);
            }
            let mode = study.mode(circuit, parts, circuit::OpampId(index as u32));
            let linear = output.map(|_| Mode::Linear);
            let state = mode.or(linear).map_or("unknown", states::id);
            it.insert("state".into(), json!(state));
            if let Some(feedback) = study.feedback_of(circuit::OpampId(index as u32)) {
                verdict(&mut it, circuit, feedback);
            }
            if let Some(output) = output {
                limits(&mut it, output);
            }
            opamps.insert(opamp.name.clone(), Value::Object(it));
        }
        out.insert("opamps".into(), Value::Object(opamps));
        if matches!(
            outcome,
            Outcome::AtLimits | Outcome::Several | Outcome::Restless
        ) {
            self.states(out, circuit, study);
        }
        let differs = !matches!(outcome, Outcome::AsIdeal | Outcome::Unknown(_));
        if !known || differs && study.ideal_rests() {
            let solution = study.ideal(circuit, parts);
            let mut opamps = Map::new();
            for (opamp, output) in circuit.opamps.iter().zip(&solution.opamps) {
                if let Some(output) = output {
                    let mut it = Map::new();
                    drive(&mut it, output);
                    limits(&mut it, output);
                    opamps.insert(opamp.name.clone(), Value::Object(it));
                }
            }
            let ideal = json!({ "nodes": nodes(circuit, solution), "opamps": opamps });
            out.insert("ideal".into(), ideal);
        }
    }

    /// The stable states, and where states end as one source moves.
    fn states(&self, out: &mut Map<String, Value>, circuit: &Circuit, study: &Study) {
        let parts = &self.it.book.parts;
        let Some(states) = study.states(circuit, parts) else {
            return;
        };
        let stable = states.stable().map(|state| {
            let modes = circuit.opamps.iter().zip(&state.modes);
            let modes = modes.map(|(opamp, mode)| (opamp.name.clone(), json!(states::id(*mode))));
            let solution = state.solution(circuit, parts);
            let nodes = ("nodes".to_owned(), nodes(circuit, solution));
            Value::Object(modes.chain([nodes]).collect())
        });
        let stable: Vec<Value> = stable.collect();
        if !stable.is_empty() {
            out.insert("states".into(), Value::Array(stable));
        }
        let mut thresholds = Vec::new();
        for it in &states.switches(circuit, parts).list {
            let source = &circuit.sources[it.source.index()];
            let dimension = match source.kind {
                circuit::SourceKind::Voltage { .. } => Dimension::VOLT,
                circuit::SourceKind::Current { .. } => Dimension::AMPERE,
            };
            for opamp in &it.leaving {
                let threshold = json!({
                    "opamp": circuit.opamps[opamp.index()].name,
                    "leaves": states::id(it.from[opamp.index()]),
                    "source": source.name,
                    "at": number(&it.at, dimension),
                    "as_it": if it.rises { "rises" } else { "falls" },
                });
                // Op-amps that have nothing to do with it may stand in several ways.
                if !thresholds.contains(&threshold) {
                    thresholds.push(threshold);
                }
            }
        }
        if !thresholds.is_empty() {
            out.insert("thresholds".into(), Value::Array(thresholds));
        }
    }

    fn claims(&self, out: &mut Map<String, Value>, index: usize) {
        let (circuit, study) = (&self.it.book.circuits[index], &self.it.studies[index]);
        let judgements = study.judgements(circuit, &self.it.book.parts);
        let claims: Vec<Value> = circuit
            .claims
            .iter()
            .zip(judgements)
            .map(|(claim, judged)| {
                let mut it = Map::new();
                it.insert("text".into(), json!(claim.text));
                let holds = holds(self.it, index, claim, judged);
                it.insert("holds".into(), json!(holds));
                let found = judged
                    .found
                    .as_ref()
                    .map_or(Value::Null, |found| number(found, judged.dimension));
                it.insert("found".into(), found);
                self.location(&mut it, claim.place);
                Value::Object(it)
            })
            .collect();
        if !claims.is_empty() {
            out.insert("expects".into(), Value::Array(claims));
        }
    }

    fn findings(&self, circuit: Option<usize>) -> Value {
        let mine = self.it.findings.iter().filter(|it| it.circuit == circuit);
        Value::Array(mine.map(|it| self.finding(it)).collect())
    }

    fn finding(&self, it: &Finding) -> Value {
        let mut out = Map::new();
        out.insert("rule".into(), json!(it.rule));
        out.insert("severity".into(), json!(severity(it.severity)));
        out.insert("message".into(), json!(it.message));
        out.insert("help".into(), json!(it.help));
        out.insert("path".into(), json!(self.it.path_of(it.place.file)));
        self.span(&mut out, it.place);
        out.insert("subjects".into(), json!(it.subjects));
        let related: Vec<Value> = it
            .related
            .iter()
            .map(|related| {
                let mut out = Map::new();
                out.insert("message".into(), json!(related.message));
                out.insert("path".into(), json!(self.it.path_of(related.place.file)));
                self.span(&mut out, related.place);
                Value::Object(out)
            })
            .collect();
        out.insert("related".into(), Value::Array(related));
        let fixes: Vec<Value> = it
            .fixes
            .iter()
            .map(|fix| {
                let edit = |it: &syntax::TextEdit| json!({"start": it.span.start, "end": it.span.end, "text": it.text});
                let edits: Vec<Value> = fix.edits.iter().map(edit).collect();
                json!({ "title": fix.title, "safe": fix.safe, "edits": edits })
            })
            .collect();
        out.insert("fixes".into(), Value::Array(fixes));
        Value::Object(out)
    }

    /// Line and column of a place; its path too where it is in another file.
    fn location(&self, out: &mut Map<String, Value>, place: Place) {
        if place.file != FileId(0) {
            out.insert("path".into(), json!(self.it.path_of(place.file)));
        }
        self.span(out, place);
    }

    fn span(&self, out: &mut Map<String, Value>, place: Place) {
        if let Some(lines) = self.lines.get(place.file.0 as usize) {
            span_into(out, lines, place.span);
        }
    }
}

/// LOCATION: lines and columns from 1, bytes from 0.
pub fn span_into(out: &mut Map<String, Value>, lines: &LineIndex, span: Span) {
    let (line, column) = lines.line_col(span.start);
    let (end_line, end_column) = lines.line_col(span.end);
    out.insert("line".into(), json!(line + 1));
    out.insert("column".into(), json!(column + 1));
    out.insert("end_line".into(), json!(end_line + 1));
    out.insert("end_column".into(), json!(end_column + 1));
    out.insert("start".into(), json!(span.start));
    out.insert("end".into(), json!(span.end));
}

/// The rules that say why equations have no single answer.
const UNSOLVED: [&str; 10] = [
    "floating_node",
    "bias_path",
    "source_conflict",
    "output_conflict",
    "shorted_element",
    "current_dead_end",
    "inputs_tied",
    "no_feedback",
    "feedback_cancels",
    "unsolvable",
];

/// Whether a claim holds, findings that it announces included; `None`: not computed.
pub fn holds(it: &Examined, index: usize, claim: &Claim, judged: &Judgement) -> Option<bool> {
    if !matches!(claim.kind, Some(ClaimKind::Finding { .. })) {
        return judged.holds;
    }
    let own = |finding: &&Finding| {
        let (inner, outer) = (finding.place, claim.place);
        inner.file == outer.file
            && outer.span.start <= inner.span.start
            && inner.span.end <= outer.span.end
    };
    match it.findings.iter().find(own) {
        Some(finding) if finding.rule == "expectation" => Some(false),
        Some(_) => None,
        None => (!it.book.circuits[index].perhaps.incomplete).then_some(true),
    }
}

/// The rules whose findings keep the answer from being the circuit's.
pub fn why(
    outcome: &Outcome,
    circuit: &Circuit,
    study: &Study,
    findings: &[Finding],
    index: usize,
) -> Vec<&'static str> {
    let troubles = match outcome {
        Outcome::Unknown(troubles) => troubles,
        Outcome::Restless => {
            let told = |it: &&Finding| {
                it.circuit == Some(index) && ["positive_feedback", "oscillation"].contains(&it.rule)
            };
            return vec![
                findings
                    .iter()
                    .find(told)
                    .map_or("oscillation", |it| it.rule),
            ];
        }
        _ => return Vec::new(),
    };
    if troubles.iter().all(|it| *it == Trouble::Unread) {
        return Vec::new();
    }
    let mine = || findings.iter().filter(|it| it.circuit == Some(index));
    let mut rules: Vec<&'static str> = Vec::new();
    for trouble in troubles {
        match trouble {
            Trouble::Unread => {}
            Trouble::NoSingleAnswer => {
                rules.extend(
                    mine()
                        .filter(|it| UNSOLVED.contains(&it.rule))
                        .map(|it| it.rule),
                );
            }
            Trouble::Feedback(block) => {
                rules.extend(study.feedback.get(*block).and_then(|it| blame(it.verdict)))
            }
            Trouble::BeyondRail(_) => rules.push("swing"),
            _ => rules.push("not_built"),
        }
    }
    if troubles.contains(&Trouble::Unread) {
        // What no finding says rests on the line that could not be read, and that line's error says so.
        rules.retain(|rule| mine().any(|it| it.rule == *rule));
        rules.extend(
            mine()
                .filter(|it| checks::reading::doc(it.rule).is_some())
                .map(|it| it.rule),
        );
    }
    // What one finding tells is not blamed twice; what the text accepts is blamed though no finding is left.
    let told = |rule: &&'static str| mine().any(|it| it.rule == *rule);
    if rules.iter().any(&told) {
        rules.retain(&told);
    }
    if rules.is_empty() {
        rules.push(if circuit.later.iter().any(|it| it.wires) {
            "not_built"
        } else {
            "unsolvable"
        });
    }
    let mut seen = std::collections::HashSet::new();
    rules.retain(|it| seen.insert(*it));
    rules
}

fn blame(verdict: Verdict) -> Option<&'static str> {
    match verdict {
        Verdict::Negative
        | Verdict::NegativeIfAlike
        | Verdict::DependsOnSpeeds
        | Verdict::HeldByGain => None,
        Verdict::Positive => Some("positive_feedback"),
        Verdict::Cancels => Some("feedback_cancels"),
        Verdict::None | Verdict::NoneAtDc => Some("no_feedback"),
        Verdict::Oscillates | Verdict::RunsAway | Verdict::Marginal => Some("oscillation"),
        Verdict::InputFloats => Some("bias_path"),
        Verdict::TooMany => Some("not_built"),
    }
}

/// A number with its unit.
pub fn number(answer: &Answer, dimension: Dimension) -> Value {
    let unit = unit(dimension);
    match answer {
        Answer::Exact(ratio) => {
            json!({ "exact": ratio.to_string(), "value": ratio.to_f64().value(), "unit": unit })
        }
        Answer::Float { value, bound } => {
            json!({ "exact": null, "value": value, "unit": unit, "error": bound })
        }
    }
}

fn nodes(circuit: &Circuit, solution: &Solution) -> Value {
    let mut out = Map::new();
    for node in circuit.unknowns() {
        if let Some(Some(answer)) = solution.nodes.get(node.index()) {
            out.insert(
                circuit.node_name(node).to_owned(),
                number(answer, Dimension::VOLT),
            );
        }
    }
    Value::Object(out)
}

/// As written less ideal, of each node by cause.
fn gap(out: &mut Map<String, Value>, circuit: &Circuit, gap: Option<&Gap>) {
    let Some(gap) = gap else { return };
    let by_node = |volts: &dyn Fn(&PartOfGap) -> Option<&[Answer]>| {
        let of_node = |node: NodeId| {
            let parts = gap.parts.iter().filter_map(|it| {
                let volts = volts(it)?.get(node.index())?;
                let key = real::id(it.reason).to_owned();
                Some((key, number(volts, Dimension::VOLT)))
            });
            Value::Object(parts.collect())
        };
        let nodes = circuit
            .unknowns()
            .map(|it| (circuit.node_name(it).to_owned(), of_node(it)));
        Value::Object(nodes.collect())
    };
    out.insert("gap".into(), by_node(&|it| Some(&it.adds)));
    if gap.parts.iter().any(|it| it.cured.is_some()) {
        out.insert("cured_alone".into(), by_node(&|it| it.cured.as_deref()));
    }
}

/// Each node's voltage by independent source, gains, and the resistances that are seen.
fn shares(out: &mut Map<String, Value>, circuit: &Circuit, shares: Option<&Shares>) {
    let Some(shares) = shares else { return };
    let by_node = |of_node: &dyn Fn(usize) -> Map<String, Value>| {
        let nodes = circuit.unknowns().map(|it| {
            (
                circuit.node_name(it).to_owned(),
                Value::Object(of_node(it.index())),
            )
        });
        Value::Object(nodes.collect())
    };
    let volts = |node: usize| {
        let share = |it: &Share| {
            (
                real::giver(circuit, it.of),
                number(&it.volts[node], Dimension::VOLT),
            )
        };
        shares.shares.iter().map(share).collect()
    };
    let gains = |node: usize| {
        let gain = |it: &Share| match (it.of, &it.gains) {
            (Giver::Source(id), Some(gains)) => Some((
                real::giver(circuit, it.of),
                number(&gains[node], real::gain_dimension(circuit, id)),
            )),
            _ => None,
        };
        shares.shares.iter().filter_map(gain).collect()
    };
    out.insert("shares".into(), by_node(&volts));
    out.insert("gains".into(), by_node(&gains));
    let ohms = |it: &Resistance| match it {
        Resistance::Ohms(ohms) => number(ohms, Dimension::OHM),
        Resistance::Infinite => Value::Null,
    };
    let inputs = shares.inputs.iter().map(|(id, it)| {
        let name = &circuit.sources[id.index()].name;
        (name.clone(), ohms(it))
    });
    let outputs = shares.outputs.iter().map(|(id, it)| {
        let name = &circuit.opamps[id.index()].name;
        (name.clone(), ohms(it))
    });
    let [inputs, outputs]: [Map<String, Value>; 2] = [inputs.collect(), outputs.collect()];
    out.insert(
        "resistances".into(),
        json!({ "inputs": inputs, "outputs": outputs }),
    );
}

fn carried<'n>(names: impl Iterator<Item = &'n String>, all: &[Option<Carried>]) -> Value {
    let mut out = Map::new();
    for (name, it) in names.zip(all) {
        let Some(it) = it else { continue };
        let maybe = |answer: &Option<Answer>, dimension| {
            answer
                .as_ref()
                .map_or(Value::Null, |it| number(it, dimension))
        };
        out.insert(
            name.clone(),
            json!({
                "voltage": number(&it.voltage, Dimension::VOLT),
                "current": maybe(&it.current, Dimension::AMPERE),
                "power": maybe(&it.power(), Dimension::WATT),
            }),
        );
    }
    Value::Object(out)
}

fn drive(out: &mut Map<String, Value>, output: &Output) {
    out.insert(
        "output_voltage".into(),
        number(&output.voltage, Dimension::VOLT),
    );
    let current = output
        .current
        .as_ref()
        .map_or(Value::Null, |it| number(it, Dimension::AMPERE));
    out.insert("output_current".into(), current);
}

fn limits(out: &mut Map<String, Value>, output: &Output) {
    for (key, answer, dimension) in [
        ("power", &output.power(), Dimension::WATT),
        ("margin_high", &output.margin_high, Dimension::VOLT),
        ("margin_low", &output.margin_low, Dimension::VOLT),
    ] {
        out.insert(
            key.into(),
            answer
                .as_ref()
                .map_or(Value::Null, |it| number(it, dimension)),
        );
    }
}

fn verdict(out: &mut Map<String, Value>, circuit: &Circuit, feedback: &Feedback) {
    let name = |id: &circuit::OpampId| circuit.opamps[id.index()].name.clone();
    out.insert(
        "feedback".into(),
        json!(teaching::feedback::id(feedback.verdict)),
    );
    out.insert(
        "block".into(),
        json!(feedback.block.iter().map(name).collect::<Vec<_>>()),
    );
    if !feedback.repairs.is_empty() {
        let repairs: Vec<Vec<String>> = feedback
            .repairs
            .iter()
            .map(|set| set.iter().map(name).collect())
            .collect();
        out.insert("repairs".into(), json!(repairs));
    }
}

/// The table of factors: one row an equation, one column an unknown, amperes or volts on the right.
fn table(out: &mut Map<String, Value>, paper: &OnPaper) {
    let mut rows = Vec::new();
    let mut right = Vec::new();
    for (row, equation) in paper.system.rows.iter().zip(&paper.equations.list) {
        let sum = matches!(
            equation.kind,
            EquationKind::Sum
                | EquationKind::JoinedSum { .. }
                | EquationKind::Limit {
                    mode: Mode::Sourcing | Mode::Sinking,
                    ..
                }
        );
        let (factor, known) = if sum {
            (Dimension::SIEMENS, Dimension::AMPERE)
        } else {
            (Dimension::NONE, Dimension::VOLT)
        };
        let mut cells: Vec<Value> = vec![
            number(&Answer::Exact(syntax::Ratio::ZERO), factor);
            paper.equations.unknowns.len()
        ];
        for (unknown, coefficient) in &row.terms {
            if let Some(cell) = cells.get_mut(*unknown) {
                *cell = number(&coefficient.answer(), factor);
            }
        }
        rows.push(Value::Array(cells));
        right.push(
            row.right
                .first()
                .map_or(Value::Null, |it| number(&it.answer(), known)),
        );
    }
    out.insert("matrix".into(), Value::Array(rows));
    out.insert("right_side".into(), Value::Array(right));
}

/// As the settings spell it.
pub fn severity(severity: Severity) -> &'static str {
    match severity {
        Severity::Error => "error",
        Severity::Warning => "warning",
        Severity::Hint => "hint",
    }
}

/// The base unit; a product of units where the trade has no word, nothing for a plain number.
fn unit(dimension: Dimension) -> String {
    match dimension.unit() {
        Some(unit) => unit.to_owned(),
        None if dimension == Dimension::NONE => String::new(),
        None => dimension.name().into_owned(),
    }
}
