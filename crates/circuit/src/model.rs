//! What a circuit is: nodes, elements, sources, op-amps, and the place in the text that each one came from.
//!
//! Flat vectors with typed indices. Everything here is checked: values are above zero where they must be, ends exist,
//! dimensions agree. What could not be read or named is a [`crate::Fault`], and [`Circuit::perhaps`] tells what must not be
//! concluded from its absence.

use std::collections::HashSet;

use syntax::{Number, Place, WaveShape};

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
        pub struct $name(pub u32);

        impl $name {
            /// As a vector's index.
            pub fn index(self) -> usize {
                self.0 as usize
            }
        }
    )*};
}

ids! {
    /// A node; `NodeId(0)` is ground.
    NodeId
    /// A resistor, capacitor or inductor of a path (a closed switch and each half of a pot count as one).
    ElementId
    /// A source.
    SourceId
    /// An op-amp.
    OpampId
    /// A part in [`crate::Book::parts`].
    PartId
    /// A `let` of the circuit or its file.
    LetId
}

/// The reference node, 0 V.
pub const GROUND: NodeId = NodeId(0);

/// One circuit.
#[derive(Clone, Debug, Default)]
pub struct Circuit {
    /// Its name.
    pub name: String,
    /// Its title, texts joined by a blank.
    pub title: Option<String>,
    /// Where the name stands (the empty span at the start of a file without `circuit`).
    pub place: Place,
    /// Its stretch of the file: from its head to the next circuit or the end.
    pub extent: Place,
    /// Ground first, then by first appearance in the text.
    pub nodes: Vec<Node>,
    /// In the order of the text.
    pub elements: Vec<Element>,
    /// In the order of the text.
    pub sources: Vec<Source>,
    /// In the order of the text.
    pub opamps: Vec<Opamp>,
    /// In the order of the text.
    pub open: Vec<OpenSwitch>,
    /// The circuit's and its file's, in the order of the text.
    pub lets: Vec<Let>,
    /// In the order of the text.
    pub claims: Vec<Claim>,
    /// In the order of the text.
    pub allows: Vec<Allow>,
    /// What `start` sets.
    pub starts: Vec<Start>,
    /// Students' work sheets about this circuit.
    pub sheets: Vec<Sheet>,
    /// Statements that are read and not computed yet, in the order of the text.
    pub later: Vec<Later>,
    /// What broken lines may have brought.
    pub perhaps: Perhaps,
}

/// A node.
#[derive(Clone, Debug)]
pub struct Node {
    /// `sum`; `R1..R2` between two elements in a row; inside a block `F1.mid`, `F1.R1..R2`.
    pub name: String,
    /// Whether the text gives it its name.
    pub named: bool,
    /// Every place where it is wired or read, in the order of the text (for an unnamed node the `--` between its elements).
    pub places: Vec<Place>,
    /// The `##` text above the statement that first names it.
    pub description: Option<String>,
}

/// An element of a path.
#[derive(Clone, Debug)]
pub struct Element {
    /// Its name; inside a block `F1.R1`.
    pub name: String,
    /// What it is.
    pub kind: ElementKind,
    /// Resistance in ohms (also where it was given in siemens), capacitance in farads, inductance in henries; above zero.
    /// 0 for a closed switch.
    pub value: Number,
    /// Left end, right end: current counts from the first to the second.
    pub ends: [NodeId; 2],
    /// From the name to the end of the value.
    pub place: Place,
    /// The name alone.
    pub name_place: Place,
    /// The value alone.
    pub value_place: Place,
    /// Where the text says each end: the node's name or the `--` of an unnamed one.
    pub end_places: [Place; 2],
    /// `1 %`, as a ratio.
    pub tolerance: Option<Box<Number>>,
    /// Watts for a resistor, volts for a capacitor.
    pub rating: Option<Box<Number>>,
    /// An electrolytic: its first end must not be the lower one.
    pub polarised: bool,
    /// The `##` text above its statement.
    pub description: Option<String>,
}

/// An open switch: it joins nothing.
#[derive(Clone, Debug)]
pub struct OpenSwitch {
    /// Its name; inside a block `F1.S1`.
    pub name: String,
    /// Where it would join.
    pub ends: [NodeId; 2],
    /// The name alone.
    pub place: Place,
}

