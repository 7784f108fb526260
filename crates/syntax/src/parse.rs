//! The pass over a file: statement after statement, each read alone in the body that is open.

use std::cell::OnceCell;

use chumsky::error::{EmptyErr, Rich};
use chumsky::input::Input as _;
use chumsky::prelude::*;

use crate::diagnose::{self, Blocks, Line};
use crate::grammar::{Failure, Grammar, Rule};
use crate::kind::Kind;
use crate::lexer::{Cut, Tok, Token, lex};
use crate::limits;
use crate::{
    Body, BodyKind, Broken, Fault, FaultKind, Limit, Span, Statement, StatementId, StatementKind,
    Tree,
};

/// Reads a text. Never fails: what could not be read is a fault and a [`StatementKind::Broken`].
pub fn parse(text: &str) -> Tree {
    if text.len() > limits::FILE {
        return Tree {
            faults: vec![Fault::new(Span::at(0), FaultKind::TooBig(Limit::File))],
            ..Tree::default()
        };
    }
    let mut lexed = lex(text);
    let comments = std::mem::take(&mut lexed.comments);
    let mut blocks = Blocks::default();
    let mut circuits = false;
    let mut ends = vec![false; lexed.cuts.len() + 1];
    for (index, cut) in lexed.cuts.iter().enumerate().rev() {
        let tokens = &lexed.tokens[cut.first..cut.end];
        let opener = Kind::opener(tokens);
        ends[index] = opener.is_none() && (Kind::of(tokens, None) == Kind::End || ends[index + 1]);
        match opener {
            Some(Kind::Circuit) => circuits = true,
            Some(Kind::Use) => blocks.uses = true,
            Some(Kind::Block) => blocks
                .names
                .extend(tokens.get(1).map(|(_, name)| name.of(text))),
            _ => {}
        }
    }
    let mut reader = Reader {
        text,
        tokens: &lexed.tokens,
        cuts: &lexed.cuts,
        blocks: &blocks,
        circuits,
        ends,
        grammar: Grammar::of(text),
        telling: OnceCell::new(),
        tree: Tree {
            statements: Vec::with_capacity(lexed.cuts.len()),
            ..Tree::default()
        },
        circuit: None,
        open: None,
    };
    for index in 0..lexed.cuts.len() {
        reader.read(index);
    }
    reader.close(None);
    let mut tree = reader.tree;
    tree.bodies.sort_by_key(|body| body.head);
    tree.faults.sort_by_key(|fault| fault.span.start);
    tree.comments = comments;
    tree
}

/// Why a statement failed: where, and what the grammar would have taken there.
pub(crate) type Expectation<'t> = Rich<'t, Tok, Span>;

struct Reader<'t> {
    text: &'t str,
    tokens: &'t [Token],
    cuts: &'t [Cut],
    blocks: &'t Blocks<'t>,
    /// Whether the file has any `circuit`.
    circuits: bool,
    /// Whether an `end` comes before the next line that would close a body, from each statement on.
    ends: Vec<bool>,
    /// The grammar that only reads.
    grammar: Grammar<'t, EmptyErr>,
    /// The grammar that also tells what it expected: built for the first line that fails.
    telling: OnceCell<Grammar<'t, Expectation<'t>>>,
    tree: Tree,
    /// The circuit that runs, by its index in the tree's bodies.
    circuit: Option<usize>,
    /// The part, block or work sheet that is open.
    open: Option<Open>,
}

struct Open {
    kind: BodyKind,
    /// Its index in the tree's bodies.
    body: usize,
    /// Whether its `end` comes before anything that would close it.
    ends: bool,
}

