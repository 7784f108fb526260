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
    let show = |number: &syntax::Number, dimension: syntax::Dimension| {
        format!("{} {}", number.to_f64(), dimension.unit().unwrap_or(""))
    };
    compare(&old, &new, names, &show)
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

/// Two texts, and a line for each difference.
fn told(old: &str, new: &str, names: Names) -> Vec<String> {
    let side = |it: Option<String>| it.unwrap_or_else(|| "nothing".to_owned());
    let found = differences(old, new, names).into_iter();
    found
        .map(|(kind, subject, old, new)| {
            format!("{kind:?} {subject}: {} → {}", side(old), side(new))
        })
        .collect()
}

/// A file with one change in it, and what is told of the change.
const CHANGES: &[(&str, &str, &str, &[&str])] = &[
    // A `let` that only claims and tasks read is told once, however many read it.
    (
        "let lim = 0.5 V\nsource s: in = 0.5 V\nin -- R1 1k -- ground\nexpect in = lim\nrequire abs(in) <= lim\n",
        "0.5 V\nsource",
        "0.7 V\nsource",
        &["Value lim: 0.5 V → 0.7 V"],
    ),
    (
        "let lim = 2 V\nsource s: in = 0.5 V\nin -- R1 1k -- ground\nrequire abs(in) < lim\n",
        "lim = 2 V",
        "lim = 3 V",
        &["Value lim: 2 V → 3 V"],
    ),
    // A number is what it comes to; a `let` in its place is no difference.
    (
        "source s: in = 0.5 V\nin -- R1 1k -- ground\nexpect in = 200 mV within 1 %\n",
        "200 mV",
        "0.2 V",
        &[],
    ),
    (
        "let lim = 0.5 V\nsource s: in = 0.5 V\nin -- R1 1k -- ground\nexpect in = 0.5 V\n",
        "in = 0.5 V\n",
        "in = 500 mV\n",
        &[],
    ),
    (
        "let lim = 0.5 V\nsource s: in = 0.5 V\nin -- R1 1k -- ground\nexpect in = 0.5 V\n",
        "expect in = 0.5 V",
        "expect in = lim",
        &[],
    ),
    // The ends of what has a plus side.
    (
        "source s: out = 1 V\nelectrolytic C2: plus out, minus ground, value 1 uF\n",
        "plus out, minus ground",
        "plus ground, minus out",
        &[
            "Connection C2: electrolytic: minus ground, plus out → electrolytic: minus out, plus ground",
        ],
    ),
    // An open switch is there too.
    (
        "source s: in = 1 V\nin -- R1 1k -- out -- R2 1k -- ground\nout -- R3 1k -- x -- R4 1k -- ground\nswitch S: from out, to x, open\n",
        "from out",
        "from in",
        &["Connection S: switch: out, x → switch: in, x"],
    ),
    (
        "source s: in = 1 V\nin -- R1 1k -- out -- R2 1k -- ground\nswitch S: from out, to in, open\n",
        "open",
        "closed",
        &["Value S: open → closed"],
    ),
    // Parts of op-amps and the supply are told once, in the words of the language.
    (
        "part slow\n  gain 1000\n  headroom 1 V\nend\ncircuit bed\nsupply +9 V and -9 V\nopamps are slow\nsource s: in = 1 V\nopamp A1: plus in, minus a, drives a\nopamp A2: plus in, minus b, drives b\n",
        "gain 1000",
        "gain 2000",
        &["Value slow: gain 1000  → gain 2000 "],
    ),
    (
        "part slow\n  gain 1000\nend\ncircuit bed\nsupply +9 V and -9 V\nopamps are slow\nsource s: in = 1 V\nopamp A1: plus in, minus a, drives a\nopamp A2: plus in, minus b, drives b\n",
        "supply +9 V and -9 V",
        "supply +9 V and ground",
        &["Value supply: 9 V and -9 V → 9 V and 0 V"],
    ),
    (
        "part slow\n  gain 1000\nend\ncircuit bed\nopamps are slow\nsource s: in = 1 V\nopamp A1: plus in, minus a, drives a\n",
        "opamps are slow\n",
        "",
        &["Value A1: slow → ideal"],
    ),
    // Waves, tolerances and ratings have their units; what a text says through a name is worked out.
    (
        "let f = 1 kHz\nsource s: in = sine 1 V at f\nin -- R1 1k -- ground\n",
        "1 kHz",
        "2 kHz",
        &["Value s: sine 1 V at 1000 Hz → sine 1 V at 2000 Hz"],
    ),
    (
        "source s: in = 1 V\nin -- R1 4.7k 1 % 0.5 W -- ground\n",
        "1 % 0.5 W",
        "2 %",
        &["Value R1: tolerance 1  %, rated 0.5 W → tolerance 2  %, no rated"],
    ),
    (
        "source s: in = 1 V\npot P1: from in, to ground, wiper w, total 10k, at 30 %\nw -- R1 1M -- ground\n",
        "30 %",
        "40 %",
        &[
            "Value P1.from: 3000 ohm → 4000 ohm",
            "Value P1.to: 7000 ohm → 6000 ohm",
        ],
    ),
    // A line of a work sheet that gives a name.
    (
        "source s: in = 1 V\nin -- R1 1k -- ground\nwork \"Current\"\n  let i1 = in / R1\n  i1 = 1 mA\nend\n",
        "in / R1",
        "2 * in / R1",
        &["Claim let: let i1 = in / R1 → let i1 = 2 * in / R1"],
    ),
    // What stands on a line that cannot be read is not gone.
    (
        "source s: in = 1 V\nin -- R1 1k -- dark -- R7 10k -- ground\n",
        "R7 10k",
        "R7 10 x",
        &["Claim in: nothing → in -- R1 1k -- dark -- R7 10 x -- ground"],
    ),
];

