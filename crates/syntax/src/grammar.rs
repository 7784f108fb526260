//! The grammar, written once and generic over its errors: without them it is fast, with them it tells what was expected.
//!
//! Each rule reads one whole statement. A word that is complete as an operand ends its expression, so the words of a
//! statement need no reserving.

mod terms;

use std::ops::Range;

use chumsky::error::Error;
use chumsky::input::MappedInput;
use chumsky::label::LabelError;
use chumsky::prelude::*;

pub(crate) use terms::{CLAUSE, NAME, NODE, NUMBER, QUANTITY, TEXT, WHOLE};
use terms::{
    comparison, equation, expression, list, name, node, number, points, quantity, reference,
    string, strings, value,
};

use crate::lexer::{Tok, Token};
use crate::{
    Argument, Clause, Device, Drive, DriveKind, Element, Expect, Expr, PathItem, Port, Property,
    PropertyForm, Rail, Source, SourceForm, Span, StateClaim, StatementKind, VaryRange, WaveShape,
};

/// A statement's tokens as the grammar reads them.
pub(crate) type Input<'t> = MappedInput<'t, Tok, Span, &'t [Token]>;

/// What a rule may fail with: nothing at all, or a full account.
pub(crate) trait Failure<'t>:
    Error<'t, Input<'t>> + LabelError<'t, Input<'t>, &'static str> + 't
{
}
impl<'t, E: Error<'t, Input<'t>> + LabelError<'t, Input<'t>, &'static str> + 't> Failure<'t> for E {}

/// A rule. Every one is boxed: that halves the time to compile them.
pub(crate) type Rule<'t, T, E> = Boxed<'t, 't, Input<'t>, T, extra::Err<E>>;

type Statement<'t, E> = Rule<'t, StatementKind, E>;

impl chumsky::span::Span for Span {
    type Context = ();
    type Offset = u32;

    fn new((): (), range: Range<u32>) -> Span {
        Span {
            start: range.start,
            end: range.end,
        }
    }

    fn context(&self) {}

    fn start(&self) -> u32 {
        self.start
    }

    fn end(&self) -> u32 {
        self.end
    }
}

/// One rule for each kind of statement.
pub(crate) struct Grammar<'t, E: Failure<'t>> {
    pub(crate) version: Statement<'t, E>,
    pub(crate) uses: Statement<'t, E>,
    pub(crate) part: Statement<'t, E>,
    pub(crate) block: Statement<'t, E>,
    pub(crate) circuit: Statement<'t, E>,
    pub(crate) work: Statement<'t, E>,
    pub(crate) end: Statement<'t, E>,
    pub(crate) property: Statement<'t, E>,
    pub(crate) equation: Statement<'t, E>,
    pub(crate) path: Statement<'t, E>,
    pub(crate) held_source: Statement<'t, E>,
    pub(crate) current_source: Statement<'t, E>,
    pub(crate) device: Statement<'t, E>,
    pub(crate) define: Statement<'t, E>,
    pub(crate) supply: Statement<'t, E>,
    pub(crate) opamps: Statement<'t, E>,
    pub(crate) start: Statement<'t, E>,
    pub(crate) expect: Statement<'t, E>,
    pub(crate) task: Statement<'t, E>,
    pub(crate) answer: Statement<'t, E>,
    pub(crate) find: Statement<'t, E>,
    pub(crate) vary: Statement<'t, E>,
    pub(crate) require: Statement<'t, E>,
    pub(crate) record: Statement<'t, E>,
    pub(crate) response: Statement<'t, E>,
    pub(crate) allow: Statement<'t, E>,
}

