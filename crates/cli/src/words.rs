//! Words for people: equations, answers and explanations as plain text.

use std::fmt::Write;

use analysis::equations::EquationKind;
use analysis::gap::{PartOfGap, Reason};
use analysis::shares::Giver;
use analysis::solution::{Carried, Solution};
use analysis::states::Mode;
use analysis::{Answer, Outcome};
use checks::suit::Suited;
use circuit::{Circuit, SourceId};
use syntax::{Dimension, Ratio};
use teaching::{notation, real, states};

use crate::read::{Examined, OnPaper};

/// Everything `solve` has to say of one circuit.
pub fn solved(it: &Examined, index: usize) -> String {
    let (circuit, study) = (&it.book.circuits[index], &it.studies[index]);
    let mut out = heading(circuit);
    equations(&mut out, &it.on_paper(index, false));
    if !study.is_ideal(circuit, &it.book.parts) {
        filled(&mut out, real::EQUATIONS_ARE_IDEAL, "      ");
    }
    let outcome = study.outcome(circuit, &it.book.parts);
    let answer = study.answer(circuit, &it.book.parts);
    let ideal = answer.is_none();
    let solution = answer.unwrap_or_else(|| study.solution(circuit, &it.book.parts));
    let note = match (ideal, &outcome) {
        (true, Outcome::Restless) => {
            " (with ideal op-amps and without limits; it never rests there, see below)"
        }
        (true, _) => " (with ideal op-amps; not the answer as written, see below)",
        (false, Outcome::Several) => " (where every stable state has the same; see below)",
        (false, _) => "",
    };
    let _ = writeln!(out, "\nNode voltages{note}");
    let open = match outcome {
        Outcome::Several => "depends on the state",
        _ => "not fixed",
    };
    let rows = circuit.unknowns().map(|node| {
        let answer = solution.nodes.get(node.index()).and_then(Option::as_ref);
        vec![
            circuit.node_name(node).to_owned(),
            said(answer, Dimension::VOLT, open),
        ]
    });
    table(&mut out, rows.collect());
    let parts = circuit
        .elements
        .iter()
        .map(|it| &it.name)
        .zip(&solution.elements);
    carried(&mut out, "Elements", parts, open);
    carried(
        &mut out,
        "Sources",
        circuit
            .sources
            .iter()
            .map(|it| &it.name)
            .zip(&solution.sources),
        open,
    );
    opamps(&mut out, it, index, solution, ideal, open);
    standing(&mut out, it, index);
    beside_ideal(&mut out, it, index);
    claims(&mut out, it, index);
    let why = crate::json::why(outcome, circuit, study, &it.findings, index);
    if !why.is_empty() {
        let _ = writeln!(
            out,
            "\nNot solved as written, because of: {}",
            why.join(", ")
        );
    }
    out
}

/// The equations of one circuit, each with a word on its form.
pub fn equations_of(it: &Examined, index: usize, matrix: bool, real: bool) -> String {
    let mut out = heading(&it.book.circuits[index]);
    let paper = it.on_paper(index, real);
    equations(&mut out, &paper);
    if matrix {
        factors(&mut out, &paper);
    }
    out
}

/// Each equation term by term; with `at` only what concerns that node. `None`: the circuit has no such node.
pub fn explained(it: &Examined, index: usize, at: Option<&str>, real: bool) -> Option<String> {
    let circuit = &it.book.circuits[index];
    let mut explanation = it.on_paper(index, real).explanation;
    if let Some(at) = at {
        let node = circuit.unknowns().find(|it| circuit.node_name(*it) == at)?;
        explanation.equations = explanation.at(node).cloned().collect();
    }
    let mut out = format!("{}\n", heading(circuit));
    for line in teaching::explain::plain(&explanation).lines() {
        let text = line.trim_start();
        let indent = &line[..line.len() - text.len()];
        filled(&mut out, text, indent);
    }
    Some(out)
}

/// Which class of op-amp would do in a circuit, and what rules each other one out.
pub fn suited(it: &Examined, index: usize, classes: &[Suited]) -> String {
    let circuit = &it.book.circuits[index];
    let mut out = heading(circuit);
    if classes.is_empty() {
        let why = match circuit.opamps.is_empty() {
            true => "It has no op-amp, so there is nothing to choose.",
            false => {
                "It has comparators only: the classes are of op-amps, and none is tried in their place."
            }
        };
        let _ = writeln!(out, "{why}");
        return out;
    }
    if classes.iter().any(|it| it.usual_rails) {
        let _ = writeln!(
            out,
            "Op-amps without a supply have the usual rails of each class here."
        );
    }
    for it in classes {
        let verdict = if it.findings.is_empty() {
            "would do"
        } else {
            "would not do"
        };
        let off = it.off.first().filter(|_| it.findings.is_empty());
        let off = off.map_or(String::new(), |(node, volts)| {
            let volts = notation::short(&volts.abs(), Dimension::VOLT);
            format!(", {} off by {volts}", circuit.node_name(*node))
        });
        let _ = writeln!(out, "  {:<18} {verdict}{off}", it.class.part.name);
        for finding in &it.findings {
            let why = format!("{}: {}", finding.rule, finding.message);
            filled(&mut out, &why, "      ");
        }
    }
    let _ = writeln!(
        out,
        "No class is a real part (`ampersum manual classes`): the data sheet of yours counts."
    );
    out
}

