//! Expressions: names resolved, dimensions checked, constants worked out over exact rationals.

use syntax::{Dimension, Expr, ExprKind, Form, Number, Operator, Span, quantity};

use crate::model::*;
use crate::scope::{Builder, What, replace};
use crate::{FaultKind, series};

/// How deep expressions may nest, with brackets 64 deep and all signs around them.
const DEPTH: usize = 400;

/// How many operands one line of a work sheet may have with its names written out.
const MOST_OPERANDS: usize = 10_000;

/// What an expression may read.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(crate) enum Reads {
    /// Values only: `let`, elements.
    Values,
    /// Node voltages too, but for these two: the drive of a source.
    Voltages([NodeId; 2]),
    /// Voltages, currents, powers: claims and tasks.
    Answers,
}

/// An expression with what is known of its value.
#[derive(Clone, Debug)]
pub(crate) struct Typed {
    pub formula: Formula,
    pub dimension: Dimension,
    /// A literal 0, which fits any dimension.
    pub zero: bool,
    /// A number written without a unit.
    pub plain: bool,
    /// Written in decibels: stands alone.
    pub decibel: bool,
    pub span: Span,
}

impl Typed {
    fn constant(number: Number, dimension: Dimension, span: Span) -> Typed {
        Typed {
            formula: Formula::Number(number),
            dimension,
            zero: false,
            plain: false,
            decibel: false,
            span,
        }
    }

    /// The constant that it is, where it is one.
    pub fn number(&self) -> Option<&Number> {
        match &self.formula {
            Formula::Number(number) => Some(number),
            _ => None,
        }
    }
}

impl<'t> Builder<'t> {
    /// A constant of the given dimension, or a fault at its word. With `above_zero` it must be so.
    pub(crate) fn constant(
        &mut self,
        frame: usize,
        expr: &'t Expr,
        dimension: Dimension,
    ) -> Option<Number> {
        let typed = self.formula(frame, expr, Reads::Values)?;
        self.of_dimension(frame, &typed, dimension)?;
        typed.number().cloned()
    }

    /// A constant above zero.
    pub(crate) fn positive(
        &mut self,
        frame: usize,
        expr: &'t Expr,
        dimension: Dimension,
    ) -> Option<Number> {
        let number = self.constant(frame, expr, dimension)?;
        if number.to_f64() > 0.0 {
            return Some(number);
        }
        self.fault(frame, expr.span, FaultKind::NotPositive);
        None
    }

    /// Checks a dimension; `0` fits any.
    pub(crate) fn of_dimension(
        &mut self,
        frame: usize,
        typed: &Typed,
        needed: Dimension,
    ) -> Option<()> {
        if typed.zero || typed.dimension == needed || self.in_sheet && typed.plain {
            return Some(());
        }
        let kind = FaultKind::UnitNeeded {
            needed,
            found: typed.dimension,
        };
        let written = typed.span.of(self.text(frame));
        let fixes = match needed.unit() {
            Some(unit) if typed.plain => {
                Some(replace(typed.span, format!("{written} {unit}"), true))
            }
            _ => self.in_unit(frame, typed.span, needed),
        };
        let number = match needed {
            Dimension::NONE => self.without_unit(frame, typed.span),
            _ => None,
        };
        let fixes = fixes.into_iter().chain(number);
        self.fault(frame, typed.span, kind).fixes.extend(fixes);
        None
    }

    /// `100000 V` where a plain number is needed.
    pub(crate) fn without_unit(&self, frame: usize, span: Span) -> Option<syntax::Fix> {
        let it = quantity::read(self.text(frame), span).ok()?;
        let number = format!("{}", it.value.to_f64());
        (it.form == Form::Unit).then(|| replace(span, number, false))
    }

