//! What statements are made of: names, numbers, texts, expressions.

use chumsky::input::InputRef;
use chumsky::prelude::*;
use chumsky::util::MaybeRef;

use super::{Failure, Input, Rule};
use crate::lexer::Tok;
use crate::{Comparison, Expr, ExprKind, Operator, Span};

/// What the grammar calls its terminals; [`crate::diagnose`] turns these into words with an example.
pub(crate) const NAME: &str = "a name";
pub(crate) const NODE: &str = "a node";
pub(crate) const NUMBER: &str = "a number";
pub(crate) const WHOLE: &str = "a whole number";
pub(crate) const QUANTITY: &str = "a value";
pub(crate) const TEXT: &str = "a text";
pub(crate) const CLAUSE: &str = "a clause";

/// One token of some kind, as its place; `label` says what was wanted.
fn one<'t, E: Failure<'t>>(
    fits: impl Fn(Tok) -> bool + 't,
    label: &'static str,
) -> Rule<'t, Span, E> {
    custom(
        move |input: &mut InputRef<'t, '_, Input<'t>, extra::Err<E>>| {
            let before = input.cursor();
            let found = input.next();
            let span = input.span_since(&before);
            match found {
                Some(tok) if fits(tok) => Ok(span),
                found => Err(E::expected_found([label], found.map(MaybeRef::Val), span)),
            }
        },
    )
    .boxed()
}

/// A NAME.
pub(super) fn name<'t, E: Failure<'t>>() -> Rule<'t, Span, E> {
    one(Tok::is_name, NAME)
}

/// A REF.
pub(super) fn reference<'t, E: Failure<'t>>() -> Rule<'t, Span, E> {
    one(Tok::is_ref, NAME)
}

/// A node; one inside a block is read too, so that the trouble can be told by its name.
pub(super) fn node<'t, E: Failure<'t>>() -> Rule<'t, Span, E> {
    one(Tok::is_ref, NODE)
}

pub(super) fn number<'t, E: Failure<'t>>() -> Rule<'t, Span, E> {
    one(|tok| matches!(tok, Tok::Whole | Tok::Decimal), NUMBER)
}

pub(super) fn string<'t, E: Failure<'t>>() -> Rule<'t, Span, E> {
    one(|tok| tok == Tok::Text, TEXT)
}

pub(super) fn strings<'t, E: Failure<'t>>() -> Rule<'t, Vec<Span>, E> {
    string().repeated().at_least(1).collect().boxed()
}

pub(super) fn points<'t, E: Failure<'t>>() -> Rule<'t, Option<Span>, E> {
    just(Tok::Points).ignore_then(number()).or_not().boxed()
}

pub(super) fn list<'t, E: Failure<'t>>(expr: Rule<'t, Expr, E>) -> Rule<'t, Vec<Expr>, E> {
    expr.separated_by(just(Tok::Comma))
        .at_least(1)
        .collect()
        .boxed()
}

pub(super) fn equation<'t, E: Failure<'t>>(expr: Rule<'t, Expr, E>) -> Rule<'t, (Expr, Expr), E> {
    expr.clone()
        .then_ignore(just(Tok::Equals))
        .then(expr)
        .boxed()
}

pub(super) fn comparison<'t, E: Failure<'t>>() -> Rule<'t, Comparison, E> {
    choice((
        just(Tok::Less).to(Comparison::Less),
        just(Tok::Greater).to(Comparison::Greater),
        just(Tok::AtMost).to(Comparison::AtMost),
        just(Tok::AtLeast).to(Comparison::AtLeast),
    ))
    .boxed()
}

pub(super) fn quantity<'t, E: Failure<'t>>() -> Rule<'t, Expr, E> {
    one(Tok::is_quantity, QUANTITY)
        .map(|span| Expr {
            span,
            kind: ExprKind::Quantity,
        })
        .boxed()
}

