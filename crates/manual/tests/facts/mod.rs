//! What a circuit of the book comes to, and what a command prints of it, piece by piece. How the pieces are laid out and
//! where lines are broken is the command's own affair.

use std::collections::HashMap;

use analysis::claims::Judgement;
use analysis::shares::Giver;
use analysis::solution::Carried;
use analysis::{Answer, Study};
use checks::{Finding, Settings, Severity};
use circuit::{Book, Claim};
use syntax::{Dimension, LineIndex};
use teaching::{Writing, explain, notation, real};

/// A text with all its facts.
pub struct Read {
    pub book: Book,
    pub studies: Vec<Study>,
    pub findings: Vec<Finding>,
}

impl Read {
    /// Reads a text; `use` finds these files.
    pub fn of(text: &str, files: &HashMap<&str, &str>) -> Read {
        let book = circuit::build("moisture.amp", text.into(), &mut |path| {
            files.get(path).map(|it| (*it).into())
        });
        let studies: Vec<Study> = book
            .circuits
            .iter()
            .map(|it| Study::new(it, &book.parts))
            .collect();
        let findings = checks::check(&book, &studies, &Settings::default());
        Read {
            book,
            studies,
            findings,
        }
    }

    /// Every claim and what it comes to.
    pub fn claims(&self) -> impl Iterator<Item = (&Claim, &Judgement)> {
        let circuits = self.book.circuits.iter().zip(&self.studies);
        circuits.flat_map(|(circuit, study)| {
            circuit
                .claims
                .iter()
                .zip(study.judgements(circuit, &self.book.parts))
        })
    }
}

/// Everything that a command may print of a text.
pub fn printed(read: &Read, command: &str) -> Vec<String> {
    let mut pieces = match command {
        "check" => findings(read),
        "explain" => explained(read),
        "equations" => equations(read),
        "equations_real" => equations_real(read),
        "solve" => [equations(read), answers(read), gaps(read)].concat(),
        "shares" => shares(read),
        "suit" => [equations(read), suited(read)].concat(),
        other => panic!("nothing is known of what `{other}` prints"),
    };
    pieces.push("…".into());
    pieces
}

/// Whether a text is these pieces in some order, but for blanks, line breaks and drawn frames; the rest where it is not.
pub fn made_of(pieces: &[String], text: &str) -> Result<(), String> {
    let mut pieces: Vec<String> = pieces.iter().map(|it| squeezed(it)).collect();
    // the longest that fits is the one that is meant
    pieces.sort_by_key(|it| std::cmp::Reverse(it.len()));
    let text = squeezed(text);
    let mut rest = text.as_str();
    while !rest.is_empty() {
        let fitting = pieces.iter().find_map(|it| {
            let rest = rest.strip_prefix(it.as_str())?;
            (!it.is_empty() && (rest.is_empty() || rest.starts_with(' '))).then_some(rest)
        });
        rest = fitting.ok_or_else(|| rest.to_string())?.trim_start();
    }
    Ok(())
}

