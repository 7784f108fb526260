//! A word after a number that is no unit, and numbers in groups.

use super::{Line, codes, insert, replace};
use crate::kind::Kind;
use crate::lexer::Tok;
use crate::{ExprKind, Fault, FaultKind, Fix, PathItem};

/// Every unit that is offered, as it is written.
const UNITS: [&str; 45] = [
    "V", "mV", "uV", "nV", "kV", "A", "mA", "uA", "nA", "pA", "ohm", "mohm", "k", "M", "G", "s",
    "ms", "us", "ns", "Hz", "kHz", "MHz", "GHz", "W", "mW", "uW", "kW", "F", "mF", "uF", "nF",
    "pF", "H", "mH", "uH", "nH", "S", "mS", "uS", "deg", "dB", "Vpp", "Vrms", "mVpp", "%",
];

/// Words for units, in small letters.
const WORDS: &[(&str, &str)] = &[
    ("megohm", "M"),
    ("megohms", "M"),
    ("kilohm", "k"),
    ("kilohms", "k"),
    ("vdc", "V"),
    ("mfd", "uF"),
    ("meg", "M"),
    ("farads", "F"),
    ("hertzes", "Hz"),
    ("volt", "V"),
    ("volts", "V"),
    ("v", "V"),
    ("amp", "A"),
    ("amps", "A"),
    ("ampere", "A"),
    ("amperes", "A"),
    ("ohms", "ohm"),
    ("ohm", "ohm"),
    ("ω", "ohm"),
    ("hertz", "Hz"),
    ("hz", "Hz"),
    ("second", "s"),
    ("seconds", "s"),
    ("sec", "s"),
    ("watt", "W"),
    ("watts", "W"),
    ("farad", "F"),
    ("henry", "H"),
    ("henries", "H"),
    ("siemens", "S"),
    ("degree", "deg"),
    ("degrees", "deg"),
    ("decibel", "dB"),
    ("decibels", "dB"),
];

/// Words for prefixes, in small letters.
const PREFIXES: &[(&str, &str)] = &[
    ("milli", "m"),
    ("micro", "u"),
    ("nano", "n"),
    ("pico", "p"),
    ("kilo", "k"),
    ("mega", "M"),
    ("giga", "G"),
];

/// Units whose prefix may be milli or mega where only the case is wrong, the likelier first.
const MILLI_OR_MEGA: [[&str; 2]; 9] = [
    ["mV", "MV"],
    ["mA", "MA"],
    ["mW", "MW"],
    ["mF", "MF"],
    ["mH", "MH"],
    ["mS", "MS"],
    ["MHz", "mHz"],
    ["mVpp", "MVpp"],
    ["mVrms", "MVrms"],
];

/// `Mv`, `mhz`: who writes the unit in another case may mean milli or mega, a factor of a thousand million.
fn milli_or_mega(word: &str) -> Option<[&'static str; 2]> {
    MILLI_OR_MEGA
        .into_iter()
        .find(|it| it[0].eq_ignore_ascii_case(word))
        .filter(|_| word.starts_with('M') || word.ends_with("HZ") || word.ends_with("hz"))
        .filter(|it| !(it[0] == "MHz" && word.starts_with('M')))
}