impl<'t, E: Failure<'t>> Grammar<'t, E> {
    /// The grammar for statements of this text.
    pub(crate) fn of(text: &'t str) -> Self {
        let expr = expression(text);
        let value = value(expr.clone());
        let rails = rails(value.clone());
        let (held_source, current_source) = sources(text, expr.clone());
        Grammar {
            version: just(Tok::Ampersum)
                .ignore_then(number())
                .map(StatementKind::Version)
                .boxed(),
            uses: just(Tok::Use)
                .ignore_then(string())
                .map(StatementKind::Use)
                .boxed(),
            part: just(Tok::Part)
                .ignore_then(name())
                .map(StatementKind::Part)
                .boxed(),
            block: block(expr.clone()),
            circuit: just(Tok::Circuit)
                .ignore_then(name())
                .then(string().repeated().collect())
                .map(|(name, title)| StatementKind::Circuit { name, title })
                .boxed(),
            work: just(Tok::Work)
                .ignore_then(string().repeated().collect())
                .then(just(Tok::For).ignore_then(name()).or_not())
                .map(|(label, circuit)| StatementKind::Work { label, circuit })
                .boxed(),
            end: just(Tok::End).to(StatementKind::End).boxed(),
            property: property(expr.clone()),
            equation: equation(expr.clone())
                .map(|(left, right)| StatementKind::Equation {
                    left: Box::new(left),
                    right: Box::new(right),
                })
                .boxed(),
            path: path(value.clone()),
            held_source,
            current_source,
            device: device(text, value, rails.clone()),
            define: just(Tok::Let)
                .ignore_then(name())
                .then_ignore(just(Tok::Equals))
                .then(expr.clone())
                .map(|(name, value)| StatementKind::Let { name, value })
                .boxed(),
            supply: just(Tok::Supply)
                .ignore_then(rails)
                .map(StatementKind::Supply)
                .boxed(),
            opamps: just(Tok::Opamps)
                .ignore_then(just(Tok::Are))
                .ignore_then(name())
                .map(StatementKind::OpampsAre)
                .boxed(),
            start: just(Tok::Start)
                .ignore_then(equation(expr.clone()))
                .map(|(of, value)| StatementKind::Start {
                    of: Box::new(of),
                    value: Box::new(value),
                })
                .boxed(),
            expect: expect(expr.clone()),
            task: task(),
            answer: just(Tok::Answer)
                .ignore_then(strings())
                .map(StatementKind::Answer)
                .boxed(),
            find: just(Tok::Find)
                .ignore_then(list(expr.clone()))
                .then(points())
                .map(|(exprs, points)| StatementKind::Find { exprs, points })
                .boxed(),
            vary: vary(expr.clone()),
            require: just(Tok::Require)
                .ignore_then(expr.clone())
                .then(comparison())
                .then(expr.clone())
                .map(|((left, sign), right)| StatementKind::Require {
                    left: Box::new(left),
                    sign,
                    right: Box::new(right),
                })
                .boxed(),
            record: just(Tok::Record)
                .ignore_then(list(expr.clone()))
                .then_ignore(just(Tok::For))
                .then(expr.clone())
                .map(|(exprs, time)| StatementKind::Record {
                    exprs,
                    time: Box::new(time),
                })
                .boxed(),
            response: just(Tok::Response)
                .ignore_then(expr.clone())
                .then(
                    just(Tok::Driven)
                        .ignore_then(just(Tok::By))
                        .ignore_then(reference())
                        .or_not(),
                )
                .then(just(Tok::From).ignore_then(expr.clone()))
                .then(just(Tok::To).ignore_then(expr))
                .map(|(((of, driven_by), from), to)| StatementKind::Response {
                    of: Box::new(of),
                    driven_by,
                    from: Box::new(from),
                    to: Box::new(to),
                })
                .boxed(),
            allow: just(Tok::Allow)
                .ignore_then(name())
                .then(just(Tok::At).ignore_then(reference()))
                .then(just(Tok::Colon).ignore_then(strings()))
                .map(|((rule, at), reason)| StatementKind::Allow { rule, at, reason })
                .boxed(),
        }
    }
}