fn heading(circuit: &Circuit) -> String {
    match &circuit.title {
        Some(title) => format!("{} — {title}\n", circuit.name),
        None => format!("{}\n", circuit.name),
    }
}

fn equations(out: &mut String, paper: &OnPaper) {
    let explanation = &paper.explanation;
    let _ = writeln!(out, "\n{}", explanation.heading);
    for (number, equation) in explanation.equations.iter().enumerate() {
        let why = equation.why.replace('`', "");
        let _ = writeln!(out, "{:>4}  {}", number + 1, equation.written.text);
        filled(out, &why, "      ");
    }
}

fn factors(out: &mut String, paper: &OnPaper) {
    let mut rows = vec![
        paper
            .equations
            .unknowns
            .iter()
            .map(|it| paper.circuit.node_name(*it).to_owned())
            .chain([String::from("= right side")])
            .collect::<Vec<_>>(),
    ];
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
        let mut cells = vec![String::from("0"); paper.equations.unknowns.len()];
        for (unknown, coefficient) in &row.terms {
            if let Some(cell) = cells.get_mut(*unknown) {
                *cell = notation::short(&coefficient.answer(), factor);
            }
        }
        let right = row
            .right
            .first()
            .map(|it| it.answer())
            .unwrap_or(Answer::Exact(Ratio::ZERO));
        cells.push(format!("= {}", notation::short(&right, known)));
        rows.push(cells);
    }
    let _ = writeln!(out, "\nAs a table (a sum's factors are conductances)");
    table(out, rows);
}

fn said(answer: Option<&Answer>, dimension: Dimension, open: &str) -> String {
    answer.map_or_else(|| open.to_owned(), |it| notation::full(it, dimension))
}

fn carried<'n>(
    out: &mut String,
    title: &str,
    all: impl Iterator<Item = (&'n String, &'n Option<Carried>)>,
    open: &str,
) {
    let mut rows = vec![
        ["", "voltage", "current", "power taken in"]
            .map(str::to_owned)
            .to_vec(),
    ];
    for (name, it) in all {
        rows.push(match it {
            Some(it) => vec![
                name.clone(),
                notation::short(&it.voltage, Dimension::VOLT),
                it.current
                    .as_ref()
                    .map_or("shared".into(), |it| notation::short(it, Dimension::AMPERE)),
                it.power()
                    .as_ref()
                    .map_or("".into(), |it| notation::short(it, Dimension::WATT)),
            ],
            None => vec![name.clone(), open.to_owned()],
        });
    }
    if rows.len() > 1 {
        let _ = writeln!(out, "\n{title}");
        table(out, rows);
    }
}

fn opamps(
    out: &mut String,
    it: &Examined,
    index: usize,
    solution: &Solution,
    ideal: bool,
    open: &str,
) {
    let (circuit, study) = (&it.book.circuits[index], &it.studies[index]);
    let parts = &it.book.parts;
    if circuit.opamps.is_empty() {
        return;
    }
    let _ = writeln!(out, "\nOp-amps");
    let mut rows = Vec::new();
    for (index, opamp) in circuit.opamps.iter().enumerate() {
        let output = solution.opamps.get(index).and_then(Option::as_ref);
        let mut row = vec![opamp.name.clone()];
        match output {
            Some(output) => {
                let current = output.current.as_ref();
                row.push(format!(
                    "output {}",
                    notation::short(&output.voltage, Dimension::VOLT)
                ));
                row.push(current.map_or("".into(), |it| notation::short(it, Dimension::AMPERE)));
            }
            None => row.extend([format!("output {open}"), String::new()]),
        }
        let id = circuit::OpampId(index as u32);
        let known = study.mode(circuit, parts, id);
        let linear = output.filter(|_| !ideal).map(|_| Mode::Linear);
        row.push(match known.or(linear) {
            Some(mode) => states::stands(circuit, parts, id, mode),
            None => "state unknown".into(),
        });
        let feedback = study.feedback_of(circuit::OpampId(index as u32));
        row.push(feedback.map_or(String::new(), |it| {
            format!(
                "feedback {}",
                teaching::feedback::id(it.verdict).replace('_', " ")
            )
        }));
        if let Some(margins) =
            output.and_then(|it| it.margin_high.as_ref().zip(it.margin_low.as_ref()))
        {
            let [high, low] = [margins.0, margins.1].map(|it| notation::short(it, Dimension::VOLT));
            row.push(format!(
                "{high} below its high limit, {low} above its low one"
            ));
        }
        rows.push(row);
    }
    table(out, rows);
}