/// The unit that a word was surely meant for.
fn meant(word: &str) -> Option<&'static str> {
    let plain = word.replace(['µ', 'μ'], "u");
    let word = plain.as_str();
    let listed = |unit: &str| {
        let unit = match unit {
            "kohm" => "k",
            "Mohm" => "M",
            "Gohm" => "G",
            unit => unit,
        };
        UNITS.iter().find(|it| **it == unit).copied()
    };
    let small = word.to_lowercase();
    let unit_word = |small: &str| {
        WORDS
            .iter()
            .find(|(word, _)| *word == small)
            .map(|(_, unit)| *unit)
    };
    if let Some(unit) = unit_word(&small) {
        return listed(unit);
    }
    if small == "k" || small == "percent" {
        return listed(if small == "k" { "k" } else { "%" });
    }
    // `VV`, `kk`
    let mut letters: Vec<char> = word.chars().collect();
    letters.dedup();
    if letters.len() < word.chars().count() {
        let once: String = letters.into_iter().collect();
        if let Some(unit) = UNITS.iter().find(|it| **it == once) {
            return Some(unit);
        }
    }
    for (long, short) in PREFIXES {
        let rest = small.strip_prefix(long);
        if let Some(unit) = rest.and_then(unit_word) {
            return listed(&format!("{short}{unit}"));
        }
        // `microA`
        let base = word.get(long.len()..).filter(|_| rest.is_some());
        if let Some(unit) = base.and_then(|it| listed(&format!("{short}{it}"))) {
            return Some(unit);
        }
    }
    let mut letters = word.chars();
    let prefix = letters.next()?;
    let prefix = if prefix == 'K' { 'k' } else { prefix };
    if let Some(unit) = unit_word(&letters.as_str().to_lowercase())
        && let Some(unit) = listed(&format!("{prefix}{unit}"))
    {
        return Some(unit);
    }
    // Only the case is wrong: `khz`, `ma`, `UF`.
    UNITS
        .iter()
        .find(|it| it.len() > 1 && it.eq_ignore_ascii_case(word))
        // Milli is not mega.
        .filter(|it| it.starts_with('M') == word.starts_with('M'))
        .copied()
}