/// `( … )`; the bracket may touch the word before it.
fn brackets<'t, E: Failure<'t>>(expr: Rule<'t, Expr, E>) -> Rule<'t, Expr, E> {
    choice((just(Tok::Open), just(Tok::Call)))
        .ignore_then(expr)
        .then_ignore(just(Tok::Close))
        .map_with(|inner, it| Expr {
            span: it.span(),
            kind: ExprKind::Brackets(Box::new(inner)),
        })
        .boxed()
}

/// A quantity, or an expression in brackets.
pub(super) fn value<'t, E: Failure<'t>>(expr: Rule<'t, Expr, E>) -> Rule<'t, Expr, E> {
    quantity().or(brackets(expr)).boxed()
}

pub(super) fn expression<'t, E: Failure<'t>>(text: &'t str) -> Rule<'t, Expr, E> {
    recursive(|expr| {
        let expr: Rule<'t, Expr, E> = expr.boxed();
        let arguments = just(Tok::Call)
            .ignore_then(list(expr.clone()))
            .then_ignore(just(Tok::Close));
        let named = reference()
            .then(arguments.or_not())
            .map_with(|(name, arguments), it| match arguments {
                Some(arguments) => Expr {
                    span: it.span(),
                    kind: ExprKind::Call(name, arguments),
                },
                None => Expr {
                    span: name,
                    kind: ExprKind::Ref,
                },
            });
        let primary = choice((quantity(), named, brackets(expr))).boxed();
        let exponent = just(Tok::Caret)
            .ignore_then(just(Tok::Minus).or_not())
            .then(one(|tok| tok == Tok::Whole, WHOLE))
            .map(|(minus, digits)| (minus.is_some(), digits));
        let power = primary
            .then(exponent.or_not())
            .map_with(move |(base, exponent), it| match exponent {
                None => base,
                Some((negative, digits)) => {
                    // Limits were checked before: it fits.
                    let size = digits.of(text).parse::<i32>().unwrap_or(i32::MAX);
                    let power = if negative { -size } else { size };
                    Expr {
                        span: it.span(),
                        kind: ExprKind::Power(Box::new(base), power),
                    }
                }
            })
            .boxed();
        let minus = just(Tok::Minus).map_with(|_, it| -> Span { it.span() });
        let unary = minus
            .repeated()
            .foldr(power, move |minus: Span, of: Expr| {
                let span = minus.to(of.span);
                match of.kind {
                    // A sign before decibels belongs to them.
                    ExprKind::Quantity
                        if of.span.of(text).ends_with("dB") && !signed(of.span, text) =>
                    {
                        Expr {
                            span,
                            kind: ExprKind::Quantity,
                        }
                    }
                    _ => Expr {
                        span,
                        kind: ExprKind::Negative(Box::new(of)),
                    },
                }
            })
            .boxed();
        let product = chain(
            unary,
            [(Tok::Star, Operator::Times), (Tok::Slash, Operator::Over)],
        );
        chain(
            product,
            [(Tok::Plus, Operator::Plus), (Tok::Minus, Operator::Minus)],
        )
    })
    .boxed()
}

fn signed(span: Span, text: &str) -> bool {
    span.of(text).starts_with(['-', '−'])
}

/// Operands joined by two operators of equal strength, from left to right.
fn chain<'t, E: Failure<'t>>(
    operand: Rule<'t, Expr, E>,
    signs: [(Tok, Operator); 2],
) -> Rule<'t, Expr, E> {
    let [(first, one), (second, other)] = signs;
    let sign = just(first)
        .to(one)
        .or(just(second).to(other))
        .map_with(|operator, it| (operator, it.span()));
    operand
        .clone()
        .foldl(
            sign.then(operand).repeated(),
            |left: Expr, ((operator, sign), right): ((Operator, Span), Expr)| Expr {
                span: left.span.to(right.span),
                kind: ExprKind::Binary {
                    operator,
                    sign,
                    left: Box::new(left),
                    right: Box::new(right),
                },
            },
        )
        .boxed()
}
