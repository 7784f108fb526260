//! Hovers as a reader sees them.

use expect_test::{Expect, expect};

use crate::Workspace;
use crate::hover::{Block, Hover, WIDTH, hover};
use crate::marked::{open, open_in};
use crate::workspace::EditorSettings;

#[track_caller]
fn check(marked: &str, expected: Expect) {
    let (view, spans) = open(marked);
    let shown = spans
        .iter()
        .map(|it| hover(&view, it.start).map_or("nothing".into(), shortened));
    expected.assert_eq(&shown.collect::<Vec<_>>().join("\n=====\n"));
}

/// Long paragraphs are a lecturer's words, which have tests of their own.
fn shortened(mut hover: Hover) -> String {
    for block in &mut hover.blocks {
        if let Block::Words(words) = block
            && words.chars().count() > 110
        {
            *words = words.chars().take(60).chain(['…']).collect();
        }
    }
    hover.markdown()
}

const STAGE: &str = "\
supply +9 V and -9 V
source probe: in = 1.2 V
in -- R1 10k -- sum -- R2 33k -- out
opamp A1: plus ground, minus sum, drives out
out -- RL 4.7k -- ground
";

fn stage(mark: &str, marked: &str) -> String {
    assert!(STAGE.contains(mark), "{mark}");
    STAGE.replacen(mark, marked, 1)
}