    /// The same digits and prefix with the unit that is needed: `1 mA` → `1 mV`; of `100k`, the prefix that means ohms alone.
    pub(crate) fn in_unit(
        &self,
        frame: usize,
        span: Span,
        needed: Dimension,
    ) -> Option<syntax::Fix> {
        let text = self.text(frame);
        let it = quantity::read(text, span).ok()?;
        let (unit, own) = (it.unit?, it.dimension.unit()?);
        // Nobody writes kilofarads or microohms, nor volts or ohms for a rating: such a number was meant for something else.
        let other_thing = match needed {
            Dimension::FARAD | Dimension::HENRY => {
                matches!(it.dimension, Dimension::OHM | Dimension::VOLT)
            }
            Dimension::OHM => matches!(it.dimension, Dimension::FARAD | Dimension::HENRY),
            Dimension::WATT => matches!(it.dimension, Dimension::OHM | Dimension::VOLT),
            _ => false,
        };
        if other_thing {
            return None;
        }
        let written = unit.of(text);
        let bare = |unit: &&str| matches!(*unit, "k" | "M" | "G");
        let prefix = ["ohm", "\u{3A9}", "\u{2126}", own]
            .iter()
            .find_map(|it| written.strip_suffix(it))
            .or(Some(written).filter(bare))?;
        let may_have_prefix = !matches!(needed, Dimension::DEGREE | Dimension::VOLT_PER_SECOND);
        if it.form != Form::Unit || !prefix.is_empty() && !may_have_prefix {
            return None;
        }
        let digits = it.number.of(text);
        let quantity = match needed.unit()? {
            "ohm" if bare(&prefix) => format!("{digits}{prefix}"),
            unit => format!("{digits} {prefix}{unit}"),
        };
        Some(replace(it.number.to(unit), quantity, false))
    }

    /// Resolves and checks an expression. `None`: a fault says why, or it rests on a broken line.
    pub(crate) fn formula(&mut self, frame: usize, expr: &'t Expr, reads: Reads) -> Option<Typed> {
        if self.depth >= DEPTH {
            let limit = FaultKind::TooBig("400 expressions inside each other");
            self.fault(frame, expr.span, limit);
            return None;
        }
        let mut inside = expr;
        while let ExprKind::Brackets(inner) = &inside.kind {
            inside = inner;
        }
        self.depth += 1;
        let typed = self.formula_inside(frame, inside, reads);
        self.depth -= 1;
        self.finite(frame, expr.span, typed?)
    }

    /// What an expression came to, unless it is no number any more.
    fn finite(&mut self, frame: usize, span: Span, typed: Typed) -> Option<Typed> {
        if let Some(Number::Rounded { value, .. }) = typed.number()
            && !value.is_finite()
        {
            self.fault(frame, span, FaultKind::TooBig("what a number can hold"));
            return None;
        }
        Some(Typed { span, ..typed })
    }

    fn formula_inside(&mut self, frame: usize, expr: &'t Expr, reads: Reads) -> Option<Typed> {
        match &expr.kind {
            ExprKind::Quantity => self.quantity(frame, expr.span, false),
            ExprKind::Negative(inner) if matches!(inner.kind, ExprKind::Quantity) => {
                self.quantity(frame, inner.span, true)
            }
            ExprKind::Negative(inner) => {
                let (mut inner, mut odd) = (&**inner, true);
                while let ExprKind::Negative(next) = &inner.kind
                    && !matches!(next.kind, ExprKind::Quantity)
                {
                    (inner, odd) = (next, !odd);
                }
                let it = self.alone(frame, inner, reads)?;
                let formula = match it.formula {
                    formula if !odd => formula,
                    Formula::Number(number) => Formula::Number(number.neg()),
                    other => Formula::Negative(Box::new(other)),
                };
                Some(Typed { formula, ..it })
            }
            ExprKind::Brackets(inner) => self.formula(frame, inner, reads),
            ExprKind::Ref => self.reference(frame, expr.span, reads),
            ExprKind::Power(base, exponent) => self.power(frame, base, *exponent, reads),
            ExprKind::Binary { .. } => self.chain(frame, expr, reads),
            ExprKind::Call(name, arguments) => self.call(frame, *name, arguments, reads, expr.span),
        }
    }

    /// Sums and products nest to the left: they are worked out from there on, without recursion.
    fn chain(&mut self, frame: usize, expr: &'t Expr, reads: Reads) -> Option<Typed> {
        let mut first = expr;
        let mut chain = Vec::new();
        while let ExprKind::Binary {
            operator,
            left,
            right,
            ..
        } = &first.kind
        {
            chain.push((first.span, *operator, &**left, &**right));
            first = left;
        }
        let mut sum = None;
        for (index, (span, operator, left, right)) in chain.into_iter().rev().enumerate() {
            if self.is_unit_apart(frame, operator, left, right) {
                sum = None;
                continue;
            }
            if index == 0 {
                sum = self.alone(frame, left, reads);
            }
            let right = self.alone(frame, right, reads);
            sum = sum.take().zip(right).and_then(|(left, right)| {
                let typed = self.binary(frame, operator, left, right, span)?;
                self.finite(frame, span, typed)
            });
        }
        sum
    }

