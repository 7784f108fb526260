//! The generic op-amp classes that ship with the tool: parts of a text that stands in no file of the reader's.
//!
//! A file's own part of the same name comes first, so that a class added in a later version breaks no old file. A class
//! joins a [`Book`] only where something names it.

use std::sync::{Arc, LazyLock};

use syntax::{FileId, Number, Place};

use crate::scope::Builder;
use crate::{Book, File, Part, PartId, Rail, Supply, build};

/// The text of the classes, with the source of every figure behind it.
pub const TEXT: &str = include_str!("classes.amp");

/// What stands for a path where a place lies in [`TEXT`].
pub const PATH: &str = "ampersum:classes.amp";

/// A class.
#[derive(Debug)]
pub struct Class {
    /// Its figures; places lie in [`TEXT`].
    pub part: Part,
    /// The rails that it usually has, high and low, in volts: for a circuit that says none.
    pub rails: [i8; 2],
}

/// Usual rails, in the order of the text.
const RAILS: [[i8; 2]; 6] = [[15, -15], [15, -15], [5, 0], [15, -15], [15, -15], [5, -5]];

static BOOK: LazyLock<Book> = LazyLock::new(|| build(PATH, TEXT.into(), &mut |_| None));

static CLASSES: LazyLock<Vec<Class>> = LazyLock::new(|| {
    let parts = BOOK.parts.iter().cloned().zip(RAILS);
    parts.map(|(part, rails)| Class { part, rails }).collect()
});

/// All classes, in the order of the text.
pub fn classes() -> &'static [Class] {
    &CLASSES
}

/// The class of this name.
pub(crate) fn named(name: &str) -> Option<&'static Class> {
    classes().iter().find(|it| it.part.name == name)
}

/// The text as a file of a book.
pub(crate) fn file() -> File {
    let it = &BOOK.files[0];
    File {
        path: it.path.clone(),
        text: it.text.clone(),
        tree: Arc::clone(&it.tree),
    }
}

impl Class {
    /// Its part, as if it stood in this file of a book.
    fn part_in(&self, file: FileId) -> Part {
        Part {
            place: Place {
                file,
                ..self.part.place
            },
            ..self.part.clone()
        }
    }

    /// Its usual rails, as if the text said them at `place`.
    pub fn supply(&self, place: Place) -> Supply {
        let [high, low] = self.rails.map(|volts| {
            let size = Number::decimal(volts.unsigned_abs().into(), 0);
            Rail {
                volts: if volts < 0 { size.neg() } else { size },
                node: None,
            }
        });
        Supply { high, low, place }
    }
}

impl Book {
    /// Whether a file ships with the tool: no editor can open it.
    pub fn ships(&self, file: FileId) -> bool {
        self.files
            .get(file.0 as usize)
            .is_some_and(|it| it.path == PATH)
    }

    /// The part of a class among the book's own; it joins them where it is none of them yet.
    pub fn with_class(&mut self, class: &Class) -> PartId {
        let known = self.files.iter().position(|it| it.path == PATH);
        let file = known.unwrap_or_else(|| {
            self.files.push(file());
            self.files.len() - 1
        });
        join(&mut self.parts, class, FileId(file as u32))
    }
}

/// The part of a class among these; it joins them where it is none of them yet.
fn join(parts: &mut Vec<Part>, class: &Class, file: FileId) -> PartId {
    let same = |it: &Part| it.place.file == file && it.name == class.part.name;
    let index = parts.iter().rposition(same).unwrap_or_else(|| {
        parts.push(class.part_in(file));
        parts.len() - 1
    });
    PartId(index as u32)
}

impl Builder<'_> {
    /// The part of a class; its file is the one behind the last of the library.
    pub(crate) fn class(&mut self, class: &Class) -> PartId {
        let file = FileId(self.library.files.len() as u32);
        join(self.parts, class, file)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_text_reads_well_and_the_usual_rails_fit_each_class() {
        assert!(BOOK.faults.is_empty(), "{:?}", BOOK.faults);
        assert!(BOOK.files[0].tree.faults.is_empty());
        assert_eq!(syntax::format(TEXT), TEXT, "canonical");
        let names: Vec<&str> = classes().iter().map(|it| it.part.name.as_str()).collect();
        assert_eq!(
            names,
            [
                "general_bipolar",
                "low_noise_bipolar",
                "low_voltage_cmos",
                "precision_bipolar",
                "fet_input",
                "fast_bipolar"
            ]
        );
        for Class { part, rails } in classes() {
            let said = part.description.as_deref().expect("a description");
            let [high, low] = *rails;
            let usual = match low {
                0 => format!("Usual supply: {high} V."),
                _ => format!("Usual rails: ±{high} V."),
            };
            assert!(said.ends_with(&usual), "{}: {said}", part.name);
            let span = f64::from(high) - f64::from(low);
            let [least, most] = part.supply.as_ref().expect("a supply");
            assert!(least.to_f64() <= span && span <= most.to_f64());
        }
    }

    /// Each figure lies in the span of its own comment, where one stands there in the same unit.
    #[test]
    fn every_figure_tells_its_source() {
        let figures = TEXT.lines().filter(|it| it.starts_with("  "));
        let mut count = 0;
        for line in figures {
            let (_, source) = line.split_once("  # ").expect("a source");
            let known = ["round", "sheets", "books", "memory", "mailing list"];
            assert!(known.iter().any(|it| source.contains(it)), "{line}");
            count += 1;
        }
        assert_eq!(count, 6 * 12);
    }

    #[test]
    fn a_class_joins_a_book_where_it_is_named_and_only_there() {
        let text = "circuit c\nopamps are fet_input\nsource s: in = 1 V\nopamp A1: plus in, minus out, drives out\nopamp A2: plus in, minus u, drives u\n";
        let mut book = build("a.amp", text.into(), &mut |_| None);
        assert_eq!((book.files.len(), book.parts.len()), (2, 1));
        let part = &book.parts[0];
        assert!(book.ships(part.place.file));
        assert_eq!(book.text(part.place), "fet_input");
        assert_eq!(part.uses.len(), 1);
        let [first, second] = [0, 4].map(|it| book.with_class(&classes()[it]));
        assert_eq!((first, second), (PartId(1), PartId(0)));
        assert_eq!(book.files.len(), 2);

        let plain = build(
            "a.amp",
            text.replace("opamps are fet_input\n", "").into(),
            &mut |_| None,
        );
        assert_eq!((plain.files.len(), plain.parts.len()), (1, 0));
    }

    #[test]
    fn a_part_of_the_file_comes_before_a_class_and_a_misspelt_class_is_offered() {
        let circuit = "circuit c\nsource s: in = 1 V\nopamp A1: plus in, minus out, drives out, part fet_input\n";
        let own = format!("part fet_input\n  gain 5\nend\n{circuit}");
        let book = build("a.amp", own.into(), &mut |_| None);
        assert_eq!(book.parts.len(), 1);
        assert!(!book.ships(book.parts[0].place.file));

        let misspelt = circuit.replace("fet_input", "fet_inputs");
        let book = build("a.amp", misspelt.into(), &mut |_| None);
        let [fault] = &book.faults[..] else {
            panic!("{:?}", book.faults)
        };
        assert_eq!(fault.fixes[0].edits[0].text, "fet_input");
    }
}
