//! What each word of the language means, in one sentence.

/// A word and its meaning.
pub type Word = (&'static str, &'static str);

/// The meaning of a word in one of the tables below.
pub fn meaning(table: &[Word], word: &str) -> Option<&'static str> {
    table.iter().find(|it| it.0 == word).map(|it| it.1)
}

/// What a clause of a device means; `None` where the device has no such clause.
pub fn clause(device: &str, word: &str) -> Option<&'static str> {
    meaning(clauses(device)?, word)
}

/// The clauses of a device of the language; `None` for a block.
pub fn clauses(device: &str) -> Option<&'static [Word]> {
    Some(match device {
        "opamp" | "comparator" => AMPLIFIER,
        "switch" => SWITCH,
        "pot" => POT,
        "diode" => DIODE,
        "electrolytic" => ELECTROLYTIC,
        _ => return None,
    })
}

/// The words that begin a statement.
pub const STATEMENTS: &[Word] = &[
    (
        "ampersum",
        "Says for which version of the language the file is written.",
    ),
    ("use", "Brings in the parts and blocks of another file."),
    (
        "part",
        "Describes an op-amp as its data sheet does; what is not given is ideal. Ends at `end`.",
    ),
    (
        "block",
        "A circuit with ports, to be used many times under different names. Ends at `end`.",
    ),
    (
        "circuit",
        "Begins a circuit; it goes on to the next `circuit` or to the end of the file.",
    ),
    (
        "work",
        "A student's own equations, to be judged line by line. Ends at `end`.",
    ),
    ("end", "Closes the `part`, `block` or `work` above."),
    (
        "source",
        "A source: it holds a voltage (`source s: a = 5 V`) or drives a current (`source s: 2 mA from a into b`).",
    ),
    ("let", "Gives a value a name."),
    (
        "supply",
        "The rails of every op-amp of the circuit that names none of its own.",
    ),
    (
        "opamps",
        "The part of every op-amp of the circuit that names none of its own.",
    ),
    (
        "start",
        "What a capacitor's voltage or an inductor's current is at t = 0.",
    ),
    (
        "expect",
        "A claim about the circuit; it is checked each time the file is.",
    ),
    ("problem", "The text of a task."),
    ("ask", "A question to be answered in words."),
    ("answer", "The key to the `ask` or `find` above it."),
    ("find", "Values to be found by the student."),
    (
        "vary",
        "An element or a `let` that takes other values in other variants of the task.",
    ),
    (
        "require",
        "A condition that every variant of the task must meet.",
    ),
    ("record", "Values to be recorded over time."),
    (
        "response",
        "A ratio to be computed over a range of frequencies.",
    ),
    ("allow", "Accepts a finding, and says why."),
];

/// The devices of the language; a block's name makes a device too.
pub const DEVICES: &[Word] = &[
    (
        "opamp",
        "An op-amp: with negative feedback its output moves until V+ = V−; no current flows into its inputs.",
    ),
    (
        "comparator",
        "A comparator: its output is at the high rail if plus is above minus, else at the low rail.",
    ),
    (
        "switch",
        "A switch: closed it is a wire, open it is nothing.",
    ),
    (
        "pot",
        "A resistor with a third connection, the wiper, that slides along it.",
    ),
    (
        "diode",
        "A diode: it lets current through from anode to cathode.",
    ),
    (
        "electrolytic",
        "A polarised capacitor: its plus end must not be the lower one.",
    ),
];

const AMPLIFIER: &[Word] = &[
    (
        "plus",
        "The node at the plus input, whose voltage is V+; no current flows into it.",
    ),
    (
        "minus",
        "The node at the minus input, whose voltage is V−; no current flows into it.",
    ),
    (
        "drives",
        "The node that the output holds, whatever current that takes.",
    ),
    ("part", "Which part it is; without one it is ideal."),
    ("supply", "Its own rails; the output cannot go beyond them."),
];

const SWITCH: &[Word] = &[
    ("from", "Its first end; a current counts from here."),
    ("to", "Its second end."),
    ("open", "No current flows."),
    ("closed", "Both ends are at one voltage."),
];

const POT: &[Word] = &[
    ("from", "The end from which the wiper's place is measured."),
    ("to", "The other end."),
    ("wiper", "The node at the wiper."),
    ("total", "The resistance from end to end."),
    (
        "at",
        "Where the wiper stands: the share of the total between `from` and the wiper.",
    ),
];

const DIODE: &[Word] = &[
    ("anode", "The end where current enters."),
    ("cathode", "The end where current leaves."),
    ("part", "Which part it is."),
];

const ELECTROLYTIC: &[Word] = &[
    ("plus", "The end that must be the higher one."),
    ("minus", "The end that must be the lower one."),
    ("value", "Its capacitance."),
    ("rated", "The highest voltage that it stands."),
];

/// What a part may say.
pub const PROPERTIES: &[Word] = &[
    (
        "gain",
        "How many times the output moves by what V+ − V− moves, without feedback; ideal: without limit.",
    ),
    (
        "bandwidth",
        "The frequency at which the gain without feedback has fallen to 1 (gain times bandwidth).",
    ),
    ("slew", "How fast the output can move."),
    (
        "input_resistance",
        "The resistance between the two inputs; ideal: no current flows there.",
    ),
    (
        "output_resistance",
        "The resistance in series with the output; ideal: none.",
    ),
    (
        "rejection",
        "How much less the output moves when both inputs move together than when they move apart.",
    ),
    (
        "offset",
        "A small voltage in series with the plus input that the part adds by itself.",
    ),
    ("bias_current", "The current that flows into each input."),
    (
        "bias_offset",
        "How much more bias current flows into plus than into minus.",
    ),
    ("headroom", "How close to its rails the output can come."),
    (
        "supply",
        "The least and the most voltage between the rails.",
    ),
    (
        "current",
        "The most current that the output can source and sink.",
    ),
    ("inputs", "How close to the rails the inputs may come."),
    (
        "package",
        "How many op-amps share a case, and how many pins it has.",
    ),
];

