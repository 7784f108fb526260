//! What a text says: statements with a span on everything. Names and numbers are spans into the text.
//!
//! A statement is parsed alone, so a file is a flat list; which lines a `part`, `block`, `circuit` or `work` holds is
//! told by [`Tree::bodies`], made in a second pass.

use crate::{Fault, Span};

/// A whole file. Parsing never fails: what could not be read is a [`StatementKind::Broken`] with one [`Fault`].
#[derive(Clone, Debug, Default)]
pub struct Tree {
    /// In the order of the text.
    pub statements: Vec<Statement>,
    /// `part`, `block`, `circuit` and `work` with the statements they hold, in the order of the text.
    pub bodies: Vec<Body>,
    /// At most one a statement, in the order of the text.
    pub faults: Vec<Fault>,
    /// Every comment that is no `##` description, in the order of the text.
    pub comments: Vec<Span>,
}

/// An index into [`Tree::statements`].
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct StatementId(pub u32);

/// The kinds of statement that hold others.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum BodyKind {
    /// `part NAME … end`
    Part,
    /// `block NAME: … end`
    Block,
    /// `circuit NAME` to the next circuit or the end of the file.
    Circuit,
    /// `work "…" … end`
    Work,
}

/// A head and what it holds.
#[derive(Clone, Debug)]
pub struct Body {
    /// What it is.
    pub kind: BodyKind,
    /// The opening statement (perhaps [`StatementKind::Broken`]).
    pub head: StatementId,
    /// The statements inside, without head and `end`, in order. The heads of `work` sheets inside a circuit count as its own;
    /// what the sheet holds does not.
    pub inside: Vec<StatementId>,
    /// The `end`, where there is one.
    pub end: Option<StatementId>,
}

/// One statement.
#[derive(Clone, Debug)]
pub struct Statement {
    /// From its first to its last token, continuation lines included, comments not.
    pub span: Span,
    /// The `##` lines above it, from the first `##` to the end of the last.
    pub description: Option<Span>,
    /// What it says.
    pub kind: StatementKind,
}

/// A name, or a REF with points such as `F1.mid`: its span.
pub type Name = Span;

/// A text: its span, quotes included.
pub type Text = Span;

// A file may hold a million of them: what is seldom or large stands in a box.
const _: () = assert!(size_of::<Statement>() <= 80 && size_of::<PathItem>() <= 16);

/// What a statement says.
#[derive(Clone, Debug)]
pub enum StatementKind {
    /// `ampersum 1`: the number.
    Version(Span),
    /// `use "lab.amp"`
    Use(Text),
    /// `part NAME`
    Part(Name),
    /// `block NAME: port, …, parameter = value`
    Block {
        /// The block's name.
        name: Name,
        /// Ports, and parameters with their defaults.
        ports: Vec<Port>,
    },
    /// `circuit NAME "title"`
    Circuit {
        /// The circuit's name.
        name: Name,
        /// Its title, in one or more texts.
        title: Vec<Text>,
    },
    /// `work "label" for CIRCUIT`
    Work {
        /// The sheet's label.
        label: Vec<Text>,
        /// The circuit it is about, where it says so.
        circuit: Option<Name>,
    },
    /// `end`
    End,
    /// A line inside `part`.
    Property(Box<Property>),
    /// A student's equation inside `work`.
    Equation {
        /// Left of `=`.
        left: Box<Expr>,
        /// Right of `=`.
        right: Box<Expr>,
    },
    /// `in -- R1 10k -- sum`: nodes and elements in order; it begins and ends with a node, and no two nodes touch.
    Path(Vec<PathItem>),
    /// `source NAME: …`
    Source(Box<Source>),
    /// `opamp A1: plus in, minus fb, drives out`
    Device(Device),
    /// `let NAME = …`
    Let {
        /// The new name.
        name: Name,
        /// What it stands for.
        value: Expr,
    },
    /// `supply +9 V and -9 V`
    Supply(Vec<Rail>),
    /// `opamps are PART`
    OpampsAre(Name),
    /// `start a - b = 2 V`
    Start {
        /// What starts so.
        of: Box<Expr>,
        /// At this value.
        value: Box<Expr>,
    },
    /// `expect …`
    Expect(Box<Expect>),
    /// `problem "…" points 10`, `ask "…" points 2`
    Task {
        /// Whether it is an `ask`; else a `problem`.
        ask: bool,
        /// Its texts.
        texts: Vec<Text>,
        /// The number after `points`.
        points: Option<Span>,
    },
    /// `answer "…"`
    Answer(Vec<Text>),
    /// `find u, w points 6`
    Find {
        /// What is to be found.
        exprs: Vec<Expr>,
        /// The number after `points`.
        points: Option<Span>,
    },
    /// `vary R4 from 20k to 39k in E24`
    Vary {
        /// An element or a `let`.
        of: Name,
        /// Which values it may take.
        range: Box<VaryRange>,
    },
    /// `require abs(out) < 9 V`
    Require {
        /// Left side.
        left: Box<Expr>,
        /// The sign.
        sign: Comparison,
        /// Right side.
        right: Box<Expr>,
    },
    /// `record in, out for 5 ms`
    Record {
        /// What is recorded.
        exprs: Vec<Expr>,
        /// For how long.
        time: Box<Expr>,
    },
    /// `response out / in driven by SOURCE from 10 Hz to 1 MHz`
    Response {
        /// The ratio.
        of: Box<Expr>,
        /// The source that drives it.
        driven_by: Option<Name>,
        /// From this frequency.
        from: Box<Expr>,
        /// To this one.
        to: Box<Expr>,
    },
    /// `allow RULE at NAME: "reason"`
    Allow {
        /// The rule.
        rule: Name,
        /// The name its finding is about.
        at: Name,
        /// Why.
        reason: Vec<Text>,
    },
    /// Could not be read: one [`Fault`] says why.
    Broken(Broken),
}