impl Line<'_> {
    /// The word at this index follows a number, but is no unit.
    pub(super) fn unknown_unit(&self, at: usize) -> Fault {
        let (span, word) = (self.span(at), self.word(at));
        let number = self.span(at.saturating_sub(1));
        let gap = number.to(span);
        let digits = number.of(self.text);
        if let Some(fix) = self.scientific(at) {
            return Fault::new(span, FaultKind::UnknownUnit(None)).fix(fix);
        }
        if let Some(unit) = self.unit_in_two_words(at) {
            let all = number.to(self.span(at + 1));
            let text = quantity_text(digits, unit);
            let fix = Fix::safe(format!("write `{text}`"), vec![replace(all, text)]);
            return Fault::new(span, FaultKind::UnknownUnit(Some(unit))).fix(fix);
        }
        let write = |text: String, safe| Fix {
            title: format!("write `{text}`"),
            safe,
            edits: vec![replace(gap, text)],
        };
        let with_unit = |unit: &str, safe| write(quantity_text(digits, unit), safe);
        let fault = |unit| Fault::new(span, FaultKind::UnknownUnit(unit));

        if let Some(unit) = meant(word) {
            return fault(Some(unit)).fix(with_unit(unit, true));
        }
        if let Some([likelier, other]) = milli_or_mega(word) {
            return fault(Some(likelier))
                .fix(with_unit(likelier, false))
                .fix(with_unit(other, false));
        }
        let of_element = self.element_unit(at);
        // `1Ok`, `1l k`: letters for digits
        if self.tok(at) == Some(Tok::NotUnit) {
            let digit = |it: char| match it {
                'O' | 'o' => Some('0'),
                'l' | 'I' => Some('1'),
                _ => None,
            };
            let more: String = word.chars().map_while(digit).collect();
            let unit = word.get(more.len()..).unwrap_or("");
            let next = self.word(at + 1);
            let (all, unit) = match unit {
                "" if UNITS.contains(&next) => (number.to(self.span(at + 1)), next),
                unit => (gap, unit),
            };
            if let Some(unit) = UNITS.iter().find(|it| !more.is_empty() && **it == unit) {
                let text = quantity_text(&format!("{digits}{more}"), unit);
                let title = format!("write `{text}`");
                return fault(Some(unit)).fix(Fix::likely(title, vec![replace(all, text)]));
            }
            // `4_700`
            let groups = word.strip_prefix('_').map(|it| it.split('_'));
            let even = |it: &str| it.len() == 3 && it.bytes().all(|it| it.is_ascii_digit());
            if groups.is_some_and(|mut it| it.all(even)) {
                return fault(None).fix(write(format!("{digits}{}", word.replace('_', "")), false));
            }
        }
        if word == "R" && of_element == Some("ohm") {
            return fault(Some("ohm")).fix(with_unit("ohm", true));
        }
        let word = match word.to_lowercase().as_str() {
            "kilo" if of_element == Some("ohm") => "k",
            "mega" if of_element == Some("ohm") => "M",
            "milli" => "m",
            "micro" => "u",
            "nano" => "n",
            "pico" => "p",
            _ => word,
        };
        if let "k" | "M" = word
            && let Some(unit) = UNITS.iter().find(|it| **it == word)
        {
            return fault(Some(unit)).fix(with_unit(unit, true));
        }
        let of_element = of_element.or_else(|| self.unit_here(at));
        if let "m" | "u" | "µ" | "μ" | "n" | "p" = word {
            return match (word, of_element) {
                ("m", Some("ohm")) => fault(None)
                    .fix(with_unit("M", false))
                    .fix(with_unit("mohm", false)),
                (prefix, Some(base @ ("F" | "H" | "V" | "A" | "s"))) => {
                    let prefix = if matches!(prefix, "µ" | "μ") {
                        "u"
                    } else {
                        prefix
                    };
                    let unit = UNITS
                        .iter()
                        .find(|it| **it == format!("{prefix}{base}"))
                        .copied();
                    match unit {
                        Some(unit) => {
                            let safe = matches!(base, "F" | "H");
                            fault(Some(unit)).fix(with_unit(unit, safe))
                        }
                        None => fault(None),
                    }
                }
                _ => fault(None),
            };
        }
        // `3V3`, and `4n7` where the element says the rest.
        let split = word
            .find(|it: char| it.is_ascii_digit())
            .map(|at| word.split_at(at));
        if let Some((letter, places)) = split
            && self.tok(at) == Some(Tok::NotUnit)
            && places.bytes().all(|it| it.is_ascii_digit())
        {
            let unit = match (letter, of_element) {
                ("V", _) => Some("V".to_string()),
                ("m" | "u" | "n" | "p", Some(base @ ("F" | "H"))) => {
                    Some(format!("{letter}{base}"))
                }
                _ => None,
            };
            if let Some(unit) = unit.and_then(|unit| UNITS.iter().find(|it| **it == unit)) {
                return fault(Some(unit)).fix(write(format!("{digits}.{places} {unit}"), true));
            }
        }
        // `330RG`, `2L2`
        if self.tok(at) == Some(Tok::NotUnit)
            && let Some(unit @ ("ohm" | "F")) = of_element
            && let Some(text) = codes::quantity(&format!("{digits}{word}"), unit)
        {
            return fault(None).fix(write(text, false));
        }
        // `100nF50V`: a value and its rating
        if let Some((unit, rating)) = split
            && let Some(unit) = UNITS.iter().find(|it| **it == unit)
        {
            let places = rating.trim_start_matches(|it: char| it.is_ascii_digit());
            let size = &rating[..rating.len() - places.len()];
            if let Some(rated) = UNITS.iter().find(|it| **it == places) {
                let text = format!(
                    "{} {}",
                    quantity_text(digits, unit),
                    quantity_text(size, rated)
                );
                return fault(Some(unit)).fix(write(text, false));
            }
        }
        if self.kind == Kind::Path
            || self.kind == Kind::Unknown
            || self.tok(at - 1) == Some(Tok::Quantity)
        {
            return fault(None);
        }
        fault(None).fix(write(format!("{digits} * {word}"), false))
    }

    /// `120 u A`, `10 kilo ohm`: a unit with a blank inside.
    fn unit_in_two_words(&self, at: usize) -> Option<&'static str> {
        if !self.tok(at + 1)?.is_name()
            || self.tok(at) == Some(Tok::NotUnit) && self.span(at).end == self.span(at + 1).start
        {
            return None;
        }
        let (first, second) = (self.word(at), self.word(at + 1));
        let prefix = PREFIXES
            .iter()
            .find(|(long, _)| first.eq_ignore_ascii_case(long))
            .map(|it| it.1);
        let prefix = prefix.or_else(|| {
            let letters = ["m", "u", "µ", "μ", "n", "p", "k", "M", "G"];
            letters.into_iter().find(|it| *it == first)
        })?;
        let base = WORDS
            .iter()
            .find(|(word, _)| second.eq_ignore_ascii_case(word))
            .map(|it| it.1);
        let base = base.or_else(|| UNITS.into_iter().find(|it| *it == second))?;
        meant(&format!(
            "{}{base}",
            if matches!(prefix, "µ" | "μ") {
                "u"
            } else {
                prefix
            }
        ))
        .or_else(|| {
            UNITS
                .into_iter()
                .find(|it| *it == format!("{prefix}{base}"))
        })
    }

    /// The unit that a number has in such a line.
    fn unit_here(&self, at: usize) -> Option<&'static str> {
        let before = |wanted: Tok| self.tokens.iter().any(|(tok, _)| *tok == wanted);
        let behind = at.checked_sub(2).map_or("", |at| self.word(at));
        match self.kind {
            Kind::Device if self.word(0) == "electrolytic" && behind == "value" => Some("F"),
            Kind::HeldSource | Kind::Supply if !before(Tok::At) => Some("V"),
            Kind::CurrentSource => Some("A"),
            Kind::Record => Some("s"),
            Kind::Expect if !before(Tok::At) && !before(Tok::Within) => match self.word(1) {
                "current" => Some("A"),
                "power" => None,
                _ => Some("V"),
            },
            _ => None,
        }
    }

    /// `R10`, `L20`, `n33` where a value is wanted: what it says as the language writes it. `R2` is rather a name.
    pub(super) fn code_without_a_digit_first(&self, at: usize) -> Option<String> {
        let unit = self.element_unit(at + 1).filter(|it| *it != "H")?;
        let word = self.word(at);
        let digits = word.bytes().filter(u8::is_ascii_digit).count();
        (digits > 1).then(|| codes::quantity(word, unit)).flatten()
    }

    /// The unit of an element's value, by the first letter of its name, where the word at this index is within one.
    fn element_unit(&self, at: usize) -> Option<&'static str> {
        let name = at.checked_sub(2)?;
        let after_wire = name == 0 || self.tok(name - 1) == Some(Tok::Wire);
        if !after_wire
            || !matches!(self.kind, Kind::Path | Kind::Unknown)
            || !self.tok(name)?.is_ref()
        {
            return None;
        }
        match self.word(name).chars().next()? {
            'C' => Some("F"),
            'L' => Some("H"),
            _ => Some("ohm"),
        }
    }

    /// `10 000`: the number at this index and those before and behind it are one.
    pub(super) fn two_numbers(&self, at: usize) -> Fault {
        let is_digits = |index: usize| self.tok(index) == Some(Tok::Whole);
        let first = (0..at)
            .rev()
            .take_while(|index| is_digits(*index))
            .last()
            .unwrap_or(at);
        let mut last = at;
        while is_digits(last) && self.tok(last + 1).is_some_and(Tok::is_quantity) {
            last += 1;
        }
        let span = self.span(first).to(self.span(last));
        let joined: String = (first..=last).map(|index| self.word(index)).collect();
        let gaps = (first..last).map(|index| {
            let gap = crate::Span {
                start: self.span(index).end,
                end: self.span(index + 1).start,
            };
            replace(gap, "")
        });
        let fault = Fault::new(span, FaultKind::TwoNumbers);
        let groups = (first..last).all(is_digits) && first < last;
        // `R 7 10k`: the first number is of the name
        let thousands = self.word(first + 1).bytes().take_while(u8::is_ascii_digit);
        let lettered = first > 0
            && last == first + 1
            && self.tok(first - 1) == Some(Tok::Name)
            && self.word(first - 1).len() == 1
            && thousands.count() != 3;
        if groups && lettered {
            let name = format!("{}{}", self.word(first - 1), self.word(first));
            let both = self.span(first - 1).to(self.span(first));
            let fix = Fix::likely(format!("write `{name}`"), vec![replace(both, name)]);
            return fault.fix(fix);
        }
        if groups {
            fault.fix(Fix::likely(format!("write `{joined}`"), gaps.collect()))
        } else {
            fault
        }
    }

    /// The token behind an element's bare value, where that can only be more of its digits.
    pub(super) fn number_in_groups(&self, items: &[PathItem]) -> Option<usize> {
        let element = items.iter().find_map(|item| match item {
            PathItem::Element(it)
                if !it.extras.is_empty() && matches!(it.value.kind, ExprKind::Quantity) =>
            {
                let bare = it
                    .value
                    .span
                    .of(self.text)
                    .bytes()
                    .all(|it| it.is_ascii_digit());
                let more = crate::quantity::read(self.text, it.extras[0].span);
                let goes_on = more.is_ok_and(|it| {
                    it.form == crate::Form::Plain || it.dimension == crate::Dimension::OHM
                });
                (bare && goes_on).then(|| it.extras[0].span)
            }
            _ => None,
        })?;
        self.tokens
            .iter()
            .position(|(_, span)| span.start == element.start)
    }

    /// `in = 5 x`, `5 volts`, `10 000`, `2(a)`: what stands behind a number and is no part of it.
    pub(super) fn behind_a_number(&self, at: usize) -> Option<Fault> {
        let number = self.tok(at.checked_sub(1)?)?;
        let found = self.tok(at)?;
        let bare = matches!(number, Tok::Whole | Tok::Decimal);
        match found {
            Tok::Open if number.is_quantity() => {
                let gap = crate::Span {
                    start: self.span(at - 1).end,
                    end: self.span(at).start,
                };
                let inner = self.bracket_text(at);
                let title = format!("write `{} * {inner}`", self.word(at - 1));
                Some(
                    self.extra(at)
                        .fix(Fix::safe(title, vec![replace(gap, " * ")])),
                )
            }
            // `10 k ohm`
            found
                if number == Tok::Quantity
                    && found.is_name()
                    && meant(self.word(at)) == Some("ohm") =>
            {
                let value = self.word(at - 1);
                let text = value.split_whitespace().collect::<String>();
                let ohms = crate::quantity::read(self.text, self.span(at - 1))
                    .is_ok_and(|it| it.dimension == crate::Dimension::OHM);
                ohms.then(|| {
                    let all = self.span(at - 1).to(self.span(at));
                    let fix = Fix::safe(format!("write `{text}`"), vec![replace(all, text)]);
                    let unit = FaultKind::UnknownUnit(Some("ohm"));
                    Fault::new(self.span(at), unit).fix(fix)
                })
            }
            found if bare && found.is_quantity() => Some(self.two_numbers(at)),
            found if bare && found.is_ref() => Some(self.unknown_unit(at)),
            _ => None,
        }
    }

    /// From an opening bracket to the one that closes it, or to the end.
    fn bracket_text(&self, open: usize) -> &str {
        let mut depth = 0usize;
        let mut end = self.tokens.len() - 1;
        for (index, (tok, _)) in self.tokens.iter().enumerate().skip(open) {
            match tok {
                Tok::Open | Tok::Call => depth += 1,
                Tok::Close if depth <= 1 => {
                    end = index;
                    break;
                }
                Tok::Close => depth -= 1,
                _ => {}
            }
        }
        self.span(open).to(self.span(end)).of(self.text)
    }

    /// Brackets around a value that is more than a quantity.
    pub(super) fn in_brackets(&self, from: usize, to: usize) -> Fix {
        let span = self.span(from).to(self.span(to));
        let title = format!("write `({})`", span.of(self.text));
        Fix::likely(title, vec![insert(span.start, "("), insert(span.end, ")")])
    }
}

/// `l0k`, `IOk`: letters that look like digits, read as such.
pub(super) fn letters_for_digits(word: &str) -> Option<String> {
    let digit = |it: char| match it {
        'O' | 'o' => Some('0'),
        'l' | 'I' => Some('1'),
        it => Some(it).filter(char::is_ascii_digit),
    };
    let digits: String = word.chars().map_while(digit).collect();
    let unit = word.get(digits.len()..)?;
    let said = digits.len() > 1 && !digits.starts_with('0');
    (said && UNITS.contains(&unit)).then(|| quantity_text(&digits, unit))
}

/// A number with its unit, as the canonical form has it.
fn quantity_text(digits: &str, unit: &str) -> String {
    match unit {
        "k" | "M" | "G" => format!("{digits}{unit}"),
        _ => format!("{digits} {unit}"),
    }
}
