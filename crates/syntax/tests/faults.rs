//! Each trouble of reading is told once, at its word, with what mends it.
//!
//! `«word»` is where; behind `#!` stands the rule, `*` where the line is only unfinished, then what each way out makes of
//! the statement (`→` surely meant, `~` perhaps).

use ampersum_syntax::{Fault, FaultKind, Fix, Limit, Span, Tree, parse};
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
    match &fault.kind {
        FaultKind::Expected { what, example } => told += &format!(" {what}, such as {example}"),
        FaultKind::WrongPlace { belongs } => told += &format!(" stands in {belongs}"),
        FaultKind::NotAStatement(Some(meant)) => told += &format!(" but {meant}"),
        FaultKind::UnknownUnit(Some(meant)) => told += &format!(" but {meant}"),
        _ => {}
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
        in -- R3 10 «kOhm» -- sum  #! unknown_unit but k → in -- R3 10k -- sum
        in -- C1 100«n» -- sum  #! unknown_unit but nF → in -- C1 100 nF -- sum
        in -- R3 1«m» -- sum  #! unknown_unit ~ in -- R3 1M -- sum ~ in -- R3 1 mohm -- sum
        in -- R3 (2 * R1 «--» sum  #! wire_in_equation → in -- R3 (2 * R1) -- sum
        opamp A2«»  #! expected* `:`, such as opamp A1: plus in, minus fb, drives out
        opamp A2: plus in,«»  #! expected* a clause, such as minus fb ~ opamp A2: plus in
        opamp A2: plus in, «minus»  #! expected* a node, such as minus fb
        opamp A2: plus in, minus fb
        opamp A2: plus in «minus» fb, drives out  #! expected `,`, such as plus in, minus fb → opamp A2: plus in, minus fb, drives out
        opamp A2: «+» in, - fb  #! expected a clause, such as plus in → opamp A2: plus in, minus fb
        opmap A2: plus in, minus fb, drives out
        source probe: in«»  #! source_form*
        source probe: in = 5
        source probe: in = sine 1 V at«»  #! expected* a frequency, such as 1 kHz
        source light: 2 mA from sum«»  #! expected* `into`, such as into ground
        supply +9 V«,» -9 V  #! expected `and`, such as +9 V and -9 V → supply +9 V and -9 V
        expect out«»  #! expected* `=`, such as expect out = 3 V
        let gain = 2«(»R2 / R1)  #! extra_words → let gain = 2 * (R2 / R1)
        problem «"Find»  #! open_string ~ problem "Find"
        in -- R3 10k «--»  #! path_ends*
        sum -- R4 33k -- out
        opamp A2: plus in,«»  #! expected* a clause, such as minus fb ~ opamp A2: plus in
        expect out = 1 V
    "#]]);
}

#[test]
fn the_catalogue_of_reading() {
    check(expect![[r#"
        ask «"Why»  #! open_string ~ ask "Why"
        R1 «4,7»k  #! decimal_comma → R1 4.7k
        in -- R1 «10,000» -- out  #! decimal_comma ~ in -- R1 10000 -- out ~ in -- R1 10.000 -- out
        let x = max(«1,2»)  #! decimal_comma ~ let x = max(1.2) ~ let x = max(1, 2)
        in «–» R1 10k—sum  #! stray_character → in -- R1 10k -- sum
        ask «“»Why”  #! stray_character → ask "Why"
        let a = 2 «×» b  #! stray_character → let a = 2 * b
        let a = b «–» c  #! stray_character ~ let a = b - c
        let a = b«²»  #! stray_character → let a = b^2
        let a = F1.«»  #! expected* a name behind the point, such as F1.out ~ let a = F1
        let a = «.»5  #! stray_character → let a = 0.5
        supply «±»9 V  #! stray_character → supply +9 V and -9 V
        let a = b «&» c  #! stray_character
        «expct» out = 1 V  #! not_a_statement but expect ~ expect out = 1 V
        «lte» x = 3  #! not_a_statement but let ~ let x = 3
        «in»  #! not_a_statement*
        «10 V»  #! not_a_statement
        «out» = 3 V  #! bare_equation ~ expect out = 3 V
        «a» - b = 3 V  #! bare_equation ~ expect a - b = 3 V
        «(»a - b) / R1 = 0  #! bare_equation ~ expect (a - b) / R1 = 0
        «supply» = 3 V  #! bare_equation ~ supply 3 V ~ expect supply = 3 V
        «R1» 10k  #! element_alone
        «R1» (R)  #! element_alone
        R1 10 «kOhm»  #! unknown_unit but k → R1 10k
        in «-» R1 10k  #! single_dash → in -- R1 10k
        let x = a«--»b  #! wire_in_equation ~ let x = a - (-b)
        expect out = 3 V «--» R1  #! wire_in_equation
        in -- R1 10k«»  #! path_ends*
        in -- «R1» -- sum  #! element_value ~ in -- R1 10k -- sum
        in -- «C1» -- sum  #! element_value ~ in -- C1 100 nF -- sum
        in -- R1 10k -- «R2» -- out  #! element_value ~ in -- R1 10k -- R2 10k -- out
        in -- R1 10k -- «--» out  #! expected a node or an element, such as R1 10k ~ in -- R1 10k -- out
        in -- «10k» -- out  #! expected a name, such as R1 10k ~ in -- R2 10k -- out
        in -- R1 «Rf» -- out  #! expected a value, such as 10k ~ in -- R1 (Rf) -- out
        in -- R1 2 «*» R -- out  #! expected brackets around the value, such as (2 * R1) ~ in -- R1 (2 * R) -- out
        in -- R1 «=» 10k -- out  #! expected a value, such as 10k ~ in -- R1 10k -- out
        in -- R1 10k «sum»  #! expected `--`, such as R1 10k -- out ~ in -- R1 10k -- sum
        in -- R1 10k «-» sum  #! single_dash → in -- R1 10k -- sum
        in -- R1 «10 000» -- out  #! two_numbers ~ in -- R1 10000 -- out
        in -- R1 «10 000 ohm» -- out  #! two_numbers ~ in -- R1 10000 ohm -- out
        in -- R1 470 5 % 0.25 W -- out
        in -- R1 «-»10k -- out  #! expected a value without a sign, such as 10k ~ in -- R1 10k -- out
        in «R1» 10k out  #! expected `--`, such as in -- R1 10k -- out ~ in -- R1 10k -- out
        source s: in =«»  #! expected* a value, such as 1.2 V
        source s:«»  #! expected* what it holds, such as in = 1.2 V
        source s«»  #! expected* `:`, such as source probe: in = 1.2 V
        source«»  #! expected* a name, such as source probe: in = 1.2 V
        source s «in» = 5 V  #! expected `:`, such as source probe: in = 1.2 V ~ source s: in = 5 V
        source s: in «5 V»  #! expected `=`, such as in = 1.2 V ~ source s: in = 5 V
        source s: «ground» - a = 5 V  #! source_form → source s: a = -5 V
        source s: a - «ground» = sine 1 V at 1 kHz  #! source_form → source s: a = sine 1 V at 1 kHz
        source s: «ground» = 5 V  #! source_form
        source s: «2» * a = 5 V  #! source_form
        source s: in = 5 «volts»  #! unknown_unit but V → source s: in = 5 V
        source s: in = 5 «khz»  #! unknown_unit but kHz → source s: in = 5 kHz
        source s: in = sine 1 V at 1 kHz phase«»  #! expected* an angle, such as 90 deg
        source s: in = sine 1 V at 1 kHz phase 1 deg «phase» 2 deg  #! extra_words
        source s: 2 mA«»  #! expected* `from`, such as from sum into ground
        let x«»  #! expected* `=`, such as let R = 10k
        let x =«»  #! expected* a value, such as 10k
        let x «5»  #! expected `=`, such as let R = 10k ~ let x = 5
        let x = 2 *«»  #! expected* a value, such as 10k
        let x = (2 * R1«»  #! expected* `)`, such as (a + b)
        let x = 2 * R1«)»  #! extra_words ~ let x = 2 * R1
        let x = 2 «x»  #! unknown_unit ~ let x = 2 * x
        let x = «10 000»  #! two_numbers ~ let x = 10000
        let x = 3«V3»  #! unknown_unit but V → let x = 3.3 V
        let x = a «b»  #! extra_words
        let x = abs «(»a)  #! extra_words → let x = abs(a)
        let x = (a) «(»b)  #! extra_words ~ let x = (a) * (b)
        let x = a^«b»  #! expected a whole number, such as x^2
        let x = 2^«1.5»  #! expected a whole number, such as x^2
        let x = -«»  #! expected* a value, such as 10k
        opamp«»  #! expected* a name, such as opamp A1: plus in, minus fb, drives out
        opamp A1 «plus» in, minus fb, drives out  #! expected `:`, such as opamp A1: plus in, minus fb, drives out ~ opamp A1: plus in, minus fb, drives out
        opamp A1: plus «=» in, minus fb, drives out  #! expected a node, such as plus in → opamp A1: plus in, minus fb, drives out
        opamp A1: plus in, «,» minus fb  #! expected a clause, such as drives out
        opamp A1: plus in, minus fb, drives out, supply 9 V«,» -9 V  #! expected `and`, such as +9 V and -9 V → opamp A1: plus in, minus fb, drives out, supply 9 V and -9 V
        opamp A1: plus in, minus fb, drives out, «supply»  #! expected* the rails, such as supply +9 V and -9 V
        opamp A1: plus in, «minus», drives out  #! expected a node, such as minus fb
        switch W1: from a, to b, close
        tray T1: R 2 «*» k, in a  #! expected brackets around the value, such as (2 * R1) ~ tray T1: R (2 * k), in a
        tray T1: R «-»2 mV  #! expected a value, such as (-2 mV) ~ tray T1: R (-2 mV)
        supply«»  #! expected* the rails, such as +9 V and -9 V
        supply 5 V «x»  #! extra_words
        supply 9 V «-»9 V  #! expected `and`, such as +9 V and -9 V → supply 9 V and -9 V
        opamps«»  #! expected* `are`, such as opamps are ideal
        opamps are«»  #! expected* a name, such as opamps are ideal
        opamps «low_noise»  #! expected `are`, such as opamps are ideal
        start a - b«»  #! expected* `=`, such as start a - b = 2 V
        expect«»  #! expected* a claim, such as out = 3 V
        expect A1 «liner»  #! expected `linear`, such as expect A1 linear ~ expect A1 linear
        expect A1 at high«»  #! expected* `rail`, such as at high rail
        expect out = 3 V «witin» 1 %  #! expected `within`, such as within 1 % ~ expect out = 3 V within 1 %
        expect out = 3 V at«»  #! expected* a time or a frequency, such as 2 ms
        expect out «==» 3 V  #! expected `=`, such as expect out = 3 V → expect out = 3 V
        expect out «<» 3 V  #! expected `=`, such as expect out = 3 V ~ require out < 3 V
        expect finding loose_end«»  #! expected* `at`, such as at 2 ms
        problem «Find» the output points 3  #! expected a text in quotes, such as "Find the output." ~ problem "Find the output" points 3
        find«»  #! expected* what is asked, such as out
        find a «b»  #! extra_words ~ find a, b
        vary R1«»  #! expected* `from` or `among`, such as from 1k to 10k in E24
        vary R1 from 1k to 10k«»  #! expected* `by` or `in`, such as in E24 ~ vary R1 from 1k to 10k in E24
        require out«»  #! expected* a comparison, such as abs(out) < 9 V
        record a«»  #! expected* `for`, such as for 5 ms
        response out / in from 1 Hz«»  #! expected* `to`, such as to 1 MHz
        response out / in «drivn» by s from 1 Hz to 2 Hz  #! expected `driven`, such as driven by probe ~ response out / in driven by s from 1 Hz to 2 Hz
        allow loose_end at R1«»  #! expected* `:`, such as allow loose_end at R1: "why"
        allow loose_end at R1: «because»  #! expected a text in quotes, such as "measured" ~ allow loose_end at R1: "because"
        «end»  #! missing_end ~ 
        «gain» 5  #! wrong_place stands in a part
        «ampersum» 1  #! wrong_place stands in the first line ~ 
    "#]]);
}

#[test]
fn heads_and_bodies() {
    check(expect![[r#"
        ampersum «9»  #! newer_version
        use «lab.amp»  #! expected a text in quotes, such as use "lab.amp" ~ use "lab.amp"
        use "lab.amp"
        part«»  #! expected* a name, such as part low_noise
          gain«»  #! expected* a value, such as 100 dB
          gain 5 «x»  #! unknown_unit ~ gain 5 * x
          «find» out  #! wrong_place stands in a circuit
          in «--» R1 10k -- out  #! wrong_place stands in a circuit
          headroom low 1 V «high» 2 V  #! extra_words ~ headroom low 1 V, high 2 V
        end
        «part» x  #! missing_end ~ part x⏎  gain 5⏎end
          gain 5
        block b «in», out  #! expected `:`, such as block inverter: in, out ~ block b: in, out
          «find» out  #! wrong_place stands in a circuit
          «supply» 5 V  #! wrong_place stands in a circuit
        end
        block c: in, out, R =«»  #! expected* a value, such as 10k
        end «here»  #! extra_words ~ end
        in «--» R1 10k -- out  #! wrong_place stands in a circuit, and none has begun yet ~ circuit first⏎in -- R1 10k -- out
        «work» "before"  #! missing_end ~ work "before"⏎  a = 3⏎end
          a = 3
        circuit«»  #! expected* a name, such as circuit moisture_scaler
        find out points«»  #! expected* a number, such as points 2
        «use» "lab.amp"  #! wrong_place stands in the lines before the first circuit
        «part» late  #! wrong_place stands in the lines before the first circuit
          gain 5
        end
        «work» "sheet"  #! missing_end ~ work "sheet"⏎  a + b⏎end
          a + b«»  #! expected* `=`, such as (u - n) / R1 = 0
          expect out«»  #! expected* `=`, such as expect out = 3 V
          in -- R1 10k -- out
          «let» = 4  #! bare_equation ~ expect let = 4
          let x«»  #! expected* `=`, such as let R = 10k
        work "not closed" for«»  #! expected* a name, such as for moisture_scaler
        expect out = 1 V
        circuit next "title" «extra»  #! expected a text in quotes, such as "Scale the moisture probe" ~ circuit next "title" "extra"
        work «sheet»  #! expected a text in quotes, such as "my solution" ~ work "sheet"
    "#]]);
}

#[test]
fn heads_that_are_misspelt_open_their_bodies() {
    check(expect![[r#"
        «prat» low_noise  #! not_a_statement but part ~ part low_noise
          gain 5
        end
        «sorce» probe: in = 1 V  #! not_a_statement but source ~ source probe: in = 1 V
        «Block» stage: in, out  #! not_a_statement but block ~ block stage: in, out
          in -- R1 10k -- out
        end
        «cirucit» next "title"  #! not_a_statement but circuit ~ circuit next "title"
        «Supply» 5 V  #! not_a_statement but supply ~ supply 5 V
        «lift» S1  #! not_a_statement
        Opamp A1: plus «=» in  #! expected a node, such as plus in → Opamp A1: plus in
        «offset» 5 mV  #! wrong_place stands in a part
        opamp«:» plus in  #! expected a name, such as opamp A1: plus in, minus fb, drives out
    "#]]);
}

#[test]
fn a_device_without_its_colon_may_be_of_a_used_block() {
    check(expect![[r#"
        use "lab.amp"
        lift S1«»  #! expected* `:`, such as inverter S1: in a, out b
        lift S1 «in» a, out b  #! expected `:`, such as inverter S1: in a, out b ~ lift S1: in a, out b
    "#]]);
}

#[test]
fn every_limit_is_told_where_it_is_passed() {
    let nested = |depth: usize| format!("let x = {}a{}", "(".repeat(depth), ")".repeat(depth));
    let cases = [
        (nested(64), None),
        (nested(65), Some(("(", Limit::Brackets))),
        (format!("let x = {}a", "- ".repeat(1_000)), None),
        (
            format!("let x = {}a", "- ".repeat(1_001)),
            Some(("-", Limit::Signs)),
        ),
        (
            format!("let x = a{}", " + a".repeat(1_001)),
            Some(("+", Limit::Signs)),
        ),
        (format!("record a{} for 1 s", ", -a".repeat(1_500)), None),
        ("let x = a^32".into(), None),
        ("let x = a^-33".into(), Some(("33", Limit::Power))),
        ("let x = 1e30".into(), None),
        ("let x = 1e31 V".into(), Some(("1e31 V", Limit::Exponent))),
        (format!("let {} = 1", "é".repeat(64)), None),
        (
            format!("let {} = 1", "é".repeat(65)),
            Some(("é", Limit::Name)),
        ),
        (
            format!("let x = a.{}", "é".repeat(65)),
            Some(("a.é", Limit::Name)),
        ),
        (format!("let x = {}", "1".repeat(40)), None),
        (
            format!("let x = {}", "1".repeat(41)),
            Some(("1", Limit::Digits)),
        ),
        (format!("ask \"{}\" points 2", "é".repeat(9_985)), None),
        (
            format!("ask \"{}\" points 2", "é".repeat(9_986)),
            Some(("2", Limit::Line)),
        ),
        (format!("ask \"{0}\"\n\"{0}\"", "é".repeat(9_900)), None),
    ];
    for (text, expected) in cases {
        let tree = parse(&text);
        let found: Vec<_> = tree
            .faults
            .iter()
            .map(|it| (it.span.of(&text), it.kind.clone()))
            .collect();
        let shown: String = text.chars().take(20).collect();
        match expected {
            None => assert_eq!(found, [], "{shown}"),
            Some((word, limit)) => {
                assert_eq!(found.len(), 1, "{shown}");
                assert!(found[0].0.starts_with(word), "{shown}: {}", found[0].0);
                assert_eq!(found[0].1, FaultKind::TooBig(limit), "{shown}");
            }
        }
    }
    let tree = parse(&"#".repeat((16 << 20) + 1));
    assert_eq!(
        tree.faults,
        [Fault::new(Span::at(0), FaultKind::TooBig(Limit::File))]
    );
}