impl<'t> Reader<'t> {
    fn read(&mut self, index: usize) {
        let cut = &self.cuts[index];
        let tokens = &self.tokens[cut.first..cut.end];
        if Kind::opener(tokens).is_some() {
            self.close(None);
        }
        let inside = self.inside();
        let kind = Kind::of(tokens, inside);
        let outcome = self.statement(index, kind, tokens);
        let (kind, outcome) = match outcome {
            // A body that never ends stops where a line stands that it cannot hold.
            Err(fault)
                if matches!(fault.kind, FaultKind::WrongPlace { .. })
                    && self.open.as_ref().is_some_and(|it| !it.ends) =>
            {
                self.close(None);
                let kind = Kind::of(tokens, self.inside());
                (kind, self.statement(index, kind, tokens))
            }
            outcome => (kind, outcome),
        };
        let id = StatementId(self.tree.statements.len() as u32);
        let span = tokens.first().map_or(Span::default(), |first| {
            first.1.to(tokens[tokens.len() - 1].1)
        });
        let kind = match &outcome {
            Err(fault) => self.opens_all_the_same(index, fault).unwrap_or(kind),
            Ok(_) => kind,
        };
        let said = match outcome {
            Ok(said) => said,
            Err(fault) => {
                self.tree.faults.push(fault);
                StatementKind::Broken(broken(tokens, kind, self.inside()))
            }
        };
        self.tree.statements.push(Statement {
            span,
            description: cut.description,
            kind: said,
        });
        self.place(index, id, kind);
    }

    /// A misspelt `part`, `block`, `circuit` or `work` opens its body too, where the rest of the file says that one was meant.
    fn opens_all_the_same(&self, index: usize, fault: &Fault) -> Option<Kind> {
        let FaultKind::NotAStatement(Some(meant)) = fault.kind else {
            return None;
        };
        let kind = match meant {
            "part" => Kind::Part,
            "block" => Kind::Block,
            "circuit" => Kind::Circuit,
            "work" => Kind::Work,
            _ => return None,
        };
        (self.open.is_none() && (kind == Kind::Circuit || self.ends[index + 1])).then_some(kind)
    }

    /// Puts a statement into the bodies, and opens or closes one.
    fn place(&mut self, index: usize, id: StatementId, kind: Kind) {
        if kind == Kind::End && self.open.is_some() {
            self.close(Some(id));
            return;
        }
        if kind == Kind::Circuit {
            self.circuit = None;
        }
        if let Some(holder) = self.open.as_ref().map(|it| it.body).or(self.circuit) {
            self.tree.bodies[holder].inside.push(id);
        }
        if let Some(opened) = kind.opens() {
            let body = self.tree.bodies.len();
            self.tree.bodies.push(Body {
                kind: opened,
                head: id,
                inside: Vec::new(),
                end: None,
            });
            if opened == BodyKind::Circuit {
                self.circuit = Some(body);
            } else {
                self.open = Some(Open {
                    kind: opened,
                    body,
                    ends: self.ends[index + 1],
                });
            }
        }
    }

    /// Closes the open part, block or sheet; without its `end` that is a fault of its head, unless that has one already.
    fn close(&mut self, end: Option<StatementId>) {
        let Some(open) = self.open.take() else { return };
        let body = &mut self.tree.bodies[open.body];
        body.end = end;
        let head = &self.tree.statements[body.head.0 as usize];
        if end.is_none() && !matches!(head.kind, StatementKind::Broken(_)) {
            let last = body
                .inside
                .last()
                .map_or(head, |id| &self.tree.statements[id.0 as usize]);
            self.tree
                .faults
                .push(diagnose::missing_end(open.kind, head.span, last.span));
        }
    }

    fn inside(&self) -> Option<BodyKind> {
        self.open
            .as_ref()
            .map(|it| it.kind)
            .or(self.circuit.map(|_| BodyKind::Circuit))
    }

