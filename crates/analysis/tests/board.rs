//! Real op-amps on the board: what is lowered has the answers of the laws themselves, and leads back to the circuit of the text.

use ampersum_analysis as analysis;

use analysis::board::{Board, Causes, Drive};
use analysis::equations::EquationKind;
use analysis::linear::{self, Budget};
use analysis::solution::Solution;
use analysis::states::Mode;
use analysis::{Answer, Outcome, Study};
use circuit::{Book, NodeId, OpampId};
use syntax::{Number, Ratio};

/// A part with these figures, used by every op-amp of a circuit.
fn read(figures: &str, circuit: &str) -> Book {
    let text = format!("part real\n{figures}\nend\ncircuit c\nopamps are real\n{circuit}");
    let book = circuit::build("test", text.as_str().into(), &mut |_| None);
    assert!(book.faults.is_empty(), "{:?} in\n{text}", book.faults);
    book
}

const FIGURES: [&str; 6] = [
    "gain 5000",
    "offset 2 mV\nrejection 2000",
    "bias_current 80 nA\nbias_offset 20 nA\ninput_resistance 100k",
    "gain 5000\noutput_resistance 75 ohm",
    "gain 5000\nrejection 2000\noffset -1 mV\nbias_current 80 nA\ninput_resistance 100k\noutput_resistance 75 ohm",
    "output_resistance 75 ohm\nrejection 2000",
];

/// Two op-amps in one loop, a floating source on an output, an input at ground and one at an output.
const CIRCUITS: [&str; 4] = [
    "source s: in = 1 V\nin -- R1 1k -- n -- R2 10k -- out\nopamp A1: plus ground, minus n, drives out\nout -- RL 2k -- ground",
    "source s: in = 1 V\nopamp A1: plus in, minus fb, drives m\nopamp A2: plus m, minus low, drives out\n\
     out -- R1 9k -- low -- R2 1k -- ground\nout -- R3 4k -- fb -- R4 1k -- ground",
    "source s: in = 1 V\nopamp A1: plus in, minus out, drives out\nsource cell: far - out = 2 V\nfar -- R1 1k -- x -- R2 3k -- ground",
    "source s: 1 mA from ground into n\nn -- R1 3k -- a\nopamp A1: plus ground, minus n, drives a\n\
     opamp A2: plus a, minus b, drives b\nb -- R2 1k -- c -- R3 1k -- ground",
];

fn every(mut check: impl FnMut(&Book, &str)) {
    for figures in FIGURES {
        for circuit in CIRCUITS {
            check(&read(figures, circuit), &format!("{figures}\n{circuit}"));
        }
    }
}

fn exact(answer: &Option<Answer>) -> Ratio {
    let answer = answer.as_ref().expect("it is fixed");
    answer.exact().expect("it is exact").clone()
}

fn output_current(solution: &Solution, opamp: usize) -> Ratio {
    let output = solution.opamps[opamp].as_ref().expect("it is fixed");
    exact(&output.current)
}

#[test]
fn each_opamp_keeps_its_law() {
    every(|book, text| {
        let circuit = &book.circuits[0];
        let board = Board::of(circuit, &book.parts, Causes::ALL);
        let solution = board.solve(Budget::default());
        let volts = |node: NodeId| Answer::Exact(exact(&solution.nodes[node.index()]));
        for (index, opamp) in circuit.opamps.iter().enumerate() {
            let law = &board.laws[index];
            let input = law.input(&volts(opamp.plus), &volts(opamp.minus));
            let current = Answer::Exact(output_current(&solution, index));
            match &law.gain {
                None => assert!(input.is_zero(), "{}:\n{text}", opamp.name),
                Some(gain) => {
                    let ohms = law.output_resistance.clone().unwrap_or(Number::ZERO);
                    let inner = &volts(opamp.drives) + &(&Answer::from(&ohms) * &current);
                    assert_eq!(
                        inner,
                        &Answer::from(gain) * &input,
                        "{}:\n{text}",
                        opamp.name
                    );
                }
            }
        }
        assert_eq!(solution.nodes.len(), circuit.nodes.len());
        assert_eq!(solution.elements.len(), circuit.elements.len());
        assert_eq!(solution.sources.len(), circuit.sources.len());
    });
}

