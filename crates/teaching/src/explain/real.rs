//! What real op-amps bring into the equations, in words.

use analysis::board::{Board, Law, Piece};
use analysis::states::Mode;
use circuit::{Carrier, ElementId, NodeId, OpampId};
use syntax::{Dimension, Number};

use super::Context;
use crate::{feedback, names, notation};

/// Why no current sum stands at an output.
pub(super) fn no_sum(out: &str) -> String {
    format!(
        " No current sum is written at {out}: the output delivers whatever current is needed there, so that sum would only \
         bring in one more unknown."
    )
}

impl Context<'_> {
    /// The op-amp of the text that an op-amp of the equations is.
    pub(super) fn of_text(&self, opamp: OpampId) -> OpampId {
        let piece = self.paper.piece(Carrier::Opamp(opamp));
        piece.map_or(opamp, |it| it.0)
    }

    /// A node in a sentence; of one that stands for something what that is.
    pub(super) fn node(&self, node: NodeId) -> String {
        match self.paper.board.is_some_and(|it| it.is_added(node)) {
            true => {
                let name = self.paper.name(node);
                match name.starts_with('−') {
                    true => format!("`({name})`"),
                    false => format!("`{name}`"),
                }
            }
            false => names::node(self.circuit, node),
        }
    }

    /// `` `R1` ``, "the output resistance of `A1`".
    pub(super) fn element_name(&self, id: ElementId) -> String {
        let opamp = |it: OpampId| &self.paper.text.opamps[it.index()].name;
        match self.paper.piece(Carrier::Element(id)) {
            Some((it, Piece::InputResistance)) => {
                format!("the input resistance of `{}`", opamp(it))
            }
            Some((it, _)) => format!("the output resistance of `{}`", opamp(it)),
            None => format!("`{}`", self.circuit.elements[id.index()].name),
        }
    }

    pub(super) fn title_output(&self, opamp: OpampId) -> String {
        let it = &self.paper.text.opamps[opamp.index()];
        let out = names::node(self.paper.text, it.drives);
        format!("`{}`, in place of a current sum at {out}", it.name)
    }

    /// Why an output is a gain times the inputs.
    pub(super) fn why_output(&self, opamp: OpampId) -> String {
        let it = &self.paper.text.opamps[opamp.index()];
        let out = names::node(self.paper.text, it.drives);
        let gain = self.law(opamp).and_then(|it| it.gain.as_ref());
        let gain = gain.map_or(String::new(), |it| notation::number(it, Dimension::NONE));
        format!(
            "`{}` has a gain of {gain}, so {out} is {gain} times what it amplifies, {}.{}",
            it.name,
            self.amplified(opamp),
            no_sum(&out)
        )
    }

    /// Why a current sum stands at an output all the same.
    pub(super) fn not_held(&self, nodes: &[NodeId]) -> String {
        let here = nodes
            .iter()
            .flat_map(|it| &self.around.node(*it).outputs)
            .copied();
        let of = |it: &OpampId| &self.paper.text.opamps[it.index()];
        let v = self.writing.voltage.text();
        let words = here.map(|id| {
            let (name, out) = (&of(&id).name, names::node(self.paper.text, of(&id).drives));
            let limit = self.paper.board.and_then(|it| it.limit(id));
            if let Some((mode @ (Mode::Sourcing | Mode::Sinking), amperes)) = limit {
                let does = match mode {
                    Mode::Sourcing => "delivers all the current that it can",
                    _ => "takes in all the current that it can",
                };
                let size = notation::number(&amperes.abs(), Dimension::AMPERE);
                return format!(
                    " `{name}` {does}, {size}, and cannot bring {v}+ = {v}− about: since the current of its output is known, this sum stands in place of \
                     that."
                );
            }
            if let Some((mode, volts)) = limit {
                return format!(
                    " `{name}` has an output resistance, so it does not hold {out}: behind that resistance it stands at its {} limit, {}. {}",
                    side(mode),
                    notation::number(volts, Dimension::VOLT),
                    self.asks_for_more(id, mode)
                );
            }
            format!(
                " `{name}` has an output resistance, so it does not hold {out}: behind that resistance stands its gain times what it amplifies, \
                 {}.",
                self.amplified(id)
            )
        });
        words.collect()
    }

    /// Whether an op-amp's part gives figures.
    pub(super) fn has_figures(&self, opamp: OpampId) -> bool {
        self.law(opamp).is_some_and(|it| *it != Law::default())
    }

    /// Why an output of a real op-amp is at a rail.
    pub(super) fn why_limit_real(&self, opamp: OpampId, mode: Mode, value: &Number) -> String {
        let it = &self.paper.text.opamps[opamp.index()];
        let out = names::node(self.paper.text, it.drives);
        format!(
            "`{}` stands at its {} limit, {}. {} So what {out} is stands in place of its own equation.",
            it.name,
            side(mode),
            notation::number(value, Dimension::VOLT),
            self.asks_for_more(opamp, mode)
        )
    }

    /// That an op-amp would go further if it could.
    fn asks_for_more(&self, opamp: OpampId, mode: Mode) -> String {
        let gain = self.law(opamp).and_then(|it| it.gain.as_ref());
        let (beyond, sense) = match mode {
            Mode::High => ("above", "above"),
            _ => ("below", "below"),
        };
        match gain {
            Some(gain) => format!(
                "{} times what it amplifies, {}, is {beyond} that.",
                notation::number(gain, Dimension::NONE),
                self.amplified(opamp)
            ),
            None => format!(
                "What it amplifies, {}, stays {sense} zero, and the output cannot follow any further.",
                self.amplified(opamp)
            ),
        }
    }

    /// A limit of current in a sum.
    pub(super) fn limit_term(&self, opamp: OpampId, node: &str, counts: &str) -> String {
        let name = &self.paper.text.opamps[opamp.index()].name;
        let limit = self.paper.board.and_then(|it| it.limit(opamp));
        let Some((mode, amperes)) = limit else {
            return format!("the current of `{name}`, which is not known.");
        };
        let size = notation::number(&amperes.abs(), Dimension::AMPERE);
        let does = match mode {
            Mode::Sourcing => format!("delivers {size} into {node}"),
            _ => format!("takes {size} out of {node}"),
        };
        format!("`{name}` {does}, its limit of current; it counts {counts}.")
    }

    /// Whether offset or rejection stand beside plus in V+ = V−.
    pub(super) fn is_raised(&self, opamp: OpampId) -> bool {
        self.law(opamp)
            .is_some_and(|it| it.offset.is_some() || it.rejection.is_some())
    }

    /// What V+ = V− comes to then.
    pub(super) fn why_raised(&self, opamp: OpampId) -> String {
        format!(
            " With the figures of its part what it brings to zero is {}.",
            self.amplified(opamp)
        )
    }

    /// "V+ − V−", "the sum of V+ − V− and its offset of 2 mV in series with plus".
    fn amplified(&self, opamp: OpampId) -> String {
        let v = self.writing.voltage.text();
        let mut summands = vec![format!("{v}+ − {v}−")];
        let law = self.law(opamp);
        if let Some(rejection) = law.and_then(|it| it.rejection.as_ref()) {
            let rejection = notation::number(rejection, Dimension::NONE);
            summands.push(format!(
                "({v}+ + {v}−)/(2·{rejection}) (what its rejection lets through of the voltage that both inputs share)"
            ));
        }
        if let Some(offset) = law.and_then(|it| it.offset.as_ref()) {
            let offset = notation::number(offset, Dimension::VOLT);
            summands.push(format!("its offset of {offset} in series with plus"));
        }
        match summands.len() {
            1 => summands.remove(0),
            _ => format!("the sum of {}", names::list(summands)),
        }
    }

    pub(super) fn bias_term(
        &self,
        opamp: OpampId,
        piece: Piece,
        drive: &str,
        node: &str,
        counts: &str,
    ) -> String {
        let name = &self.paper.text.opamps[opamp.index()].name;
        let pin = if piece == Piece::BiasPlus {
            "plus"
        } else {
            "minus"
        };
        format!(
            "the bias current of `{name}` takes {drive} out of {node} into its {pin} input, whatever the voltages are; it counts {counts}."
        )
    }

    /// What the parts give, one sentence for all op-amps that are alike.
    pub(super) fn laws(&self, board: &Board) -> Vec<String> {
        let mut alike: Vec<(&Law, Vec<OpampId>)> = Vec::new();
        for (index, law) in board.laws.iter().enumerate() {
            let id = OpampId(index as u32);
            match alike.iter_mut().find(|it| it.0 == law) {
                Some((_, all)) => all.push(id),
                None => alike.push((law, vec![id])),
            }
        }
        let v = self.writing.voltage.text();
        let say = |(law, all): (&Law, Vec<OpampId>)| {
            let who = feedback::opamps(self.paper.text, &all);
            let (is, has) = if all.len() == 1 {
                ("is", "has")
            } else {
                ("are", "have")
            };
            match figures(law) {
                given if given.is_empty() => format!(
                    "{who} {is} ideal: no current flows into the inputs, and with negative feedback {v}+ = {v}−."
                ),
                given => format!("{who} {has} {}.", names::list(given)),
            }
        };
        alike.into_iter().map(say).collect()
    }

    fn law(&self, opamp: OpampId) -> Option<&Law> {
        self.paper.board?.laws.get(opamp.index())
    }
}

