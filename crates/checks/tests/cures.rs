//! Numbers that findings name as cures: put into the circuit they end the finding, and nothing else is told instead.

use ampersum_checks::{Finding, Settings, check};
use analysis::Study;

/// How many circuits of each row.
const EACH: usize = 20;

/// A circuit that crosses a limit by one value, which stands as `CURED`.
struct Row {
    rule: &'static str,
    /// `{2..4}` is a number thrown for each circuit.
    text: &'static str,
    /// The value that crosses the limit.
    crossing: &'static str,
    /// What stands before and behind the number that would do.
    words: [&'static str; 2],
}

const fn row(
    rule: &'static str,
    words: [&'static str; 2],
    crossing: &'static str,
    text: &'static str,
) -> Row {
    Row {
        rule,
        text,
        crossing,
        words,
    }
}

const LOAD: [&str; 2] = ["With `RL` at ", " or more"];
const THERE: [&str; 2] = ["With ", " or less"];

const ROWS: &[Row] = &[
    row(
        "output_current",
        LOAD,
        "{60..90}",
        "part q\ncurrent {12..25} mA\nend\ncircuit c\nopamps are q\nsource s: in = {2..4} V\nopamp A1: plus in, minus m, drives o\n\
         o -- R1 {9..20}k -- m -- R2 {9..20}k -- ground\no -- RL CURED 5 W -- ground\n",
    ),
    // The smaller limit is the one that counts.
    row(
        "output_current",
        LOAD,
        "{150..250}",
        "part q\nsource 40 mA, sink {3..8} mA\nend\ncircuit c\nopamps are q\nsource s: in = -{2..4} V\nopamp A1: plus in, minus m, drives o\n\
         o -- R1 {9..20}k -- m -- R2 {9..20}k -- ground\no -- RL CURED 5 W -- ground\n",
    ),
    // Gain and resistance of the output move its voltage a little with the load.
    row(
        "output_current",
        LOAD,
        "{60..90}",
        "part q\ngain {300..900}\noutput_resistance {30..90} ohm\ncurrent {12..25} mA\nend\ncircuit c\nopamps are q\n\
         source s: in = {2..4} V\nopamp A1: plus in, minus m, drives o\n\
         o -- R1 {9..20}k -- m -- R2 {9..20}k -- ground\no -- RL CURED 5 W -- ground\n",
    ),
    // Behind the output's own resistance the rail is near.
    row(
        "output_current",
        LOAD,
        "{30..45}",
        "opamps are general_bipolar\nsupply +5 V and -5 V\nsource s: in = {1.5..2.2} V\nin -- R1 {1.5..2}k -- m -- R2 {1..1.5}k -- o\n\
         opamp A1: plus ground, minus m, drives o\no -- RL CURED 5 W -- ground\n",
    ),
    // At a rail behind a closed switch, and in both states of a latch.
    row(
        "output_current",
        LOAD,
        "{100..190}",
        "part q\ncurrent {12..25} mA\nend\ncircuit c\nopamps are q\nsupply {5..9} V\nsource s: in = {1..2} V\n\
         comparator A1: plus in, minus ground, drives o\nswitch S1: from o, to a, closed\na -- RL CURED 5 W -- ground\n",
    ),
    row(
        "output_current",
        LOAD,
        "{100..190}",
        "part q\ncurrent {12..20} mA\noutput_resistance {30..90} ohm\nend\ncircuit c\nopamps are q\nsupply +{7..9} V and -{7..9} V\nsource s: in = -0.1 V\n\
         comparator A1: plus in, minus ground, drives o\no -- R1 {2..9}k -- ground\no -- RL CURED 5 W -- ground\n",
    ),
    row(
        "output_current",
        LOAD,
        "{90..150}",
        "part q\ncurrent {12..25} mA\nend\ncircuit c\nopamps are q\nsupply +{7..9} V and -{7..9} V\nsource s: in = 0.1 V\n\
         comparator A1: plus p, minus in, drives o\np -- R2 {9..20}k -- o\np -- R3 {9..20}k -- ground\no -- RL CURED 5 W -- ground\nexpect A1 latches\n",
    ),
    row(
        "output_current",
        ["With `motor` at ", " or less"],
        "{30..60} mA",
        "source s: in = {2..4} V\nopamp A1: plus in, minus o, drives o\nsource motor: CURED from o into ground\no -- R1 {1.1..2.9}k -- ground\n",
    ),
    row(
        "output_current",
        ["Make all resistors of the circuit ", " times"],
        "1",
        "source s: in = {4..7} V\nopamp A1: plus in, minus m, drives o\no -- R1 (CURED * {110..150} ohm) 5 W -- m -- R2 (CURED * {110..150} ohm) 5 W -- ground\n",
    ),
    row(
        "resistor_range",
        THERE,
        "{900..990}k",
        "part q\nbias_current {30..90} nA\nend\ncircuit c\nopamps are q\nsource s: in = {1..2} V\nin -- R1 CURED -- p\nopamp A1: plus p, minus o, drives o\no -- R2 10k -- ground\n",
    ),
    row(
        "resistor_range",
        THERE,
        "{900..990}k",
        "part q\nbias_current -{30..90} nA\nbias_offset {3..9} nA\nend\ncircuit c\nopamps are q\nsource s: in = {1..2} V\nin -- R1 CURED -- p\n\
         opamp A1: plus p, minus m, drives o\no -- R2 {9..20}k -- m -- R3 {9..20}k -- ground\n",
    ),
    row(
        "resistor_range",
        ["Only with ", " to "],
        "{990..999}k",
        "part q\nbias_current {90..99} nA\nend\ncircuit c\nopamps are q\nsource s: in = {1..2} V\nin -- R1 CURED -- p\n\
         opamp A1: plus p, minus m, drives o\no -- R2 {600..700}k -- m -- R3 {600..700}k -- ground\n",
    ),
    row(
        "resistor_range",
        [" to ", " there it would keep to it"],
        "{990..999}k",
        "part q\nbias_current {90..99} nA\nend\ncircuit c\nopamps are q\nsource s: in = {1..2} V\nin -- R1 CURED -- p\n\
         opamp A1: plus p, minus m, drives o\no -- R2 {600..700}k -- m -- R3 {600..700}k -- ground\n",
    ),
    row(
        "resistor_range",
        THERE,
        "{90..99}k",
        "part q\ngain 100000\ninput_resistance {300..999}k\nend\ncircuit c\nopamps are q\nsource s: in = {1..2} V\nin -- R1 CURED -- p\n\
         opamp A1: plus p, minus o, drives o\no -- R2 10k -- ground\n",
    ),
    row(
        "resistor_power",
        ["Rate it for ", " or more"],
        "0.25 W",
        "source s: a = {9..30} V\na -- R1 {110..200} CURED -- ground\n",
    ),
    row(
        "resistor_power",
        ["or make it ", " or more"],
        "{110..200}",
        "source s: a = {9..30} V\na -- R1 CURED {0.1..0.3} W -- ground\n",
    ),
    row(
        "touch_voltage",
        ["Sources and rails at ", " of their values"],
        "100 %",
        "source s: a = CURED * {61..400} V\na -- R1 1M -- ground\n",
    ),
    row(
        "touch_voltage",
        ["Sources and rails at ", " of their values"],
        "100 %",
        "source s: a = sine (CURED * {43..400} V) at 50 Hz\na -- R1 1M -- ground\n",
    ),
    row(
        "input_range",
        ["A high rail of ", " or higher"],
        "+{5..6} V",
        "part q\ninputs low 1 V, high {1.1..1.9} V\nend\ncircuit c\nopamps are q\nsupply CURED and -9 V\nsource s: in = 12 V\nsource t: top = {9..10} V\n\
         top -- R3 {2..3}k -- p -- R4 {9..11}k -- ground\nin -- R1 10k -- m -- R2 10k -- o\nopamp A1: plus p, minus m, drives o\n",
    ),
    row(
        "input_range",
        ["A low rail of ", " or lower"],
        "-{5..6} V",
        "part q\ninputs low {1.1..1.9} V, high 1 V\nend\ncircuit c\nopamps are q\nsupply +9 V and CURED\nsource s: in = -12 V\nsource t: top = -{9..10} V\n\
         top -- R3 {2..3}k -- p -- R4 {9..11}k -- ground\nin -- R1 10k -- m -- R2 10k -- o\nopamp A1: plus p, minus m, drives o\n",
    ),
    row(
        "supply_range",
        ["a supply of ", " or more"],
        "{2..3} V",
        "part q\nsupply {4.001..5.001} V to 12 V\nend\ncircuit c\nopamps are q\nsupply CURED\nsource s: in = {1..2} V\nopamp A1: plus in, minus o, drives o\no -- R2 10k -- ground\n",
    ),
    row(
        "supply_range",
        ["a supply of ", " or less"],
        "{12.1..30} V",
        "part q\nsupply 3 V to {4.001..12.001} V\nend\ncircuit c\nopamps are q\nsupply CURED\nsource s: in = {1..2} V\nopamp A1: plus in, minus o, drives o\no -- R2 10k -- ground\n",
    ),
];

#[test]
fn each_number_that_would_do_does() {
    let mut dice = Dice(11);
    let mut wrong = String::new();
    for row in ROWS {
        for _ in 0..EACH {
            let thrown = dice.throw(&format!("{}\n{}", row.crossing, row.text));
            let (crossing, text) = thrown.split_once('\n').expect("two lines");
            let crossed = text.replace("CURED", crossing);
            let told = told(&crossed);
            let [one] = &told[..] else {
                wrong.push_str(&format!("{}: {told:#?}\n{crossed}\n", row.rule));
                continue;
            };
            let named = between(&one.help, row.words);
            let (true, Some(named)) = (one.rule == row.rule, named) else {
                wrong.push_str(&format!("{}: {one:#?}\n{crossed}\n", row.rule));
                continue;
            };
            let mut cured = vec![text.replace("CURED", named)];
            for fix in &one.fixes {
                let mut mended = crossed.clone();
                for edit in fix.edits.iter().rev() {
                    mended.replace_range(edit.span.range(), &edit.text);
                }
                cured.push(mended);
            }
            for cured in cured {
                let left = self::told(&cured);
                if !left.is_empty() {
                    wrong.push_str(&format!(
                        "{} left of {}:\n{cured}\n",
                        said(&left),
                        said(&told)
                    ));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", &wrong[..wrong.len().min(9000)]);
}

/// What stands between two texts.
fn between<'t>(help: &'t str, [before, behind]: [&str; 2]) -> Option<&'t str> {
    let start = help.find(before)? + before.len();
    let length = help[start..].find(behind)?;
    Some(&help[start..start + length])
}

fn said(found: &[Finding]) -> String {
    let all = found.iter();
    let all = all.map(|it| format!("{}: {} {}", it.rule, it.message, it.help));
    all.collect::<Vec<_>>().join(" / ")
}

fn told(text: &str) -> Vec<Finding> {
    let book = circuit::build("cures.amp", text.into(), &mut |_| None);
    let studies = book.circuits.iter().map(|it| Study::new(it, &book.parts));
    let studies: Vec<Study> = studies.collect();
    let mut found = check(&book, &studies, &Settings::default());
    found.retain(|it| it.rule != "not_built");
    found
}

/// Numbers that look random and are the same each time (a linear congruence, constants after Knuth, from memory).
struct Dice(u64);

impl Dice {
    fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005);
        self.0 = self.0.wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as f64 / (1u64 << 31) as f64
    }

    /// The text with a number in place of each `{2..4}`, with more digits than are shown of an answer.
    fn throw(&mut self, text: &str) -> String {
        let mut pieces = text.split('{');
        let mut thrown = pieces.next().unwrap_or_default().to_owned();
        for piece in pieces {
            let (range, rest) = piece.split_once('}').expect("a closing bracket");
            let (low, high) = range.split_once("..").expect("a range");
            let [low, high] = [low, high].map(|it| it.parse::<f64>().expect("a number"));
            let number = low + (high - low) * self.share();
            thrown.push_str(&format!("{number:.7}{rest}"));
        }
        thrown
    }
}