#[test]
fn each_change_is_told_once_and_in_words() {
    for (old, from, to, expected) in CHANGES {
        let new = old.replacen(from, to, 1);
        assert_ne!(*old, new);
        assert_eq!(told(old, &new, Names::Count), *expected, "{old}\n{new}");
        assert_eq!(told(old, old, Names::Any), Vec::<String>::new(), "{old}");
    }
}

#[test]
fn a_change_stays_one_where_names_are_left_out() {
    let path = "in -- R1 10k -- out -- R2 10k -- ground\n";
    assert_eq!(
        told(
            path,
            "in -- R7 10k -- out -- R2 12k -- ground\n",
            Names::Any
        ),
        ["Value R2: 10k → 12k"]
    );
    let renamed = OLD
        .replace("sum", "n7")
        .replace("out", "result")
        .replace("R2", "Rf")
        .replace("A1", "amp");
    for (from, to, expected) in [
        ("33k", "36k", "Value R2: 33k → 36k"),
        (
            "plus ground, minus n7",
            "plus n7, minus ground",
            "Connection A1: op-amp: drives out, minus sum, plus ground → op-amp: drives out, minus ground, plus sum",
        ),
        (
            "result -- RL 4.7k -- ground",
            "result -- RL 4.7k -- ground\nn7 -- R9 1M -- result",
            "Added R9: nothing → 1M resistor: out, sum",
        ),
        (
            "result -- RL 4.7k -- ground\n",
            "",
            "Removed RL: 4.7k resistor: ground, out → nothing",
        ),
        (
            "result -- RL",
            "n7 -- RL",
            "Connection RL: resistor: ground, out → resistor: ground, sum",
        ),
        (
            "-4.08 V",
            "-4 V",
            "Claim expect: expect out = -4.08 V → expect out = -4 V",
        ),
    ] {
        let new = renamed.replacen(from, to, 1);
        assert_ne!(renamed, new);
        assert_eq!(told(OLD, &new, Names::Any), [expected], "{new}");
    }
}

/// Twenty equal stages one behind the other, all names changed and one value as well.
#[test]
fn a_change_in_a_long_row_stays_one() {
    let row = |prefix: &str, odd: &str| {
        let mut text = format!("source s: {prefix}0 = 1 V\n");
        for it in 0..20 {
            let (from, to) = (format!("{prefix}{it}"), format!("{prefix}{}", it + 1));
            let value = if it == 11 { odd } else { "10k" };
            text.push_str(&format!("{from} -- {prefix}a{it} {value} -- {to}\n"));
            text.push_str(&format!("{to} -- {prefix}b{it} 22k -- ground\n"));
        }
        text
    };
    assert_eq!(
        told(&row("n", "10k"), &row("m", "12k"), Names::Any),
        ["Value na11: 10k → 12k"]
    );
}