fn side(mode: Mode) -> &'static str {
    match mode {
        Mode::High => "high",
        _ => "low",
    }
}

/// What a law gives: "a gain of 200000", "an offset of 2 mV".
fn figures(law: &Law) -> Vec<String> {
    let mut figures = Vec::new();
    let mut add = |what: &str, figure: &Option<Number>, dimension| {
        if let Some(figure) = figure {
            figures.push(format!("{what} of {}", notation::number(figure, dimension)));
        }
    };
    add("a gain", &law.gain, Dimension::NONE);
    add("a rejection", &law.rejection, Dimension::NONE);
    add("an offset", &law.offset, Dimension::VOLT);
    add("an input resistance", &law.input_resistance, Dimension::OHM);
    add(
        "an output resistance",
        &law.output_resistance,
        Dimension::OHM,
    );
    if let Some(bias) = &law.bias {
        let [plus, minus] = bias
            .each_ref()
            .map(|it| notation::number(it, Dimension::AMPERE));
        figures.push(match plus == minus {
            true => format!("bias currents of {plus} into each input"),
            false => format!("bias currents of {plus} into plus and {minus} into minus"),
        });
    }
    figures
}

#[cfg(test)]
mod tests {
    use analysis::Study;
    use expect_test::{Expect, expect};