/// What an element is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum ElementKind {
    /// A resistor, in ohms.
    Resistor,
    /// A capacitor, in farads: no current at DC.
    Capacitor,
    /// An inductor, in henries: a wire at DC.
    Inductor,
    /// A closed switch: a wire.
    Wire,
}

/// A source: the equation it contributes.
#[derive(Clone, Debug)]
pub struct Source {
    /// Its name.
    pub name: String,
    /// Where it stands.
    pub kind: SourceKind,
    /// What it holds or pushes at DC: `constant + Σ factor · node`, in volts or amperes.
    pub constant: Number,
    /// Empty: independent. A node stands once, its factor is not zero; ground does not stand here.
    pub controls: Vec<(NodeId, Number)>,
    /// How it changes with time, where it does; [`Source::constant`] is then its level in the steady state.
    pub wave: Option<Wave>,
    /// The whole statement's words from the name to the end of the drive.
    pub place: Place,
    /// The name alone.
    pub name_place: Place,
    /// The drive alone.
    pub drive_place: Place,
    /// Where the text says the two nodes of [`SourceKind`]; `None` for ground left unsaid.
    pub end_places: [Option<Place>; 2],
    /// The `##` text above it.
    pub description: Option<String>,
}

/// Where a source stands.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum SourceKind {
    /// `plus - minus = drive`: its current counts out at `plus`.
    Voltage {
        /// Left of the minus sign.
        plus: NodeId,
        /// Right of it; ground where nothing stands there.
        minus: NodeId,
    },
    /// `drive from a into b`
    Current {
        /// Current leaves the circuit here.
        from: NodeId,
        /// And enters it here.
        into: NodeId,
    },
}

/// How a source changes with time. Sizes are amplitudes, in volts or amperes; times in seconds.
#[derive(Clone, Debug)]
pub enum Wave {
    /// `sine`, `square`, `triangle` about `offset`.
    Periodic {
        /// The shape.
        shape: WaveShape,
        /// The amplitude A.
        size: Number,
        /// In hertz.
        frequency: Number,
        /// About this level.
        offset: Number,
        /// In degrees.
        phase: Number,
        /// The high share, a ratio.
        duty: Number,
    },
    /// From one level to the other at a time.
    Step {
        /// Before.
        from: Number,
        /// From `at` on.
        to: Number,
        /// When.
        at: Number,
    },
    /// Time and level of each corner; straight between, level outside.
    Through(Vec<(Number, Number)>),
}

/// An op-amp or a comparator.
#[derive(Clone, Debug)]
pub struct Opamp {
    /// Its name; inside a block `S1.A1`.
    pub name: String,
    /// The plus input.
    pub plus: NodeId,
    /// The minus input.
    pub minus: NodeId,
    /// The output.
    pub drives: NodeId,
    /// A comparator: never linear.
    pub comparator: bool,
    /// Its part; `None` is ideal.
    pub part: Option<PartId>,
    /// Its rails; `None`: outputs without limit.
    pub supply: Option<Supply>,
    /// The whole statement.
    pub place: Place,
    /// The name alone.
    pub name_place: Place,
    /// The node names after `plus`, `minus`, `drives`.
    pub pin_places: [Place; 3],
    /// The `##` text above it.
    pub description: Option<String>,
}

/// A pair of rails, the higher one first.
#[derive(Clone, Debug)]
pub struct Supply {
    /// The high rail.
    pub high: Rail,
    /// The low rail.
    pub low: Rail,
    /// The words that say it.
    pub place: Place,
}

/// One rail.
#[derive(Clone, Debug)]
pub struct Rail {
    /// Its voltage.
    pub volts: Number,
    /// The node that carries it, where it is one (then the constant source that holds it feeds the op-amps too).
    pub node: Option<NodeId>,
}

/// A `let`.
#[derive(Clone, Debug)]
pub struct Let {
    /// Its name.
    pub name: String,
    /// What it came to; `None` where it could not be worked out.
    pub value: Option<crate::Value>,
    /// The name's place.
    pub place: Place,
    /// Every place that reads it.
    pub uses: Vec<Place>,
    /// The `##` text above it.
    pub description: Option<String>,
}