    /// Reads one statement in the body that is open.
    fn statement(
        &self,
        index: usize,
        kind: Kind,
        tokens: &'t [Token],
    ) -> Result<StatementKind, Fault> {
        let inside = self.inside();
        let line = Line {
            text: self.text,
            tokens,
            kind,
            inside,
            blocks: self.blocks,
        };
        if let Some((span, limit)) = limits::exceeded(self.text, tokens) {
            return Err(Fault::new(span, FaultKind::TooBig(limit)));
        }
        if let Some(fault) = line.never_right() {
            return Err(fault);
        }
        if kind == Kind::End && self.open.is_none() {
            return Err(line.stray_end());
        }
        if let Some(belongs) = kind.belongs(inside, self.circuits, index == 0) {
            return Err(line.wrong_place(belongs));
        }
        if kind == Kind::Property && self.is_of_a_circuit(tokens) {
            return Err(line.wrong_place("a circuit"));
        }
        let parsed = run(self.rule(&self.grammar, kind), tokens);
        match parsed {
            Ok(said) => match line.refused(&said) {
                None => Ok(said),
                Some(fault) => Err(fault),
            },
            Err(_)
                if kind == Kind::Equation
                    && line.is_of_a_circuit(|kind| self.reads(kind, tokens)) =>
            {
                Err(line.wrong_place("a circuit"))
            }
            Err(_) => {
                let telling = self.telling.get_or_init(|| Grammar::of(self.text));
                let expectation = run(self.rule(telling, kind), tokens).err();
                Err(line.fault(expectation.flatten()))
            }
        }
    }

    /// Whether a line inside a part can only be a statement of a circuit.
    fn is_of_a_circuit(&self, tokens: &'t [Token]) -> bool {
        let kind = Kind::of_statement(tokens);
        match kind {
            Kind::Unknown | Kind::Supply => false,
            _ => self.reads(kind, tokens),
        }
    }

    fn reads(&self, kind: Kind, tokens: &'t [Token]) -> bool {
        run(self.rule(&self.grammar, kind), tokens).is_ok()
    }

    fn rule<'g, E: Failure<'t>>(
        &self,
        grammar: &'g Grammar<'t, E>,
        kind: Kind,
    ) -> Option<&'g Rule<'t, StatementKind, E>> {
        Some(match kind {
            Kind::Version => &grammar.version,
            Kind::Use => &grammar.uses,
            Kind::Part => &grammar.part,
            Kind::Block => &grammar.block,
            Kind::Circuit => &grammar.circuit,
            Kind::Work => &grammar.work,
            Kind::End => &grammar.end,
            Kind::Property => &grammar.property,
            Kind::Equation => &grammar.equation,
            Kind::Path => &grammar.path,
            Kind::HeldSource => &grammar.held_source,
            Kind::CurrentSource => &grammar.current_source,
            Kind::Device => &grammar.device,
            Kind::Let => &grammar.define,
            Kind::Supply => &grammar.supply,
            Kind::Opamps => &grammar.opamps,
            Kind::Start => &grammar.start,
            Kind::Expect => &grammar.expect,
            Kind::Task => &grammar.task,
            Kind::Answer => &grammar.answer,
            Kind::Find => &grammar.find,
            Kind::Vary => &grammar.vary,
            Kind::Require => &grammar.require,
            Kind::Record => &grammar.record,
            Kind::Response => &grammar.response,
            Kind::Allow => &grammar.allow,
            Kind::Unknown => return None,
        })
    }
}

/// Runs a rule over a whole statement; without a rule that fails with no account.
fn run<'t, E: Failure<'t>>(
    rule: Option<&Rule<'t, StatementKind, E>>,
    tokens: &'t [Token],
) -> Result<StatementKind, Option<E>> {
    let end = tokens
        .last()
        .map_or(Span::default(), |last| Span::at(last.1.end));
    let rule = rule.ok_or(None)?;
    rule.parse(tokens.split_token_span(end))
        .into_result()
        .map_err(|errors| errors.into_iter().next())
}

fn broken(tokens: &[Token], kind: Kind, inside: Option<BodyKind>) -> Broken {
    Broken {
        opens: kind.opens(),
        wires: inside != Some(BodyKind::Work) && kind.wires(),
        names: tokens
            .iter()
            .filter(|(tok, _)| tok.is_ref())
            .map(|(_, span)| *span)
            .collect(),
    }
}