/// The units, without prefix.
pub const UNITS: &[Word] = &[
    ("V", "Volts: a voltage."),
    ("A", "Amperes: a current."),
    ("s", "Seconds: a time."),
    ("Hz", "Hertz: how often in a second."),
    ("ohm", "Ohms, volts per ampere: a resistance."),
    ("Ω", "Ohms, volts per ampere: a resistance."),
    ("W", "Watts, volts times amperes: a power."),
    (
        "S",
        "Siemens, amperes per volt: a conductance, one over a resistance.",
    ),
    ("deg", "Degrees: an angle, 360 to a full turn."),
    ("F", "Farads: a capacitance."),
    ("%", "Percent: hundredths."),
    (
        "dB",
        "Decibels: a ratio as 20 times its logarithm; 20 dB is ten times, −20 dB a tenth.",
    ),
    ("H", "Henries: an inductance."),
    (
        "Vpp",
        "Volts from peak to peak: a wave's size, twice its amplitude.",
    ),
    (
        "Vrms",
        "Effective volts: a wave's size as the direct voltage that would heat a resistor as much.",
    ),
    ("k", "Thousands of ohms."),
    ("M", "Millions of ohms."),
    ("G", "Thousands of millions of ohms."),
];

/// The prefixes.
pub const PREFIXES: &[Word] = &[
    ("T", "tera, 10¹²"),
    ("G", "giga, 10⁹"),
    ("M", "mega, 10⁶"),
    ("k", "kilo, 10³"),
    ("m", "milli, 10⁻³"),
    ("u", "micro, 10⁻⁶"),
    ("n", "nano, 10⁻⁹"),
    ("p", "pico, 10⁻¹²"),
    ("f", "femto, 10⁻¹⁵"),
];

/// The functions.
pub const FUNCTIONS: &[Word] = &[
    (
        "parallel",
        "The resistance of resistors side by side: 1/(1/a + 1/b + …).",
    ),
    (
        "abs",
        "The size without its sign; of a ratio at a frequency how many times larger.",
    ),
    ("sqrt", "The square root."),
    ("min", "The smallest."),
    ("max", "The largest."),
    ("log10", "The logarithm to base 10."),
    (
        "nearest",
        "The nearest value of a series of stock values: `nearest(E24, 4.1k)`.",
    ),
    (
        "current",
        "The current through an element, from its left end to its right, or out of a source or an op-amp's output.",
    ),
    (
        "power",
        "The power that an element takes in; of an op-amp its heat.",
    ),
    (
        "phase",
        "By how many degrees one wave runs ahead of another.",
    ),
];

/// The words of a source that changes with time.
pub const WAVES: &[Word] = &[
    ("sine", "A sine wave of this amplitude."),
    (
        "square",
        "A wave that jumps between amplitude and minus amplitude.",
    ),
    (
        "triangle",
        "A wave of straight lines between amplitude and minus amplitude.",
    ),
    ("step", "One level, and another from a time on."),
    (
        "through",
        "Straight lines through these levels at these times.",
    ),
    (
        "offset",
        "The level about which the wave swings; at rest the source stands there.",
    ),
    ("phase", "How far into its turn the wave is at t = 0."),
    ("duty", "The share of the time that a square wave is high."),
    ("at", "At this frequency, or at this time."),
    ("from", "The current is taken out of this node."),
    ("into", "The current is pushed into this node."),
];

/// The words of a claim.
pub const CLAIMS: &[Word] = &[
    (
        "always",
        "For all values of the independent sources that the claim is about, not only for those written.",
    ),
    ("within", "How far apart the two sides may be."),
    ("at", "At this time or frequency."),
    (
        "finding",
        "That this finding is made here: a planted fault.",
    ),
    (
        "linear",
        "Its only stable state is with the output between the rails.",
    ),
    (
        "latches",
        "Both rails are stable, and it stays where it was.",
    ),
    ("oscillates", "No state is stable."),
    ("goes", "Where its present state ends as the source moves."),
    ("rail", "Its only stable state is at this rail."),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_meaning_is_one_entry_and_a_sentence() {
        let tables = [
            STATEMENTS,
            DEVICES,
            AMPLIFIER,
            SWITCH,
            POT,
            DIODE,
            ELECTROLYTIC,
            PROPERTIES,
            UNITS,
            FUNCTIONS,
            WAVES,
            CLAIMS,
        ];
        for table in tables {
            for (index, (word, meaning)) in table.iter().enumerate() {
                assert!(meaning.ends_with('.'), "{word}: {meaning}");
                assert!(
                    meaning.chars().next().is_some_and(char::is_uppercase),
                    "{word}: {meaning}"
                );
                assert!(
                    table[..index].iter().all(|it| it.0 != *word),
                    "{word} stands twice"
                );
            }
        }
    }

    #[test]
    fn a_clause_is_looked_up_in_its_own_device() {
        assert!(clause("opamp", "plus").is_some_and(|it| it.contains("V+")));
        assert!(clause("electrolytic", "plus").is_some_and(|it| it.contains("higher")));
        assert_eq!(clause("diode", "plus"), None);
        assert_eq!(clause("my_block", "plus"), None);
    }
}
