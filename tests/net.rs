//! A circuit as data, its text in the language, and its netlist for the reference solver.

use std::collections::BTreeMap;
use std::fmt::{self, Write};

use serde_json::{Value, json};

use crate::random::Random;

/// digits · 10^exponent, as the language writes it.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Decimal {
    pub digits: i64,
    pub exponent: i32,
}

pub const ZERO: Decimal = Decimal {
    digits: 0,
    exponent: 0,
};

impl Decimal {
    pub fn new(digits: i64, exponent: i32) -> Self {
        Self { digits, exponent }
    }

    /// The shortest decimal that reads as this floating number.
    pub fn of(number: f64) -> Self {
        let text = number.to_string();
        let decimals = text.split_once('.').map_or(0, |(_, after)| after.len());
        let digits = text.replacen('.', "", 1);
        Self::new(digits.parse().expect("a short decimal"), -(decimals as i32))
    }

    pub fn times(self, other: Decimal) -> Self {
        Self::new(self.digits * other.digits, self.exponent + other.exponent)
    }

    /// The same with one more in its last digit.
    pub fn plus_one(self) -> Self {
        Self::new(self.digits + 1, self.exponent)
    }

    /// The number in units of 10^prefix.
    fn written(self, prefix: i32) -> String {
        let exponent = self.exponent - prefix;
        let sign = if self.digits < 0 { "-" } else { "" };
        let mut digits = self.digits.unsigned_abs().to_string();
        if exponent >= 0 {
            digits.push_str(&"0".repeat(exponent as usize));
            return format!("{sign}{digits}");
        }
        let decimals = exponent.unsigned_abs() as usize;
        let digits = format!("{digits:0>width$}", width = decimals + 1);
        let (whole, part) = digits.split_at(digits.len() - decimals);
        format!("{sign}{whole}.{part}")
    }
}

impl fmt::Display for Decimal {
    fn fmt(&self, out: &mut fmt::Formatter) -> fmt::Result {
        out.write_str(&self.written(0))
    }
}

#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Kind {
    Resistor,
    Capacitor,
    Inductor,
}

/// constant + Σ factor · node
#[derive(Clone, Debug)]
pub struct Drive {
    pub constant: Decimal,
    pub controls: Vec<(Decimal, String)>,
}

impl Drive {
    pub fn constant(constant: Decimal) -> Self {
        Self {
            constant,
            controls: Vec::new(),
        }
    }
}

#[derive(Clone, Debug)]
pub enum Part {
    /// Its current counts from the first end to the second.
    Element {
        name: String,
        kind: Kind,
        value: Decimal,
        ends: [String; 2],
    },
    /// plus − minus = drive; plus is never ground.
    Voltage {
        name: String,
        plus: String,
        minus: String,
        drive: Drive,
    },
    Current {
        name: String,
        from: String,
        into: String,
        drive: Drive,
    },
    Opamp {
        name: String,
        plus: String,
        minus: String,
        drives: String,
    },
}

impl Part {
    pub fn name(&self) -> &str {
        match self {
            Part::Element { name, .. }
            | Part::Voltage { name, .. }
            | Part::Current { name, .. }
            | Part::Opamp { name, .. } => name,
        }
    }

    /// Every node that it touches or reads.
    pub fn nodes_mut(&mut self) -> Vec<&mut String> {
        let mut nodes = Vec::new();
        match self {
            Part::Element { ends, .. } => nodes.extend(ends),
            Part::Opamp {
                plus,
                minus,
                drives,
                ..
            } => nodes.extend([plus, minus, drives]),
            Part::Voltage {
                plus: a,
                minus: b,
                drive,
                ..
            }
            | Part::Current {
                from: a,
                into: b,
                drive,
                ..
            } => {
                nodes.extend([a, b]);
                nodes.extend(drive.controls.iter_mut().map(|(_, node)| node));
            }
        }
        nodes
    }
}

