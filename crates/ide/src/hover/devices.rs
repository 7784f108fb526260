//! A device made of a block, and its ports: what each is joined to, and the voltage there; and whatever else has a name and no answer.

use circuit::GROUND;
use syntax::{
    Argument, Clause, Device, Dimension, FileId, Place, Span, Statement, StatementKind, normal,
};
use teaching::notation;

use super::{Block, named_block};
use crate::View;
use crate::answers::answers;
use crate::names::{Home, Kind, Said};

/// What stands at `span` in the line of a device that a block makes: its name, or the word of a port or a parameter.
pub(super) fn device(view: &View, span: Span) -> Option<Vec<Block>> {
    let statement = statement(view, span)?;
    let StatementKind::Device(device) = &statement.kind else {
        return None;
    };
    let kind = normal(device.kind.of(view.text())).into_owned();
    let ports = view.names().ports(&kind)?.to_vec();
    let name = device.name.of(view.text());
    if device.name == span {
        let mut blocks = vec![Block::Headline(format!("{name} = {kind}"))];
        blocks.extend(
            statement
                .description
                .map(|it| Block::Words(super::definitions::described(it.of(view.text())))),
        );
        blocks.push(Block::Lines(joined(view, device, &ports)));
        // The block's own headline says its name again.
        blocks.extend(named_block(view, &kind).into_iter().flatten().skip(1));
        return Some(blocks);
    }
    let clause = device.clauses.iter().find(|it| it.word == span)?;
    let word = normal(span.of(view.text())).into_owned();
    let (_, what) = ports.iter().find(|it| it.0 == word)?;
    let what = match what {
        Kind::Parameter => "parameter",
        _ => "port",
    };
    let mut blocks = vec![Block::Headline(format!("{what} {word} of {kind}"))];
    blocks.push(Block::Words(format!("{}.", says(view, clause))));
    Some(blocks)
}

/// What no circuit has: what stands in a block that nothing uses, a block's ports, values of a work sheet, devices that are not computed yet. What
/// it is, and the line that makes it.
pub(super) fn other(view: &View, said: &Said) -> Option<Vec<Block>> {
    let names = view.names();
    let thing = &names.things[said.thing];
    if thing.kind == Kind::Ground {
        return None;
    }
    let (file, first) = names.first(&thing.key)?;
    let file = view.book().files.get(file)?;
    let line = file.tree.statement(file.tree.statement_at(first.start)?);
    let Home::Body(body) = thing.key.home else {
        return None;
    };
    let body = file.tree.bodies.get(body)?;
    let head = &file.tree.statement(body.head).kind;
    let around = match head {
        StatementKind::Block { name, .. } => format!(" of block `{}`", name.of(&file.text)),
        StatementKind::Work { .. } => " of this work sheet".to_owned(),
        _ => String::new(),
    };
    let noun = match (head, &line.kind, thing.kind) {
        (_, StatementKind::Block { .. }, Kind::Node) => "a port",
        (StatementKind::Work { .. }, ..) => "a value",
        (.., kind) => kind.noun(),
    };
    let mut blocks = vec![Block::Headline(said.span.of(view.text()).to_owned())];
    let words = line.description.filter(|_| {
        line.span.start <= first.start && !matches!(line.kind, StatementKind::Block { .. })
    });
    blocks.extend(words.map(|it| Block::Words(super::definitions::described(it.of(&file.text)))));
    blocks.push(Block::Words(format!(
        "{}{around}.",
        teaching::names::sentence(noun)
    )));
    blocks.push(Block::Equation(line.span.of(&file.text).to_owned()));
    Some(blocks)
}

fn statement(view: &View, span: Span) -> Option<&Statement> {
    let tree = view.tree();
    Some(tree.statement(tree.statement_at(span.start)?))
}

/// A line for each port and parameter that the device says.
fn joined(view: &View, device: &Device, ports: &[(String, Kind)]) -> Vec<String> {
    let said = device.clauses.iter().filter(|it| {
        let word = normal(it.word.of(view.text()));
        ports.iter().any(|port| port.0 == word)
    });
    said.map(|it| format!("`{}`: {}", it.word.of(view.text()), says(view, it)))
        .collect()
}

/// What a clause says: `in = 1.2 V` of a port, a value of a parameter.
fn says(view: &View, clause: &Clause) -> String {
    let words = clause.span.of(view.text());
    let own = clause.word.of(view.text());
    let argument = words.strip_prefix(own).unwrap_or(words).trim();
    let voltage = match clause.argument {
        Argument::Name(node) => voltage(view, node),
        _ => None,
    };
    match voltage {
        Some(volts) => format!("`{argument}` = {volts}"),
        None => format!("`{argument}`"),
    }
}

fn voltage(view: &View, node: Span) -> Option<String> {
    let (index, circuit) = view.circuit_at(node.start)?;
    let here = Place {
        file: FileId(0),
        span: node,
    };
    let id = circuit
        .nodes
        .iter()
        .position(|it| it.places.contains(&here))?;
    let answers = answers(view, index);
    let id = circuit::NodeId(id as u32);
    let value = answers.node(id).filter(|_| id != GROUND)?;
    Some(format!(
        "{}{}",
        notation::short(value, Dimension::VOLT),
        answers.mark()
    ))
}
