//! What a part gives of an op-amp at rest, and which of it counts.

use circuit::Part;
use syntax::Number;

use crate::Answer;

/// Why a real op-amp's answer is not the ideal one.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub enum Cause {
    /// The offset voltage.
    Offset,
    /// The currents into the input pins.
    Bias,
    /// The finite gain.
    Gain,
    /// The finite common-mode rejection.
    Rejection,
    /// The resistance between the input pins.
    InputResistance,
    /// The resistance in series with the output.
    OutputResistance,
}

impl Cause {
    /// In the order in which they are switched on.
    pub const ALL: [Cause; 6] = [
        Cause::Offset,
        Cause::Bias,
        Cause::Gain,
        Cause::Rejection,
        Cause::InputResistance,
        Cause::OutputResistance,
    ];

    /// Whether a part gives this figure, other than ideal.
    pub fn is_in(self, part: &Part) -> bool {
        let stands = |it: &Option<Number>| it.as_ref().is_some_and(|it| !it.is_zero());
        match self {
            Cause::Offset => stands(&part.offset),
            Cause::Bias => stands(&part.bias_current) || stands(&part.bias_offset),
            Cause::Gain => part.gain.is_some(),
            Cause::Rejection => part.rejection.is_some(),
            Cause::InputResistance => part.input_resistance.is_some(),
            Cause::OutputResistance => part.output_resistance.is_some(),
        }
    }
}

/// A set of causes: those that count.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub struct Causes(u8);

impl Causes {
    /// Every op-amp is ideal.
    pub const NONE: Causes = Causes(0);
    /// Every op-amp is as its part says.
    pub const ALL: Causes = Causes(0b11_1111);

    /// These count.
    pub fn of(causes: &[Cause]) -> Causes {
        causes.iter().fold(Causes::NONE, |set, it| set.with(*it))
    }

    /// Whether this one counts.
    pub fn has(self, cause: Cause) -> bool {
        self.0 & 1 << cause as u8 != 0
    }

    /// This one too.
    pub fn with(self, cause: Cause) -> Causes {
        Causes(self.0 | 1 << cause as u8)
    }

    /// All but this one.
    pub fn without(self, cause: Cause) -> Causes {
        Causes(self.0 & !(1 << cause as u8))
    }
}

/// The figures of one op-amp that count; what is `None` is ideal.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Law {
    /// A.
    pub gain: Option<Number>,
    /// CMRR.
    pub rejection: Option<Number>,
    /// Vos, in volts; not 0.
    pub offset: Option<Number>,
    /// Into plus and into minus, in amperes.
    pub bias: Option<[Number; 2]>,
    /// In ohms.
    pub input_resistance: Option<Number>,
    /// Rout, in ohms.
    pub output_resistance: Option<Number>,
}

impl Law {
    /// What a part gives of the causes that count.
    pub fn of(part: Option<&Part>, causes: Causes) -> Law {
        let Some(part) = part else {
            return Law::default();
        };
        let counts = |cause: Cause| causes.has(cause) && cause.is_in(part);
        let given = |cause, figure: &Option<Number>| figure.clone().filter(|_| counts(cause));
        let current = |it: &Option<Number>| it.clone().unwrap_or(Number::ZERO);
        let bias = counts(Cause::Bias).then(|| {
            let (each, apart) = (current(&part.bias_current), current(&part.bias_offset));
            let half = apart.mul(&half());
            [each.add(&half), each.sub(&half)]
        });
        Law {
            gain: given(Cause::Gain, &part.gain),
            rejection: given(Cause::Rejection, &part.rejection),
            offset: given(Cause::Offset, &part.offset),
            bias,
            input_resistance: given(Cause::InputResistance, &part.input_resistance),
            output_resistance: given(Cause::OutputResistance, &part.output_resistance),
        }
    }

    /// What is amplified: V+ − V− + (V+ + V−)/(2·CMRR) + Vos, in volts.
    pub fn input(&self, plus: &Answer, minus: &Answer) -> Answer {
        let moved = self.moved(plus, minus);
        match &self.offset {
            Some(offset) => &moved + &Answer::from(offset),
            None => moved,
        }
    }

    /// The same without the offset: the part that is linear in the pins' voltages.
    pub fn moved(&self, plus: &Answer, minus: &Answer) -> Answer {
        let apart = plus - minus;
        match self.leak() {
            Some(leak) => &apart + &(&Answer::from(&leak) * &(plus + minus)),
            None => apart,
        }
    }

    /// 1/(2·CMRR): how much of V+ + V− counts as a difference.
    pub fn leak(&self) -> Option<Number> {
        half().div(self.rejection.as_ref()?)
    }
}

fn half() -> Number {
    Number::decimal(5u8.into(), -1)
}