/// A line that could not be read. Its names are perhaps known: nothing may rest on their absence.
#[derive(Clone, Debug)]
pub struct Broken {
    /// The body that it opens all the same.
    pub opens: Option<BodyKind>,
    /// Whether it may have brought something into the circuit (a path, a source, a device, a supply, a part's property …); a
    /// broken claim, task or `let` does not.
    pub wires: bool,
    /// Every REF in it, in order, words of the language included.
    pub names: Vec<Name>,
}

/// `port`, or `parameter = default`.
#[derive(Clone, Debug)]
pub struct Port {
    /// Its name.
    pub name: Name,
    /// A parameter's default; a port has none.
    pub default: Option<Expr>,
}

/// One station of a path.
#[derive(Clone, Debug)]
pub enum PathItem {
    /// A node (or `ground`).
    Node(Name),
    /// An element between its neighbours.
    Element(Box<Element>),
}

/// `R1 10k 1 % 0.25 W` in a path.
#[derive(Clone, Debug)]
pub struct Element {
    /// From the name to the end of the value (what an equation's term points at).
    pub span: Span,
    /// Its name.
    pub name: Name,
    /// Its value: a quantity, or an expression in brackets.
    pub value: Expr,
    /// Tolerance and rating, as written.
    pub extras: Vec<Expr>,
}

/// `source NAME: …`
#[derive(Clone, Debug)]
pub struct Source {
    /// Its name.
    pub name: Name,
    /// Where it stands and what it holds or pushes.
    pub form: SourceForm,
    /// Its drive.
    pub drive: Drive,
}

/// The two forms of a source.
#[derive(Clone, Debug)]
pub enum SourceForm {
    /// `a = drive` or `a - b = drive`.
    Held {
        /// Left of the minus sign.
        plus: Name,
        /// Right of it; none: ground.
        minus: Option<Name>,
    },
    /// `drive from a into b`.
    Current {
        /// Current leaves the circuit here.
        from: Name,
        /// And enters it here.
        into: Name,
    },
}

/// What a source does.
#[derive(Clone, Debug)]
pub struct Drive {
    /// The drive's text, without `from … into …`.
    pub span: Span,
    /// Its shape.
    pub kind: DriveKind,
}

/// The shapes of a drive.
#[derive(Clone, Debug)]
pub enum DriveKind {
    /// A constant, or a sum of constants times node voltages.
    Linear(Expr),
    /// `sine A at f`, `square A at f`, `triangle A at f`, each with `offset`, `phase`, `duty`.
    Periodic {
        /// The shape.
        shape: WaveShape,
        /// Its size.
        size: Expr,
        /// Its frequency.
        frequency: Expr,
        /// `offset o`.
        offset: Option<Expr>,
        /// `phase p`.
        phase: Option<Expr>,
        /// `duty d`.
        duty: Option<Expr>,
    },
    /// `step A to B at t`
    Step {
        /// The first level.
        from: Expr,
        /// The second.
        to: Expr,
        /// The time between them.
        at: Expr,
    },
    /// `through A at t1, B at t2`: level and time of each corner.
    Through(Vec<(Expr, Expr)>),
}

/// Periodic shapes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum WaveShape {
    /// `sine`
    Sine,
    /// `square`
    Square,
    /// `triangle`
    Triangle,
}

/// `kind NAME: clause, …`
#[derive(Clone, Debug)]
pub struct Device {
    /// `opamp`, `comparator`, … or a block's name; perhaps unknown.
    pub kind: Name,
    /// Its name.
    pub name: Name,
    /// The clauses, in order.
    pub clauses: Vec<Clause>,
}