#[test]
fn a_node_tells_its_voltage_first_and_then_its_equation() {
    check(
        &stage("sum -- R2", "«»sum -- R2"),
        expect![[r#"
            **sum = 0 V**

            ```
            (sum − in)/R1 + (sum − out)/R2 = 0
            ```

            No charge piles up at a node: the currents that leave `sum` …

            Joined: `R1`, `R2` and minus of `A1`."#]],
    );
}

#[test]
fn a_voltage_whose_decimal_does_not_end_is_told_as_a_fraction_too() {
    check(
        "source s: a = 1 V\na -- R1 1k -- «»b -- R2 2k -- ground\n",
        expect![[r#"
            **b = 666.67 mV**

            exactly 2000/3 mV

            ```
            (b − a)/R1 + b/R2 = 0
            ```

            No charge piles up at a node: the currents that leave `b` add up to zero.

            By source:

            - 666.67 mV from `s`, 0.66667 (2/3) times it

            Joined: `R1` and `R2`."#]],
    );
}

#[test]
fn an_element_tells_voltage_current_and_power() {
    check(
        &stage("R1 10k", "«»R1 10k"),
        expect![[r#"
        **R1 = 10 kΩ**

        - 1.2 V across it, from `in` to `sum`
        - 120 µA from `in` to `sum`
        - takes 144 µW"#]],
    );
    check(
        &stage("R2 33k", "«»R2 33k 1 % 0.25 W"),
        expect![[r#"
        **R2 = 33 kΩ**

        - 3.96 V across it, from `sum` to `out`
        - 120 µA from `sum` to `out`
        - takes 475.2 µW, rated 250 mW"#]],
    );
    check(
        &stage("RL 4.7k", "«»RL 4.7k"),
        expect![[r#"
        **RL = 4.7 kΩ**

        - −3.96 V across it, from `out` to ground
        - 842.55 µA from ground to `out`: `current(RL)` = −842.55 µA
        - takes 3.3365 mW"#]],
    );
}

#[test]
fn an_opamp_tells_output_margins_and_feedback() {
    check(
        &stage("A1:", "«»A1:"),
        expect![[r#"
            **A1: output −3.96 V**

            - takes 962.55 µA in at `out`: `current(A1)` = −962.55 µA
            - 12.96 V below its high limit
            - 5.04 V above its low limit
            - heat 4.8513 mW

            Feedback: negative: of a small rise of `out`, 10/43 comes back to minus (`sum`) and nothing to plus (ground).

            ```
            sum = 0
            ```

            `A1` has negative feedback. Of a small rise of `out`, 10/43 …"#]],
    );
}

#[test]
fn sources_tell_what_they_deliver() {
    check(
        &stage("probe", "«»probe"),
        expect![[r#"
            **probe: in = 1.2 V**

            - delivers 120 µA into `in`
            - gives 144 µW to the circuit
            - sees 10 kΩ"#]],
    );
    check(
        "source light: 2 mA from ground into a\na -- R1 1k -- ground\nexpect current(«»light) = 2 mA\n",
        expect![[r#"
            **light: 2 mA from ground into a**

            - −2 V across it, from ground to `a`
            - gives 4 mW to the circuit
            - sees 1 kΩ"#]],
    );
}

#[test]
fn an_answer_that_is_only_ideal_says_so() {
    check(
        "part slow\n  gain 5000\nend\ncircuit c\nsupply +9 V and -9 V\nsource s: in = 1 V\n\
         in -- R1 1k -- sum -- R2 2k -- «»out\nopamp A1: plus ground, minus sum, drives out, part slow\n",
        expect![[r#"
            **out = −1.9988 V**

            exactly −10000/5003 V

            ```
            sum = 0
            ```

            `A1` has negative feedback. Of a small rise of `out`, 1/3 co…

            With the op-amps as their parts say:

            ```
            out = −5000·sum
            ```

            Ideal op-amps would give −2 V. The gap of 1.1993 mV is made of: finite gain 1.1993 mV.

            By source:

            - −1.9988 V from `s`, −1.9988 (−10000/5003) times it

            Joined: `R2` and output of `A1`."#]],
    );
    check(
        "source s: in = 1 V\nin -- R1 1k -- p -- R2 2k -- «»out\nopamp A1: plus p, minus ground, drives out\n",
        expect![[r#"
            **out = −2 V (ideal answer)**

            This is the ideal answer, and not known to be the circuit's …

            ```
            p = 0
            ```

            Careful: the feedback of `A1` is positive. Of a small rise o…

            Joined: `R2` and output of `A1`."#]],
    );
}

#[test]
fn of_several_states_each_is_told() {
    let text = |at: &str| {
        let text = "supply +9 V and -9 V\nsource s: in = 1 V\nin -- R1 1k -- p -- R2 2k -- out\nopamp A1: plus p, minus ground, drives out\n";
        text.replacen(at, &format!("«»{at}"), 1)
    };
    check(
        &text("out"),
        expect![[r#"
        **out**

        It depends on what happened before: 9 V while `A1` is high, −9 V while `A1` is low.

        ```
        p = 0
        ```

        Careful: the feedback of `A1` is positive. Of a small rise o…

        Joined: `R2` and output of `A1`."#]],
    );
}

#[test]
fn a_clipped_op_amp_tells_its_limit_and_what_stands_in_place_of_equal_inputs() {
    check(
        "supply 5 V\nsource s: in = 1 V\nopamp «»A1: plus in, minus fb, drives out\nout -- R1 90k -- fb -- R2 10k -- ground\n",
        expect![[r#"
            **A1: output 5 V**

            - delivers 50 µA into `out`
            - 0 V below its high limit
            - 5 V above its low limit
            - heat 0 W

            `A1` stands at its high limit of 5 V.

            Feedback: negative: of a small rise of `out`, 1/10 comes back to minus (`fb`) and nothing to plus (`in`).

            ```
            out = 5 V
            ```

            `A1` stands at its high limit, 5 V: V+ stays above V−, and `…

            Ideal op-amps without limits would give 10 V. The gap of −5 V is made of: limits −5 V."#]],
    );
}

#[test]
fn a_node_that_nothing_fixes_says_so() {
    check(
        "a -- R1 1k -- «»b\n",
        expect![[r#"
        **b**

        The equations do not fix it.

        ```
        (b − a)/R1 = 0
        ```

        No charge piles up at a node: the currents that leave `b` add up to zero.

        Joined: `R1`."#]],
    );
}

#[test]
fn a_name_inside_a_block_is_told_for_each_use() {
    check(
        "block half: in, out\n  in -- R1 1k -- «»out -- R2 1k -- ground\nend\ncircuit c\nsource s: a = 8 V\n\
         half H1: in a, out b\nhalf H2: in a, out c\nexpect H1.«»R1 = 1k\n",
        expect![[r#"
            **b = 4 V**

            ```
            (b − a)/H1.R1 + b/H1.R2 = 0
            ```

            No charge piles up at a node: the currents that leave `b` add up to zero.

            By source:

            - 4 V from `s`, 0.5 times it

            Joined: `H1.R1` and `H1.R2`.

            **c = 4 V**

            ```
            (c − a)/H2.R1 + c/H2.R2 = 0
            ```

            No charge piles up at a node: the currents that leave `c` add up to zero.

            By source:

            - 4 V from `s`, 0.5 times it

            Joined: `H2.R1` and `H2.R2`.
            =====
            **H1.R1 = 1 kΩ**

            - 4 V across it, from `a` to `b`
            - 4 mA from `a` to `b`
            - takes 16 mW"#]],
    );
}

#[test]
fn names_of_values_parts_blocks_and_circuits_are_told() {
    check(
        "## Values of the drawer.\nlet Rf = 2 * 4.7k\n## From its data sheet.\npart slow\n  gain 100 dB\n  headroom low 0.1 V, high 1 V\nend\n\
         ## Halves a voltage.\nblock half: in, out, R = 1k\n  in -- R1 (R) -- out -- R2 (R) -- ground\nend\n\
         circuit «»bed \"A bed\"\nsource s: a = 1 V\na -- R1 («»Rf) -- ground\n«»half H1: in a, out b\n\
         opamp A1: plus b, minus q, drives q, part «»slow\n",
        expect![[r#"
            **bed**

            A bed

            3 unknown node voltages, 3 equations.
            =====
            **Rf = 9.4 kΩ**

            Values of the drawer.
            =====
            **block half**

            Halves a voltage.

            ```
            block half: in, out, R = 1k
            ```
            =====
            **part slow**

            From its data sheet.

            - `gain` 100000
            - `headroom` low 100 mV, high 1 V

            What is not given is ideal."#]],
    );
}

#[test]
fn a_class_that_ships_with_the_tool_is_told_with_its_figures() {
    check(
        "circuit c\nopamps are «»low_voltage_cmos\nsource s: a = 1 V\nopamp A1: plus a, minus b, drives b\n",
        expect![[r#"
            **class low_voltage_cmos**

            For batteries and logic supplies: inputs and output reach th…

            - `gain` 100000
            - `bandwidth` 1 MHz
            - `slew` 0.6 V/µs
            - `input_resistance` 1 TΩ
            - `output_resistance` 1 kΩ
            - `rejection` 10000
            - `offset` 3 mV
            - `bias_current` 10 pA
            - `headroom` low 50 mV, high 50 mV
            - `supply` 1.8 V to 5.5 V
            - `current` source 20 mA, sink 20 mA
            - `inputs` low 0 V, high 0 V

            A generic class, no real part: `ampersum manual classes` has the source of each figure."#]],
    );
}

#[test]
fn numbers_are_told_in_other_forms() {
    check(
        "source s: a = sine «»2 Vpp at «»1 kHz\nsource t: b = sine «»1 Vrms at 1 kHz\na -- R1 «»4k7 «»1 % -- b -- R2 «»470 -- ground\n\
         let k = «»40 dB\n",
        expect![[r#"
            **2 Vpp**

            - 1 V amplitude
            - 707.11 mV effective

            Volts from peak to peak: a wave's size, twice its amplitude.
            =====
            **1 kHz**

            - 1000 hertz
            =====
            **1 Vrms**

            - 1.4142 V amplitude
            - 2.8284 V from peak to peak

            Effective volts: a wave's size as the direct voltage that would heat a resistor as much.
            =====
            **4k7**

            - 4.7 kΩ
            - 4700 ohms
            - `4.7k` in the text
            =====
            **1 %**

            - 0.01

            Percent: hundredths.
            =====
            **470**

            - 470 Ω
            =====
            **40 dB**

            - 100 times

            Decibels: a ratio as 20 times its logarithm; 20 dB is ten times, −20 dB a tenth."#]],
    );
}

#[test]
fn words_of_the_language_are_told() {
    check(
        "«»source s: a = sine 1 V at 1 kHz «»offset 1 V\n«»opamp A1: «»plus a, minus b, drives b\nexpect «»always b = a «»within 1 %\n\
         expect «»current(A1) = 0 A\nb -- R1 1k -- «»ground\nallow «»loose_end at b: \"why\"\n",
        expect![[r#"
            **source**

            A source: it holds a voltage (`source s: a = 5 V`) or drives a current (`source s: 2 mA from a into b`).
            =====
            **offset**

            The level about which the wave swings; at rest the source stands there.
            =====
            **opamp**

            An op-amp: with negative feedback its output moves until V+ = V−; no current flows into its inputs.
            =====
            **plus**

            The node at the plus input, whose voltage is V+; no current flows into it.
            =====
            **always**

            For all values of the independent sources that the claim is about, not only for those written.
            =====
            **within**

            How far apart the two sides may be.
            =====
            **current**

            The current through an element, from its left end to its right, or out of a source or an op-amp's output.
            =====
            **ground = 0 V**

            The reference: every node voltage is counted from here.
            =====
            **loose_end**

            A current that enters a node has to leave it again. A node t…

            `ampersum rule loose_end` shows a wrong and a right example."#]],
    );
}

#[test]
fn comments_texts_and_blanks_say_nothing() {
    check(
        "# «»note\ncircuit c \"«»title\"\n\n«»\n",
        expect!["nothing\n=====\nnothing\n=====\nnothing"],
    );
}

#[test]
fn hidden_answers_stay_hidden() {
    let mut workspace = Workspace::default();
    workspace.set_settings(EditorSettings {
        toml: "[answers]\nhidden = true\n".into(),
    });
    let marked = STAGE
        .replace("in --", "«»in --")
        .replace("R1 10k", "«»R1 10k")
        .replace("opamp A1", "opamp «»A1");
    let (view, spans) = open_in(&mut workspace, "bed.amp", &marked);
    let shown: Vec<_> = spans
        .iter()
        .filter_map(|it| hover(&view, it.start))
        .map(|it| it.plain())
        .collect();
    assert_eq!(shown.len(), 3);
    for it in shown {
        for answer in ["1.2 V across", "µA", "3.96", "mW", "limit"] {
            assert!(!it.contains(answer), "{answer} in {it}");
        }
    }
    assert_eq!(crate::inlay(&view, syntax::Span::new(0, 999)), []);
}

#[test]
fn plain_text_has_lines_that_a_terminal_need_not_break() {
    let (view, spans) = open(&STAGE.replace("33k -- out", "33k -- o«»ut"));
    let shown = hover(&view, spans[0].start).expect("a hover").plain();
    assert!(shown.starts_with("out = −3.96 V\n"), "{shown}");
    assert!(shown.lines().count() > 6, "{shown}");
    assert!(
        shown.lines().all(|it| it.chars().count() <= WIDTH),
        "{shown}"
    );
}

#[test]
fn before_the_point_a_name_tells_of_the_device_and_behind_it_of_what_is_inside() {
    check(
        "# Ω 𝄞\nblock half: top, mid\n  top -- R1 1k -- mid -- R2 1k -- ground\nend\ncircuit c\nsource s: a = 1 V\n\
         half H1: top a, mid b\nexpect «»H1.R1 = 1k\nexpect current(H1.«»R2) = 1 mA\n",
        expect![[r#"
            **H1 = half**

            - `top`: `a` = 1 V
            - `mid`: `b` = 500 mV

            ```
            block half: top, mid
            ```
            =====
            **H1.R2 = 1 kΩ**

            - 500 mV across it, from `b` to ground
            - 500 µA from `b` to ground
            - takes 250 µW"#]],
    );
}

#[test]
fn a_device_that_a_block_makes_tells_what_it_is_joined_to() {
    check(
        "## Half of it.\nblock half: «»top, mid, R = 10k\n  top -- R1 («»R) -- «»mid -- R2 (R) -- ground\nend\n\
         circuit c\nsource s: a = 1 V\n## For the vent.\nhalf «»H1: «»top a, mid «»b, «»R 2k\nopamp A1: plus b, minus q, drives q\n\
         work \"sheet\"\n  let «»i1 = a / 4k\n  a = «»i1 * 4k\nend\n",
        expect![[r#"
            **top**

            A port of block `half`.

            ```
            block half: top, mid, R = 10k
            ```
            =====
            **R**

            A parameter of block `half`.

            ```
            block half: top, mid, R = 10k
            ```
            =====
            **b = 500 mV**

            ```
            (b − a)/H1.R1 + b/H1.R2 = 0
            ```

            No charge piles up at a node: the currents that leave `b` ad…

            By source:

            - 500 mV from `s`, 0.5 times it

            Joined: `H1.R1`, `H1.R2` and plus of `A1`.
            =====
            **H1 = half**

            For the vent.

            - `top`: `a` = 1 V
            - `mid`: `b` = 500 mV
            - `R`: `2k`

            Half of it.

            ```
            block half: top, mid, R = 10k
            ```
            =====
            **port top of half**

            `a` = 1 V.
            =====
            **b = 500 mV**

            ```
            (b − a)/H1.R1 + b/H1.R2 = 0
            ```

            No charge piles up at a node: the currents that leave `b` ad…

            By source:

            - 500 mV from `s`, 0.5 times it

            Joined: `H1.R1`, `H1.R2` and plus of `A1`.
            =====
            **parameter R of half**

            `2k`.
            =====
            **i1**

            A value of this work sheet.

            ```
            let i1 = a / 4k
            ```
            =====
            **i1**

            A value of this work sheet.

            ```
            let i1 = a / 4k
            ```"#]],
    );
}