/// The stable states where they are not simply all linear, and where states end.
fn standing(out: &mut String, it: &Examined, index: usize) {
    let (circuit, study, parts) = (&it.book.circuits[index], &it.studies[index], &it.book.parts);
    let outcome = study.outcome(circuit, parts);
    let title = match outcome {
        Outcome::AtLimits => "The one stable state",
        Outcome::Several => "Stable states: which one it is depends on what happened before",
        Outcome::Restless => "No state is stable: the outputs never come to rest",
        _ => return,
    };
    let Some(all) = study.states(circuit, parts) else {
        return;
    };
    let _ = writeln!(out, "\n{title}");
    let mut rows = Vec::new();
    for state in all.stable() {
        let solution = state.solution(circuit, parts);
        let each = circuit.opamps.iter().zip(&state.modes);
        let row = each.flat_map(|(opamp, mode)| {
            let volts = solution.nodes.get(opamp.drives.index());
            let volts = said(volts.and_then(Option::as_ref), Dimension::VOLT, "not fixed");
            let node = circuit.node_name(opamp.drives);
            [
                format!("{} {}", opamp.name, states::id(*mode)),
                format!("{node} = {volts}"),
            ]
        });
        rows.push(row.collect::<Vec<_>>());
    }
    table(out, rows);
    let switches = all.switches(circuit, parts);
    let mut lines: Vec<String> = Vec::new();
    for line in switches
        .list
        .iter()
        .flat_map(|it| states::switch(circuit, it))
    {
        if !lines.contains(&line) {
            lines.push(line);
        }
    }
    if !lines.is_empty() {
        let _ = writeln!(out, "\nWhere it switches, as one source moves alone");
        for line in lines {
            filled(out, &line.replace('`', ""), "  ");
        }
    }
    if !switches.complete {
        let _ = writeln!(
            out,
            "\nNot every state was followed as the sources move: there may be more such points"
        );
    }
}

/// As written and ideal side by side, and what each cause has to do with the gap; nothing where the two are one.
fn beside_ideal(out: &mut String, it: &Examined, index: usize) {
    let (circuit, study) = (&it.book.circuits[index], &it.studies[index]);
    let parts = &it.book.parts;
    let Some(gap) = study.gap(circuit, parts) else {
        return;
    };
    let Some(written) = study.answer(circuit, parts) else {
        return;
    };
    let ideal = study.ideal(circuit, parts);
    let volts = |it: &Answer| notation::short(it, Dimension::VOLT);
    let name = |it: &PartOfGap| real::name(it.reason).to_owned();
    let head = ["", "as written", "ideal", "gap"].map(str::to_owned);
    let causes = gap.parts.iter().map(name);
    let mut rows = vec![head.into_iter().chain(causes).collect::<Vec<_>>()];
    let curable = || gap.parts.iter().filter(|it| it.cured.is_some());
    let blank = std::iter::once(String::new());
    let mut cured = vec![blank.chain(curable().map(name)).collect::<Vec<_>>()];
    for node in circuit.unknowns() {
        let at = node.index();
        let (Some(Some(written)), Some(Some(ideal))) = (written.nodes.get(at), ideal.nodes.get(at))
        else {
            continue;
        };
        let name = circuit.node_name(node).to_owned();
        let part = |it: &PartOfGap, volts: &[Answer]| real::part(&volts[at], it.reason);
        let mut row = vec![
            name.clone(),
            volts(written),
            volts(ideal),
            volts(&(written - ideal)),
        ];
        row.extend(gap.parts.iter().map(|it| part(it, &it.adds)));
        rows.push(row);
        let spared = curable().filter_map(|it| Some(part(it, it.cured.as_deref()?)));
        cured.push(std::iter::once(name).chain(spared).collect());
    }
    let _ = writeln!(out, "\n{}", real::gap_title(gap));
    table(out, rows);
    if curable().count() > 0 {
        let _ = writeln!(
            out,
            "\nWhat would be gone if one cause alone were cured (this does not add up)"
        );
        table(out, cured);
    }
    if gap.parts.iter().any(|it| real::is_unsigned(it.reason)) {
        filled(out, real::UNSIGNED, "  ");
    }
    if gap.parts.iter().any(|it| it.reason == Reason::Rest) {
        filled(out, real::REST, "  ");
    }
}

