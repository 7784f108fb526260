//! Each trouble of reading is told once, at its word, with what mends it.
//!
//! `«word»` is where; behind `#!` stands the rule, `*` where the line is only unfinished, then what each way out makes of
//! the statement (`→` surely meant, `~` perhaps).

use ampersum_syntax::{Fault, Fix, Span, Tree, parse};
use expect_test::{Expect, expect};
use fixture::{mark, unmark};

#[track_caller]
fn check(marked: Expect) {
    let text = unmark(marked.data()).text;
    let tree = parse(&text);
    let found = tree
        .faults
        .iter()
        .map(|fault| (fault.span.range(), told(&text, &tree, fault)))
        .collect();
    marked.assert_eq(&mark(&text, found));
}

fn told(text: &str, tree: &Tree, fault: &Fault) -> String {
    let mut told = fault.kind.id().to_string();
    if fault.unfinished {
        told.push('*');
    }
    let statement = tree
        .statement_at(fault.span.start)
        .map_or(Span::at(0), |id| tree.statement(id).span);
    for fix in &fault.fixes {
        told += &format!(
            " {} {}",
            if fix.safe { '→' } else { '~' },
            mended(text, statement, fix)
        );
    }
    told
}

/// The statement after a fix, in one line.
fn mended(text: &str, statement: Span, fix: &Fix) -> String {
    let mut edits = fix.edits.clone();
    edits.sort_by_key(|edit| std::cmp::Reverse(edit.span));
    let end = edits
        .first()
        .map_or(0, |edit| edit.span.end)
        .max(statement.end);
    let mut mended = text[..end as usize].to_string();
    for edit in edits {
        mended.replace_range(edit.span.range(), &edit.text);
    }
    mended[statement.start as usize..].replace('\n', "⏎")
}

#[test]
fn half_typed_lines_wait_or_tell_what_is_missing() {
    check(expect![[r#"
        in «--»  #! path_ends*
        in -- «R3»  #! element_value* ~ in -- R3 10k
        in -- R3 10«»  #! path_ends*
        in -- R3 10k«»  #! path_ends*
        in -- R3 10k «--»  #! path_ends*
        in -- R3 10k -- su
        in -- R3 10k -- sum -- «R4»  #! element_value* ~ in -- R3 10k -- sum -- R4 10k
        in -- «R3» -- sum  #! element_value ~ in -- R3 10k -- sum
        «R3» 10k -- sum  #! path_ends ~ node -- R3 10k -- sum
        in «-» R3 10k - sum  #! single_dash → in -- R3 10k -- sum
        in «—» R3 10k — sum  #! stray_character → in -- R3 10k -- sum
        in -- R3 «4,7»k -- sum  #! decimal_comma → in -- R3 4.7k -- sum
        in -- R3 10 «kOhm» -- sum  #! unknown_unit → in -- R3 10k -- sum
        in -- C1 100«n» -- sum  #! unknown_unit → in -- C1 100 nF -- sum
        in -- R3 1«m» -- sum  #! unknown_unit ~ in -- R3 1M -- sum ~ in -- R3 1 mohm -- sum
        in -- R3 (2 * R1 «--» sum  #! wire_in_equation → in -- R3 (2 * R1) -- sum
        opamp A2«»  #! expected*
        opamp A2: plus in,«»  #! expected*
        opamp A2: plus in, «minus»  #! expected*
        opamp A2: plus in, minus fb
        opamp A2: plus in «minus» fb, drives out  #! expected → opamp A2: plus in, minus fb, drives out
        opamp A2: «+» in, - fb  #! expected → opamp A2: plus in, minus fb
        opmap A2: plus in, minus fb, drives out
        source probe: in«»  #! source_form*
        source probe: in = 5
        source probe: in = sine 1 V at«»  #! expected*
        source light: 2 mA from sum«»  #! expected*
        supply +9 V«,» -9 V  #! expected → supply +9 V and -9 V
        expect out«»  #! expected*
        let gain = 2«(»R2 / R1)  #! extra_words → let gain = 2 * (R2 / R1)
        problem «"Find»  #! open_string ~ problem "Find"
        in -- R3 10k «--»  #! path_ends*
        sum -- R4 33k -- out
        opamp A2: plus in,«»  #! expected*
        expect out = 1 V
    "#]]);
}