#[test]
fn on_paper_there_are_as_many_equations_as_nodes_and_they_have_the_answer() {
    every(|book, text| {
        let circuit = &book.circuits[0];
        let board = Board::of(circuit, &book.parts, Causes::ALL);
        let paper = board.paper();
        assert_eq!(paper.unknowns, circuit.unknowns().collect::<Vec<_>>());
        assert_eq!(paper.list.len(), paper.unknowns.len(), "{text}");
        for it in &paper.list {
            assert!(!board.is_added(it.at));
            if let EquationKind::JoinedSum { nodes, ties } = &it.kind {
                assert_eq!(nodes.len(), ties.len() + 1, "{text}");
                assert!(nodes.iter().all(|it| !board.is_added(*it)));
            }
        }
        let system = board.system();
        assert_eq!(system.unknowns, paper.unknowns.len());
        let solved = linear::solve(&system, Budget::default());
        let solution = board.solve(Budget::default());
        assert_eq!(solved.values[0], solution.nodes[1..], "{text}");
    });
}

#[test]
fn at_limits_too_the_equations_on_paper_have_the_answer() {
    let (mut rails, mut currents) = (0, 0);
    for figures in FIGURES {
        for limit in ["headroom 0.5 V", "current source 0.2 mA, sink 0.1 mA"] {
            for circuit in CIRCUITS {
                let book = read(
                    &format!("{figures}\n{limit}"),
                    &format!("supply 2 V and -2 V\n{circuit}"),
                );
                let (circuit, parts) = (&book.circuits[0], &book.parts);
                let study = Study::new(circuit, parts);
                if *study.outcome(circuit, parts) != Outcome::AtLimits {
                    continue;
                }
                let board = study.standing_board(circuit, parts);
                let paper = board.paper();
                assert_eq!(paper.unknowns, circuit.unknowns().collect::<Vec<_>>());
                assert_eq!(paper.list.len(), paper.unknowns.len());
                let solved = linear::solve(&board.system(), Budget::default());
                let answer = study.answer(circuit, parts).expect("it is known");
                assert_eq!(solved.values[0], answer.nodes[1..], "{figures} {limit}");
                // An output without resistance is told to stand at its limit; behind a resistance, and of a current, the sum at it holds the limit.
                let told = |it: &&analysis::equations::Equation| {
                    matches!(it.kind, EquationKind::Limit { .. })
                };
                let told = paper.list.iter().filter(told).count();
                let ids = (0..circuit.opamps.len() as u32).map(OpampId);
                let held = |it: &OpampId| {
                    let at_rail = matches!(board.limit(*it), Some((Mode::High | Mode::Low, _)));
                    at_rail && board.source_behind(*it).is_none()
                };
                assert_eq!(told, ids.filter(held).count(), "{figures} {limit}");
                let pushes = |it: &Mode| matches!(it, Mode::Sourcing | Mode::Sinking);
                currents += usize::from(board.modes.iter().any(pushes));
                rails += usize::from(told > 0);
            }
        }
    }
    assert!(rails > 5 && currents > 5, "{rails} {currents}");
}

/// With each output driven in turn, what is amplified is M·u + b; u = A·(M·u + b) is then the answer.
#[test]
fn driven_outputs_map_to_inputs_and_currents() {
    every(|book, text| {
        let circuit = &book.circuits[0];
        if book.parts[0].gain.is_none() {
            return;
        }
        let ids: Vec<OpampId> = (0..circuit.opamps.len() as u32).map(OpampId).collect();
        let whole = Board::of(circuit, &book.parts, Causes::ALL).solve(Budget::default());
        let drive = |_| Drive::Voltage(Number::ZERO);
        let board = Board::driven(circuit, &book.parts, Causes::ALL, drive);
        let one = Number::ONE;
        let zeros = vec![&Number::ZERO; board.circuit.sources.len()]
            .iter()
            .map(|_| Number::ZERO)
            .collect::<Vec<_>>();
        let mut sides = vec![board.constants()];
        for id in &ids {
            let handle = board
                .source(*id, analysis::board::Piece::Output)
                .expect("it is driven");
            let mut side: Vec<&Number> = zeros.iter().collect();
            side[handle.index()] = &one;
            sides.push(side);
        }
        let maps = board.solve_for(&sides, Budget::default());
        // u from the whole answer: what stands before the output resistance
        let law = &board.laws[0];
        let gain = Answer::from(law.gain.as_ref().expect("given"));
        let ohms = Answer::from(&law.output_resistance.clone().unwrap_or(Number::ZERO));
        let inner: Vec<Answer> = circuit
            .opamps
            .iter()
            .enumerate()
            .map(|(index, opamp)| {
                let out = Answer::Exact(exact(&whole.nodes[opamp.drives.index()]));
                &out + &(&ohms * &Answer::Exact(output_current(&whole, index)))
            })
            .collect();
        for (index, opamp) in circuit.opamps.iter().enumerate() {
            let pins = |it: &Solution| {
                [opamp.plus, opamp.minus].map(|node| Answer::Exact(exact(&it.nodes[node.index()])))
            };
            let [plus, minus] = pins(&maps[0]);
            let mut input = law.input(&plus, &minus);
            let mut current = Answer::Exact(output_current(&maps[0], index));
            for (u, map) in inner.iter().zip(&maps[1..]) {
                let [plus, minus] = pins(map);
                input = &input + &(u * &law.moved(&plus, &minus));
                current = &current + &(u * &Answer::Exact(output_current(map, index)));
            }
            assert_eq!(&gain * &input, inner[index], "{}:\n{text}", opamp.name);
            assert_eq!(
                current,
                Answer::Exact(output_current(&whole, index)),
                "{text}"
            );
        }
        // Driven by the currents that it delivers, the circuit is the same.
        let currents: Vec<Number> = ids
            .iter()
            .map(|it| Number::Exact(output_current(&whole, it.index())))
            .collect();
        let drive = |it: OpampId| Drive::Current(currents[it.index()].clone());
        let pushed =
            Board::driven(circuit, &book.parts, Causes::ALL, drive).solve(Budget::default());
        if pushed.single().is_some() {
            assert_eq!(pushed.nodes, whole.nodes, "{text}");
        }
    });
}

