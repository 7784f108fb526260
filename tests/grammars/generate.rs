//! Sound files of random statements, whose names are mostly words of the language: a word is one by its place alone.

use crate::random::Random;

const NAMES: [&str; 90] = [
    "a",
    "b",
    "sum",
    "n_1",
    "R1",
    "Ω_bed",
    "été",
    "V",
    "k",
    "s",
    "dB",
    "e3",
    "_",
    "ampersum",
    "use",
    "part",
    "block",
    "circuit",
    "work",
    "source",
    "let",
    "supply",
    "opamps",
    "start",
    "expect",
    "problem",
    "ask",
    "answer",
    "find",
    "vary",
    "require",
    "record",
    "response",
    "allow",
    "for",
    "from",
    "into",
    "at",
    "to",
    "by",
    "in",
    "among",
    "and",
    "are",
    "driven",
    "points",
    "always",
    "within",
    "finding",
    "linear",
    "latches",
    "oscillates",
    "high",
    "low",
    "rail",
    "goes",
    "sine",
    "square",
    "triangle",
    "step",
    "through",
    "offset",
    "phase",
    "duty",
    "plus",
    "minus",
    "drives",
    "wiper",
    "total",
    "open",
    "closed",
    "anode",
    "cathode",
    "value",
    "rated",
    "opamp",
    "comparator",
    "switch",
    "pot",
    "diode",
    "electrolytic",
    "abs",
    "max",
    "parallel",
    "current",
    "log10",
    "gain",
    "F1",
    "end",
    "ground",
];

const QUANTITIES: [&str; 30] = [
    "1", "0", "10k", "10 k", "4k7", "2R2", "100R", "1M5", "4n7F", "10K", "4.7", "1.5e-3 V", "1 V",
    "5 mV", "3 MHz", "6 V/us", "150 V/mV", "1 %", "50%", "-3 dB", "90 deg", "10 kΩ", "3 µA",
    "2 Vpp", "1 Vrms", "1e-9", "2 mS", "0.25 W", "1.5M", "20 ms",
];

const FUNCTIONS: [&str; 6] = ["abs", "parallel", "max", "power", "nearest", "find"];

/// Writes one file.
pub struct Generator<'r> {
    random: &'r mut Random,
}

/// A sound file of some bodies and statements.
pub fn file(random: &mut Random) -> String {
    let mut generator = Generator { random };
    let mut file = String::new();
    for _ in 0..generator.random.between(1, 4) {
        let body = generator.body();
        file += &body;
    }
    let circuits = generator.random.below(3);
    for _ in 0..circuits {
        file += &format!("circuit {} \"a - b\"\n", generator.plain_name());
        let lines = generator.lines(6);
        file += &lines;
        if generator.random.chance(40) {
            let sheet = generator.sheet();
            file += &sheet;
        }
    }
    if circuits == 0 {
        let lines = generator.lines(8);
        file += &lines;
    }
    file
}