    /// `6 V / us`: a unit with blanks, told as the unknown name that it is, with the unit as the way out.
    fn is_unit_apart(
        &mut self,
        frame: usize,
        operator: Operator,
        left: &Expr,
        right: &Expr,
    ) -> bool {
        let text = self.text(frame);
        let (a, b) = (left.span.of(text), right.span.of(text));
        let apart = operator == Operator::Over
            && matches!(
                (&left.kind, &right.kind),
                (ExprKind::Quantity, ExprKind::Ref)
            )
            && a.ends_with('V')
            && matches!(b, "us" | "ms" | "ns" | "s" | "V" | "mV" | "uV")
            && self.find(frame, b).is_none();
        if apart {
            let joined = format!("{a}/{b}");
            self.unknown_name(frame, right.span, "value");
            if let Some(fault) = self.faults.last_mut() {
                fault.fixes = vec![replace(left.span.to(right.span), joined, true)];
            }
        }
        apart
    }

    /// An operand: decibels do not stand in sums and products.
    fn alone(&mut self, frame: usize, expr: &'t Expr, reads: Reads) -> Option<Typed> {
        let it = self.formula(frame, expr, reads)?;
        if it.decibel {
            self.fault(frame, expr.span, FaultKind::UnitMisplaced("dB"));
            return None;
        }
        Some(it)
    }

    fn quantity(&mut self, frame: usize, span: Span, negative: bool) -> Option<Typed> {
        // A number that cannot be read has its fault of reading already.
        let it = quantity::read(self.text(frame), span).ok()?;
        let misplaced = match it.form {
            Form::PeakToPeak => Some("Vpp"),
            Form::RootMeanSquare => Some("Vrms"),
            _ => None,
        };
        if let Some(unit) = misplaced {
            self.fault(frame, span, FaultKind::UnitMisplaced(unit));
            return None;
        }
        let decibel = it.form == Form::Decibel;
        let number = match (negative, decibel) {
            (false, _) => it.value,
            (true, false) => it.value.neg(),
            // −3 dB is the ratio 10^(−3/20), not a negative one.
            (true, true) => Number::ONE.div(&it.value)?,
        };
        let zero = it.form == Form::Plain && number.is_zero();
        Some(Typed {
            formula: Formula::Number(number),
            dimension: it.dimension,
            zero,
            plain: it.form == Form::Plain && !zero,
            decibel,
            span,
        })
    }

    fn reference(&mut self, frame: usize, name: Span, reads: Reads) -> Option<Typed> {
        let what = self.resolve(
            frame,
            name,
            if reads == Reads::Values {
                "value"
            } else {
                "name"
            },
        )?;
        let key = self.key(frame, name);
        let no_value = |is| FaultKind::NoValue {
            name: key.clone(),
            is,
        };
        match what {
            What::Node(GROUND) if reads != Reads::Values => {
                Some(Typed::constant(Number::ZERO, Dimension::VOLT, name))
            }
            What::Node(node) => match reads {
                Reads::Values => {
                    self.fault(frame, name, no_value("a node, whose voltage is an answer"));
                    None
                }
                Reads::Voltages(own) if own.contains(&node) => {
                    self.fault(frame, name, FaultKind::DriveForm);
                    None
                }
                _ => Some(Typed {
                    formula: Formula::Node(node),
                    ..Typed::constant(Number::ZERO, Dimension::VOLT, name)
                }),
            },
            What::Let(index) => {
                let place = self.place(frame, name);
                self.lets[index].uses.push(place);
                let value = self.let_value(index)?;
                Some(Typed::constant(value.number, value.dimension, name))
            }
            What::Element(index) => {
                let (number, dimension) = self.element_quantity(index)?;
                Some(Typed::constant(number, dimension, name))
            }
            What::Pot(from, to) => {
                let (a, _) = self.element_quantity(from)?;
                let (b, _) = self.element_quantity(to)?;
                Some(Typed::constant(a.add(&b), Dimension::OHM, name))
            }
            What::SheetLet(index) => self.written_out(frame, index, name),
            What::Broken => None,
            What::Source(_) | What::Opamp(_) | What::Block(_) | What::Other(_) => {
                let kind = no_value(what.noun());
                let node = self.node_of(frame, what);
                let fault = self.fault(frame, name, kind);
                fault.subjects.push(key);
                fault.fixes.extend(node.map(|it| replace(name, it, false)));
                None
            }
        }
    }

