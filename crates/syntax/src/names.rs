//! How names compare, and which one was perhaps meant.

use std::borrow::Cow;

use unicode_normalization::{IsNormalized, UnicodeNormalization, is_nfkc_quick};

/// The form in which names compare: NFKC, so that µ is μ.
pub fn normal(name: &str) -> Cow<'_, str> {
    if name.is_ascii() || is_nfkc_quick(name.chars()) == IsNormalized::Yes {
        Cow::Borrowed(name)
    } else {
        Cow::Owned(name.nfkc().collect())
    }
}

/// The word that `wrong` was perhaps meant for: the nearest, within two letters added, left out, changed or swapped (one
/// in words of two to four letters, none in a single letter). Of equally near ones the first.
pub fn spelled<'w>(words: impl IntoIterator<Item = &'w str>, wrong: &str) -> Option<&'w str> {
    nearest(words, wrong).into_iter().next()
}

/// All the words that are as near as [`spelled`]'s, in their order.
pub fn nearest<'w>(words: impl IntoIterator<Item = &'w str>, wrong: &str) -> Vec<&'w str> {
    let mut nearest = Vec::new();
    let mut least = usize::MAX;
    let wrong = wrong.chars().collect::<Vec<_>>();
    if wrong.len() > 64 {
        return nearest;
    }
    for word in words {
        let length = word.chars().count();
        // In half letters: of a single letter the case alone may differ.
        let most = match length.min(wrong.len()) {
            0 => 0,
            1 => 1,
            2..=4 => 2,
            _ => 4,
        };
        let most = most.min(least);
        if 2 * length.abs_diff(wrong.len()) > most {
            continue;
        }
        let letters = word.chars().collect::<Vec<_>>();
        let distance = distance(&letters, &wrong);
        if distance > most {
            continue;
        }
        if distance < least {
            least = distance;
            nearest.clear();
        }
        nearest.push(word);
    }
    nearest
}

/// Whether two names have the same digits: `R3` is another thing than `R1`, not `R1` misspelt.
pub fn same_digits(a: &str, b: &str) -> bool {
    let digits = |name: &str| -> String { name.chars().filter(char::is_ascii_digit).collect() };
    digits(a) == digits(b)
}

/// Whether a name is one that the trade has for the node at 0 V, which is `ground` here.
pub fn means_ground(name: &str) -> bool {
    const WORDS: [&str; 8] = [
        "gnd", "ground", "grnd", "earth", "masse", "agnd", "dgnd", "common",
    ];
    // `GND1`
    let name = name.trim_end_matches(|it: char| it.is_ascii_digit());
    name != "ground" && WORDS.iter().any(|it| it.eq_ignore_ascii_case(name))
}

/// Twice the letters that must be added, left out, changed or swapped with their neighbour (optimal string alignment); a
/// change of case alone counts as half a letter in all.
fn distance(a: &[char], b: &[char]) -> usize {
    if a != b && a.len() == b.len() && a.iter().zip(b).all(|(a, b)| a.eq_ignore_ascii_case(b)) {
        return 1;
    }
    // What both begin and end with costs nothing.
    let same = a.iter().zip(b).take_while(|(a, b)| a == b).count();
    let (a, b) = (&a[same..], &b[same..]);
    let ends = a.iter().rev().zip(b.iter().rev());
    let same = ends.take_while(|(a, b)| a == b).count();
    let (a, b) = (&a[..a.len() - same], &b[..b.len() - same]);
    let mut before = vec![0; b.len() + 1];
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for i in 1..=a.len() {
        let mut row = vec![i; b.len() + 1];
        for j in 1..=b.len() {
            let change = usize::from(a[i - 1] != b[j - 1]);
            row[j] = (last[j] + 1).min(row[j - 1] + 1).min(last[j - 1] + change);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                row[j] = row[j].min(before[j - 2] + 1);
            }
        }
        before = std::mem::replace(&mut last, row);
    }
    2 * last[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_word_is_found() {
        let words = ["expect", "opamp", "let", "out", "sum", "n1"];
        let cases = [
            ("expct", Some("expect")),
            ("epxetc", Some("expect")),
            ("opmap", Some("opamp")),
            ("OPAMP", Some("opamp")),
            ("uot", Some("out")),
            ("sun", Some("sum")),
            ("n2", Some("n1")),
            ("lift", None),
            ("x", None),
            ("respect", Some("expect")),
            ("suspected", None),
        ];
        for (wrong, meant) in cases {
            assert_eq!(spelled(words, wrong), meant, "{wrong}");
        }
    }

    #[test]
    fn equally_near_words_are_all_found() {
        let words = ["R1", "R2", "out", "R12"];
        assert_eq!(nearest(words, "R3"), ["R1", "R2"]);
        assert_eq!(nearest(words, "R11"), ["R1", "R12"]);
        assert_eq!(nearest(words, "uot"), ["out"]);
        assert!(nearest(words, "lift").is_empty());
    }

    #[test]
    fn names_compare_after_nfkc() {
        assert_eq!(normal("µ1"), normal("μ1"));
        assert_eq!(normal("\u{2126}"), normal("\u{3A9}"));
        assert_ne!(normal("R1"), normal("r1"));
    }
}