impl Generator<'_> {
    fn body(&mut self) -> String {
        if self.random.chance(50) {
            let mut part = format!("part {}\n", self.plain_name());
            for _ in 0..self.random.between(1, 4) {
                let property = self.property();
                part += &format!("  {property}\n");
            }
            part + "end\n"
        } else {
            let mut block = format!("block {}: {}", self.plain_name(), self.new_name());
            for _ in 0..self.random.below(4) {
                let name = self.new_name();
                block += &if self.random.chance(50) {
                    format!(", {name} = {}", self.expression(2))
                } else {
                    format!(", {name}")
                };
            }
            block.push('\n');
            for _ in 0..self.random.between(1, 3) {
                let line = match self.random.below(4) {
                    0 => self.source(),
                    1 => self.device(),
                    2 => format!("let {} = {}", self.new_name(), self.expression(3)),
                    _ => self.path(),
                };
                block += &format!("  {line}\n");
            }
            block + "end # of a block\n"
        }
    }

    fn property(&mut self) -> String {
        let word = *self.random.pick(&[
            "gain", "slew", "headroom", "supply", "current", "package", "inputs",
        ]);
        match self.random.below(4) {
            0 => format!("{word} {}", self.plain_name()),
            1 => format!("{word} {}", self.quantity()),
            2 => format!("{word} {} to {}", self.quantity(), self.quantity()),
            _ => format!("{word} low {}, high {}", self.quantity(), self.quantity()),
        }
    }

    fn sheet(&mut self) -> String {
        let mut sheet = format!("work \"a = b\" for {}\n", self.plain_name());
        for _ in 0..self.random.between(1, 4) {
            let line = if self.random.chance(30) {
                format!("let {} = {}", self.new_name(), self.expression(3))
            } else {
                let first = self.name();
                let sign = *self.random.pick(&["+", "-", "*", "/"]);
                let rest = self.expression(2);
                format!("{first} {sign} {rest} = {}", self.expression(3))
            };
            sheet += &format!("  {line}\n");
        }
        sheet + "end\n"
    }

    fn lines(&mut self, most: usize) -> String {
        let mut lines = String::new();
        for _ in 0..self.random.between(1, most) {
            if self.random.chance(10) {
                lines += "## what `at` is\n# \"not -- a line\n\n";
            }
            let line = self.statement();
            lines += &self.broken_up(&line);
            lines += *self
                .random
                .pick(&["\n", "\n", "\n", "\r\n", " # so\n", " ## so\n", "\n\n"]);
        }
        lines
    }

    /// Sometimes a line goes on in the next.
    fn broken_up(&mut self, line: &str) -> String {
        let sign = *self.random.pick(&[" -- ", ", "]);
        match line.rsplit_once(sign) {
            Some((before, after)) if self.random.chance(15) && !before.contains('"') => {
                let comment = *self
                    .random
                    .pick(&["", "", "  # between\n", "  ## between\n"]);
                // The first dashes tell a path, so they stay in its line.
                if sign == " -- " && !before.contains(sign) {
                    return line.to_owned();
                }
                format!("{before}\n{comment}    {}{after}", sign.trim_start())
            }
            _ => line.to_owned(),
        }
    }

    fn statement(&mut self) -> String {
        match self.random.below(16) {
            0..=2 => self.path(),
            3 | 4 => self.source(),
            5 | 6 => self.device(),
            7 => format!("let {} = {}", self.new_name(), self.expression(3)),
            8 => format!("supply {}", self.rails()),
            9 => format!("start {} = {}", self.expression(2), self.quantity()),
            10 => self.claim(),
            11 => {
                let list = self.list();
                format!("find {list} points 3")
            }
            12 => {
                let how = *self.random.pick(&["by", "in"]);
                let last = if how == "by" {
                    self.expression(1)
                } else {
                    self.plain_name().to_owned()
                };
                format!(
                    "vary {} from {} to {} {how} {last}",
                    self.reference(),
                    self.expression(1),
                    self.expression(1)
                )
            }
            13 => {
                let sign = *self.random.pick(&["<", ">", "<=", ">="]);
                format!(
                    "require {} {sign} {}",
                    self.expression(2),
                    self.expression(2)
                )
            }
            14 => {
                let list = self.list();
                format!("record {list} for {}", self.quantity())
            }
            _ => {
                let driven = if self.random.chance(50) {
                    format!(" driven by {}", self.reference())
                } else {
                    String::new()
                };
                format!(
                    "response {}{driven} from {} to {}",
                    self.expression(2),
                    self.quantity(),
                    self.quantity()
                )
            }
        }
    }

    fn path(&mut self) -> String {
        let mut path = self.name().to_owned();
        for _ in 0..self.random.between(1, 3) {
            let name = self.new_name();
            let value = if self.random.chance(70) {
                format!(" {}", self.quantity().trim_start_matches('-'))
            } else {
                format!(" ({})", self.expression(2))
            };
            let tolerance = *self.random.pick(&["", "", " 5 %", " 0.25 W"]);
            path += &format!(" -- {name}{value}{tolerance}");
            if self.random.chance(60) {
                path += &format!(" -- {}", self.name());
                if self.random.chance(50) {
                    return path;
                }
            }
        }
        if path
            .rsplit(" -- ")
            .next()
            .is_some_and(|last| !last.contains(' '))
        {
            return path;
        }
        path + " -- ground"
    }

    fn source(&mut self) -> String {
        let name = self.new_name();
        if self.random.chance(60) {
            let drive = self.drive();
            let minus = if self.random.chance(40) {
                format!(" - {}", self.new_name())
            } else {
                String::new()
            };
            format!("source {name}: {}{minus} = {drive}", self.new_name())
        } else {
            format!(
                "source {name}: {} from {} into {}",
                self.drive(),
                self.name(),
                self.name()
            )
        }
    }

    fn drive(&mut self) -> String {
        let expression = self.expression(1);
        match self.random.below(5) {
            0 => {
                let mut options = ["offset 1 V", "phase 90 deg", "duty 30 %"];
                self.random.shuffle(&mut options);
                let wave = *self.random.pick(&["sine", "square", "triangle"]);
                format!("{wave} {} at {expression} {}", self.quantity(), options[0])
            }
            1 => format!(
                "step {expression} to {} at {}",
                self.expression(1),
                self.expression(1)
            ),
            2 => format!("through {expression} at 1 s, {} at 2 s", self.expression(1)),
            _ => {
                let sum = self.expression(2);
                // A wave's word in front would begin a wave.
                format!("2 * {sum}")
            }
        }
    }

    fn device(&mut self) -> String {
        let kind = *self.random.pick(&[
            "opamp",
            "comparator",
            "switch",
            "pot",
            "diode",
            "stage",
            "record_er",
        ]);
        let mut clauses = Vec::new();
        for _ in 0..self.random.between(1, 4) {
            let word = *self.random.pick(&[
                "plus", "minus", "drives", "from", "to", "R", "at", "open", "part", "supply",
            ]);
            clauses.push(match (word, self.random.below(3)) {
                ("open", _) => word.to_owned(),
                ("supply", _) => format!("{word} {}", self.rails()),
                (_, 0) => format!("{word} {}", self.quantity().trim_start_matches('-')),
                (_, 1) => format!("{word} ({})", self.expression(2)),
                _ => format!("{word} {}", self.name()),
            });
        }
        format!("{kind} {}: {}", self.new_name(), clauses.join(", "))
    }

    fn rails(&mut self) -> String {
        let mut rail = || match self.random.below(3) {
            0 => format!("+{}", self.quantity().trim_start_matches('-')),
            1 => format!("-{}", self.quantity().trim_start_matches('-')),
            _ => self.name().to_owned(),
        };
        let (one, other) = (rail(), rail());
        if self.random.chance(50) {
            one
        } else {
            format!("{one} and {other}")
        }
    }

    fn claim(&mut self) -> String {
        let within = *self.random.pick(&["", " within 1 %", " within 1 mV"]);
        match self.random.below(5) {
            0 => {
                let state = *self.random.pick(&[
                    "linear",
                    "latches",
                    "oscillates",
                    "at high rail",
                    "at low rail",
                ]);
                format!("expect {} {state}", self.plain_name())
            }
            1 => format!(
                "expect {} goes high at {} = {}{within}",
                self.plain_name(),
                self.name(),
                self.expression(2)
            ),
            2 => format!(
                "expect finding {} at {}",
                self.plain_name(),
                self.reference()
            ),
            3 => format!(
                "expect always {} = {}",
                self.expression(2),
                self.expression(2)
            ),
            _ => format!(
                "expect {} = {} at {}{within}",
                self.expression(2),
                self.expression(2),
                self.quantity()
            ),
        }
    }

    fn list(&mut self) -> String {
        let items: Vec<String> = (0..self.random.between(1, 3))
            .map(|_| self.expression(2))
            .collect();
        items.join(", ")
    }

    fn expression(&mut self, depth: usize) -> String {
        let choice = if depth == 0 {
            self.random.below(3)
        } else {
            self.random.below(8)
        };
        match choice {
            0 => self.quantity().to_owned(),
            1 | 2 => self.reference(),
            3 => format!("({})", self.expression(depth - 1)),
            4 => {
                let function = *self.random.pick(&FUNCTIONS);
                format!(
                    "{function}({}, {})",
                    self.expression(depth - 1),
                    self.expression(depth - 1)
                )
            }
            5 => format!("-{}", self.reference()),
            6 => format!("{}^2", self.reference()),
            _ => {
                let sign = *self.random.pick(&[" + ", " - ", " * ", " / ", "*", "/"]);
                format!(
                    "{}{sign}{}",
                    self.expression(depth - 1),
                    self.expression(depth - 1)
                )
            }
        }
    }

    fn quantity(&mut self) -> &'static str {
        self.one_of(&QUANTITIES)
    }

    fn reference(&mut self) -> String {
        if self.random.chance(10) {
            format!("{}.{}", self.name(), self.name())
        } else {
            self.name().to_owned()
        }
    }

    fn name(&mut self) -> &'static str {
        self.one_of(&NAMES)
    }

    /// Any but `ground`, which nothing can be called.
    fn new_name(&mut self) -> &'static str {
        self.one_of(&NAMES[..NAMES.len() - 1])
    }

    /// No word of the language.
    fn plain_name(&mut self) -> &'static str {
        self.one_of(&NAMES[..6])
    }

    fn one_of(&mut self, words: &[&'static str]) -> &'static str {
        words[self.random.below(words.len())]
    }
}