/// One blank between words, and no frames.
fn squeezed(text: &str) -> String {
    let text = text.replace(|it: char| "│╭╰─┬┴├┤╯╮".contains(it), " ");
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn equations(read: &Read) -> Vec<String> {
    let mut pieces = Vec::new();
    for (circuit, study) in read.book.circuits.iter().zip(&read.studies) {
        let explanation = explain::explain(
            circuit,
            &study.equations,
            &study.feedback,
            Writing::default(),
        );
        pieces.push(match &circuit.title {
            Some(title) => format!("{} — {title}", circuit.name),
            None => circuit.name.clone(),
        });
        pieces.push(explanation.heading.clone());
        for (index, it) in explanation.equations.iter().enumerate() {
            pieces.push(format!("{} {}", index + 1, it.written.text));
            pieces.push(it.why.replace('`', ""));
        }
    }
    pieces
}

fn explained(read: &Read) -> Vec<String> {
    let mut pieces = Vec::new();
    for (circuit, study) in read.book.circuits.iter().zip(&read.studies) {
        let explanation = explain::explain(
            circuit,
            &study.equations,
            &study.feedback,
            Writing::default(),
        );
        pieces.extend(explain::plain(&explanation).lines().map(str::to_owned));
    }
    pieces
}

fn equations_real(read: &Read) -> Vec<String> {
    let mut pieces = Vec::new();
    for (circuit, study) in read.book.circuits.iter().zip(&read.studies) {
        let board = study.standing_board(circuit, &read.book.parts);
        let said = explain::explain_real(circuit, board, &study.feedback, Writing::default());
        pieces.extend(
            circuit
                .title
                .iter()
                .map(|it| format!("{} — {it}", circuit.name)),
        );
        pieces.push(said.heading.clone());
        for (index, it) in said.equations.iter().enumerate() {
            pieces.push(format!("{} {}", index + 1, it.written.text));
            pieces.push(it.why.replace('`', ""));
        }
    }
    pieces
}

/// Rows of the two tables of `solve` about real and ideal op-amps.
fn gaps(read: &Read) -> Vec<String> {
    let headings = [
        "What would be gone if one cause alone were cured (this does not add up)",
        "as written ideal gap",
        real::UNSIGNED,
    ];
    let mut pieces: Vec<String> = headings.map(String::from).into();
    pieces.push(real::EQUATIONS_ARE_IDEAL.into());
    for (circuit, study) in read.book.circuits.iter().zip(&read.studies) {
        let parts = &read.book.parts;
        let Some(gap) = study.gap(circuit, parts) else {
            continue;
        };
        pieces.push(real::gap_title(gap).into());
        let names: Vec<&str> = gap.parts.iter().map(|it| real::name(it.reason)).collect();
        pieces.push(names.join(" "));
        let written = study.answer(circuit, parts).expect("it is known");
        let ideal = study.ideal(circuit, parts);
        for node in circuit.unknowns() {
            let volts = |it: &Answer| notation::short(it, Dimension::VOLT);
            let at =
                |it: &analysis::solution::Solution| it.nodes[node.index()].clone().expect("fixed");
            let (written, ideal) = (at(written), at(ideal));
            let row = |of: &dyn Fn(&analysis::gap::PartOfGap) -> String| {
                gap.parts.iter().map(of).collect::<Vec<_>>().join(" ")
            };
            let adds = row(&|it| real::part(&it.adds[node.index()], it.reason));
            let cured = row(&|it| {
                let cured = it.cured.as_ref();
                cured.map_or(String::new(), |volts| {
                    real::part(&volts[node.index()], it.reason)
                })
            });
            let name = circuit.node_name(node);
            let gap = volts(&(&written - &ideal));
            pieces.push(format!(
                "{name} {} {} {gap} {adds}",
                volts(&written),
                volts(&ideal)
            ));
            pieces.push(format!("{name} {cured}"));
        }
    }
    pieces
}

fn shares(read: &Read) -> Vec<String> {
    let headings = [
        "Shares: each node's voltage by source; they add up",
        "Gains: each node's voltage per volt or ampere of a source",
        "Resistances, with all other sources at zero",
    ];
    let mut pieces: Vec<String> = headings.map(String::from).into();
    for (circuit, study) in read.book.circuits.iter().zip(&read.studies) {
        let shares = study
            .shares(circuit, &read.book.parts)
            .expect("it is known");
        let givers = shares.shares.iter().map(|it| real::giver(circuit, it.of));
        pieces.push(givers.collect::<Vec<_>>().join(" "));
        for it in shares.shares.iter().filter(|it| it.gains.is_some()) {
            pieces.push(format!("per {}", real::giver(circuit, it.of)));
        }
        for node in circuit.unknowns() {
            let name = circuit.node_name(node);
            let volts = shares
                .at(node)
                .map(|it| notation::short(it.1, Dimension::VOLT));
            pieces.push(format!("{name} {}", volts.collect::<Vec<_>>().join(" ")));
            let gains = shares.shares.iter().filter_map(|it| {
                let Giver::Source(id) = it.of else {
                    return None;
                };
                let gain = &it.gains.as_ref()?[node.index()];
                Some(notation::full(gain, real::gain_dimension(circuit, id)))
            });
            pieces.push(format!("{name} {}", gains.collect::<Vec<_>>().join(" ")));
        }
        for (id, it) in &shares.inputs {
            let name = &circuit.sources[id.index()].name;
            pieces.push(format!("seen by {name} {}", real::resistance(it)));
        }
        for (id, it) in &shares.outputs {
            let opamp = &circuit.opamps[id.index()];
            let at = circuit.node_name(opamp.drives);
            let seen = real::resistance(it);
            pieces.push(format!("at the output of {} ({at}) {seen}", opamp.name));
        }
    }
    pieces
}

fn answers(read: &Read) -> Vec<String> {
    let headings = ["Node voltages", "Elements", "Sources", "Op-amps", "Claims"];
    let mut pieces: Vec<String> = headings.map(String::from).into();
    pieces.push("voltage current power taken in".into());
    for (circuit, study) in read.book.circuits.iter().zip(&read.studies) {
        let ideal = || study.solution(circuit, &read.book.parts);
        let answer = study.answer(circuit, &read.book.parts);
        let solution = answer.unwrap_or_else(ideal);
        for node in circuit.unknowns() {
            let answer = solution.nodes[node.index()].as_ref();
            let shown = answer.map(|it| notation::full(it, Dimension::VOLT));
            pieces.extend(shown.map(|it| format!("{} {it}", circuit.node_name(node))));
        }
        let elements = circuit.elements.iter().map(|it| &it.name);
        pieces.extend(elements.zip(&solution.elements).filter_map(row));
        let sources = circuit.sources.iter().map(|it| &it.name);
        pieces.extend(sources.zip(&solution.sources).filter_map(row));
        for (index, (opamp, output)) in circuit.opamps.iter().zip(&solution.opamps).enumerate() {
            let feedback = study.feedback_of(circuit::OpampId(index as u32));
            if let (Some(output), Some(feedback)) = (output, feedback) {
                pieces.push(format!(
                    "{} output {} {} linear feedback {}",
                    opamp.name,
                    short(Some(&output.voltage), Dimension::VOLT),
                    short(output.current.as_ref(), Dimension::AMPERE),
                    teaching::feedback::id(feedback.verdict).replace('_', " ")
                ));
            }
        }
    }
    for (claim, judged) in read.claims() {
        let word = match judged.holds {
            Some(true) => "holds",
            Some(false) => "does not hold",
            None => "not computed",
        };
        let found = judged.found.as_ref();
        let found = found.map(|it| format!("found {}", notation::full(it, judged.dimension)));
        pieces.push(format!(
            "{word} {} {}",
            claim.text,
            found.unwrap_or_default()
        ));
    }
    pieces
}

fn suited(read: &Read) -> Vec<String> {
    let mut pieces = vec![
        "No class is a real part (`ampersum manual classes`): the data sheet of yours counts."
            .into(),
    ];
    for index in 0..read.book.circuits.len() {
        for it in checks::suit::suit(&read.book, index, &Settings::default()) {
            let verdict = if it.findings.is_empty() {
                "would do"
            } else {
                "would not do"
            };
            let off = it.off.first().filter(|_| it.findings.is_empty());
            let off = off.map_or(String::new(), |(node, volts)| {
                let volts = notation::short(&volts.abs(), Dimension::VOLT);
                let node = read.book.circuits[index].node_name(*node);
                format!(", {node} off by {volts}")
            });
            pieces.push(format!("{} {verdict}{off}", it.class.part.name));
            let why = it.findings.iter();
            pieces.extend(why.map(|it| format!("{}: {}", it.rule, it.message)));
        }
    }
    pieces
}

fn row((name, carried): (&String, &Option<Carried>)) -> Option<String> {
    let it = carried.as_ref()?;
    Some(format!(
        "{name} {} {} {}",
        short(Some(&it.voltage), Dimension::VOLT),
        short(it.current.as_ref(), Dimension::AMPERE),
        short(it.power().as_ref(), Dimension::WATT)
    ))
}

fn short(answer: Option<&Answer>, dimension: Dimension) -> String {
    answer.map_or(String::new(), |it| notation::short(it, dimension))
}

fn findings(read: &Read) -> Vec<String> {
    let mut pieces: Vec<String> = ["here", "Note:", "Note 1:", "Note 2:", "Note 3:"]
        .map(String::from)
        .into();
    for it in &read.findings {
        let kind = match it.severity {
            Severity::Error => "Error",
            Severity::Warning => "Warning",
            Severity::Hint => "Advice",
        };
        pieces.push(format!("{kind}: {}", it.message));
        pieces.push(format!("Help: {}", it.help));
        pieces.push(format!("more: ampersum rule {}", it.rule));
        pieces.extend(
            it.fixes
                .iter()
                .map(|fix| format!("a way out: {}", fix.title)),
        );
        pieces.extend(it.related.iter().map(|it| it.message.clone()));
        for place in [it.place]
            .into_iter()
            .chain(it.related.iter().map(|it| it.place))
        {
            let file = &read.book.files[place.file.0 as usize];
            let (line, column) = LineIndex::new(&file.text).line_col(place.span.start);
            let number = line + 1;
            pieces.push(format!("[ {}:{number}:{} ]", file.path, column + 1));
            let text = file.text.lines().nth(line as usize).unwrap_or_default();
            pieces.push(format!("{number} {text}"));
        }
    }
    pieces
}