#[test]
fn limits_heat_and_rails_belong_to_the_pin() {
    let book = read(
        "gain 1000\noutput_resistance 100 ohm",
        "source high: vcc = 9 V\nsupply vcc and ground\nsource s: in = 2 V\nopamp A1: plus in, minus out, drives out\nout -- RL 1k -- ground",
    );
    let circuit = &book.circuits[0];
    let study = Study::new(circuit, &book.parts);
    assert_eq!(*study.outcome(circuit, &book.parts), Outcome::Real);
    let solution = study.answer(circuit, &book.parts).expect("it is known");
    // u = 1000·(2 − out) and out = u·1000/1100, so out = 2/(1 + 1.1/1000).
    let out = Ratio::from(20_000) / Ratio::from(10_011);
    let output = solution.opamps[0].as_ref().expect("it is fixed");
    assert_eq!(output.voltage, Answer::Exact(out.clone()));
    let current = &out / Ratio::from(1000);
    assert_eq!(output.current, Some(Answer::Exact(current.clone())));
    let inner = &out * Ratio::from(11) / Ratio::from(10);
    assert_eq!(
        output.margin_high,
        Some(Answer::Exact(Ratio::from(9) - inner))
    );
    let heat = (Ratio::from(9) - &out) * &current;
    assert_eq!(output.power(), Some(Answer::Exact(heat)));
    // The source of the rail delivers what the op-amp does.
    let rail = solution.sources[0].as_ref().expect("it is fixed");
    assert_eq!(rail.current, Some(Answer::Exact(current)));
}

/// An open loop has an answer as soon as the gain is finite: J. O. Bird, Electrical Circuit Theory and Technology prints 12 V for 120·(2.45 − 2.35) V.
#[test]
fn without_feedback_a_finite_gain_has_an_answer() {
    let book = read(
        "gain 120",
        "source a: m = 2.35 V\nsource b: p = 2.45 V\nopamp A1: plus p, minus m, drives out",
    );
    let circuit = &book.circuits[0];
    let study = Study::new(circuit, &book.parts);
    assert_eq!(*study.outcome(circuit, &book.parts), Outcome::Real);
    let solution = study.answer(circuit, &book.parts).expect("it is known");
    assert_eq!(exact(&solution.nodes[3]), Ratio::from(12));
    assert!(
        study.gap(circuit, &book.parts).is_none(),
        "there is no ideal answer"
    );
}