/// A circuit. A node whose name begins with `~` stands unnamed between the two elements of a path that touch it: it is the second
/// end of the one and the first end of the other.
#[derive(Clone, Debug, Default)]
pub struct Net {
    pub name: String,
    pub parts: Vec<Part>,
    /// Decides between spellings that mean the same.
    pub style: u64,
    /// The parts of op-amps that are not ideal: properties of the language, each with its value in the base unit.
    pub figures: BTreeMap<String, Vec<(&'static str, Decimal)>>,
    /// The low and the high rail of op-amps that have any.
    pub rails: BTreeMap<String, [Decimal; 2]>,
}

impl Net {
    /// The elements' places in `parts`, path by path, each path from left to right.
    fn paths(&self) -> Vec<Vec<usize>> {
        let mut style = Random::new(self.style);
        let ends = |place: usize| match &self.parts[place] {
            Part::Element { ends, .. } => Some(ends),
            _ => None,
        };
        let mut left: Vec<usize> = (0..self.parts.len())
            .filter(|&place| ends(place).is_some())
            .collect();
        let mut paths = Vec::new();
        while let Some(first) = left
            .iter()
            .position(|&place| !ends(place).expect("an element")[0].starts_with('~'))
        {
            let mut path = vec![left.remove(first)];
            loop {
                let tip = &ends(path[path.len() - 1]).expect("an element")[1];
                let next = left
                    .iter()
                    .position(|&place| &ends(place).expect("an element")[0] == tip);
                let unnamed = tip.starts_with('~');
                match next {
                    Some(next) if unnamed || (tip != "ground" && style.chance(40)) => {
                        path.push(left.remove(next));
                    }
                    _ => break,
                }
            }
            paths.push(path);
        }
        assert!(left.is_empty(), "every unnamed node has two elements");
        paths
    }

    /// The lines of the circuit's body.
    pub fn lines(&self) -> Vec<String> {
        let mut lines = Vec::new();
        let mut paths = self.paths();
        paths.sort();
        let mut paths = paths.into_iter().peekable();
        for (place, part) in self.parts.iter().enumerate() {
            match part {
                Part::Element { .. } => {
                    if let Some(path) = paths.next_if(|path| path[0] == place) {
                        lines.push(self.path_line(&path));
                    }
                }
                Part::Voltage {
                    name,
                    plus,
                    minus,
                    drive,
                } => {
                    let left = match minus.as_str() {
                        "ground" => plus.clone(),
                        minus => format!("{plus} - {minus}"),
                    };
                    lines.push(format!(
                        "source {name}: {left} = {}",
                        drive_text(drive, "V", None)
                    ));
                }
                Part::Current {
                    name,
                    from,
                    into,
                    drive,
                } => lines.push(format!(
                    "source {name}: {} from {from} into {into}",
                    drive_text(drive, "A", Some("S"))
                )),
                Part::Opamp {
                    name,
                    plus,
                    minus,
                    drives,
                } => {
                    let part = match self.figures.contains_key(name) {
                        true => format!(", part {}_{name}", self.name),
                        false => String::new(),
                    };
                    let supply = match self.rails.get(name) {
                        Some([low, high]) => format!(", supply {high} V and {low} V"),
                        None => String::new(),
                    };
                    lines.push(format!(
                        "opamp {name}: plus {plus}, minus {minus}, drives {drives}{part}{supply}"
                    ));
                }
            }
        }
        lines
    }

    fn path_line(&self, path: &[usize]) -> String {
        let mut style = Random::new(self.style ^ path[0] as u64);
        let mut line = String::new();
        for &place in path {
            let Part::Element {
                name,
                kind,
                value,
                ends,
            } = &self.parts[place]
            else {
                unreachable!("a path holds elements");
            };
            if line.is_empty() {
                line.push_str(&ends[0]);
            }
            let value = element_text(*kind, *value, &mut style);
            let _ = write!(line, " -- {name} {value}");
            if !ends[1].starts_with('~') {
                let _ = write!(line, " -- {}", ends[1]);
            }
        }
        line
    }

    /// The whole circuit as a text, its parts before it.
    pub fn text(&self) -> String {
        format!("{}{}", self.parts_text(), self.circuit_text())
    }

    fn circuit_text(&self) -> String {
        format!("circuit {}\n\n{}\n", self.name, self.lines().join("\n"))
    }

    fn parts_text(&self) -> String {
        let mut text = String::new();
        for (opamp, figures) in &self.figures {
            let _ = writeln!(text, "part {}_{opamp}", self.name);
            for (property, value) in figures {
                let unit = match *property {
                    "offset" | "headroom" => " V",
                    "bias_current" | "bias_offset" | "current" => " A",
                    "input_resistance" | "output_resistance" => " ohm",
                    _ => "",
                };
                let _ = writeln!(text, "  {property} {value}{unit}");
            }
            text.push_str("end\n");
        }
        text
    }

    /// What the program calls a node.
    pub fn keys(&self) -> BTreeMap<String, String> {
        let mut keys = BTreeMap::new();
        for path in self.paths() {
            for pair in path.windows(2) {
                let (left, right) = (&self.parts[pair[0]], &self.parts[pair[1]]);
                if let Part::Element { ends, .. } = left
                    && ends[1].starts_with('~')
                {
                    keys.insert(
                        ends[1].clone(),
                        format!("{}..{}", left.name(), right.name()),
                    );
                }
            }
        }
        keys
    }