    /// What a name of a work sheet stands for. Names that stand for sums of names could fill the memory.
    fn written_out(&mut self, frame: usize, index: usize, name: Span) -> Option<Typed> {
        let (_, size) = self.sheet_lets.get(index)?;
        self.sheet_operands += size;
        if self.sheet_operands > MOST_OPERANDS {
            let limit = "10,000 operands in one line of a work sheet, its names written out";
            self.fault(frame, name, FaultKind::TooBig(limit));
            return None;
        }
        Some(self.sheet_lets[index].0.clone())
    }

    /// The node whose voltage an op-amp drives or a source holds, by its name here.
    pub(crate) fn node_of(&self, frame: usize, what: What) -> Option<String> {
        match what {
            What::Opamp(index) => {
                let it = self.opamps.get(index).filter(|it| it.frame == frame)?;
                match self.clause(it.said, frame, "drives")?.argument {
                    syntax::Argument::Name(node) => Some(self.key(frame, node)),
                    _ => None,
                }
            }
            What::Source(index) => {
                let it = self.sources.get(index).filter(|it| it.frame == frame)?;
                match it.said.form {
                    syntax::SourceForm::Held { plus, minus: None } => Some(self.key(frame, plus)),
                    _ => None,
                }
            }
            _ => None,
        }
    }

