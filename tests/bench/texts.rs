//! Texts of any length as people write them: amplifier stages with comments, claims and tasks, no two lines alike.

use std::fmt::Write;

use crate::random::Random;

/// A file of many circuits of about twenty lines each, like a term's homework.
pub fn many_circuits(lines: usize) -> String {
    let mut writer = Writer::new();
    writer.head();
    while writer.lines < lines {
        writer.circuit();
    }
    writer.text
}

/// A file of one circuit: chains of at most four stages on common rails and sources.
pub fn one_circuit(lines: usize) -> String {
    let mut writer = Writer::new();
    writer.line("# A glasshouse on one sheet: every bed has its own chain of stages.");
    writer.line("circuit glasshouse \"Every bed on one sheet\"\n");
    writer.line("supply +12 V and -12 V");
    while writer.lines < lines {
        let probe = writer.source();
        writer.chain(&probe);
    }
    writer.text
}

/// Resistors in a square of this many nodes a side, fed at one corner: every node voltage depends on every resistor.
pub fn grid(side: usize) -> String {
    let mut writer = Writer::new();
    writer.line("source feed: n0_0 = 5 V");
    for row in 0..side {
        for column in 0..side {
            let node = format!("n{row}_{column}");
            for (next_row, next_column) in [(row + 1, column), (row, column + 1)] {
                if next_row < side && next_column < side {
                    let value = writer.resistor();
                    writer.line(&format!(
                        "{node} -- R{next_row}_{next_column}_{row} {value} -- n{next_row}_{next_column}"
                    ));
                }
            }
        }
    }
    let last = side - 1;
    writer.line(&format!("n{last}_{last} -- Rout 1k -- ground"));
    writer.text
}

/// Inverting stages of real op-amps in a row, each with a gain of this many: their output resistances tie all of them into one block.
pub fn real_chain(stages: usize, gain: usize) -> String {
    let mut writer = Writer::new();
    writer.line("part field_grade\n  gain 200000\n  output_resistance 75 ohm\nend");
    writer.line("circuit chain\nopamps are field_grade\nsource probe: n0 = 0.1 V");
    for stage in 1..=stages {
        let before = stage - 1;
        writer.line(&format!(
            "n{before} -- Ra{stage} 1k -- f{stage} -- Rb{stage} {gain}k -- n{stage}"
        ));
        writer.line(&format!(
            "opamp A{stage}: plus ground, minus f{stage}, drives n{stage}"
        ));
    }
    writer.text
}

/// Preferred values of E12, from memory of IEC 60063.
const E12: [&str; 12] = [
    "1", "1.2", "1.5", "1.8", "2.2", "2.7", "3.3", "3.9", "4.7", "5.6", "6.8", "8.2",
];
const THINGS: [&str; 12] = [
    "bed", "leaf", "tank", "vent", "lamp", "pump", "soil", "valve", "tray", "mist", "shade", "drip",
];
const REMARKS: [&str; 6] = [
    "The probe gives little, so it is lifted first.",
    "Loaded by the logger's input.",
    "Keeps the mains hum of the lamps out.",
    "Two beds are weighed against each other.",
    "As measured on the bench.",
    "Turned, because the pump's driver wants it below zero.",
];

struct Writer {
    random: Random,
    text: String,
    lines: usize,
    /// Counts sources, stages and circuits, so that every name is new.
    count: usize,
}

impl Writer {
    fn new() -> Writer {
        Writer {
            random: Random::new(7),
            text: String::new(),
            lines: 0,
            count: 0,
        }
    }

    fn line(&mut self, line: &str) {
        self.text.push_str(line);
        self.text.push('\n');
        self.lines += 1 + line.matches('\n').count();
    }

    fn next(&mut self) -> usize {
        self.count += 1;
        self.count
    }

    /// A remark now and then, behind a line or alone.
    fn remark(&mut self) -> String {
        if self.random.chance(9) {
            format!("  # {}", self.random.pick(&REMARKS))
        } else {
            String::new()
        }
    }

    fn resistor(&mut self) -> String {
        let value = *self.random.pick(&E12);
        let factor = *self
            .random
            .pick(&["k", "k", "0k", "0k", "00k", " kohm", "00"]);
        match (value, factor) {
            ("1", "00k") => "100k".to_owned(),
            (value, "0k" | "00k" | "00") if value.contains('.') => {
                let digits = value.replace('.', "");
                format!("{digits}{}", &factor[1..])
            }
            (value, factor) => format!("{value}{factor}"),
        }
    }

