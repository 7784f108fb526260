//! Which ways out are offered, and which are sure enough to be written unasked: those after which the meaning cannot be
//! other. Another number in a name is another thing, and milli is not mega.

use ampersum_checks::{Settings, check};
use analysis::Study;

const SOUND: &str = "\
source probe: in = 1 V
in -- R1 1k -- ground
in -- R2 2k -- ground
opamp A1: plus in, minus x, drives x
opamp A2: plus in, minus y, drives y
";

/// A line below the sound file, and what is offered; `!` stands behind what is sure.
const LINES: &[(&str, &[&str])] = &[
    // names
    ("expect power(R3) = 1 mW", &["write `R1`", "write `R2`"]),
    ("find power(R12)", &["write `R1`", "write `R2`"]),
    ("vary R9 among 1k, 2k", &["write `R1`", "write `R2`"]),
    ("expect A3 linear", &["write `A1`", "write `A2`"]),
    (
        "in -- R3 (R4) -- ground",
        &["write `R1`", "write `R2`", "write `R3`"],
    ),
    ("allow swing at A9: \"why\"", &["write `A1`", "write `A2`"]),
    ("expect power(RI) = 1 mW", &["write `R1`"]),
    ("expect power(r1) = 1 mW", &["write `R1`!"]),
    ("expect In = 1 V", &["write `in`!"]),
    ("expect V_in = 1 V", &["write `in`!"]),
    (
        "vary R1 from 1k to 2k in E28",
        &["write `E24`", "write `E48`"],
    ),
    // units
    ("let limit = 5 Mv", &["write `5 mV`", "write `5 MV`"]),
    ("let limit = 5 Mw", &["write `5 mW`", "write `5 MW`"]),
    ("let limit = 5 Ma", &["write `5 mA`", "write `5 MA`"]),
    ("let limit = 5 Mf", &["write `5 mF`", "write `5 MF`"]),
    ("let limit = 5 mhz", &["write `5 MHz`", "write `5 mHz`"]),
    ("let limit = 5 mHZ", &["write `5 MHz`", "write `5 mHz`"]),
    ("let limit = 5 m hz", &[]),
    ("let limit = 5 Mhz", &["write `5 MHz`!"]),
    ("let limit = 5 MOhm", &["write `5M`!"]),
    ("let limit = 5 mv", &["write `5 mV`!"]),
    ("let limit = 5 ma", &["write `5 mA`!"]),
    ("let limit = 5 KHZ", &["write `5 kHz`!"]),
    ("let limit = 5 µf", &["write `5 uF`!"]),
    // a dash that may be a minus sign
    ("require abs(x – in) < 1 V", &["write `-`"]),
    ("find x – in", &["write `-`"]),
    ("x – R5 1k – ground", &["write `--`!"]),
];

#[test]
fn what_may_mean_another_thing_is_only_offered() {
    let found = |line: &str| -> Vec<String> {
        let text = format!("{SOUND}{line}\n");
        let book = circuit::build("line.amp", text.as_str().into(), &mut |_| None);
        let studies = book.circuits.iter().map(|it| Study::new(it, &book.parts));
        let studies: Vec<Study> = studies.collect();
        let found = check(&book, &studies, &Settings::default());
        let here = found
            .iter()
            .filter(|it| it.place.span.start >= SOUND.len() as u32);
        let ways = here.flat_map(|it| &it.fixes);
        ways.map(|it| format!("{}{}", it.title, if it.safe { "!" } else { "" }))
            .collect()
    };
    let wrong: Vec<String> = LINES
        .iter()
        .filter(|(line, wanted)| found(line) != *wanted)
        .map(|(line, wanted)| {
            format!(
                "{line}\n    wanted {wanted:?}\n    found  {:?}",
                found(line)
            )
        })
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
