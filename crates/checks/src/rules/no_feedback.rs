//! The output of an op-amp cannot move its own inputs, or only through capacitors that no `start` sets.

use analysis::faults::{Fault, FaultKind};
use circuit::OpampId;
use teaching::names;

use crate::{Check, Checked, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "no_feedback",
    severity: Severity::Error,
    doc: DOC,
    check: Check::Circuit(check),
};

const DOC: &str = "\
V+ = V− comes about because the output moves the inputs. Without a way from the output back to an input nothing makes them
equal. That is an error, but where the text says what then happens, by a `supply` whose rail the output goes to or by a part of
finite gain, the circuit has an answer all the same: then it is a warning. If only capacitors lead back, as in an integrator,
there is no feedback at rest, and the output drifts to a rail unless `start` says from where it begins: a warning too.
# Wrong
    source probe: in = 1 V
    in -- R1 10k -- sum -- R2 10k -- ground
    opamp A1: plus ground, minus sum, drives out
    out -- RL 10k -- ground
# Right
    source probe: in = 1 V
    in -- R1 10k -- sum -- R2 10k -- out
    opamp A1: plus ground, minus sum, drives out
    out -- RL 10k -- ground
";

fn check(checked: &Checked, findings: &mut Vec<Finding>) {
    for fault in checked.faults(|it| matches!(it, FaultKind::NoFeedback | FaultKind::NoneAtDc)) {
        for opamp in fault.opamps() {
            if !is_shorted_beside(checked, opamp) {
                findings.push(open(checked, fault, opamp));
            }
        }
    }
}

/// An element with both ends at a pin of the op-amp may have been meant as the way back: that is told already.
fn is_shorted_beside(checked: &Checked, id: OpampId) -> bool {
    let opamp = &checked.circuit.opamps[id.index()];
    let pins = [opamp.plus, opamp.minus, opamp.drives];
    checked.circuit.elements.iter().any(|it| {
        let [a, b] = it.ends;
        a == b && a != circuit::GROUND && pins.contains(&a)
    })
}