fn block<'t, E: Failure<'t>>(expr: Rule<'t, Expr, E>) -> Statement<'t, E> {
    let port = name()
        .then(just(Tok::Equals).ignore_then(expr).or_not())
        .map(|(name, default)| Port { name, default })
        .boxed();
    just(Tok::Block)
        .ignore_then(name())
        .then_ignore(just(Tok::Colon))
        .then(port.separated_by(just(Tok::Comma)).at_least(1).collect())
        .map(|(name, ports)| StatementKind::Block { name, ports })
        .boxed()
}

/// A property takes the first of its forms that fills the line: a name, a value or a range, named values.
fn property<'t, E: Failure<'t>>(expr: Rule<'t, Expr, E>) -> Statement<'t, E> {
    let lone = name().map(PropertyForm::Name).then_ignore(end());
    let range = expr
        .clone()
        .then(just(Tok::To).ignore_then(expr.clone()).or_not())
        .map(|(from, to)| match to {
            Some(to) => PropertyForm::Range(from, to),
            None => PropertyForm::Value(from),
        })
        .then_ignore(end());
    let pair = name()
        .then(expr.clone())
        .map(|(word, value)| (Some(word), value))
        .boxed();
    let first = pair.clone().or(expr.map(|value| (None, value)));
    let named = first
        .then(
            just(Tok::Comma)
                .ignore_then(pair)
                .repeated()
                .collect::<Vec<_>>(),
        )
        .map(|(first, others)| PropertyForm::Named(std::iter::once(first).chain(others).collect()));
    name()
        .then(choice((lone, range, named)))
        .map(|(word, form)| StatementKind::Property(Box::new(Property { word, form })))
        .boxed()
}

fn path<'t, E: Failure<'t>>(value: Rule<'t, Expr, E>) -> Statement<'t, E> {
    let element = value.then(quantity().repeated().collect());
    let item = node()
        .then(element.or_not())
        .map(|(name, element)| match element {
            Some((value, extras)) => {
                let extras: Vec<Expr> = extras;
                let span = name.to(extras.last().map_or(value.span, |it| it.span));
                PathItem::Element(Box::new(Element {
                    span,
                    name,
                    value,
                    extras,
                }))
            }
            None => PathItem::Node(name),
        });
    item.separated_by(just(Tok::Wire))
        .at_least(2)
        .collect::<Vec<_>>()
        .filter(|items| alternates(items))
        .map(|mut items| {
            items.shrink_to_fit();
            StatementKind::Path(items)
        })
        .boxed()
}

/// Whether nodes stand at both ends and no two of them touch.
fn alternates(items: &[PathItem]) -> bool {
    let is_node = |item: &PathItem| matches!(item, PathItem::Node(_));
    items.first().is_some_and(is_node)
        && items.last().is_some_and(is_node)
        && items.windows(2).all(|pair| !pair.iter().all(is_node))
}

fn sources<'t, E: Failure<'t>>(
    text: &'t str,
    expr: Rule<'t, Expr, E>,
) -> (Statement<'t, E>, Statement<'t, E>) {
    let drive = drive(expr);
    let head = just(Tok::Source)
        .ignore_then(name())
        .then_ignore(just(Tok::Colon))
        .boxed();
    let side = node().filter(move |it| it.of(text) != "ground").boxed();
    let held = head
        .clone()
        .then(side.clone())
        .then(just(Tok::Minus).ignore_then(side).or_not())
        .then_ignore(just(Tok::Equals))
        .then(drive.clone())
        .map(|(((name, plus), minus), drive)| {
            StatementKind::Source(Box::new(Source {
                name,
                form: SourceForm::Held { plus, minus },
                drive,
            }))
        })
        .boxed();
    let current = head
        .then(drive)
        .then(just(Tok::From).ignore_then(node()))
        .then(just(Tok::Into).ignore_then(node()))
        .map(|(((name, drive), from), into)| {
            StatementKind::Source(Box::new(Source {
                name,
                form: SourceForm::Current { from, into },
                drive,
            }))
        })
        .boxed();
    (held, current)
}

fn drive<'t, E: Failure<'t>>(expr: Rule<'t, Expr, E>) -> Rule<'t, Drive, E> {
    let is_wave = |tok: &Tok| {
        matches!(
            tok,
            Tok::Sine | Tok::Square | Tok::Triangle | Tok::Step | Tok::Through
        )
    };
    // Followed by one of these, the word is a node's name.
    let names_a_node = |tok: &Tok| {
        matches!(
            tok,
            Tok::From | Tok::Into | Tok::Star | Tok::Slash | Tok::Caret
        )
    };
    let wave_begins = any()
        .filter(is_wave)
        .then(any().filter(move |tok| !names_a_node(tok)))
        .rewind();
    let linear = wave_begins
        .not()
        .ignore_then(expr.clone())
        .map(DriveKind::Linear);
    let wave = wave_begins.ignore_then(wave(expr));
    choice((linear, wave))
        .map_with(|kind, it| Drive {
            span: it.span(),
            kind,
        })
        .boxed()
}

fn wave<'t, E: Failure<'t>>(expr: Rule<'t, Expr, E>) -> Rule<'t, DriveKind, E> {
    let shape = choice((
        just(Tok::Sine).to(WaveShape::Sine),
        just(Tok::Square).to(WaveShape::Square),
        just(Tok::Triangle).to(WaveShape::Triangle),
    ));
    let option = choice((just(Tok::Offset), just(Tok::Phase), just(Tok::Duty))).then(expr.clone());
    let periodic = shape
        .then(expr.clone())
        .then(just(Tok::At).ignore_then(expr.clone()))
        .then(option.repeated().collect::<Vec<_>>())
        .filter(|(_, options): &(_, Vec<(Tok, Expr)>)| {
            options
                .iter()
                .enumerate()
                .all(|(at, (word, _))| options[..at].iter().all(|(before, _)| before != word))
        })
        .map(|(((shape, size), frequency), mut options)| {
            let mut take = |word| {
                let at = options.iter().position(|(tok, _)| *tok == word)?;
                Some(options.swap_remove(at).1)
            };
            let (offset, phase, duty) = (take(Tok::Offset), take(Tok::Phase), take(Tok::Duty));
            DriveKind::Periodic {
                shape,
                size,
                frequency,
                offset,
                phase,
                duty,
            }
        });
    let step = just(Tok::Step)
        .ignore_then(expr.clone())
        .then(just(Tok::To).ignore_then(expr.clone()))
        .then(just(Tok::At).ignore_then(expr.clone()))
        .map(|((from, to), at)| DriveKind::Step { from, to, at });
    let corner = expr.clone().then(just(Tok::At).ignore_then(expr)).boxed();
    let through = just(Tok::Through)
        .ignore_then(corner.separated_by(just(Tok::Comma)).at_least(1).collect())
        .map(DriveKind::Through);
    choice((periodic, step, through)).boxed()
}

fn device<'t, E: Failure<'t>>(
    text: &'t str,
    value: Rule<'t, Expr, E>,
    rails: Rule<'t, Vec<Rail>, E>,
) -> Statement<'t, E> {
    let argument = choice((node().map(Argument::Name), value.map(Argument::Value)));
    let supply = just(Tok::Supply)
        .map_with(|_, it| it.span())
        .then(rails.map(Argument::Rails));
    let other = name().then(argument.or_not().map(|it| it.unwrap_or(Argument::None)));
    let clause = choice((supply, other))
        .map_with(|(word, argument), it| Clause {
            span: it.span(),
            word,
            argument,
        })
        .labelled(CLAUSE)
        .boxed();
    name()
        .then(name())
        .then_ignore(just(Tok::Colon))
        .then(
            clause
                .separated_by(just(Tok::Comma))
                .at_least(1)
                .collect::<Vec<_>>(),
        )
        .filter(move |((kind, _), clauses)| {
            clauses.iter().all(|it| !lacks_argument(text, *kind, it))
        })
        .map(|((kind, name), clauses)| {
            StatementKind::Device(Device {
                kind,
                name,
                clauses,
            })
        })
        .boxed()
}

/// Whether a clause says nothing after its word though it must. Only a switch has clauses of one word.
fn lacks_argument(text: &str, kind: Span, clause: &Clause) -> bool {
    let speaks_alone = match clause.word.of(text) {
        "open" | "closed" => true,
        word => kind.of(text) == "switch" && word != "from" && word != "to",
    };
    matches!(clause.argument, Argument::None) && !speaks_alone
}

fn rails<'t, E: Failure<'t>>(value: Rule<'t, Expr, E>) -> Rule<'t, Vec<Rail>, E> {
    let sign = choice((just(Tok::Plus).to(false), just(Tok::Minus).to(true)));
    let held = sign
        .or_not()
        .then(value)
        .map_with(|(negative, value), it| Rail::Value {
            span: it.span(),
            negative: negative == Some(true),
            value,
        });
    let rail = choice((held, node().map(Rail::Node))).boxed();
    rail.clone()
        .then(just(Tok::And).ignore_then(rail).or_not())
        .map(|(first, second)| std::iter::once(first).chain(second).collect())
        .boxed()
}

fn expect<'t, E: Failure<'t>>(expr: Rule<'t, Expr, E>) -> Statement<'t, E> {
    let within = just(Tok::Within).ignore_then(expr.clone()).or_not().boxed();
    let finding = just(Tok::Finding)
        .ignore_then(name())
        .then(just(Tok::At).ignore_then(reference()))
        .map(|(rule, at)| Expect::Finding { rule, at });
    let high = choice((just(Tok::High).to(true), just(Tok::Low).to(false))).boxed();
    let goes = just(Tok::Goes)
        .ignore_then(high.clone())
        .then(just(Tok::At).ignore_then(name()))
        .then(just(Tok::Equals).ignore_then(expr.clone()))
        .then(within.clone())
        .map(|(((high, node), at), within)| StateClaim::Goes {
            high,
            node,
            at,
            within,
        });
    let rail = just(Tok::At)
        .ignore_then(high)
        .then_ignore(just(Tok::Rail))
        .map(|high| StateClaim::AtRail { high });
    let state = choice((
        just(Tok::Linear).to(StateClaim::Linear),
        just(Tok::Latches).to(StateClaim::Latches),
        just(Tok::Oscillates).to(StateClaim::Oscillates),
        rail,
        goes,
    ));
    // Where the line goes on, the word was a node's name: `expect always linear = 1 V`.
    let state = reference()
        .then(state)
        .then_ignore(end())
        .map(|(of, state)| Expect::State { of, state });
    let equal = equation(expr.clone())
        .then(just(Tok::At).ignore_then(expr).or_not())
        .then(within)
        .boxed();
    let always = just(Tok::Always)
        .map_with(|_, it| Some(it.span()))
        .then(equal.clone());
    let claim = choice((always, equal.map(|it| (None, it)))).map(
        |(always, (((left, right), at), within))| Expect::Equal {
            always,
            left,
            right,
            at,
            within,
        },
    );
    just(Tok::Expect)
        .ignore_then(choice((finding, state, claim)))
        .map(|it| StatementKind::Expect(Box::new(it)))
        .boxed()
}

fn task<'t, E: Failure<'t>>() -> Statement<'t, E> {
    choice((just(Tok::Problem).to(false), just(Tok::Ask).to(true)))
        .then(strings())
        .then(points())
        .map(|((ask, texts), points)| StatementKind::Task { ask, texts, points })
        .boxed()
}

fn vary<'t, E: Failure<'t>>(expr: Rule<'t, Expr, E>) -> Statement<'t, E> {
    enum Step {
        By(Expr),
        In(Span),
    }
    let among = just(Tok::Among)
        .ignore_then(list(expr.clone()))
        .map(VaryRange::Among);
    let step = choice((
        just(Tok::By).ignore_then(expr.clone()).map(Step::By),
        just(Tok::In).ignore_then(name()).map(Step::In),
    ));
    let range = just(Tok::From)
        .ignore_then(expr.clone())
        .then(just(Tok::To).ignore_then(expr))
        .then(step)
        .map(|((from, to), step)| match step {
            Step::By(step) => VaryRange::By(from, to, step),
            Step::In(series) => VaryRange::In(from, to, series),
        });
    just(Tok::Vary)
        .ignore_then(reference())
        .then(choice((among, range)))
        .map(|(of, range)| StatementKind::Vary {
            of,
            range: Box::new(range),
        })
        .boxed()
}
