//! Each mistake of naming or value in an otherwise sound file is one fault at one word, and costs no other line its meaning.

use ampersum_circuit as circuit;

/// Four nodes, two resistors, an op-amp; every line is sound.
const SOUND: &str = "\
let wish = 2
circuit base
supply +9 V and -9 V
source probe: in = 1 V
in -- R1 10k -- sum -- R2 20k -- out
opamp A1: plus ground, minus sum, drives out
out -- R9 1k -- fb -- R8 1k -- ground
";

/// The line added to the sound file, the word at fault, the id, and the replacement that the first fix writes there.
const LINES: &[(&str, &str, &str, &str)] = &[
    ("fb -- R1 5k -- sum", "R1", "name_taken", "R3"),
    ("fb -- sum 5k -- out", "sum", "name_taken", ""),
    ("fb -- R7 5k -- end", "end", "name_taken", ""),
    ("let ground = 2", "ground", "name_taken", ""),
    ("let wish = 3", "wish", "name_taken", ""),
    ("let out = 3", "out", "name_taken", ""),
    (
        "opamp R1: plus in, minus fb, drives x",
        "R1",
        "name_taken",
        "",
    ),
    ("expect uot = 1 V", "uot", "unknown_name", "out"),
    ("expect out = 2 * wsh", "wsh", "unknown_name", "wish"),
    // four are as near: none is likelier
    ("expect current(R3) = 1 mA", "R3", "unknown_name", ""),
    ("expect A2 linear", "A2", "unknown_name", "A1"),
    ("expect R1 linear", "R1", "unknown_name", "A1"),
    (
        "source light: 2 mA from sum into grund",
        "grund",
        "unknown_name",
        "ground",
    ),
    (
        "opamp A2: plus in, minus fb, drives x, part slow",
        "slow",
        "unknown_name",
        "",
    ),
    (
        "opmap A2: plus in, minus fb, drives x",
        "opmap",
        "unknown_word",
        "opamp",
    ),
    (
        "opamp A2: pluss in, minus fb, drives x",
        "pluss",
        "unknown_word",
        "plus",
    ),
    ("expect out = sqr(4)", "sqr", "unknown_word", "sqrt"),
    ("let stock = nearest(E25, 4k)", "E25", "unknown_word", "E24"),
    ("opamp A2: plus in, minus fb", "A2", "clause_missing", ""),
    (
        "opamp A2: plus in, plus fb, drives x",
        "plus",
        "said_twice",
        "minus",
    ),
    ("supply 5 V", "supply", "said_twice", ""),
    ("in -- R3 1k 1 % 2 % -- ground", "2 %", "said_twice", ""),
    ("A1.x -- R3 1k -- ground", "A1.x", "inside_name", ""),
    ("let a = b\nlet b = a", "a", "ring", ""),
    ("expect A1 = 1 V", "A1", "no_value", "out"),
    ("expect probe = 1 V", "probe", "no_value", "in"),
    ("let a = out", "out", "no_value", ""),
    ("let a = current(R1)", "current", "no_value", ""),
    ("let a = 3 V + 2 ohm", "2 ohm", "units_differ", ""),
    ("expect out = 5 ohm", "5 ohm", "units_differ", ""),
    ("source s: x = 5", "5", "unit_needed", "5 V"),
    ("expect out = 5", "5", "unit_needed", "5 V"),
    ("in -- R3 10 V -- ground", "10 V", "unit_needed", "10 ohm"),
    ("source s: x = 2 Vpp", "2 Vpp", "unit_misplaced", ""),
    ("let a = 3 dB + 1", "3 dB", "unit_misplaced", ""),
    ("in -- R3 0 -- ground", "0", "not_positive", ""),
    (
        "in -- R3 (0 - 5k) -- ground",
        "(0 - 5k)",
        "not_positive",
        "",
    ),
    (
        "let a = 1 / (wish - wish)",
        "(wish - wish)",
        "division_by_zero",
        "",
    ),
    ("source s: x = in * sum", "in * sum", "drive_form", ""),
    ("source s: x = x + 1 V", "x", "drive_form", ""),
    (
        "opamp A2: plus in, minus fb, drives x, supply sum",
        "sum",
        "rail_not_held",
        "",
    ),
    (
        "expect A1 goes high at sum = 2 V",
        "sum",
        "rail_not_held",
        "",
    ),
    ("start sum = 0 V", "sum", "start_nowhere", ""),
    ("use \"../x.amp\"", "\"../x.amp\"", "use_file", ""),
    (
        "opamp A2: plus 5 V, minus fb, drives x",
        "5 V",
        "expected",
        "",
    ),
    ("switch W1: from in, to fb", "W1", "clause_missing", ""),
    (
        "pot P1: from in, to ground, wiper w, total 10k, at 130 %",
        "130 %",
        "expected",
        "",
    ),
    ("find oot", "oot", "unknown_name", "out"),
    ("vary R3 from 1k to 2k in E24", "R3", "unknown_name", ""),
    ("vary R1 from 1k to 2k in E23", "E23", "unknown_word", "E24"),
    ("record out for 2 V", "2 V", "unit_needed", "2 s"),
    (
        "response out / in driven by prob from 1 Hz to 1 kHz",
        "prob",
        "unknown_name",
        "probe",
    ),
    ("allow swing at A3: \"why\"", "A3", "unknown_name", "A1"),
    (
        "source more: x = 1 V\nx -- R5 1k -- sum\nresponse out / sum from 1 Hz to 1 kHz",
        "sum",
        "which_source",
        "",
    ),
    ("work \"w\"\n  smu = 0\nend", "smu", "unknown_name", "sum"),
    (
        "work \"w\"\n  let i = in / R1\n  i = 3 V\nend",
        "3 V",
        "units_differ",
        "",
    ),
    ("work \"w\"\n  let R1 = 3\nend", "R1", "name_taken", ""),
    (
        "work \"w\" for bse\n  in = 1\nend",
        "bse",
        "unknown_name",
        "base",
    ),
];

