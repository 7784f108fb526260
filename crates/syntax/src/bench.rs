//! Reading one statement: whether it can stand here, what it says, or why it cannot be read.

use std::cell::OnceCell;

use chumsky::error::{EmptyErr, Rich};
use chumsky::input::Input as _;
use chumsky::prelude::*;

use crate::diagnose::{Around, Blocks, Line};
use crate::grammar::{Failure, Grammar, Rule};
use crate::kind::Kind;
use crate::lexer::{Tok, Token};
use crate::limits;
use crate::{BodyKind, Fault, FaultKind, Span, StatementKind};

/// Why a statement failed: where, and what the grammar would have taken there.
pub(crate) type Expectation<'t> = Rich<'t, Tok, Span>;

/// What statements of a text are read with.
pub(crate) struct Bench<'t> {
    pub(crate) text: &'t str,
    pub(crate) blocks: &'t Blocks<'t>,
    /// Whether the file has any `circuit`.
    pub(crate) circuits: bool,
    /// What other lines of the file say.
    pub(crate) around: &'t Around<'t>,
    /// The grammar that only reads.
    grammar: Grammar<'t, EmptyErr>,
    /// The grammar that also tells what it expected: built for the first line that fails.
    telling: OnceCell<Grammar<'t, Expectation<'t>>>,
}

/// Where a statement stands.
#[derive(Clone, Copy)]
pub(crate) struct Standing {
    pub(crate) inside: Option<BodyKind>,
    /// Whether it is the first of its file.
    pub(crate) first: bool,
}

impl Standing {
    /// Whether a part, a block or a work sheet is open.
    fn is_in_a_body(self) -> bool {
        !matches!(self.inside, None | Some(BodyKind::Circuit))
    }
}

impl<'t> Bench<'t> {
    pub(crate) fn new(
        text: &'t str,
        blocks: &'t Blocks<'t>,
        circuits: bool,
        around: &'t Around<'t>,
    ) -> Bench<'t> {
        Bench {
            text,
            blocks,
            circuits,
            around,
            grammar: Grammar::of(text),
            telling: OnceCell::new(),
        }
    }

    /// Reads one statement.
    pub(crate) fn statement(
        &self,
        standing: Standing,
        tokens: &'t [Token],
    ) -> Result<StatementKind, Fault> {
        let kind = Kind::of(tokens, standing.inside);
        let line = self.line(standing, kind, tokens);
        if let Some((span, limit)) = limits::exceeded(self.text, tokens) {
            return Err(Fault::new(span, FaultKind::TooBig(limit)));
        }
        if let Some(fault) = line
            .numbered()
            .or_else(|| line.prose())
            .or_else(|| line.unquoted())
        {
            return Err(fault);
        }
        if let Some(fault) = line.never_right() {
            return Err(fault);
        }
        if kind == Kind::End && !standing.is_in_a_body() {
            return Err(line.stray_end());
        }
        if let Some(belongs) = kind.belongs(standing.inside, self.circuits, standing.first) {
            let head = || line.misspelt_head().filter(|_| kind == Kind::Device);
            return Err(head().unwrap_or_else(|| line.wrong_place(belongs)));
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
                let fault = line.wrong_place("a circuit");
                // A claim that reads as an equation is one too many words.
                let claimed =
                    tokens[0].0 == Tok::Expect && self.reads(Kind::Equation, &tokens[1..]);
                Err(match claimed {
                    true => fault.fix(line.without_the_first()),
                    false => fault,
                })
            }
            Err(_) => {
                let telling = self.telling.get_or_init(|| Grammar::of(self.text));
                let expectation = run(self.rule(telling, kind), tokens).err();
                Err(line.fault(expectation.flatten()))
            }
        }
    }

    pub(crate) fn line(&self, standing: Standing, kind: Kind, tokens: &'t [Token]) -> Line<'t> {
        Line {
            text: self.text,
            tokens,
            kind,
            inside: standing.inside,
            blocks: self.blocks,
            around: self.around,
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