    /// For the reference solver: each part with its equation, nodes by the names that the program prints.
    pub fn netlist(&self) -> Value {
        let keys = self.keys();
        let key = |node: &String| keys.get(node).unwrap_or(node).clone();
        let drive = |drive: &Drive| {
            json!({
                "constant": drive.constant.to_string(),
                "controls": drive.controls.iter()
                    .map(|(factor, node)| json!([factor.to_string(), key(node)])).collect::<Vec<_>>(),
            })
        };
        let parts: Vec<Value> = self
            .parts
            .iter()
            .map(|part| match part {
                Part::Element { name, kind, value, ends } => json!({
                    "kind": format!("{kind:?}").to_lowercase(), "name": name, "value": value.to_string(),
                    "ends": [key(&ends[0]), key(&ends[1])],
                }),
                Part::Voltage { name, plus, minus, drive: it } => json!({
                    "kind": "voltage", "name": name, "ends": [key(plus), key(minus)], "drive": drive(it),
                }),
                Part::Current { name, from, into, drive: it } => json!({
                    "kind": "current", "name": name, "ends": [key(from), key(into)], "drive": drive(it),
                }),
                Part::Opamp { name, plus, minus, drives } => json!({
                    "kind": "opamp", "name": name, "plus": key(plus), "minus": key(minus), "drives": key(drives),
                    "figures": self.figures.get(name).into_iter().flatten()
                        .map(|(property, value)| ((*property).to_owned(), json!(value.to_string())))
                        .collect::<serde_json::Map<_, _>>(),
                    "rails": self.rails.get(name).map(|it| it.map(|it| it.to_string())),
                }),
            })
            .collect();
        json!({"name": self.name, "parts": parts})
    }

    /// The names of the op-amps.
    pub fn opamps(&self) -> Vec<String> {
        self.parts
            .iter()
            .filter(|part| matches!(part, Part::Opamp { .. }))
            .map(|part| part.name().to_owned())
            .collect()
    }

    /// The same circuit with plus and minus of one op-amp exchanged.
    pub fn swapped(&self, opamp: &str) -> Net {
        let mut net = self.clone();
        for part in &mut net.parts {
            if let Part::Opamp {
                name, plus, minus, ..
            } = part
                && name == opamp
            {
                std::mem::swap(plus, minus);
            }
        }
        net
    }

    /// The same circuit with each independent constant changed.
    pub fn with_constants(&self, mut change: impl FnMut(&str, bool, Decimal) -> Decimal) -> Net {
        let mut net = self.clone();
        for part in &mut net.parts {
            match part {
                Part::Voltage { name, drive, .. } => {
                    drive.constant = change(name, true, drive.constant)
                }
                Part::Current { name, drive, .. } => {
                    drive.constant = change(name, false, drive.constant)
                }
                _ => {}
            }
        }
        net
    }
}

/// Circuits one below the other in one file, their parts before the first.
pub fn file(nets: &[Net]) -> String {
    let parts: String = nets.iter().map(Net::parts_text).collect();
    let circuits: Vec<String> = nets.iter().map(Net::circuit_text).collect();
    parts + &circuits.join("\n")
}

fn element_text(kind: Kind, value: Decimal, style: &mut Random) -> String {
    let spell = |prefix: i32, unit: &str| format!("{} {unit}", value.written(prefix));
    match kind {
        Kind::Resistor => match style.below(4) {
            0 => value.written(0),
            1 => format!("{}k", value.written(3)),
            2 => spell(0, "ohm"),
            _ => spell(6, "Mohm"),
        },
        Kind::Capacitor => {
            let (prefix, unit) = *style.pick(&[(-6, "uF"), (-9, "nF"), (0, "F")]);
            spell(prefix, unit)
        }
        Kind::Inductor => spell(-3, "mH"),
    }
}

fn drive_text(drive: &Drive, unit: &str, factor_unit: Option<&str>) -> String {
    let mut text = String::new();
    if drive.controls.is_empty() || drive.constant.digits != 0 {
        text = format!("{} {unit}", drive.constant);
    }
    for (factor, node) in &drive.controls {
        let size = Decimal::new(factor.digits.abs(), factor.exponent);
        let sign = match (text.is_empty(), factor.digits < 0) {
            (true, true) => "-",
            (true, false) => "",
            (false, true) => " - ",
            (false, false) => " + ",
        };
        let size = match factor_unit {
            Some(unit) => format!("{size} {unit}"),
            None => size.to_string(),
        };
        let _ = write!(text, "{sign}{size} * {node}");
    }
    text
}
