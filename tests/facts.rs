//! Handbook facts that an answer or a finding must reproduce: `published/facts-tolerance-and-power.json`, each with its source.
//! Those that ask for readings, temperatures or responses wait.

use std::fs;

use serde_json::Value;

use crate::harness::{check, here, solve};

fn cases() -> Vec<Value> {
    let path = here("published").join("facts-tolerance-and-power.json");
    let text = fs::read_to_string(path).expect("the cases are there");
    serde_json::from_str(&text).expect("a list of cases")
}

fn source(case: &Value) -> String {
    let part = |key: &str| case["source"][key].as_str().unwrap_or("").to_owned();
    format!("{}: {}, {}", case["id"], part("title"), part("where"))
}

fn number(case: &Value, key: &str) -> f64 {
    case["inputs"][key].as_f64().expect("a number")
}

#[test]
fn a_rating_below_the_power_is_told_and_one_of_the_next_size_is_not() {
    let mut count = 0;
    for case in cases().iter().filter(|it| it["capability"] == "check") {
        let (volts, amps) = (number(case, "volts"), number(case, "amps"));
        let watts = case["computed"].as_f64().expect("a power");
        let told = |rating: f64| {
            let text = format!(
                "source s: a = {volts} V\na -- R1 ({volts} V / {amps} A) {rating} W -- ground\nexpect power(R1) = {watts} W\n"
            );
            let found = check(&text);
            let findings = found.only_circuit().findings();
            findings
                .iter()
                .map(|it| it.rule.clone())
                .collect::<Vec<_>>()
        };
        assert_eq!(told(2.0), ["resistor_power"], "{}", source(case));
        assert_eq!(told(0.99 * watts), ["resistor_power"], "{}", source(case));
        assert_eq!(told(3.0), [""; 0], "{}", source(case));
        count += 1;
    }
    assert_eq!(count, 1);
}

#[test]
fn powers_and_combined_values_are_those_printed() {
    let mut count = 0;
    for case in cases() {
        let value = case["computed"].as_f64();
        let claim = match case["formula_key"].as_str() {
            Some("power_i2r") => format!(
                "source s: {} A from ground into a\na -- R1 {} 1 W -- ground\nexpect power(R1) = {} W within 0.0001 %\n",
                number(&case, "amps"),
                number(&case, "ohms"),
                value.expect("a power")
            ),
            Some(how @ ("series" | "parallel")) => {
                let ohms = case["inputs"]["ohms"].as_array().expect("values");
                let ohms: Vec<String> = ohms.iter().map(|it| format!("{it} ohm")).collect();
                let (value, all) = (value.expect("a resistance"), ohms.join(", "));
                let formula = match how {
                    "series" => ohms.join(" + "),
                    _ => format!("parallel({all})"),
                };
                format!(
                    "let R = {formula}\nsource s: a = 1 V\na -- R1 (R) 1 W -- ground\nexpect R1 = {value} ohm within 0.0001 %\n"
                )
            }
            _ => continue,
        };
        let found = solve(&claim);
        let errors = found.only_circuit().errors();
        assert_eq!(errors, [], "{}\n{claim}", source(&case));
        count += 1;
    }
    assert_eq!(count, 3);
}
