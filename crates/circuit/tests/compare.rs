//! Two versions of a circuit, told apart by meaning.

use ampersum_circuit as circuit;
use circuit::compare::{Kind, Names, compare};

const OLD: &str = "\
supply +9 V and -9 V
source probe: in = 1.2 V
in -- R1 10k -- sum -- R2 33k -- R4 1k -- out
opamp A1: plus ground, minus sum, drives out
out -- RL 4.7k -- ground
expect out = -4.08 V
";

fn differences(
    old: &str,
    new: &str,
    names: Names,
) -> Vec<(Kind, String, Option<String>, Option<String>)> {
    let [old, new] = [old, new].map(|it| circuit::build("stage.amp", it.into(), &mut |_| None));
    compare(&old, &new, names)
        .into_iter()
        .map(|it| (it.kind, it.subject, it.old, it.new))
        .collect()
}

#[test]
fn order_spelling_and_comments_do_not_count() {
    let new = "\
# another hand wrote it
out--RL 4K7--ground
opamp A1: drives out , minus sum, plus ground
out -- R4 1k -- R2 33kΩ -- sum -- R1 10000 -- in
supply -9 V and 9V
let volts = 1.2 V
source probe: in = volts
expect  out = −4.08V
";
    assert_eq!(differences(OLD, new, Names::Count), []);
}

#[test]
fn what_differs_is_named() {
    let some = |it: &str| Some(it.to_owned());
    for (from, to, expected) in [
        (
            "R2 33k",
            "R2 36k",
            vec![(Kind::Value, "R2", some("33k"), some("36k"))],
        ),
        (
            "= 1.2 V",
            "= 1.3 V",
            vec![(Kind::Value, "probe", some("1.2 V"), some("1.3 V"))],
        ),
        (
            "out -- RL",
            "sum -- RL",
            vec![(
                Kind::Connection,
                "RL",
                some("resistor: ground, out"),
                some("resistor: ground, sum"),
            )],
        ),
        (
            "plus ground, minus sum",
            "plus sum, minus ground",
            vec![(
                Kind::Connection,
                "A1",
                some("op-amp: drives out, minus sum, plus ground"),
                some("op-amp: drives out, minus ground, plus sum"),
            )],
        ),
        (
            "out -- RL 4.7k -- ground\n",
            "",
            vec![(
                Kind::Removed,
                "RL",
                some("4.7k resistor: ground, out"),
                None,
            )],
        ),
        (
            "expect out = -4.08 V",
            "expect out = -4 V",
            vec![(
                Kind::Claim,
                "expect",
                some("expect out = -4.08 V"),
                some("expect out = -4 V"),
            )],
        ),
    ] {
        let expected: Vec<_> = expected
            .into_iter()
            .map(|(kind, name, old, new)| (kind, name.to_owned(), old, new))
            .collect();
        assert_eq!(
            differences(OLD, &OLD.replace(from, to), Names::Count),
            expected,
            "{from} as {to}"
        );
    }
}

#[test]
fn direction_counts_where_a_claim_reads_the_current() {
    let old = "source s: a = 1 V\na -- R1 1k -- ground\nexpect current(R1) = 1 mA\n";
    let new = old.replace("a -- R1 1k -- ground", "ground -- R1 1k -- a");
    let found = differences(old, &new, Names::Count);
    assert_eq!(
        found.iter().map(|it| it.0).collect::<Vec<_>>(),
        [Kind::Connection]
    );
}

#[test]
fn names_can_be_left_out() {
    let mut new = OLD.to_owned();
    for (from, to) in [
        ("sum", "n7"),
        ("out", "result"),
        ("R2", "Rf"),
        ("A1", "amp"),
        ("probe", "sensor"),
        ("in =", "x ="),
        ("in --", "x --"),
    ] {
        new = new.replace(from, to);
    }
    assert!(!differences(OLD, &new, Names::Count).is_empty());
    assert_eq!(differences(OLD, &new, Names::Any), []);
    assert!(!differences(OLD, &new.replace("33k", "34k"), Names::Any).is_empty());
}