fn open(checked: &Checked, fault: &Fault, id: OpampId) -> Finding {
    let circuit = checked.circuit;
    let v = checked.settings.writing.voltage.text();
    let opamp = &circuit.opamps[id.index()];
    let (name, out) = (&opamp.name, names::node(circuit, opamp.drives));
    let [plus, minus] = [opamp.plus, opamp.minus].map(|it| names::node(circuit, it));
    let (severity, message, help) = match fault.kind {
        FaultKind::NoneAtDc => (
            Severity::Warning,
            format!("only capacitors lead from {out} back to the inputs of `{name}`"),
            format!(
                "At rest they carry no current, so nothing holds {v}+ equal to {v}− there, and the output drifts to a rail. Say from \
                 where it begins, such as `start {} - {} = 0 V`, or lay a large resistor beside the capacitor.",
                circuit.node_name(if opamp.minus == circuit::GROUND {
                    opamp.plus
                } else {
                    opamp.minus
                }),
                circuit.node_name(opamp.drives)
            ),
        ),
        _ => (
            checked.without_equal_inputs(),
            format!("nothing leads from {out} back to the inputs of `{name}`"),
            {
                let by_gain = checked.by_gain(id);
                let goes = match by_gain.is_empty() {
                    true => ", and the output goes to a rail",
                    false => "",
                };
                format!(
                    "So nothing makes {v}+ ({plus}) equal to {v}− ({minus}){goes}. {by_gain}Lead a share of it back to minus \
                     through a resistor. If `{name}` is to compare two voltages, claim it (`expect {name} at high rail`) or write `comparator`."
                )
            },
        ),
    };
    let [_, _, at] = opamp.pin_places;
    let alone = circuit.nodes[opamp.drives.index()].places.len() == 1;
    let meant = (alone && fault.kind == FaultKind::NoFeedback)
        .then(|| checked.meant(opamp.drives))
        .flatten();
    let help = match meant {
        Some(meant) => format!(
            "Nothing else is wired to {out}: did you mean {}? {help}",
            names::node(circuit, meant)
        ),
        None => help,
    };
    let mut finding = checked
        .finding(&RULE, opamp.name_place, message, help)
        .about([name.clone()])
        .also(at, "the output ends here");
    finding.severity = severity;
    match meant {
        Some(meant) if at.file == finding.place.file => {
            let fix = checked.rename(at, opamp.drives, meant);
            finding.fixes.extend(fix);
            finding
        }
        _ => finding,
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn an_output_that_leads_nowhere() {
        report(
            r#"
source probe: in = 1 V
in -- R1 10k -- sum -- R2 10k -- ground
opamp A1: plus ground, minus sum, drives out
out -- RL 10k -- ground
"#,
            expect![[r#"
                error: no_feedback at `A1`
                  nothing leads from `out` back to the inputs of `A1`
                  So nothing makes V+ (ground) equal to V− (`sum`), and the output goes to a rail. Lead a share of it back to minus through a resistor. If `A1` is to compare two voltages, claim it (`expect A1 at high rail`) or write `comparator`.
                  `out`: the output ends here
            "#]],
        );
    }

    /// A finite gain, or a rail to go to, gives the circuit its answer: it is odd, not wrong.
    #[test]
    fn an_open_loop_with_an_answer_is_a_warning() {
        report(
            r#"
part preamp
  gain 120
end
circuit c
source left: a = 2.45 V
a -- R1 10k -- n -- R2 10k -- ground
opamp A1: plus a, minus n, drives out, part preamp
a -- R3 10k -- m -- R4 10k -- ground
opamp A2: plus a, minus m, drives sign, supply +9 V and -9 V
"#,
            expect![[r#"
                warning: no_feedback at `A1`
                  nothing leads from `out` back to the inputs of `A1`
                  So nothing makes V+ (`a`) equal to V− (`n`). With its gain of 120 `A1` makes `out` 120 times V+ − V−, an offset between its inputs too. Lead a share of it back to minus through a resistor. If `A1` is to compare two voltages, claim it (`expect A1 at high rail`) or write `comparator`.
                  `out`: the output ends here
                warning: no_feedback at `A2`
                  nothing leads from `sign` back to the inputs of `A2`
                  So nothing makes V+ (`a`) equal to V− (`m`), and the output goes to a rail. Lead a share of it back to minus through a resistor. If `A2` is to compare two voltages, claim it (`expect A2 at high rail`) or write `comparator`.
                  `sign`: the output ends here
            "#]],
        );
    }

    #[test]
    fn an_integrator_without_start_is_a_warning() {
        report(
            r#"
source drip: in = 1 V
in -- R1 10k -- sum -- C1 100 nF -- out
opamp A1: plus ground, minus sum, drives out
"#,
            expect![[r#"
                warning: no_feedback at `A1`
                  only capacitors lead from `out` back to the inputs of `A1`
                  At rest they carry no current, so nothing holds V+ equal to V− there, and the output drifts to a rail. Say from where it begins, such as `start sum - out = 0 V`, or lay a large resistor beside the capacitor.
                  `out`: the output ends here
            "#]],
        );
    }

    #[test]
    fn an_integrator_with_start_is_fine() {
        report(
            r#"
source drip: in = 1 V
in -- R1 10k -- sum -- C1 100 nF -- out
opamp A1: plus ground, minus sum, drives out
start sum - out = 0 V
"#,
            expect![[r#"
                hint: not_built at `start`
                  this version reads `start` and does not compute it yet
                  It says where a record begins; the steady state does not depend on it.
            "#]],
        );
    }

    #[test]
    fn a_misspelt_output() {
        report(
            r#"
source probe: in = 1 V
in -- R1 10k -- sum -- R2 10k -- out
opamp A1: plus ground, minus sum, drives outt
out -- R3 10k -- ground
"#,
            expect![[r#"
                error: no_feedback at `A1`
                  nothing leads from `outt` back to the inputs of `A1`
                  Nothing else is wired to `outt`: did you mean `out`? So nothing makes V+ (ground) equal to V− (`sum`), and the output goes to a rail. Lead a share of it back to minus through a resistor. If `A1` is to compare two voltages, claim it (`expect A1 at high rail`) or write `comparator`.
                  `outt`: the output ends here
                  fix: write `out`: opamp A1: plus ground, minus sum, drives out
            "#]],
        );
    }
}