    fn head(&mut self) {
        self.line("# What a term brings: one circuit a lesson.");
        self.line("ampersum 1\n");
        self.line("## The op-amp of the drawer, as its (invented) data sheet has it.");
        self.line("part drawer\n  bandwidth 3 MHz\n  slew 6 V/us\n  package dual_8\nend\n");
        self.line("## Inverting stage: out = -Rf / Rin * in.");
        self.line("block inverter: in, out, Rin = 10k, Rf = 10k");
        self.line("  in -- R1 (Rin) -- sum -- R2 (Rf) -- out");
        self.line("  opamp A1: plus ground, minus sum, drives out\nend\n");
    }

    fn circuit(&mut self) {
        let number = self.next();
        let thing = *self.random.pick(&THINGS);
        let other = *self.random.pick(&THINGS);
        self.line(&format!("# Lesson {number}: {thing} and {other}."));
        self.line(&format!(
            "circuit {thing}_{number} \"Measure the {thing}\"\n"
        ));
        self.line("supply +12 V and -12 V");
        let first = self.source();
        self.line("");
        let end = self.chain(&first);
        let ohm = |value: String| match value.ends_with('0') {
            true => value + " ohm",
            false => value,
        };
        if self.random.chance(40) {
            let number = self.next();
            let resistor = ohm(self.resistor());
            let line =
                format!("inverter S{number}: in {end}, out {end}_turned, Rin 10k, Rf {resistor}");
            self.line(&line);
            self.line(&format!("{end}_turned -- RT{number} {resistor} -- ground"));
        }
        self.line("");
        match self.random.below(4) {
            0 => self.line(&format!(
                "problem \"What does the {thing} give?\"\n    \"Write the equations, then solve.\" points 8\nfind {end} points 5"
            )),
            1 => self.line(&format!(
                "ask \"Why is the {thing} buffered?\" points 2\nanswer \"It cannot drive the {other}.\""
            )),
            2 => self.line(&format!("expect {first} = {first}\nexpect current({end}_load) = {end} / {end}_load")),
            _ => self.line(&format!("require abs({end}) < 10.5 V")),
        }
        self.line("");
    }

    fn source(&mut self) -> String {
        let number = self.next();
        let thing = *self.random.pick(&THINGS);
        let value = *self.random.pick(&E12);
        let remark = self.remark();
        let (digits, unit) = *self.random.pick(&[("", "V"), ("0", "mV"), ("00", "mV")]);
        let value = match digits {
            "" => format!("{value} {unit}"),
            _ => format!("{}{digits} {unit}", value.replace('.', "")),
        };
        self.line(&format!(
            "source probe_{number}: {thing}_{number} = {value}{remark}"
        ));
        format!("{thing}_{number}")
    }

    /// Stages behind a node, then a load; the name of the last output.
    fn chain(&mut self, from: &str) -> String {
        let mut node = from.to_owned();
        for _ in 0..self.random.between(2, 4) {
            node = self.stage(&node);
        }
        let value = self.resistor();
        let remark = self.remark();
        self.line(&format!("{node} -- {node}_load {value} -- ground{remark}"));
        node
    }

    fn stage(&mut self, from: &str) -> String {
        let number = self.next();
        let out = format!("{}_{number}", self.random.pick(&THINGS));
        let [a, b] = [self.resistor(), self.resistor()];
        let remark = self.remark();
        let mut lines = String::new();
        let _ = match self.random.below(5) {
            0 => write!(
                lines,
                "opamp A{number}: plus {from}, minus {out}, drives {out}{remark}"
            ),
            1 => write!(
                lines,
                "{from} -- R{number}a {a} -- sum_{number} -- R{number}b {b} -- {out}{remark}\nopamp A{number}: plus ground, minus sum_{number}, drives {out}"
            ),
            2 => write!(
                lines,
                "opamp A{number}: plus {from}, minus fb_{number}, drives {out}\n{out} -- R{number}a {a} 1 % -- fb_{number} -- R{number}b {b} 1 % -- ground{remark}"
            ),
            3 => write!(
                lines,
                "{from} -- R{number}a {a} -- mid_{number} -- R{number}b {b} -- ground{remark}\nopamp A{number}: plus mid_{number}, minus {out}, drives {out}, part ideal"
            ),
            _ => write!(
                lines,
                "# A filter: {a} and 100 nF.\n{from} -- R{number}a {a} -- slow_{number} -- C{number} 100 nF -- ground{remark}\nopamp A{number}: plus slow_{number}, minus {out}, drives {out}"
            ),
        };
        self.line(&lines);
        out
    }
}