/// Each node's voltage by independent source, gains, and the resistances that are seen.
pub fn shares(it: &Examined, index: usize) -> String {
    let (circuit, study) = (&it.book.circuits[index], &it.studies[index]);
    let mut out = String::new();
    let Some(shares) = study.shares(circuit, &it.book.parts) else {
        let _ = writeln!(
            out,
            "\nNo shares: they are of the answer as written, which is not known"
        );
        return out;
    };
    let names = || shares.shares.iter().map(|it| real::giver(circuit, it.of));
    let mut rows = vec![std::iter::once(String::new()).chain(names()).collect()];
    let sources: Vec<(SourceId, &[Answer])> = shares
        .shares
        .iter()
        .filter_map(|it| match (it.of, &it.gains) {
            (Giver::Source(id), Some(gains)) => Some((id, gains.as_slice())),
            _ => None,
        })
        .collect();
    let heads = sources
        .iter()
        .map(|it| format!("per {}", circuit.sources[it.0.index()].name));
    let mut gains = vec![std::iter::once(String::new()).chain(heads).collect()];
    for node in circuit.unknowns() {
        let name = || std::iter::once(circuit.node_name(node).to_owned());
        let volts = shares
            .at(node)
            .map(|it| notation::short(it.1, Dimension::VOLT));
        rows.push(name().chain(volts).collect::<Vec<_>>());
        let per = sources.iter().map(|(id, gains)| {
            notation::full(&gains[node.index()], real::gain_dimension(circuit, *id))
        });
        gains.push(name().chain(per).collect::<Vec<_>>());
    }
    let _ = writeln!(out, "\nShares: each node's voltage by source; they add up");
    table(&mut out, rows);
    if !sources.is_empty() {
        let _ = writeln!(
            out,
            "\nGains: each node's voltage per volt or ampere of a source"
        );
        table(&mut out, gains);
    }
    let inputs = shares.inputs.iter().map(|(id, it)| {
        let name = &circuit.sources[id.index()].name;
        vec![format!("seen by {name}"), real::resistance(it)]
    });
    let outputs = shares.outputs.iter().map(|(id, it)| {
        let opamp = &circuit.opamps[id.index()];
        let at = circuit.node_name(opamp.drives);
        let place = format!("at the output of {} ({at})", opamp.name);
        vec![place, real::resistance(it)]
    });
    let resistances: Vec<Vec<String>> = inputs.chain(outputs).collect();
    if !resistances.is_empty() {
        let _ = writeln!(out, "\nResistances, with all other sources at zero");
        table(&mut out, resistances);
    }
    out
}

fn claims(out: &mut String, it: &Examined, index: usize) {
    let (circuit, study) = (&it.book.circuits[index], &it.studies[index]);
    if circuit.claims.is_empty() {
        return;
    }
    let _ = writeln!(out, "\nClaims");
    let mut rows = Vec::new();
    for (claim, judged) in circuit
        .claims
        .iter()
        .zip(study.judgements(circuit, &it.book.parts))
    {
        let mark = match crate::json::holds(it, index, claim, judged) {
            Some(true) => "holds",
            Some(false) => "does not hold",
            None => "not computed",
        };
        let found = judged.found.as_ref().map_or(String::new(), |found| {
            format!("found {}", notation::full(found, judged.dimension))
        });
        rows.push(vec![mark.to_owned(), claim.text.clone(), found]);
    }
    table(out, rows);
}

/// A paragraph in lines of at most 100 columns.
fn filled(out: &mut String, paragraph: &str, indent: &str) {
    let mut line = String::from(indent);
    for word in paragraph.split_whitespace() {
        if line.len() > indent.len() && line.chars().count() + 1 + word.chars().count() > 100 {
            let _ = writeln!(out, "{line}");
            line.truncate(indent.len());
        }
        if line.len() > indent.len() {
            line.push(' ');
        }
        line.push_str(word);
    }
    let _ = writeln!(out, "{line}");
}

/// Columns side by side, two blanks between them.
fn table(out: &mut String, rows: Vec<Vec<String>>) {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let wide = |text: &String| text.chars().count();
    let widths: Vec<usize> = (0..columns)
        .map(|column| {
            rows.iter()
                .filter_map(|row| row.get(column))
                .map(wide)
                .max()
                .unwrap_or(0)
        })
        .collect();
    for row in rows {
        let mut line = String::from("  ");
        for (cell, width) in row.iter().zip(&widths) {
            line.push_str(cell);
            line.extend(std::iter::repeat_n(' ', width - wide(cell) + 2));
        }
        let _ = writeln!(out, "{}", line.trim_end());
    }
}