    use super::super::{explain_real, plain};
    use crate::{Letter, Sums, Writing};

    /// A stage with a part of these figures, its equations explained.
    fn explained(stage: &str, figures: &str, writing: Writing) -> crate::explain::Explanation {
        let text =
            format!("part field_grade\n{figures}\nend\ncircuit c\nopamps are field_grade\n{stage}");
        let book = circuit::build("test.amp", text.as_str().into(), &mut |_| None);
        assert_eq!(book.faults, []);
        let circuit = &book.circuits[0];
        let study = Study::new(circuit, &book.parts);
        let board = study.standing_board(circuit, &book.parts);
        explain_real(circuit, board, &study.feedback, writing)
    }

    #[track_caller]
    fn written(stage: &str, figures: &[&str], expected: Expect) {
        let mut text = String::new();
        for figures in figures {
            let explanation = explained(stage, figures, Writing::default());
            assert!(
                explanation
                    .heading
                    .starts_with(&format!("{} unknown", explanation.equations.len()))
            );
            text.push_str(&format!("{}:\n", figures.replace('\n', ", ")));
            for it in &explanation.equations {
                text.push_str(&format!("  {}\n", it.written.text));
                for term in &it.written.terms {
                    assert_eq!(it.written.text[term.range.clone()], term.text);
                }
            }
        }
        expected.assert_eq(&text);
    }

