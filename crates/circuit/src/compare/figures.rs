//! Values as compared: what must be equal, and how each is shown.

use syntax::{Dimension, Number};

use super::Show;
use crate::{Part, Wave};

/// One thing that is given of a part: its value, its tolerance, an op-amp's gain.
#[derive(Clone, PartialEq, Debug)]
pub struct Figure {
    /// Empty for the value itself.
    pub label: &'static str,
    /// What must be equal for two to be.
    pub exact: String,
    /// As the text has it, where it stands there.
    written: Option<String>,
    /// What it comes to, with its unit.
    shown: String,
}

impl Figure {
    /// Of a number.
    pub fn new(
        label: &'static str,
        value: &Number,
        dimension: Dimension,
        written: Option<String>,
        show: Show,
    ) -> Figure {
        Figure {
            label,
            exact: exact(value),
            written,
            shown: show(value, dimension),
        }
    }

    /// Of a word.
    pub fn word(word: &str) -> Figure {
        Figure {
            label: "",
            exact: word.to_owned(),
            written: None,
            shown: word.to_owned(),
        }
    }

    /// As the text has it, else what it comes to.
    pub fn text(&self) -> &str {
        self.written.as_ref().unwrap_or(&self.shown)
    }
}

/// Those figures that differ, old and new: as written, but where both are written alike what they come to.
pub fn apart(old: &[Figure], new: &[Figure]) -> Option<(String, String)> {
    let find = |all: &[Figure], label: &str| all.iter().find(|it| it.label == label).cloned();
    let mut labels: Vec<&str> = old.iter().chain(new).map(|it| it.label).collect();
    let mut seen = std::collections::HashSet::new();
    labels.retain(|it| seen.insert(*it));
    let (mut was, mut is) = (Vec::new(), Vec::new());
    for label in labels {
        let (a, b) = (find(old, label), find(new, label));
        if a.as_ref().map(|it| &it.exact) == b.as_ref().map(|it| &it.exact) {
            continue;
        }
        let alike = match (&a, &b) {
            (Some(a), Some(b)) => a.text() == b.text(),
            _ => false,
        };
        let said = |it: Option<Figure>| match it {
            None => format!("no {label}"),
            Some(it) => {
                let text = if alike { &it.shown } else { it.text() };
                format!("{label} {text}").trim_start().to_owned()
            }
        };
        was.push(said(a));
        is.push(said(b));
    }
    (!was.is_empty()).then(|| (was.join(", "), is.join(", ")))
}

/// A share, in percent.
pub fn ratio(label: &'static str, value: &Number, show: Show) -> Figure {
    Figure {
        label,
        exact: exact(value),
        written: None,
        shown: percent(value, show),
    }
}

fn percent(value: &Number, show: Show) -> String {
    let hundred = Number::decimal(1u8.into(), 2);
    format!("{} %", show(&value.mul(&hundred), Dimension::NONE))
}

/// A source that changes with time.
pub fn wave(wave: &Wave, dimension: Dimension, written: String, show: Show) -> Figure {
    let size = |it: &Number| show(it, dimension);
    let time = |it: &Number| show(it, Dimension::SECOND);
    let (numbers, shown) = match wave {
        Wave::Periodic {
            shape,
            size: amplitude,
            frequency,
            offset,
            phase,
            duty,
        } => {
            let word = match shape {
                syntax::WaveShape::Sine => "sine",
                syntax::WaveShape::Square => "square",
                syntax::WaveShape::Triangle => "triangle",
            };
            let mut shown = format!(
                "{word} {} at {}",
                size(amplitude),
                show(frequency, Dimension::HERTZ)
            );
            if !offset.is_zero() {
                shown.push_str(&format!(" offset {}", size(offset)));
            }
            if !phase.is_zero() {
                shown.push_str(&format!(" phase {}", show(phase, Dimension::DEGREE)));
            }
            let even = Number::decimal(5u8.into(), -1);
            if duty.compare(&even) != Some(std::cmp::Ordering::Equal) {
                shown.push_str(&format!(" duty {}", percent(duty, show)));
            }
            (vec![amplitude, frequency, offset, phase, duty], shown)
        }
        Wave::Step { from, to, at } => (
            vec![from, to, at],
            format!("step {} to {} at {}", size(from), size(to), time(at)),
        ),
        Wave::Through(corners) => {
            let shown = corners
                .iter()
                .map(|(at, level)| format!("{} at {}", size(level), time(at)));
            let shown = shown.collect::<Vec<_>>().join(", ");
            let numbers = corners.iter().flat_map(|(at, level)| [at, level]);
            (numbers.collect(), format!("through {shown}"))
        }
    };
    let kind = shown.split(' ').next().unwrap_or("");
    let numbers: Vec<String> = numbers.into_iter().map(exact).collect();
    Figure {
        label: "",
        exact: format!("{kind} {}", numbers.join(" ")),
        written: Some(written),
        shown,
    }
}

/// What a part gives, under the words of the language.
pub fn given(part: &Part, show: Show) -> Vec<Figure> {
    use Dimension as D;
    let one = [
        ("gain", &part.gain, D::NONE),
        ("bandwidth", &part.bandwidth, D::HERTZ),
        ("slew", &part.slew, D::VOLT_PER_SECOND),
        ("input_resistance", &part.input_resistance, D::OHM),
        ("output_resistance", &part.output_resistance, D::OHM),
        ("rejection", &part.rejection, D::NONE),
        ("offset", &part.offset, D::VOLT),
        ("bias_current", &part.bias_current, D::AMPERE),
        ("bias_offset", &part.bias_offset, D::AMPERE),
    ];
    let two = [
        ("headroom", &part.headroom, D::VOLT, ["low ", ", high "]),
        ("supply", &part.supply, D::VOLT, ["", " to "]),
        ("current", &part.current, D::AMPERE, ["source ", ", sink "]),
        ("inputs", &part.inputs, D::VOLT, ["low ", ", high "]),
    ];
    let one = one.into_iter().filter_map(|(label, value, dimension)| {
        let value = value.as_ref()?;
        Some(Figure::new(label, value, dimension, None, show))
    });
    let two = two
        .into_iter()
        .filter_map(|(label, pair, dimension, [first, second])| {
            let [a, b] = pair.as_ref()?;
            Some(Figure {
                label,
                exact: format!("{} {}", exact(a), exact(b)),
                written: None,
                shown: format!(
                    "{first}{}{second}{}",
                    show(a, dimension),
                    show(b, dimension)
                ),
            })
        });
    let package = part.package.iter().map(|it| Figure {
        label: "package",
        ..Figure::word(it)
    });
    one.chain(two).chain(package).collect()
}

/// A number as it compares.
pub fn exact(number: &Number) -> String {
    match number {
        Number::Exact(ratio) => ratio.to_string(),
        Number::Rounded { value, .. } => format!("{value:e}"),
    }
}