    /// Whether a value has the dimension of the default in whose place it stands; a fault where it has not.
    pub(crate) fn is_like(
        &mut self,
        frame: usize,
        value: &'t Expr,
        typed: &Typed,
        (outer, default): (usize, &'t Expr),
    ) -> bool {
        let Some(default) = self.formula(outer, default, Reads::Values) else {
            return true;
        };
        if default.zero || self.of_dimension(frame, typed, default.dimension).is_some() {
            return true;
        }
        let mut inner = value;
        while let ExprKind::Brackets(it) = &inner.kind {
            inner = it;
        }
        let key = self.key(frame, inner.span);
        if let (ExprKind::Ref, Some(What::Let(index))) = (&inner.kind, self.find(frame, &key)) {
            let told = format!("`{key}` is in {} here", typed.dimension.name());
            let place = self.lets[index].place;
            if let Some(fault) = self.faults.last_mut() {
                fault.related.push((place, told));
            }
        }
        false
    }

    fn power(
        &mut self,
        frame: usize,
        base: &'t Expr,
        exponent: i32,
        reads: Reads,
    ) -> Option<Typed> {
        let it = self.alone(frame, base, reads)?;
        let dimension = it.dimension.powi(exponent);
        if exponent < 0 && it.number().is_some_and(Number::is_zero) {
            self.fault(frame, base.span, FaultKind::DivisionByZero);
            return None;
        }
        let formula = match it.formula {
            Formula::Number(number) => match number.powi(exponent) {
                Some(number) => Formula::Number(number),
                None => {
                    self.fault(
                        frame,
                        base.span,
                        FaultKind::TooBig("a number of e±30 000 or so"),
                    );
                    return None;
                }
            },
            other => Formula::Raised(Box::new(other), exponent),
        };
        Some(Typed {
            formula,
            dimension,
            zero: false,
            plain: it.plain,
            ..it
        })
    }

    fn binary(
        &mut self,
        frame: usize,
        operator: Operator,
        left: Typed,
        right: Typed,
        span: Span,
    ) -> Option<Typed> {
        let dimension = match operator {
            Operator::Plus => self.same(frame, &left, &right, "added")?,
            Operator::Minus => self.same(frame, &left, &right, "subtracted")?,
            Operator::Times => left.dimension.times(right.dimension),
            Operator::Over => {
                if right.number().is_some_and(Number::is_zero) {
                    self.fault(frame, right.span, FaultKind::DivisionByZero);
                    return None;
                }
                left.dimension.over(right.dimension)
            }
        };
        let formula = match (left.formula, right.formula) {
            (Formula::Number(a), Formula::Number(b)) => Formula::Number(match operator {
                Operator::Plus => a.add(&b),
                Operator::Minus => a.sub(&b),
                Operator::Times => a.mul(&b),
                Operator::Over => a.div(&b)?,
            }),
            (a, b) => Formula::Binary(operator, Box::new(a), Box::new(b)),
        };
        let plain = left.plain && right.plain;
        Some(Typed {
            formula,
            dimension,
            zero: left.zero && right.zero,
            plain,
            decibel: false,
            span,
        })
    }

    /// The dimension that two operands share; a fault where they do not.
    pub(crate) fn same(
        &mut self,
        frame: usize,
        left: &Typed,
        right: &Typed,
        doing: &'static str,
    ) -> Option<Dimension> {
        if left.zero || left.dimension == right.dimension {
            return Some(right.dimension);
        }
        if right.zero || self.in_sheet && right.plain {
            return Some(left.dimension);
        }
        if self.in_sheet && left.plain {
            return Some(right.dimension);
        }
        // A number that only lacks its unit is told as that.
        if right.plain && left.dimension != Dimension::NONE {
            self.of_dimension(frame, right, left.dimension)?;
        }
        if left.plain && right.dimension != Dimension::NONE {
            self.of_dimension(frame, left, right.dimension)?;
        }
        let kind = FaultKind::UnitsDiffer {
            left: left.dimension,
            right: right.dimension,
            doing,
        };
        let place = self.place(frame, left.span);
        let name = left.dimension.name().into_owned();
        self.fault(frame, right.span, kind)
            .related
            .push((place, name));
        None
    }

    fn call(
        &mut self,
        frame: usize,
        name: Span,
        arguments: &'t [Expr],
        reads: Reads,
        span: Span,
    ) -> Option<Typed> {
        let word = self.key(frame, name);
        match word.as_str() {
            "nearest" => return self.nearest(frame, name, arguments, span),
            "current" | "power" => return self.carried(frame, &word, name, arguments, reads, span),
            _ => {}
        }
        let function = match word.as_str() {
            "parallel" => Function::Parallel,
            "abs" => Function::Abs,
            "sqrt" => Function::Sqrt,
            "min" => Function::Min,
            "max" => Function::Max,
            "log10" => Function::Log10,
            "phase" => Function::Phase,
            _ => {
                self.unknown_function(frame, name, arguments, span);
                return None;
            }
        };
        let single = matches!(
            function,
            Function::Abs | Function::Sqrt | Function::Log10 | Function::Phase
        );
        if single && arguments.len() != 1 {
            let kind = FaultKind::Expected {
                what: "one value in the brackets",
                example: "abs(a)",
            };
            self.fault(frame, name, kind);
            return None;
        }
        let all: Vec<Option<Typed>> = arguments
            .iter()
            .map(|it| self.alone(frame, it, reads))
            .collect();
        let all: Vec<Typed> = all.into_iter().collect::<Option<_>>()?;
        let first = all.first()?;
        let mut dimension = first.dimension;
        for other in all.iter().skip(1) {
            dimension = self.same(frame, first, other, "compared")?;
        }
        let dimension = match function {
            Function::Sqrt => match dimension.root() {
                Some(root) => root,
                None => {
                    let needed = Dimension::NONE;
                    self.fault(
                        frame,
                        first.span,
                        FaultKind::UnitNeeded {
                            needed,
                            found: dimension,
                        },
                    );
                    return None;
                }
            },
            Function::Log10 | Function::Phase => {
                self.of_dimension(frame, first, Dimension::NONE)?;
                if function == Function::Phase {
                    Dimension::DEGREE
                } else {
                    Dimension::NONE
                }
            }
            _ => dimension,
        };
        if function == Function::Phase && reads != Reads::Answers {
            self.fault(
                frame,
                name,
                FaultKind::NoValue {
                    name: word,
                    is: "an answer at a frequency",
                },
            );
            return None;
        }
        let plain = all.iter().all(|it| it.plain);
        let numbers: Option<Vec<Number>> = all.iter().map(|it| it.number().cloned()).collect();
        let formula = match numbers {
            Some(numbers) if function != Function::Phase => match folded(function, &numbers) {
                Some(number) => Formula::Number(number),
                None => {
                    let kind = match function {
                        Function::Parallel => FaultKind::DivisionByZero,
                        _ => FaultKind::NotPositive,
                    };
                    self.fault(frame, first.span, kind);
                    return None;
                }
            },
            _ => Formula::Call(function, all.into_iter().map(|it| it.formula).collect()),
        };
        Some(Typed {
            formula,
            dimension,
            zero: false,
            plain,
            decibel: false,
            span,
        })
    }

    /// `I(R1)`, `V(out)`, `gain(a - b)`, or a misspelt function.
    fn unknown_function(&mut self, frame: usize, name: Span, arguments: &[Expr], span: Span) {
        let word = self.key(frame, name);
        let written = match (word.as_str(), arguments) {
            ("I" | "i", _) => Some((name, "current".to_owned())),
            ("P" | "p", _) => Some((name, "power".to_owned())),
            ("V" | "v" | "U" | "u" | "E" | "voltage" | "volts", [argument]) => {
                Some((span, argument.span.of(self.text(frame)).to_owned()))
            }
            // The bracket touches a value: a product has its sign.
            _ => self
                .find(frame, &word)
                .map(|_| (name, format!("{word} * "))),
        };
        let Some((span, text)) = written else {
            return self.unknown_word(frame, name, "function", FUNCTIONS);
        };
        let nearest = if text.ends_with("* ") {
            format!("{text}(…)")
        } else {
            text.clone()
        };
        let kind = FaultKind::UnknownWord {
            word,
            wanted: "function",
            nearest: Some(nearest),
        };
        let fault = self.fault(frame, name, kind);
        fault.fixes.push(replace(span, text, false));
    }

    /// `nearest(E24, a)`
    fn nearest(
        &mut self,
        frame: usize,
        name: Span,
        arguments: &'t [Expr],
        span: Span,
    ) -> Option<Typed> {
        let [which, wish] = arguments else {
            let kind = FaultKind::Expected {
                what: "a series and a value",
                example: "nearest(E24, 42k)",
            };
            self.fault(frame, name, kind);
            return None;
        };
        let key = self.key(frame, which.span);
        if !matches!(which.kind, ExprKind::Ref) || series::decade(&key).is_none() {
            self.unknown_word(frame, which.span, "series", series::NAMES);
            return None;
        }
        let it = self.alone(frame, wish, Reads::Values)?;
        let number = it.number()?;
        let rounded = syntax::Ratio::simplest_from_f64(number.to_f64());
        let found = number
            .exact()
            .or(rounded.as_ref())
            .and_then(|it| series::nearest(&key, it));
        match found {
            Some(found) => Some(Typed {
                formula: Formula::Number(Number::Exact(found)),
                span,
                ..it
            }),
            None => {
                self.fault(frame, wish.span, FaultKind::NotPositive);
                None
            }
        }
    }

    /// `current(X)`, `power(X)`
    fn carried(
        &mut self,
        frame: usize,
        word: &str,
        name: Span,
        arguments: &'t [Expr],
        reads: Reads,
        span: Span,
    ) -> Option<Typed> {
        if reads != Reads::Answers {
            self.fault(
                frame,
                name,
                FaultKind::NoValue {
                    name: word.to_owned(),
                    is: "an answer",
                },
            );
            return None;
        }
        let [
            Expr {
                kind: ExprKind::Ref,
                span: of,
            },
        ] = arguments
        else {
            let kind = FaultKind::Expected {
                what: "the name of a part in the brackets",
                example: "current(R1)",
            };
            let at = arguments.first().map_or(name, |it| it.span);
            self.fault(frame, at, kind);
            return None;
        };
        let what = self.resolve(frame, *of, "element")?;
        let carrier = match what {
            What::Element(index) => {
                Carrier::Element(self.element_ids.get(index).copied().flatten()?)
            }
            What::Source(index) => Carrier::Source(self.sources[index].id?),
            What::Opamp(index) => Carrier::Opamp(self.opamps[index].id?),
            What::Broken => return None,
            What::Other(_) => return None,
            // A broken line has the name too: there it is perhaps a part.
            What::Node(_) | What::Let(_)
                if self.key(frame, *of).starts_with(['R', 'C', 'L'])
                    && self.perhaps(frame, &self.key(frame, *of)) =>
            {
                return None;
            }
            What::Node(_) | What::Let(_) | What::SheetLet(_) | What::Pot(..) | What::Block(_) => {
                let key = self.key(frame, *of);
                let is = match what {
                    What::Node(_) => "a node, not a part",
                    What::Pot(..) => "a pot of two halves",
                    What::Block(_) => "a block of several parts",
                    _ => "a value, not a part",
                };
                self.fault(frame, *of, FaultKind::NoValue { name: key, is });
                return None;
            }
        };
        let (formula, dimension) = match word {
            "current" => (Formula::Current(carrier), Dimension::AMPERE),
            _ => (Formula::Power(carrier), Dimension::WATT),
        };
        Some(Typed {
            formula,
            ..Typed::constant(Number::ZERO, dimension, span)
        })
    }
}

/// The functions of the language.
pub(crate) const FUNCTIONS: [&str; 10] = [
    "parallel", "abs", "sqrt", "min", "max", "log10", "nearest", "current", "power", "phase",
];

/// A function of constants; `None` where it has no value there.
fn folded(function: Function, all: &[Number]) -> Option<Number> {
    match function {
        Function::Parallel => {
            let mut sum = Number::ZERO;
            for it in all {
                sum = sum.add(&Number::ONE.div(it)?);
            }
            Number::ONE.div(&sum)
        }
        Function::Abs => all.first().map(Number::abs),
        Function::Sqrt => all.first()?.sqrt(),
        Function::Log10 => all.first()?.log10(),
        Function::Min => all
            .iter()
            .cloned()
            .reduce(|a, b| if less(&b, &a) { b } else { a }),
        Function::Max => all
            .iter()
            .cloned()
            .reduce(|a, b| if less(&a, &b) { b } else { a }),
        Function::Phase => None,
    }
}

/// Whether a < b; exactly where both are exact.
pub(crate) fn less(a: &Number, b: &Number) -> bool {
    a.compare(b) == Some(std::cmp::Ordering::Less)
}

/// A sum of constants times node voltages.
#[derive(Clone, Debug)]
pub(crate) struct Linear {
    pub constant: Number,
    pub nodes: Vec<(NodeId, Number)>,
}

/// The linear form of a formula; `None` where it is not one.
pub(crate) fn linear(formula: &Formula) -> Option<Linear> {
    let plain = |constant: Number| Linear {
        constant,
        nodes: Vec::new(),
    };
    Some(match formula {
        Formula::Number(number) => plain(number.clone()),
        Formula::Node(node) => Linear {
            constant: Number::ZERO,
            nodes: vec![(*node, Number::ONE)],
        },
        Formula::Negative(inner) => scaled(linear(inner)?, &Number::ONE.neg()),
        Formula::Binary(operator, left, right) => {
            let (left, right) = (linear(left)?, linear(right)?);
            match operator {
                Operator::Plus => sum(left, right),
                Operator::Minus => sum(left, scaled(right, &Number::ONE.neg())),
                Operator::Times if right.nodes.is_empty() => scaled(left, &right.constant),
                Operator::Times if left.nodes.is_empty() => scaled(right, &left.constant),
                Operator::Over if right.nodes.is_empty() => {
                    scaled(left, &Number::ONE.div(&right.constant)?)
                }
                _ => return None,
            }
        }
        Formula::Raised(inner, 1) => linear(inner)?,
        _ => return None,
    })
}

fn scaled(mut it: Linear, by: &Number) -> Linear {
    it.constant = it.constant.mul(by);
    for (_, factor) in &mut it.nodes {
        *factor = factor.mul(by);
    }
    it.nodes.retain(|(_, factor)| !factor.is_zero());
    it
}

fn sum(mut left: Linear, right: Linear) -> Linear {
    left.constant = left.constant.add(&right.constant);
    for (node, factor) in right.nodes {
        match left.nodes.iter_mut().find(|(it, _)| *it == node) {
            Some((_, own)) => *own = own.add(&factor),
            None => left.nodes.push((node, factor)),
        }
    }
    left.nodes.retain(|(_, factor)| !factor.is_zero());
    left
}
