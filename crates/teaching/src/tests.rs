//! Equations and explanations of whole circuits.

use analysis::Study;
use circuit::Circuit;
use expect_test::{Expect, expect};

use crate::{Letter, Sums, Writing, equation, explain};

fn read(text: &str) -> (Circuit, Study) {
    let mut book = circuit::build("test.amp", text.into(), &mut |_| None);
    assert_eq!(book.faults, []);
    let study = Study::new(&book.circuits[0], &book.parts);
    (book.circuits.remove(0), study)
}

fn equations(text: &str, writing: Writing) -> String {
    let (circuit, study) = read(text);
    let written = study
        .equations
        .list
        .iter()
        .map(|it| equation::write(&circuit, it, writing));
    written.map(|it| it.text + "\n").collect()
}

const ENTERING: Writing = Writing {
    voltage: Letter::U,
    sums: Sums::Entering,
};

#[track_caller]
fn written(text: &str, leaving: Expect, entering: Expect) {
    leaving.assert_eq(&equations(text, Writing::default()));
    entering.assert_eq(&equations(text, ENTERING));
}

#[track_caller]
fn explained(text: &str, writing: Writing, expected: Expect) {
    let (circuit, study) = read(text);
    let explanation = explain::explain(&circuit, &study.equations, &study.feedback, writing);
    expected.assert_eq(&explain::markdown(&explanation));
}

const INVERTING: &str = "\
source probe: in = 1.2 V
in -- R1 10k -- sum -- R2 33k -- out
opamp A1: plus ground, minus sum, drives out
";

/// A source between two nodes, current sources, controlled ones, an inductor, nodes without a name.
const EVERYTHING: &str = "\
source cell: top - bottom = 9 V
top -- R1 10k -- R2 22k -- ground
bottom -- R3 4.7k -- ground
source drain: -2 mA from top into ground
source mirror: 2 mS * (top - bottom) from ground into bottom
source lift: x = 100 * (top - bottom) - 3 * bottom + 1 V
x -- R4 1k -- y -- L1 10 mH -- z -- C1 1 uF -- ground
z -- R5 1k -- ground
y -- R6 1k -- z
source shift: 3 mS * x + 1 mA from z into ground
";

