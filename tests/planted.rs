//! One planted fault, one error that names it; taken out again, the error is gone.

use crate::generate;
use crate::harness::solve;
use crate::net::{Net, file};
use crate::random::{Random, seed};

/// What is planted (`H`, `G` stand for two nodes that sources hold, `O` for an op-amp's output), the error, a name it must tell.
const FAULTS: &[(&str, &str, &str)] = &[
    (
        "fx -- Rf1 10k -- fy -- Rf2 10k -- fx",
        "floating_node",
        "fx",
    ),
    (
        "H -- Cf1 10 nF -- fx -- Rf1 10k -- fy -- Rf2 22k -- fx",
        "floating_node",
        "fx",
    ),
    (
        "source Sf: fx - fy = 2 V\nfx -- Rf1 10k -- fy",
        "floating_node",
        "fx",
    ),
    (
        "H -- Cf1 10 nF -- fx\nopamp Af: plus fx, minus fo, drives fo",
        "bias_path",
        "fx",
    ),
    (
        "opamp Af: plus fx, minus fo, drives fo\nfo -- Rf1 10k -- ground",
        "bias_path",
        "fx",
    ),
    ("source Sf: H = 0.123456 V", "source_conflict", "Sf"),
    ("source Sf: H - G = 1.234567 V", "source_conflict", "Sf"),
    ("source Sf: O = 1.234567 V", "output_conflict", "Sf"),
    (
        "opamp Af: plus H, minus O, drives O",
        "output_conflict",
        "Af",
    ),
    (
        "source Sf: 1 mA from ground into fx\nfx -- Rf1 10k -- fy -- Rf2 10k -- fx",
        "current_dead_end",
        "Sf",
    ),
    (
        "source Sf: 1 mA from H into fx\nfx -- Cf1 10 nF -- ground",
        "current_dead_end",
        "Sf",
    ),
    (
        "opamp Af: plus H, minus H, drives fo\nfo -- Rf1 10k -- ground",
        "inputs_tied",
        "Af",
    ),
    (
        "opamp Af: plus H, minus G, drives fo\nfo -- Rf1 10k -- ground",
        "inputs_tied",
        "Af",
    ),
    ("source Sf: H - H = 1 V", "shorted_element", "Sf"),
    (
        "H -- Rf1 10k -- fn -- Rf2 22k -- fo\nopamp Af: plus fn, minus ground, drives fo",
        "positive_feedback",
        "Af",
    ),
    (
        "H -- Rf1 10k -- fn -- Rf2 22k -- ground\nopamp Af: plus G, minus fn, drives fo\nfo -- Rf3 10k -- ground",
        "no_feedback",
        "Af",
    ),
    (
        "ground -- Rf1 10k -- fn -- Rf2 20k -- fo\nH -- Rf3 15k -- fp -- Rf4 30k -- fo\nopamp Af: plus fp, minus fn, drives fo",
        "feedback_cancels",
        "Af",
    ),
];

#[test]
fn one_planted_fault_is_one_error_that_names_it() {
    const EACH: usize = 14;
    let mut random = Random::new(seed(20));
    let mut texts = Vec::new();
    for (plant, _, _) in FAULTS {
        for _ in 0..EACH {
            let net = with_two_inputs(&mut random, texts.len());
            texts.push(format!("{}{}\n", net.text(), filled(plant)));
        }
    }
    let found = solve(&texts.join("\n"));
    assert_eq!(found.findings, [], "every text reads well");
    let faults = FAULTS.iter().flat_map(|fault| [fault; EACH]);
    let mut wrong = Vec::new();
    for ((text, (_, rule, name)), answer) in texts.iter().zip(faults).zip(&found.circuits) {
        let errors = answer.errors();
        let one = errors.len() == 1 && errors[0].rule == *rule && errors[0].is_about(name);
        if !one {
            wrong.push(format!(
                "{rule} at {name} was planted, found: {errors:#?}\n{text}"
            ));
        }
    }
    assert!(
        wrong.is_empty(),
        "{} of {}:\n{}",
        wrong.len(),
        texts.len(),
        wrong[0]
    );
}

#[test]
fn a_loop_of_sources_is_told_until_any_one_of_them_is_taken_out() {
    let mut random = Random::new(seed(21));
    let mut texts = Vec::new();
    for _ in 0..70 {
        let net = with_two_inputs(&mut random, texts.len());
        let length = random.between(2, 5);
        let mut lines: Vec<String> = (0..length)
            .map(|place| {
                let plus = (place + 1) % length;
                let volts = random.between(1, 9);
                format!("source Sf{place}: f{plus} - f{place} = {volts} V\nf{place} -- Rf{place} 10k -- ground")
            })
            .collect();
        random.shuffle(&mut lines);
        // The first text has them all; each of the others lacks one.
        for lost in std::iter::once(None).chain((0..length).map(Some)) {
            let mut kept = lines.clone();
            if let Some(lost) = lost {
                let resistor = kept[lost].split_once('\n').expect("two lines").1.to_owned();
                kept[lost] = resistor;
            }
            let mut net = net.clone();
            net.name = format!("c{}", texts.len());
            texts.push((
                format!("{}{}\n", net.text(), kept.join("\n")),
                lost.is_none(),
                length,
            ));
        }
    }
    let whole: Vec<&str> = texts.iter().map(|(text, ..)| text.as_str()).collect();
    let found = solve(&whole.join("\n"));
    assert_eq!(found.findings, [], "every text reads well");
    for ((text, closed, length), answer) in texts.iter().zip(&found.circuits) {
        let told: Vec<_> = answer
            .findings()
            .into_iter()
            .filter(|finding| finding.rule == "source_conflict")
            .collect();
        if *closed {
            assert_eq!(told.len(), 1, "{told:?}\n{text}");
            for place in 0..*length {
                assert!(told[0].is_about(&format!("Sf{place}")), "{told:?}\n{text}");
            }
        } else {
            assert_eq!(told, [], "{text}");
            assert_eq!(answer.errors(), [], "{text}");
        }
    }
}

/// An amplifier whose first two lines are `source S1: n1 = …` and `source S2: n2 = …`, and which has an output at `no`.
fn with_two_inputs(random: &mut Random, place: usize) -> Net {
    loop {
        let net = generate::amplifier(random, &format!("c{place}"));
        let text = file(std::slice::from_ref(&net));
        if text.contains("source S1: n1 =") && text.contains("source S2: n2 =") {
            return net;
        }
    }
}

/// The plant with node names in place of its letters, and an op-amp output of its own for `O`.
fn filled(plant: &str) -> String {
    let words = |line: &str| {
        line.split(' ')
            .map(|word| match word.trim_end_matches(',') {
                "H" => word.replace('H', "n1"),
                "G" => word.replace('G', "n2"),
                "O" => word.replace('O', "no"),
                _ => word.to_owned(),
            })
            .collect::<Vec<_>>()
            .join(" ")
    };
    let lines: Vec<String> = plant.lines().map(words).collect();
    let stage =
        "n1 -- Ro1 10k -- ns -- Ro2 33k -- no\nopamp Ao: plus ground, minus ns, drives no\n";
    format!("{stage}{}", lines.join("\n"))
}