/// `plus in`, `closed`, `supply 5 V`, `R 22k`.
#[derive(Clone, Debug)]
pub struct Clause {
    /// The whole clause.
    pub span: Span,
    /// Its first word.
    pub word: Name,
    /// What stands after it.
    pub argument: Argument,
}

/// What a clause says.
#[derive(Clone, Debug)]
pub enum Argument {
    /// Nothing: `closed`.
    None,
    /// A bare name: a node or a part.
    Name(Name),
    /// A quantity, or an expression in brackets.
    Value(Expr),
    /// The rails of `supply`.
    Rails(Vec<Rail>),
}

/// One rail: a node, or a signed value.
#[derive(Clone, Debug)]
pub enum Rail {
    /// A node held by a constant source, or `ground`.
    Node(Name),
    /// A value.
    Value {
        /// Sign and value together.
        span: Span,
        /// Whether a minus sign stands before it.
        negative: bool,
        /// The value without its sign.
        value: Expr,
    },
}

/// A line inside `part`.
#[derive(Clone, Debug)]
pub struct Property {
    /// Its first word.
    pub word: Name,
    /// What it says.
    pub form: PropertyForm,
}

/// The forms of a property.
#[derive(Clone, Debug)]
pub enum PropertyForm {
    /// `package dual_8`; also a value that is the bare name of a `let`.
    Name(Name),
    /// `gain 100 dB`
    Value(Expr),
    /// `supply 3 V to 6 V`
    Range(Expr, Expr),
    /// `headroom low 0.1 V, high 1.2 V`; `source 20 mA, sink 5 mA` is the word `source` and then `sink`: the first pair carries no word of its own.
    Named(Vec<(Option<Name>, Expr)>),
}

/// `expect …`
#[derive(Clone, Debug)]
pub enum Expect {
    /// `expect finding RULE at NAME`
    Finding {
        /// The rule.
        rule: Name,
        /// The name it is about.
        at: Name,
    },
    /// `expect A1 linear`
    State {
        /// The op-amp.
        of: Name,
        /// What is claimed of it.
        state: StateClaim,
    },
    /// `expect [always] e = e [at …] [within …]`
    Equal {
        /// The word `always`.
        always: Option<Span>,
        /// Left side.
        left: Expr,
        /// Right side.
        right: Expr,
        /// A time or a frequency.
        at: Option<Expr>,
        /// A ratio or an amount.
        within: Option<Expr>,
    },
}

/// What a claim says of an op-amp.
#[derive(Clone, Debug)]
pub enum StateClaim {
    /// `linear`
    Linear,
    /// `latches`
    Latches,
    /// `oscillates`
    Oscillates,
    /// `at high rail`, `at low rail`
    AtRail {
        /// The high one; else the low one.
        high: bool,
    },
    /// `goes high at in = 2 V within 1 %`
    Goes {
        /// To the high rail; else to the low one.
        high: bool,
        /// The node that moves.
        node: Name,
        /// The voltage at which the state ends.
        at: Expr,
        /// A ratio or an amount.
        within: Option<Expr>,
    },
}

/// Which values a variant may take.
#[derive(Clone, Debug)]
pub enum VaryRange {
    /// `among A, B`
    Among(Vec<Expr>),
    /// `from A to B by STEP`
    By(Expr, Expr, Expr),
    /// `from 1k to 10k in E24`: the series' name last.
    In(Expr, Expr, Name),
}

/// `< > <= >=`
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Comparison {
    /// `<`
    Less,
    /// `>`
    Greater,
    /// `<=`
    AtMost,
    /// `>=`
    AtLeast,
}

/// An expression.
#[derive(Clone, Debug)]
pub struct Expr {
    /// All of it, brackets included.
    pub span: Span,
    /// What it is.
    pub kind: ExprKind,
}

/// What an expression is.
#[derive(Clone, Debug)]
pub enum ExprKind {
    /// A number with or without its unit, a minus sign before decibels included: read it with [`crate::quantity::read`].
    Quantity,
    /// A name, perhaps with points: its span is the expression's.
    Ref,
    /// `parallel(a, b)`: the function's name and its arguments.
    Call(Name, Vec<Expr>),
    /// `( … )`
    Brackets(Box<Expr>),
    /// `-a`
    Negative(Box<Expr>),
    /// `a^2`, `a^-2`
    Power(Box<Expr>, i32),
    /// `a + b` …
    Binary {
        /// The sign.
        operator: Operator,
        /// Where it stands.
        sign: Span,
        /// Left of it.
        left: Box<Expr>,
        /// Right of it.
        right: Box<Expr>,
    },
}

/// `+ - * /`
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Operator {
    /// `+`
    Plus,
    /// `-`
    Minus,
    /// `*`
    Times,
    /// `/`
    Over,
}