/// A part: what is given of an op-amp; what is not given is ideal. Volts, amperes, ohms, hertz, volts per second.
#[derive(Clone, Debug, Default)]
pub struct Part {
    /// Its name.
    pub name: String,
    /// Where the name stands.
    pub place: Place,
    /// Every place that names it.
    pub uses: Vec<Place>,
    /// The `##` text above it.
    pub description: Option<String>,
    /// Open-loop gain, a ratio.
    pub gain: Option<Number>,
    /// Gain-bandwidth product.
    pub bandwidth: Option<Number>,
    /// Slew rate.
    pub slew: Option<Number>,
    /// Between the input pins.
    pub input_resistance: Option<Number>,
    /// In series with the output.
    pub output_resistance: Option<Number>,
    /// Common-mode rejection, a ratio.
    pub rejection: Option<Number>,
    /// In series with the plus input.
    pub offset: Option<Number>,
    /// Into each input pin.
    pub bias_current: Option<Number>,
    /// Plus less minus pin.
    pub bias_offset: Option<Number>,
    /// What the output keeps from the low and the high rail.
    pub headroom: Option<[Number; 2]>,
    /// Rail to rail in volts, least and most, in whichever order the text has them.
    pub supply: Option<[Number; 2]>,
    /// What the output can source and sink.
    pub current: Option<[Number; 2]>,
    /// What the inputs keep from the low and the high rail.
    pub inputs: Option<[Number; 2]>,
    /// `single_8`, `dual_8`, `quad_14`.
    pub package: Option<String>,
    /// Whether a line of it could not be read.
    pub incomplete: bool,
}

/// `expect …`
#[derive(Clone, Debug)]
pub struct Claim {
    /// The whole statement.
    pub place: Place,
    /// The claim without the word `expect`.
    pub text: String,
    /// What it says; `None` where it could not be resolved (its fault says why).
    pub kind: Option<ClaimKind>,
}

/// What a claim says.
#[derive(Clone, Debug)]
pub enum ClaimKind {
    /// `expect finding RULE at NAME`
    Finding {
        /// The rule's name.
        rule: String,
        /// A subject of the finding.
        at: String,
    },
    /// `expect A1 linear` and its siblings.
    State {
        /// The op-amp.
        opamp: OpampId,
        /// The claim.
        state: StateClaim,
    },
    /// `expect e = e`
    Equal {
        /// For all values of the sources in [`ClaimKind::Equal::free`].
        always: bool,
        /// Left side.
        left: Formula,
        /// Right side.
        right: Formula,
        /// The dimension of both.
        dimension: syntax::Dimension,
        /// A time or a frequency: `None` in the steady state.
        at: Option<When>,
        /// What is allowed between them.
        within: Within,
        /// The place of the right side: where a failed claim is marked.
        value_place: Place,
        /// With `always`: the independent sources that hold a node of the claim or stand in it.
        free: Vec<SourceId>,
    },
}

/// The moment that a claim is about.
#[derive(Clone, Debug)]
pub enum When {
    /// In seconds.
    Time(Number),
    /// In hertz.
    Frequency(Number),
}

/// What a claim allows.
#[derive(Clone, Debug)]
pub enum Within {
    /// Nothing is said: 0.1 % of the right side; where that is zero 1 uV, 1 nA, else 1e-9 of the base unit.
    Usual,
    /// This share of the right side.
    Ratio(Number),
    /// This amount, in the base unit.
    Amount(Number),
}

/// What a claim says of an op-amp's state.
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
    /// `goes high at in = 2 V`
    Goes {
        /// To the high rail; else to the low one.
        high: bool,
        /// The source that holds the node that moves.
        source: SourceId,
        /// At this voltage.
        at: Number,
        /// What is allowed.
        within: Within,
    },
}

/// `allow RULE at NAME: "reason"`
#[derive(Clone, Debug)]
pub struct Allow {
    /// The rule's name.
    pub rule: String,
    /// A subject of the finding.
    pub at: String,
    /// The whole statement.
    pub place: Place,
}