#[test]
fn one_mistake_is_one_fault_at_its_word() {
    let mut wrong = Vec::new();
    for (line, word, id, fix) in LINES {
        // `use` and file-wide `let`s stand before the circuit.
        let text = if line.starts_with("use") {
            format!("{line}\n{SOUND}")
        } else {
            format!("{SOUND}{line}\n")
        };
        let book = circuit::build("base.amp", text.as_str().into(), &mut |_| None);
        let reading: Vec<_> = book.files[0]
            .tree
            .faults
            .iter()
            .map(|it| (it.kind.id(), it.span.of(&text)))
            .collect();
        let found: Vec<_> = book
            .faults
            .iter()
            .map(|it| (it.kind.id(), book.text(it.place)))
            .collect();
        if !reading.is_empty() || found != [(*id, *word)] {
            wrong.push(format!(
                "{line}\n    wanted {id} at `{word}`, found {found:?}, of reading {reading:?}"
            ));
            continue;
        }
        let written = book.faults[0]
            .fixes
            .first()
            .map_or("", |it| &it.edits[0].text);
        if written != *fix {
            wrong.push(format!(
                "{line}\n    wanted the fix `{fix}`, found `{written}`"
            ));
        }
        let circuit = &book.circuits[0];
        assert_eq!(
            circuit
                .elements
                .iter()
                .filter(|it| ["R1", "R2", "R8", "R9"].contains(&&*it.name))
                .count(),
            4
        );
        assert_eq!(
            circuit.opamps.first().map(|it| it.name.as_str()),
            Some("A1"),
            "{line}"
        );
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn values_come_out_as_on_paper() {
    let text = "\
let Rg = 4.7k
let Rf = nearest(E24, 9 * Rg)
circuit values
in -- R1 (Rf) 1 % 0.25 W -- a -- R2 2 mS -- b -- R3 (parallel(10k, 10k)) -- ground
a -- C1 4n7F 50 V -- ground
source s: in = sine 2 Vpp at 1 kHz offset 500 mV
source d: b - a = 2 * (in - w) + 1 V
pot P1: from in, to ground, wiper w, total 10k, at 25 %
switch W1: from w, to a, closed
";
    let book = circuit::build("values.amp", text.into(), &mut |_| None);
    assert_eq!(book.faults, []);
    let circuit = &book.circuits[0];
    let value = |it: &syntax::Number| it.to_f64();
    let elements: Vec<_> = circuit
        .elements
        .iter()
        .map(|it| (it.name.as_str(), it.kind, value(&it.value)))
        .collect();
    use circuit::ElementKind::*;
    assert_eq!(
        elements,
        [
            ("R1", Resistor, 43_000.0),
            ("R2", Resistor, 500.0),
            ("R3", Resistor, 5_000.0),
            ("C1", Capacitor, 4.7e-9),
            ("P1.from", Resistor, 2_500.0),
            ("P1.to", Resistor, 7_500.0),
            ("W1", Wire, 0.0),
        ]
    );
    assert_eq!(
        circuit.elements[0].tolerance.as_deref().map(value),
        Some(0.01)
    );
    assert_eq!(circuit.elements[3].rating.as_deref().map(value), Some(50.0));
    assert_eq!(value(&circuit.sources[0].constant), 0.5);
    let controls: Vec<_> = circuit.sources[1]
        .controls
        .iter()
        .map(|(node, by)| (circuit.node_name(*node), value(by)))
        .collect();
    assert_eq!(controls, [("in", 2.0), ("w", -2.0)]);
}

#[test]
fn values_are_checked_in_a_file_without_a_circuit() {
    for (text, id, word) in [
        ("let a = 3 V + 2 ohm\n", "units_differ", "2 ohm"),
        ("let a = b\nlet b = a\n", "ring", "a"),
        ("let a = 1 / (2 - 2)\n", "division_by_zero", "(2 - 2)"),
        ("part slow_one\n  gain 5 V\nend\n", "unit_needed", "5 V"),
    ] {
        let book = circuit::build("stock.amp", text.into(), &mut |_| None);
        let found: Vec<_> = book
            .faults
            .iter()
            .map(|it| (it.kind.id(), book.text(it.place)))
            .collect();
        assert_eq!(found, [(id, word)], "{text}");
        assert!(book.circuits.is_empty(), "{text}");
    }
}