/// What the figures of a part make of feedback that ideal op-amps would not rest with. With returns β+ and β− a gain A adds 1/A to β− − β+; a rejection
/// takes (β+ + β−)/(2·rejection) off. By hand: 100·(5 mV + o/2 − 100/201·o) = o, so o = 201/302 V.
#[test]
fn feedback_is_judged_with_the_figures_of_the_part() {
    use analysis::feedback::Verdict::{self, HeldByGain, Negative, Oscillates, Positive};
    let alone = "source s: in = 10 mV\nin -- R1 10k -- p -- R2 10k -- o\nground -- R3 10k -- m -- R4 10.1k -- o\nopamp A1: plus p, minus m, drives o";
    let nearly = &alone.replace("10.1k", "9.96k");
    let railed = &format!("supply +9 V and -9 V\n{alone}");
    // mid = −A·(in + o)/2 and o = −A·(2·mid + o)/3: det(P + 1/A) = 1/A² + 1/(3A) − 1/3
    let loop_of_two = "source s: in = 1 V\nin -- R1 10k -- sum -- R2 10k -- o\nopamp A1: plus ground, minus sum, drives mid\n\
                       mid -- R3 10k -- turn -- R4 20k -- o\nopamp A2: plus ground, minus turn, drives o";
    // each pulls itself up by half and the other down by half: the difference of the two runs away at any gain above 1
    let crossed = "a -- R1 10k -- x -- R2 10k -- ground\nb -- R3 10k -- o -- R4 10k -- ground\nopamp A1: plus x, minus o, drives a\n\
                   opamp A2: plus o, minus x, drives b";
    // a bridge after Wien oscillates where 1 + R4/R3 is above 3; a gain of 20 leaves 3.1/(1 + 3.1/20) of 3.1
    let bridge = "supply +9 V and -9 V\no -- R1 10k -- x -- C1 100 nF -- p\np -- R2 10k -- ground\np -- C2 100 nF -- ground\n\
                  ground -- R3 10k -- m -- R4 21k -- o\nopamp A1: plus p, minus m, drives o";
    type Case<'t> = (&'t str, &'t str, Verdict, Verdict, Option<(i32, u32)>);
    let cases: [Case; 11] = [
        (alone, "gain 100", HeldByGain, Positive, Some((201, 302))),
        (railed, "gain 100", HeldByGain, Positive, Some((201, 302))),
        (alone, "gain 1000", Positive, Positive, None),
        (alone, "offset 1 mV", Positive, Positive, None),
        (
            nearly,
            "rejection 1000",
            Negative,
            Negative,
            Some((-499, 100)),
        ),
        (nearly, "rejection 400", Positive, Negative, None),
        (loop_of_two, "gain 2", HeldByGain, Positive, Some((4, 1))),
        (loop_of_two, "gain 3", Positive, Positive, None),
        (crossed, "gain 100", Verdict::None, Verdict::None, None),
        (bridge, "gain 20", HeldByGain, Oscillates, Some((0, 1))),
        (bridge, "gain 2000", Oscillates, Oscillates, None),
    ];
    for (lines, figures, verdict, ideally, volts) in cases {
        let book = read(figures, lines);
        let (circuit, parts) = (&book.circuits[0], &book.parts);
        let study = Study::new(circuit, parts);
        let it = &study.feedback[0];
        assert_eq!(
            (it.verdict, it.ideally),
            (verdict, ideally),
            "{figures}\n{lines}"
        );
        assert_eq!(it.rests, volts.is_some(), "{figures}\n{lines}");
        let Some((over, under)) = volts else { continue };
        assert_eq!(
            *study.outcome(circuit, parts),
            Outcome::Real,
            "{figures}\n{lines}"
        );
        if figures.starts_with("gain") {
            assert!(
                study.gap(circuit, parts).is_none(),
                "ideal ones would run away\n{lines}"
            );
            let at = circuit.nodes.iter().position(|it| it.name == "o");
            let solution = study.answer(circuit, parts).expect("it is known");
            let found = exact(&solution.nodes[at.expect("the node")]);
            assert_eq!(
                found,
                Ratio::from_parts(over.into(), under.into()),
                "{lines}"
            );
        }
    }
}

/// A row of stages whose output resistances tie them into one block.
fn chain(stages: usize, feedback: &str) -> Book {
    let mut lines = String::from("source s: n0 = 0.1 V\n");
    for stage in 1..=stages {
        let before = stage - 1;
        lines.push_str(&format!(
            "n{before} -- Ra{stage} 1k -- f{stage} -- Rb{stage} {feedback} -- n{stage}\n\
             opamp A{stage}: plus ground, minus f{stage}, drives n{stage}\n"
        ));
    }
    read("gain 200000\noutput_resistance 75 ohm", &lines)
}

/// Beyond the budget floating point answers, with bounds that hold.
#[test]
fn a_long_chain_is_answered_whatever_the_budget() {
    for (stages, feedback) in [(30, "1k"), (30, "20k"), (130, "20k")] {
        let book = chain(stages, feedback);
        let board = Board::of(&book.circuits[0], &book.parts, Causes::ALL);
        let truth = board.solve(Budget::default());
        let near = board.solve(Budget { bits: 0 });
        assert!(
            near.blocks.iter().any(|it| it.len() > 50),
            "one large block"
        );
        for (near, truth) in near.nodes.iter().zip(&truth.nodes) {
            let near = near.as_ref().expect("it is answered");
            let off = near - &Answer::Exact(exact(truth));
            assert!(off.to_f64().abs() <= near.bound() + off.bound(), "{near:?}");
            let allowed = 1e-7 * near.to_f64().abs();
            assert!(near.bound() <= allowed, "{near:?} of {stages} stages");
        }
        assert!(
            !near.nodes[2].as_ref().is_some_and(Answer::is_exact),
            "{feedback}"
        );
    }
}