#[test]
fn equations_stand_as_on_paper() {
    written(
        INVERTING,
        expect![[r#"
        in = 1.2 V
        sum = 0
        (sum − in)/R1 + (sum − out)/R2 = 0
    "#]],
        expect![[r#"
        in = 1.2 V
        sum = 0
        (in − sum)/R1 + (out − sum)/R2 = 0
    "#]],
    );
    written(
        EVERYTHING,
        expect![[r#"
        top − bottom = 9 V
        x = 100·top − 103·bottom + 1 V
        y = z
        (top − R1..R2)/R1 − 2 mA + bottom/R3 − 2 mS·(top − bottom) = 0
        (R1..R2 − top)/R1 + (R1..R2)/R2 = 0
        (y − x)/R4 + z/R5 + (3 mS·x + 1 mA) = 0
    "#]],
        expect![[r#"
        top − bottom = 9 V
        x = 100·top − 103·bottom + 1 V
        y = z
        (R1..R2 − top)/R1 + 2 mA − bottom/R3 + 2 mS·(top − bottom) = 0
        (top − R1..R2)/R1 − (R1..R2)/R2 = 0
        (x − y)/R4 − z/R5 − (3 mS·x + 1 mA) = 0
    "#]],
    );
}

#[test]
fn each_term_is_its_stretch_of_the_text() {
    for text in [INVERTING, EVERYTHING] {
        let (circuit, study) = read(text);
        for writing in [Writing::default(), ENTERING] {
            for it in &study.equations.list {
                let written = equation::write(&circuit, it, writing);
                assert_eq!(written.terms.len(), it.terms.len());
                for (term, of) in written.terms.iter().zip(&it.terms) {
                    assert_eq!(term.term, *of);
                    assert_eq!(&written.text[term.range.clone()], term.text);
                }
                // a sum is its terms added: nothing but signs and blanks lies between them
                let mut rest = written.text.clone();
                for term in written.terms.iter().rev() {
                    rest.replace_range(term.range.clone(), "");
                }
                assert!(rest.chars().all(|it| "+ =0".contains(it)), "{rest}");
            }
        }
    }
}

#[test]
fn an_inverting_stage_is_explained() {
    explained(
        INVERTING,
        Writing::default(),
        expect![[r#"
        **3 unknown node voltages, 3 equations**

        Ground is 0 V. In a current sum a current counts as leaving its node.

        Every op-amp is taken as ideal: no current flows into its inputs, and with negative feedback V+ = V−.

        **`in`, held by `probe`**

            in = 1.2 V

        The source `probe` holds `in` at 1.2 V, whatever current that takes. So `in` is known at once, and no current sum is needed there.

        **`A1`, in place of a current sum at `out`**

            sum = 0

        `A1` has negative feedback. Of a small rise of `out`, 10/43 comes back to minus (`sum`) and nothing to plus (ground). If `out` rises a little, V+ − V− falls and pulls `out` back down. So `out` moves until V+ = V−. Here plus is ground, so V− = `sum` is 0 V without being wired to ground: a virtual ground. No current sum is written at `out`: the output delivers whatever current is needed there, so that sum would only bring in one more unknown.

        **Current sum at `sum`**

            (sum − in)/R1 + (sum − out)/R2 = 0

        No charge piles up at a node: the currents that leave `sum` add up to zero. The minus input of `A1` takes no current.

        - `(sum − in)/R1`: what leaves `sum` through `R1` (10 kΩ) towards `in`. The voltage across `R1` is `sum` − `in`; divided by the resistance it is the current (Ohm's law).
        - `(sum − out)/R2`: what leaves `sum` through `R2` (33 kΩ) towards `out`. The voltage across `R2` is `sum` − `out`; divided by the resistance it is the current (Ohm's law).
    "#]],
    );
}

#[test]
fn a_class_that_adds_what_enters_reads_its_own_words() {
    explained(
        INVERTING,
        ENTERING,
        expect![[r#"
        **3 unknown node voltages, 3 equations**

        Ground is 0 V. In a current sum a current counts as entering its node.

        Every op-amp is taken as ideal: no current flows into its inputs, and with negative feedback U+ = U−.

        **`in`, held by `probe`**

            in = 1.2 V

        The source `probe` holds `in` at 1.2 V, whatever current that takes. So `in` is known at once, and no current sum is needed there.

        **`A1`, in place of a current sum at `out`**

            sum = 0

        `A1` has negative feedback. Of a small rise of `out`, 10/43 comes back to minus (`sum`) and nothing to plus (ground). If `out` rises a little, U+ − U− falls and pulls `out` back down. So `out` moves until U+ = U−. Here plus is ground, so U− = `sum` is 0 V without being wired to ground: a virtual ground. No current sum is written at `out`: the output delivers whatever current is needed there, so that sum would only bring in one more unknown.

        **Current sum at `sum`**

            (in − sum)/R1 + (out − sum)/R2 = 0

        No charge piles up at a node: the currents that enter `sum` add up to zero. The minus input of `A1` takes no current.

        - `(in − sum)/R1`: what enters `sum` through `R1` (10 kΩ) from `in`. The voltage across `R1` is `in` − `sum`; divided by the resistance it is the current (Ohm's law).
        - `(out − sum)/R2`: what enters `sum` through `R2` (33 kΩ) from `out`. The voltage across `R2` is `out` − `sum`; divided by the resistance it is the current (Ohm's law).
    "#]],
    );
}

#[test]
fn ties_and_current_sources_are_explained() {
    explained(
        EVERYTHING,
        Writing::default(),
        expect![[r#"
            **6 unknown node voltages, 6 equations**

            Ground is 0 V. In a current sum a current counts as leaving its node.

            `R1..R2` is the node between the two parts that it names; the file gives it no name of its own.

            **`top` and `bottom`, held apart by `cell`**

                top − bottom = 9 V

            The source `cell` holds `top` 9 V above `bottom`, whatever current that takes. The current through it is not known, so `top` and `bottom` share one current sum.

            **`x`, held by `lift`**

                x = 100·top − 103·bottom + 1 V

            The source `lift` makes `x` follow other voltages, 100·top − 103·bottom + 1 V. It carries whatever current is needed, so this equation stands in place of a current sum at `x`.

            **`y` and `z`, joined by `L1`**

                y = z

            The inductor `L1` is a wire at rest: its current does not change, so there is no voltage across it, and `y` and `z` are at one voltage. The current through it is not known, so `y` and `z` share one current sum.

            **One current sum for `top` and `bottom`**

                (top − R1..R2)/R1 − 2 mA + bottom/R3 − 2 mS·(top − bottom) = 0

            The source `cell` ties `top` and `bottom` together, and how much current flows there is not known beforehand. Taken together, what leaves one of these nodes that way enters another, so it drops out: the currents that leave the group add up to zero.

            - `(top − R1..R2)/R1`: what leaves `top` through `R1` (10 kΩ) towards `R1..R2`. The voltage across `R1` is `top` − `R1..R2`; divided by the resistance it is the current (Ohm's law).
            - `− 2 mA`: the source `drain` takes −2 mA out of `top`, whatever the voltages are; it counts negative among the currents that leave.
            - `bottom/R3`: what leaves `bottom` through `R3` (4.7 kΩ) towards ground. Ground is 0 V, so the voltage across `R3` is that of `bottom`; divided by the resistance it is the current (Ohm's law).
            - `− 2 mS·(top − bottom)`: the source `mirror` pushes 2 mS·(top − bottom) into `bottom`, a current that follows other voltages; it counts negative among the currents that leave.

            **Current sum at `R1..R2`**

                (R1..R2 − top)/R1 + (R1..R2)/R2 = 0

            No charge piles up at a node: the currents that leave `R1..R2` add up to zero.

            - `(R1..R2 − top)/R1`: what leaves `R1..R2` through `R1` (10 kΩ) towards `top`. The voltage across `R1` is `R1..R2` − `top`; divided by the resistance it is the current (Ohm's law).
            - `(R1..R2)/R2`: what leaves `R1..R2` through `R2` (22 kΩ) towards ground. Ground is 0 V, so the voltage across `R2` is that of `R1..R2`; divided by the resistance it is the current (Ohm's law).

            **One current sum for `y` and `z`**

                (y − x)/R4 + z/R5 + (3 mS·x + 1 mA) = 0

            The inductor `L1` ties `y` and `z` together, and how much current flows there is not known beforehand. Taken together, what leaves one of these nodes that way enters another, so it drops out: the currents that leave the group add up to zero. `R6` has both its ends inside the group, so no term stands for it. `C1` carries no current at rest: a capacitor's voltage does not change there.

            - `(y − x)/R4`: what leaves `y` through `R4` (1 kΩ) towards `x`. The voltage across `R4` is `y` − `x`; divided by the resistance it is the current (Ohm's law).
            - `z/R5`: what leaves `z` through `R5` (1 kΩ) towards ground. Ground is 0 V, so the voltage across `R5` is that of `z`; divided by the resistance it is the current (Ohm's law).
            - `(3 mS·x + 1 mA)`: the source `shift` takes 3 mS·x + 1 mA out of `z`, a current that follows other voltages; it counts positive.
        "#]],
    );
}

#[test]
fn a_source_on_an_output_leaves_no_sum_at_either_end() {
    let text = "\
source probe: in = 1 V
opamp A1: plus in, minus out, drives mid
source shift: mid - out = 2 V
out -- R1 10k -- ground
";
    explained(
        text,
        Writing::default(),
        expect![[r#"
            **3 unknown node voltages, 3 equations**

            Ground is 0 V. In a current sum a current counts as leaving its node.

            Every op-amp is taken as ideal: no current flows into its inputs, and with negative feedback V+ = V−.

            **`in`, held by `probe`**

                in = 1 V

            The source `probe` holds `in` at 1 V, whatever current that takes. So `in` is known at once, and no current sum is needed there.

            **`mid` and `out`, held apart by `shift`**

                mid − out = 2 V

            The source `shift` holds `mid` 2 V above `out`, whatever current that takes. It leads to the output of `A1`, which delivers whatever current is needed, so no current sum is written at either end.

            **`A1`, in place of a current sum at `mid`**

                in = out

            `A1` has negative feedback. Of a small rise of `mid`, all comes back to minus (`out`) and nothing to plus (`in`). If `mid` rises a little, V+ − V− falls and pulls `mid` back down. So `mid` moves until V+ = V−. Here V+ is `in` and V− is `out`. No current sum is written at `mid`: the output delivers whatever current is needed there, so that sum would only bring in one more unknown. None is written at `out` either: the source `shift` ties it to the output, and its current is not known.
        "#]],
    );
    let (circuit, study) = read(text);
    let explanation = explain::explain(
        &circuit,
        &study.equations,
        &study.feedback,
        Writing::default(),
    );
    let out = circuit
        .unknowns()
        .find(|it| circuit.node_name(*it) == "out")
        .expect("a node");
    let titles: Vec<&str> = explanation.at(out).map(|it| it.title.as_str()).collect();
    assert_eq!(
        titles,
        [
            "`mid` and `out`, held apart by `shift`",
            "`A1`, in place of a current sum at `mid`"
        ]
    );
}

#[test]
fn swapped_inputs_are_a_warning_beside_the_equation() {
    explained(
        &INVERTING.replace("plus ground, minus sum", "plus sum, minus ground"),
        Writing::default(),
        expect![[r#"
            **3 unknown node voltages, 3 equations**

            Ground is 0 V. In a current sum a current counts as leaving its node.

            Every op-amp is taken as ideal: no current flows into its inputs, and with negative feedback V+ = V−.

            **`in`, held by `probe`**

                in = 1.2 V

            The source `probe` holds `in` at 1.2 V, whatever current that takes. So `in` is known at once, and no current sum is needed there.

            **`A1`, in place of a current sum at `out`**

                sum = 0

            Careful: the feedback of `A1` is positive. Of a small rise of `out`, nothing comes back to minus (ground) and 10/43 to plus (`sum`). If `out` rises a little, V+ − V− rises too and drives `out` further up, to a rail. V+ = V− is only what the ideal rules would say. Here minus is ground, so V+ = `sum` is 0 V. No current sum is written at `out`: the output delivers whatever current is needed there, so that sum would only bring in one more unknown.

            **Current sum at `sum`**

                (sum − in)/R1 + (sum − out)/R2 = 0

            No charge piles up at a node: the currents that leave `sum` add up to zero. The plus input of `A1` takes no current.

            - `(sum − in)/R1`: what leaves `sum` through `R1` (10 kΩ) towards `in`. The voltage across `R1` is `sum` − `in`; divided by the resistance it is the current (Ohm's law).
            - `(sum − out)/R2`: what leaves `sum` through `R2` (33 kΩ) towards `out`. The voltage across `R2` is `sum` − `out`; divided by the resistance it is the current (Ohm's law).
        "#]],
    );
}

#[test]
fn verdicts_are_one_line_for_a_hover() {
    let mut lines = String::new();
    for text in [
        INVERTING,
        "source probe: in = 1 V\nopamp A1: plus in, minus out, drives out\nout -- R1 10k -- ground",
        "source probe: in = 1 V\nopamp A1: plus in, minus ground, drives out\nout -- R1 10k -- ground",
        "source probe: in = 1 V\nin -- R1 10k -- sum -- C1 1 uF -- out\nopamp A1: plus ground, minus sum, drives out",
        "source a: a = 1 V\nsource b: b = 2 V\nopamp A1: plus a, minus x, drives u\nopamp A2: plus b, minus y, drives w\n\
         u -- R1 25k -- x -- RG 500 -- y -- R2 25k -- w",
    ] {
        let text = text
            .replace("source a: a", "source left: a")
            .replace("source b: b", "source right: b");
        let (circuit, study) = read(&text);
        for it in &study.feedback {
            for opamp in &it.block {
                lines.push_str(&crate::feedback::line(&circuit, it, *opamp));
                lines.push('\n');
            }
        }
    }
    expect![[r#"
        negative: of a small rise of `out`, 10/43 comes back to minus (`sum`) and nothing to plus (ground)
        negative: of a small rise of `out`, all comes back to minus (`out`) and nothing to plus (`in`)
        none: the output cannot move its own inputs
        none at rest: only capacitors lead the output back to its inputs
        negative: of a small rise of `u`, 51/101 comes back to minus (`x`) and nothing to plus (`a`); it is judged for the loop through `A1` and `A2` together; true at any speed of the op-amps
        negative: of a small rise of `w`, 51/101 comes back to minus (`y`) and nothing to plus (`b`); it is judged for the loop through `A1` and `A2` together; true at any speed of the op-amps
    "#]].assert_eq(&lines);
}
