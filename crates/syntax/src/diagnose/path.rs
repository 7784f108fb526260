//! Paths: what stands between the dashes.

use super::{Line, insert, replace};
use crate::lexer::Tok;
use crate::{Fault, FaultKind, Fix, Span};

/// The tokens between two pairs of dashes.
struct Station {
    first: usize,
    end: usize,
}

impl Station {
    fn is_node(&self) -> bool {
        self.end == self.first + 1
    }
}

impl Line<'_> {
    /// What is wrong with a line of nodes, elements and dashes.
    pub(super) fn path(&self) -> Option<Fault> {
        if let Some(fault) = self.dashes_in_brackets().or_else(|| self.odd_dashes()) {
            return Some(fault);
        }
        if let Some(fault) = self.value_behind_the_end() {
            return Some(fault);
        }
        let stations = self.stations();
        let last = stations.len() - 1;
        if let Some(fault) = self.one_word_too_many(&stations[0]) {
            return Some(fault);
        }
        for (index, station) in stations.iter().enumerate() {
            if station.first == station.end {
                return Some(self.nothing_between(station, index == 0, index == last));
            }
            if let Some(fault) = self.station(station) {
                return Some(fault);
            }
            if index == 0 && !station.is_node() {
                let fix = Fix::likely(
                    format!("write `node -- {}`", self.word(0)),
                    vec![insert(self.span(0).start, "node -- ")],
                );
                return Some(Fault::new(self.span(0), FaultKind::PathEnds).fix(fix));
            }
        }
        for pair in stations.windows(2) {
            let [left, right] = pair else { continue };
            if left.is_node() && right.is_node() {
                let right_is_last = right.end == self.tokens.len();
                let left_is_first = left.first == 0;
                let before_ground = self.word(right.first) == "ground";
                let left_it_is = !left_is_first
                    && !self.names_an_element(right)
                    && (self.names_an_element(left) || before_ground);
                let lacking = if left_it_is { left } else { right };
                return Some(self.element_value(lacking, right_is_last && !left_it_is));
            }
        }
        let ends_with_an_element = stations.last().is_some_and(|it| !it.is_node());
        ends_with_an_element
            .then(|| Fault::new(self.span(self.tokens.len()), FaultKind::PathEnds).unfinished(true))
    }

    /// `path in -- R1 10k -- sum`
    fn one_word_too_many(&self, first: &Station) -> Option<Fault> {
        let two = first.end == 2 && (0..2).all(|at| self.tok(at).is_some_and(Tok::is_ref));
        let word = self.word(0);
        let known = super::element(word).is_some()
            || matches!(word, "path" | "connect" | "wire" | "node" | "from" | "line");
        (two && known).then(|| self.extra(0).fix(self.without_the_first()))
    }

    fn stations(&self) -> Vec<Station> {
        let mut stations = Vec::new();
        let mut first = 0;
        for (index, (tok, _)) in self.tokens.iter().enumerate() {
            if *tok == Tok::Wire {
                stations.push(Station { first, end: index });
                first = index + 1;
            }
        }
        stations.push(Station {
            first,
            end: self.tokens.len(),
        });
        stations
    }

    /// `R3 (2 * R1 -- sum`
    fn dashes_in_brackets(&self) -> Option<Fault> {
        let depths = self.depths();
        let at = self
            .tokens
            .iter()
            .zip(&depths)
            .position(|((tok, _), depth)| *tok == Tok::Wire && *depth > 0)?;
        let fault = Fault::new(self.span(at), FaultKind::WireInEquation);
        let closes_later = self.tokens[at..].iter().any(|(tok, _)| *tok == Tok::Close);
        let open = self.tokens[..at]
            .iter()
            .rposition(|(tok, _)| matches!(tok, Tok::Open | Tok::Call))?;
        if closes_later || depths[at] > 1 || open + 1 == at {
            return Some(fault);
        }
        let inner = self.span(open).to(self.span(at - 1));
        let title = format!("write `{}) --`", inner.of(self.text));
        Some(fault.fix(Fix::safe(title, vec![insert(inner.end, ")")])))
    }

    fn nothing_between(&self, station: &Station, first: bool, last: bool) -> Fault {
        match (first, last) {
            (true, _) => Fault::new(self.span(0), FaultKind::PathEnds),
            (_, true) => {
                Fault::new(self.span(station.first - 1), FaultKind::PathEnds).unfinished(true)
            }
            _ => self.wanted(station.first, "a node or an element", "R1 10k"),
        }
    }

    /// What is wrong between two pairs of dashes.
    fn station(&self, station: &Station) -> Option<Fault> {
        let &Station { first, end } = station;
        if !self.tok(first)?.is_ref() {
            // `-- 0`, `-- 0V`, where a node stands
            let word = self.word(first);
            if (word == "0" || word.strip_prefix('0').is_some_and(|it| it.trim() == "V"))
                && end == first + 1
                && (first == 0 || end == self.tokens.len())
            {
                let fix = Fix::safe("write `ground`", vec![replace(self.span(first), "ground")]);
                return Some(self.wanted(first, "a node", "ground").fix(fix));
            }
            let fault = self.wanted(first, "a name", "R1 10k");
            // `in -- 10k -- sum`
            let value = self.tok(first)?.is_quantity() && end == first + 1;
            let inside = first > 0 && end < self.tokens.len();
            // `-- (out)`
            if self.tok(first) == Some(Tok::Open)
                && end == first + 3
                && self.tok(end - 1) == Some(Tok::Close)
            {
                let (name, all) = (
                    self.word(first + 1),
                    self.span(first).to(self.span(end - 1)),
                );
                let fix = Fix::likely(format!("write `{name}`"), vec![replace(all, name)]);
                return Some(fault.fix(fix));
            }
            return Some(match value && inside {
                true => fault.fix(self.call_it(first)),
                false => fault,
            });
        }
        let mut at = first + 1;
        if at == end {
            return None;
        }
        match self.tok(at)? {
            tok if tok.is_quantity() => at += 1,
            Tok::Open | Tok::Call => {
                if let Some(fault) = self.no_sign_between(at, end) {
                    return Some(fault);
                }
                at = self.behind_the_bracket(at, end);
                let unclosed = at == end && self.tok(end - 1) != Some(Tok::Close);
                if unclosed {
                    return Some(self.wanted(end, "`)`", "(2 * R1)"));
                }
            }
            Tok::Minus if self.tok(at + 1).is_some_and(Tok::is_ref) => {
                return Some(self.single_dash(at));
            }
            Tok::Minus if at + 1 == end && end == self.tokens.len() => {
                return Some(self.single_dash(at).unfinished(true));
            }
            Tok::Minus | Tok::Plus if self.tok(at + 1).is_some_and(Tok::is_quantity) => {
                let gap = Span {
                    start: self.span(at).start,
                    end: self.span(at + 1).start,
                };
                let fix = Fix::likely("leave out the sign", vec![replace(gap, "")]);
                return Some(self.wanted(at, "a value without a sign", "10k").fix(fix));
            }
            Tok::Equals | Tok::Colon => {
                let fault = self.wanted(at, "a value", "10k");
                let gap = self.with_gap(at);
                let touches = self
                    .tokens
                    .get(at + 1)
                    .is_some_and(|it| it.1.start == gap.end);
                return Some(fault.fix(Fix::likely(
                    format!("leave out `{}`", self.word(at)),
                    vec![replace(gap, if touches { " " } else { "" })],
                )));
            }
            // `R1, 10k`
            Tok::Comma if self.tok(at + 1).is_some_and(Tok::is_quantity) => {
                let edit = vec![replace(self.with_gap(at), "")];
                let fix = Fix::likely("leave out `,`", edit);
                return Some(self.wanted(at, "a value", "R1 10k").fix(fix));
            }
            Tok::Comma => {
                let edit = vec![replace(self.with_gap(at), " --")];
                let fix = Fix::likely("join with `--`", edit);
                return Some(self.wanted(at, "`--`", "R1 10k -- out").fix(fix));
            }
            tok if tok.is_ref()
                && self.tok(at + 1).is_some_and(Tok::is_quantity)
                && !self.word(at + 1).ends_with('%') =>
            {
                let edit = vec![insert(self.span(at).start, "-- ")];
                let fix = Fix::likely("join with `--`", edit);
                return Some(self.wanted(at, "`--`", "sum -- R2 33k -- out").fix(fix));
            }
            // `… ground sum -- R2 33k`: a second path
            tok if tok.is_ref()
                && first > 0
                && end == at + 1
                && end < self.tokens.len()
                && !self.names_an_element(station)
                && self.around.is_node(self.word(first)) =>
            {
                let gap = Span {
                    start: self.span(first).end,
                    end: self.span(at).start,
                };
                let fix = Fix::likely("begin a new line", vec![replace(gap, "\n")]);
                return Some(self.extra(at).fix(fix));
            }
            // `sum and sum -- R2 33k`
            Tok::And if end == at + 2 && self.tok(at + 1)?.is_ref() => {
                let gap = Span {
                    start: self.span(first).end,
                    end: self.span(at + 1).start,
                };
                let fix = Fix::likely("begin a new line", vec![replace(gap, "\n")]);
                return Some(self.extra(at).fix(fix));
            }
            tok if tok.is_ref() => {
                let mut fault = self.wanted(at, "a value", "10k");
                let word = self.word(at);
                if !self.around.is_a_thing(word)
                    && !self.around.is_node(word)
                    && let Some(text) = super::unit::letters_for_digits(word)
                {
                    let edit = vec![replace(self.span(at), text.clone())];
                    return Some(fault.fix(Fix::likely(format!("write `{text}`"), edit)));
                }
                if !self.around.is_element(word)
                    && let Some(text) = self.code_without_a_digit_first(at)
                {
                    let edit = vec![replace(self.span(at), text.clone())];
                    fault = fault.fix(Fix::likely(format!("write `{text}`"), edit));
                }
                let operand = |at: usize| {
                    let tok = self.tok(at);
                    tok.is_some_and(|it| it.is_ref() || it.is_quantity())
                };
                let side_by_side = (at + 1..end).any(|at| operand(at) && operand(at - 1));
                let sum = self.tokens[at..end].iter().all(|(tok, _)| {
                    let sign = matches!(
                        tok,
                        Tok::Star | Tok::Slash | Tok::Plus | Tok::Minus | Tok::Caret
                    );
                    sign || tok.is_ref() || tok.is_quantity()
                });
                return Some(if sum && !side_by_side {
                    fault.fix(self.in_brackets(at, end - 1))
                } else {
                    fault
                });
            }
            _ => return Some(self.wanted(at, "a value", "10k")),
        }
        while at < end {
            if let Some(fault) = self.told_by_sign(at) {
                return Some(fault);
            }
            match self.tok(at)? {
                tok if tok.is_quantity() && self.tok(at - 1) != Some(Tok::Whole) => at += 1,
                tok if tok.is_quantity()
                    && self.word(at).ends_with(|it: char| !it.is_ascii_digit()) =>
                {
                    at += 1
                }
                Tok::Minus if self.tok(at + 1).is_some_and(Tok::is_ref) => {
                    return Some(self.single_dash(at));
                }
                Tok::Minus if at + 1 == self.tokens.len() => {
                    return Some(self.single_dash(at).unfinished(true));
                }
                Tok::Star | Tok::Slash | Tok::Caret | Tok::Plus | Tok::Minus => {
                    return Some(
                        self.wanted(at, "brackets around the value", "(2 * R1)")
                            .fix(self.in_brackets(first + 1, end - 1)),
                    );
                }
                tok => {
                    let dashes = || {
                        let fault = self.wanted(at, "`--`", "R1 10k -- out");
                        if tok == Tok::Comma {
                            let edit = vec![replace(self.with_gap(at), " --")];
                            return fault.fix(Fix::likely("join with `--`", edit));
                        }
                        let fix =
                            Fix::likely("join with `--`", vec![insert(self.span(at).start, "-- ")]);
                        if tok.is_ref() { fault.fix(fix) } else { fault }
                    };
                    // A name behind a bare number is a node, where it is like no unit.
                    let unit = self.behind_a_number(at).filter(|it| {
                        let unknown =
                            it.kind == FaultKind::UnknownUnit(None) && it.fixes.is_empty();
                        let node =
                            matches!(self.tok(at + 1), None | Some(Tok::Wire)) && tok.is_ref();
                        !(unknown && node)
                    });
                    return Some(unit.unwrap_or_else(dashes));
                }
            }
        }
        None
    }

    /// `10k +/-1 %`, `100k 1/4 W`, `10^4`
    fn told_by_sign(&self, at: usize) -> Option<Fault> {
        let whole = |at: usize| self.tok(at) == Some(Tok::Whole);
        match self.tok(at)? {
            Tok::Plus
                if self.tok(at + 1) == Some(Tok::Slash) && self.tok(at + 2) == Some(Tok::Minus) =>
            {
                let signs = self.span(at).to(self.span(at + 2));
                let (what, example) = ("a tolerance", "R1 10k 1 %");
                let fault = Fault::new(signs, FaultKind::Expected { what, example });
                let fix = Fix::safe("leave out `+/-`", vec![replace(signs, "")]);
                Some(fault.fix(fix))
            }
            Tok::Caret if whole(at - 1) && self.word(at - 1) == "10" && whole(at + 1) => {
                let power = self.span(at - 1).to(self.span(at + 1));
                let text = format!("1e{}", self.word(at + 1));
                let fix = Fix::safe(format!("write `{text}`"), vec![replace(power, text)]);
                Some(self.wanted(at, "a number", "1e4").fix(fix))
            }
            Tok::Slash if whole(at - 1) && self.word(at - 1) == "1" => {
                let rating = self
                    .tok(at + 1)
                    .filter(|tok| tok.is_quantity())
                    .map(|_| self.word(at + 1))?;
                let digits = rating.trim_end_matches(|it: char| !it.is_ascii_digit());
                let share = match digits {
                    "2" => "0.5",
                    "4" => "0.25",
                    "5" => "0.2",
                    "8" => "0.125",
                    _ => return None,
                };
                let text = format!("{share}{}", &rating[digits.len()..]);
                let span = self.span(at - 1).to(self.span(at + 1));
                let fix = Fix::safe(format!("write `{text}`"), vec![replace(span, text)]);
                Some(
                    self.wanted(at, "a rating without a fraction", "0.25 W")
                        .fix(fix),
                )
            }
            _ => None,
        }
    }

    /// `(gain R1)`
    fn no_sign_between(&self, open: usize, end: usize) -> Option<Fault> {
        let last = self.behind_the_bracket(open, end);
        let groups = |at: usize| {
            let digits = self.word(at).bytes().take_while(u8::is_ascii_digit);
            self.tok(at - 1) == Some(Tok::Whole) && digits.count() == 3
        };
        let at = (open + 2..last).find(|at| {
            let before = self
                .tok(at - 1)
                .is_some_and(|tok| tok.is_ref() || tok.is_quantity());
            before
                && self.tok(*at).is_some_and(|tok| match tok {
                    Tok::Open => self.tok(at - 1) != Some(Tok::Whole),
                    tok if tok.is_quantity() => !groups(*at),
                    tok => tok.is_ref() && self.behind_a_number(*at).is_none(),
                })
        })?;
        // `(gain x 10k)`
        if matches!(self.word(at), "x" | "X" | "times")
            && self
                .tok(at + 1)
                .is_some_and(|tok| tok.is_ref() || tok.is_quantity() || matches!(tok, Tok::Open))
        {
            let fix = Fix::likely("write `*`", vec![replace(self.span(at), "*")]);
            return Some(
                self.wanted(at, "a sign such as `*`", "(gain * R1)")
                    .fix(fix),
            );
        }
        let fix = Fix::likely(
            "write `*` between them",
            vec![insert(self.span(at).start, "* ")],
        );
        Some(
            self.wanted(at, "a sign such as `*`", "(gain * R1)")
                .fix(fix),
        )
    }

    /// `in--R1--out 10k`
    fn value_behind_the_end(&self) -> Option<Fault> {
        let last = self.tokens.len().checked_sub(1)?;
        let behind = self.tok(last)?.is_quantity() && self.tok(last - 1)?.is_ref();
        if !behind
            || self.tok(last.checked_sub(2)?) != Some(Tok::Wire)
            || self.word(last - 1).starts_with(['R', 'C', 'L'])
        {
            return None;
        }
        let stations = self.stations();
        let inner = &stations[1..stations.len() - 1];
        let mut lacking = inner
            .iter()
            .filter(|it| it.is_node() && self.names_an_element(it));
        let (station, None) = (lacking.next()?, lacking.next()) else {
            return None;
        };
        let (name, value) = (self.span(station.first), self.word(last));
        let edits = vec![
            insert(name.end, format!(" {value}")),
            replace(self.with_gap(last), ""),
        ];
        let fix = Fix::likely(
            format!("write `{} {value}`", self.word(station.first)),
            edits,
        );
        Some(Fault::new(name, FaultKind::ElementValue).fix(fix))
    }

    /// The token behind the bracket that opens at `open`, or `end` where none closes it.
    fn behind_the_bracket(&self, open: usize, end: usize) -> usize {
        let mut depth = 0usize;
        for index in open..end {
            match self.tokens[index].0 {
                Tok::Open | Tok::Call => depth += 1,
                Tok::Close => depth -= 1,
                _ => {}
            }
            if depth == 0 {
                return index + 1;
            }
        }
        end
    }

    /// `in - R1 10k - out`
    pub(super) fn single_dash(&self, at: usize) -> Fault {
        let depths = self.depths();
        let joins = |index: &usize| {
            self.tok(*index) == Some(Tok::Minus)
                && depths[*index] == 0
                && (self.tok(index + 1).is_some_and(Tok::is_ref) || index + 1 == self.tokens.len())
        };
        let edits = (0..self.tokens.len())
            .filter(joins)
            .map(|index| replace(self.span(index), self.spaced(self.span(index), "--")))
            .collect();
        Fault::new(self.span(at), FaultKind::SingleDash).fix(Fix::safe("join with `--`", edits))
    }

    /// An element without a name gets the one that others read, or the next free one.
    fn call_it(&self, at: usize) -> Fix {
        let unit = crate::quantity::read(self.text, self.span(at)).map(|it| it.dimension);
        let letter = match unit {
            Ok(crate::Dimension::FARAD) => 'C',
            Ok(crate::Dimension::HENRY) => 'L',
            _ => 'R',
        };
        let read = self
            .around
            .missing(false)
            .filter(|it| it.starts_with(letter));
        let free = || {
            let names = (1..).map(|it| format!("{letter}{it}"));
            names.into_iter().find(|it| !self.around.is_a_thing(it))
        };
        let name = read.map(str::to_owned).or_else(free).unwrap_or_default();
        let edit = insert(self.span(at).start, format!("{name} "));
        Fix::likely(format!("call it `{name}`"), vec![edit])
    }

    fn element_value(&self, station: &Station, unfinished: bool) -> Fault {
        let (span, name) = (self.span(station.first), self.word(station.first));
        let value = match name.chars().next() {
            Some('C') => "100 nF",
            Some('L') => "10 mH",
            _ => "10k",
        };
        let fault = Fault::new(span, FaultKind::ElementValue).unfinished(unfinished);
        // Two nodes: whatever was to stand between them is not there.
        if self.tokens.len() == 3 && !self.names_an_element(station) {
            return fault;
        }
        // A node before another one: it can go if nothing else is there.
        let between = station.first > 0 && station.end < self.tokens.len();
        if between && self.word(station.end + 1) == "ground" && !self.names_an_element(station) {
            let gap = Span {
                start: span.start,
                end: self.span(station.end + 1).start,
            };
            let alone = self.around.mentions(name) <= 1;
            let title = format!("leave out `{name}`");
            let fix = Fix::likely(title, vec![replace(gap, "")]);
            return if alone { fault.fix(fix) } else { fault };
        }
        fault.fix(Fix::likely(
            format!("write `{name} {value}`"),
            vec![insert(span.end, format!(" {value}"))],
        ))
    }

    /// Whether a name without a value is more likely an element's than a node's.
    fn names_an_element(&self, station: &Station) -> bool {
        self.word(station.first).starts_with(['R', 'C', 'L'])
    }
}