/// `start …`
#[derive(Clone, Debug)]
pub enum Start {
    /// `a - b = v`: of the capacitors between the two nodes.
    Voltage {
        /// Left of the minus sign.
        plus: NodeId,
        /// Right of it.
        minus: NodeId,
        /// In volts.
        volts: Number,
        /// The statement.
        place: Place,
    },
    /// `current(L1) = v`
    Current {
        /// The inductor.
        element: ElementId,
        /// In amperes.
        amperes: Number,
        /// The statement.
        place: Place,
    },
}

/// A work sheet.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// Its label, texts joined by a blank.
    pub label: String,
    /// Its head.
    pub place: Place,
    /// Its lines, in order; one that could not be understood is `None` (its fault says why).
    pub lines: Vec<Option<SheetLine>>,
}

/// A line of a work sheet.
#[derive(Clone, Debug)]
pub struct SheetLine {
    /// The whole line.
    pub place: Place,
    /// What it says: `left = right`; of a `let` the name's own formula stands right and nothing left.
    pub left: Option<Formula>,
    /// Right of `=`.
    pub right: Formula,
    /// The dimension of both; `None` where plain numbers leave it open.
    pub dimension: Option<syntax::Dimension>,
}

/// A statement that this version reads and does not compute.
#[derive(Clone, Debug)]
pub struct Later {
    /// The word or words that name it: "response", "comparator".
    pub what: String,
    /// Where the hint stands: its first word.
    pub place: Place,
    /// Whether the circuit's answer lacks something because of it (a diode is missing), so that the rest is not the whole circuit.
    pub wires: bool,
    /// The names it defines or reads, for `subjects`.
    pub names: Vec<String>,
}

/// What broken or not yet built lines may have wired: no conclusion rests on its absence.
#[derive(Clone, Debug, Default)]
pub struct Perhaps {
    /// Known nodes that such a line names.
    pub nodes: HashSet<NodeId>,
    /// Every name in such a line, known or not.
    pub names: HashSet<String>,
    /// Whether any such line may have brought something into the circuit.
    pub incomplete: bool,
}

/// An expression with its names resolved and its dimensions checked, to be worked out from an answer.
#[derive(Clone, Debug)]
pub enum Formula {
    /// A constant (a quantity, a `let`, an element's value).
    Number(Number),
    /// A node's voltage.
    Node(NodeId),
    /// `current(X)`
    Current(Carrier),
    /// `power(X)`
    Power(Carrier),
    /// `-a`
    Negative(Box<Formula>),
    /// `a^n`
    Raised(Box<Formula>, i32),
    /// `a + b` …
    Binary(syntax::Operator, Box<Formula>, Box<Formula>),
    /// A function of the language.
    Call(Function, Vec<Formula>),
}

/// What carries a current.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Carrier {
    /// A path's element.
    Element(ElementId),
    /// A source.
    Source(SourceId),
    /// An op-amp's output.
    Opamp(OpampId),
}

/// The functions of the language that an expression may call.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Function {
    /// `parallel(a, b, …)`
    Parallel,
    /// `abs(a)`
    Abs,
    /// `sqrt(a)`
    Sqrt,
    /// `min(…)`
    Min,
    /// `max(…)`
    Max,
    /// `log10(a)`
    Log10,
    /// `phase(ratio)`
    Phase,
}

impl Formula {
    /// How many numbers, names and calls it is made of.
    pub(crate) fn operands(&self) -> usize {
        let mut count = 0;
        let mut waiting = vec![self];
        while let Some(it) = waiting.pop() {
            match it {
                Formula::Negative(inner) | Formula::Raised(inner, _) => waiting.push(inner),
                Formula::Binary(_, left, right) => waiting.extend([&**left, &**right]),
                Formula::Call(_, all) => waiting.extend(all),
                _ => {}
            }
            count += 1;
        }
        count
    }
}

impl Circuit {
    /// A node's name.
    pub fn node_name(&self, node: NodeId) -> &str {
        &self.nodes[node.index()].name
    }

    /// Every node but ground, in order.
    pub fn unknowns(&self) -> impl Iterator<Item = NodeId> + use<> {
        (1..self.nodes.len() as u32).map(NodeId)
    }
}