    const INVERTING: &str = "\
source probe: in = 1.2 V
in -- R1 10k -- sum -- R2 33k -- out
opamp A1: plus ground, minus sum, drives out
";

    const FOLLOWER: &str = "\
source probe: in = 1.2 V
in -- R1 10k -- x
opamp A1: plus x, minus out, drives out
";

    #[test]
    fn an_inverting_stage_as_on_the_board() {
        written(
            INVERTING,
            &[
                "gain 20000",
                "gain 20000\noutput_resistance 75 ohm",
                "gain 20000\noffset -2 mV\noutput_resistance 75 ohm",
                "offset 2 mV",
                "offset -2 mV\nrejection 80 dB",
                "bias_current 80 nA\nbias_offset 20 nA",
                "bias_current -80 nA\ninput_resistance 1 Mohm\ngain 100 dB",
                "output_resistance 75 ohm",
            ],
            expect![[r#"
                gain 20000:
                  in = 1.2 V
                  out = −20000·sum
                  (sum − in)/R1 + (sum − out)/R2 = 0
                gain 20000, output_resistance 75 ohm:
                  in = 1.2 V
                  (sum − in)/R1 + (sum − out)/R2 = 0
                  (out − sum)/R2 + (out + 20000·sum)/A1.Rout = 0
                gain 20000, offset -2 mV, output_resistance 75 ohm:
                  in = 1.2 V
                  (sum − in)/R1 + (sum − out)/R2 = 0
                  (out − sum)/R2 + (out − 20000·(−sum − 2 mV))/A1.Rout = 0
                offset 2 mV:
                  in = 1.2 V
                  sum = 2 mV
                  (sum − in)/R1 + (sum − out)/R2 = 0
                offset -2 mV, rejection 80 dB:
                  in = 1.2 V
                  sum = sum/(2·10000) − 2 mV
                  (sum − in)/R1 + (sum − out)/R2 = 0
                bias_current 80 nA, bias_offset 20 nA:
                  in = 1.2 V
                  sum = 0
                  (sum − in)/R1 + (sum − out)/R2 + 70 nA = 0
                bias_current -80 nA, input_resistance 1 Mohm, gain 100 dB:
                  in = 1.2 V
                  out = −100000·sum
                  (sum − in)/R1 + (sum − out)/R2 + sum/A1.Rin − 80 nA = 0
                output_resistance 75 ohm:
                  in = 1.2 V
                  sum = 0
                  (sum − in)/R1 + (sum − out)/R2 = 0
            "#]],
        );
    }

    #[test]
    fn a_follower_as_on_the_board() {
        written(
            FOLLOWER,
            &[
                "gain 20000",
                "gain 20000\nrejection 80 dB\noffset 2 mV",
                "gain 20000\noutput_resistance 75 ohm\ninput_resistance 1 Mohm\nbias_current 80 nA",
                "offset 2 mV\nrejection 80 dB",
            ],
            expect![[r#"
                gain 20000:
                  in = 1.2 V
                  out = 20000·(x − out)
                  (x − in)/R1 = 0
                gain 20000, rejection 80 dB, offset 2 mV:
                  in = 1.2 V
                  out = 20000·(x − out + (x + out)/(2·10000) + 2 mV)
                  (x − in)/R1 = 0
                gain 20000, output_resistance 75 ohm, input_resistance 1 Mohm, bias_current 80 nA:
                  in = 1.2 V
                  (x − in)/R1 + (x − out)/A1.Rin + 80 nA = 0
                  (out − x)/A1.Rin + (out − 20000·(x − out))/A1.Rout + 80 nA = 0
                offset 2 mV, rejection 80 dB:
                  in = 1.2 V
                  out = x + (x + out)/(2·10000) + 2 mV
                  (x − in)/R1 = 0
            "#]],
        );
    }

    /// What stands at each limit: without and with an output resistance, and a limit of current.
    #[test]
    fn limits_as_on_the_board() {
        let at_limits = |stage: &str, figures: &str| {
            let explanation = explained(stage, figures, Writing::default());
            let mut text = format!("{}:\n", figures.replace('\n', ", "));
            for it in &explanation.equations {
                text.push_str(&format!("  {}: {}\n", it.written.text, it.why));
                for term in &it.terms {
                    text.push_str(&format!("    {}: {}\n", term.text, term.sentence));
                }
            }
            text
        };
        let clipped = format!("supply +9 V and -9 V\n{}", INVERTING.replace("1.2", "3"));
        let loaded = format!(
            "supply +9 V and -9 V\n{}out -- RL 100 -- ground\n",
            FOLLOWER
        );
        let text = [
            (&clipped, "gain 20000\noffset 2 mV\nheadroom 1 V"),
            (&clipped, "gain 20000\noutput_resistance 75 ohm"),
            (&clipped, "offset 2 mV"),
            (&loaded, "gain 20000\ncurrent source 5 mA, sink 2 mA"),
        ]
        .map(|(stage, figures)| at_limits(stage, figures));
        expect![[r#"
            gain 20000, offset 2 mV, headroom 1 V:
              in = 3 V: The source `probe` holds `in` at 3 V, whatever current that takes. So `in` is known at once, and no current sum is needed there.
              out = −8 V: `A1` stands at its low limit, −8 V. 20000 times what it amplifies, the sum of V+ − V− and its offset of 2 mV in series with plus, is below that. So what `out` is stands in place of its own equation. No current sum is written at `out`: the output delivers whatever current is needed there.
              (sum − in)/R1 + (sum − out)/R2 = 0: No charge piles up at a node: the currents that leave `sum` add up to zero. The minus input of `A1` takes no current.
                (sum − in)/R1: what leaves `sum` through `R1` (10 kΩ) towards `in`. The voltage across `R1` is `sum` − `in`; divided by the resistance it is the current (Ohm's law).
                (sum − out)/R2: what leaves `sum` through `R2` (33 kΩ) towards `out`. The voltage across `R2` is `sum` − `out`; divided by the resistance it is the current (Ohm's law).
            gain 20000, output_resistance 75 ohm:
              in = 3 V: The source `probe` holds `in` at 3 V, whatever current that takes. So `in` is known at once, and no current sum is needed there.
              (sum − in)/R1 + (sum − out)/R2 = 0: No charge piles up at a node: the currents that leave `sum` add up to zero. The minus input of `A1` takes no current.
                (sum − in)/R1: what leaves `sum` through `R1` (10 kΩ) towards `in`. The voltage across `R1` is `sum` − `in`; divided by the resistance it is the current (Ohm's law).
                (sum − out)/R2: what leaves `sum` through `R2` (33 kΩ) towards `out`. The voltage across `R2` is `sum` − `out`; divided by the resistance it is the current (Ohm's law).
              (out − sum)/R2 + (out + 9 V)/A1.Rout = 0: No charge piles up at a node: the currents that leave `out` add up to zero. `A1` has an output resistance, so it does not hold `out`: behind that resistance it stands at its low limit, −9 V. 20000 times what it amplifies, V+ − V−, is below that.
                (out − sum)/R2: what leaves `out` through `R2` (33 kΩ) towards `sum`. The voltage across `R2` is `out` − `sum`; divided by the resistance it is the current (Ohm's law).
                (out + 9 V)/A1.Rout: what leaves `out` through the output resistance of `A1` (75 Ω) towards `(−9 V)`. The voltage across the output resistance of `A1` is `out` − `(−9 V)`; divided by the resistance it is the current (Ohm's law).
            offset 2 mV:
              in = 3 V: The source `probe` holds `in` at 3 V, whatever current that takes. So `in` is known at once, and no current sum is needed there.
              out = −9 V: `A1` stands at its low limit, −9 V. What it amplifies, the sum of V+ − V− and its offset of 2 mV in series with plus, stays below zero, and the output cannot follow any further. So what `out` is stands in place of its own equation. No current sum is written at `out`: the output delivers whatever current is needed there.
              (sum − in)/R1 + (sum − out)/R2 = 0: No charge piles up at a node: the currents that leave `sum` add up to zero. The minus input of `A1` takes no current.
                (sum − in)/R1: what leaves `sum` through `R1` (10 kΩ) towards `in`. The voltage across `R1` is `sum` − `in`; divided by the resistance it is the current (Ohm's law).
                (sum − out)/R2: what leaves `sum` through `R2` (33 kΩ) towards `out`. The voltage across `R2` is `sum` − `out`; divided by the resistance it is the current (Ohm's law).
            gain 20000, current source 5 mA, sink 2 mA:
              in = 1.2 V: The source `probe` holds `in` at 1.2 V, whatever current that takes. So `in` is known at once, and no current sum is needed there.
              (x − in)/R1 = 0: No charge piles up at a node: the currents that leave `x` add up to zero. The plus input of `A1` takes no current.
                (x − in)/R1: what leaves `x` through `R1` (10 kΩ) towards `in`. The voltage across `R1` is `x` − `in`; divided by the resistance it is the current (Ohm's law).
              out/RL − 5 mA = 0: No charge piles up at a node: the currents that leave `out` add up to zero. The minus input of `A1` takes no current. `A1` delivers all the current that it can, 5 mA, and cannot bring V+ = V− about: since the current of its output is known, this sum stands in place of that.
                out/RL: what leaves `out` through `RL` (100 Ω) towards ground. Ground is 0 V, so the voltage across `RL` is that of `out`; divided by the resistance it is the current (Ohm's law).
                − 5 mA: `A1` delivers 5 mA into `out`, its limit of current; it counts negative among the currents that leave.
        "#]].assert_eq(&text.concat());
    }

    #[test]
    fn real_opamps_are_explained() {
        let all = "gain 20000\nrejection 80 dB\noffset 2 mV\nbias_current 80 nA\ninput_resistance 1 Mohm\noutput_resistance 75 ohm";
        let entering = Writing {
            voltage: Letter::U,
            sums: Sums::Entering,
        };
        let mut text = plain(&explained(FOLLOWER, all, entering));
        text.push_str(&plain(&explained(
            INVERTING,
            "gain 20000",
            Writing::default(),
        )));
        text.push_str(&plain(&explained(
            INVERTING,
            "offset 2 mV\nrejection 80 dB",
            Writing::default(),
        )));
        expect![[r#"
            3 unknown node voltages, 3 equations
            Ground is 0 V. In a current sum a current counts as entering its node.
            A1 has a gain of 20000, a rejection of 10000, an offset of 2 mV, an input resistance of 1 MΩ, an output resistance of 75 Ω and bias currents of 80 nA into each input.

            1. in, held by probe
                   in = 1.2 V
               The source probe holds in at 1.2 V, whatever current that takes. So in is known at once, and no current sum is needed there.

            2. Current sum at x
                   (in − x)/R1 + (out − x)/A1.Rin − 80 nA = 0
               No charge piles up at a node: the currents that enter x add up to zero.
               - (in − x)/R1: what enters x through R1 (10 kΩ) from in. The voltage across R1 is in − x; divided by the resistance it is the current (Ohm's law).
               - (out − x)/A1.Rin: what enters x through the input resistance of A1 (1 MΩ) from out. The voltage across the input resistance of A1 is out − x; divided by the resistance it is the current (Ohm's law).
               - − 80 nA: the bias current of A1 takes 80 nA out of x into its plus input, whatever the voltages are; it counts negative among the currents that enter.

            3. Current sum at out
                   (x − out)/A1.Rin + (20000·(x − out + (x + out)/(2·10000) + 2 mV) − out)/A1.Rout − 80 nA = 0
               No charge piles up at a node: the currents that enter out add up to zero. A1 has an output resistance, so it does not hold out: behind that resistance stands its gain times what it amplifies, the sum of U+ − U−, (U+ + U−)/(2·10000) (what its rejection lets through of the voltage that both inputs share) and its offset of 2 mV in series with plus.
               - (x − out)/A1.Rin: what enters out through the input resistance of A1 (1 MΩ) from x. The voltage across the input resistance of A1 is x − out; divided by the resistance it is the current (Ohm's law).
               - (20000·(x − out + (x + out)/(2·10000) + 2 mV) − out)/A1.Rout: what enters out through the output resistance of A1 (75 Ω) from 20000·(x − out + (x + out)/(2·10000) + 2 mV). The voltage across the output resistance of A1 is 20000·(x − out + (x + out)/(2·10000) + 2 mV) − out; divided by the resistance it is the current (Ohm's law).
               - − 80 nA: the bias current of A1 takes 80 nA out of out into its minus input, whatever the voltages are; it counts negative among the currents that enter.
            3 unknown node voltages, 3 equations
            Ground is 0 V. In a current sum a current counts as leaving its node.
            A1 has a gain of 20000.

            1. in, held by probe
                   in = 1.2 V
               The source probe holds in at 1.2 V, whatever current that takes. So in is known at once, and no current sum is needed there.

            2. A1, in place of a current sum at out
                   out = −20000·sum
               A1 has a gain of 20000, so out is 20000 times what it amplifies, V+ − V−. No current sum is written at out: the output delivers whatever current is needed there, so that sum would only bring in one more unknown.

            3. Current sum at sum
                   (sum − in)/R1 + (sum − out)/R2 = 0
               No charge piles up at a node: the currents that leave sum add up to zero. The minus input of A1 takes no current.
               - (sum − in)/R1: what leaves sum through R1 (10 kΩ) towards in. The voltage across R1 is sum − in; divided by the resistance it is the current (Ohm's law).
               - (sum − out)/R2: what leaves sum through R2 (33 kΩ) towards out. The voltage across R2 is sum − out; divided by the resistance it is the current (Ohm's law).
            3 unknown node voltages, 3 equations
            Ground is 0 V. In a current sum a current counts as leaving its node.
            A1 has a rejection of 10000 and an offset of 2 mV.

            1. in, held by probe
                   in = 1.2 V
               The source probe holds in at 1.2 V, whatever current that takes. So in is known at once, and no current sum is needed there.

            2. A1, in place of a current sum at out
                   sum = sum/(2·10000) + 2 mV
               A1 has negative feedback. Of a small rise of out, 10/43 comes back to minus (sum) and nothing to plus (ground). If out rises a little, V+ − V− falls and pulls out back down. So out moves until V+ = V−. With the figures of its part what it brings to zero is the sum of V+ − V−, (V+ + V−)/(2·10000) (what its rejection lets through of the voltage that both inputs share) and its offset of 2 mV in series with plus. No current sum is written at out: the output delivers whatever current is needed there, so that sum would only bring in one more unknown.

            3. Current sum at sum
                   (sum − in)/R1 + (sum − out)/R2 = 0
               No charge piles up at a node: the currents that leave sum add up to zero. The minus input of A1 takes no current.
               - (sum − in)/R1: what leaves sum through R1 (10 kΩ) towards in. The voltage across R1 is sum − in; divided by the resistance it is the current (Ohm's law).
               - (sum − out)/R2: what leaves sum through R2 (33 kΩ) towards out. The voltage across R2 is sum − out; divided by the resistance it is the current (Ohm's law).
        "#]].assert_eq(&text);
    }
}
