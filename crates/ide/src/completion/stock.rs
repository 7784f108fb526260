//! The shelves from which a menu is filled.

use circuit::classes::classes;
use syntax::{Span, quantity};
use teaching::words::Word;

use super::line::Line;
use super::{About, Item, ItemKind, uses};
use crate::View;
use crate::names::{Home, Kind};

/// A menu while it is filled: what is put in first stands first.
pub(super) struct Menu<'v> {
    pub(super) view: &'v View,
    pub(super) line: &'v Line<'v>,
    pub(super) items: Vec<Item>,
}

impl<'v> Menu<'v> {
    pub(super) fn new(view: &'v View, line: &'v Line<'v>) -> Menu<'v> {
        Menu {
            view,
            line,
            items: Vec::new(),
        }
    }

    /// Something in place of the word at the caret.
    pub(super) fn item(&self, label: &str, kind: ItemKind, detail: &str, about: About) -> Item {
        let word = self.line.word;
        Item {
            label: label.to_owned(),
            kind,
            detail: detail.to_owned(),
            text: label.to_owned(),
            snippet: None,
            insert: Span {
                start: word.start,
                end: self.line.caret,
            },
            replace: word,
            about,
        }
    }

    pub(super) fn put(&mut self, item: Item) {
        self.items.push(item);
    }

    /// A word of the language with its meaning.
    pub(super) fn word(&mut self, word: &str, meaning: &'static str) {
        self.put(self.item(word, ItemKind::Word, "", About::Meaning(meaning)));
    }

    pub(super) fn words(&mut self, table: &[Word]) {
        for (word, meaning) in table {
            self.word(word, meaning);
        }
    }

    /// Words of a table, in this order.
    pub(super) fn some(&mut self, table: &[Word], wanted: &[&str]) {
        for word in wanted {
            if let Some(meaning) = teaching::words::meaning(table, word) {
                self.word(word, meaning);
            }
        }
    }

    /// What goes on behind the caret, whatever stands there.
    pub(super) fn behind(&mut self, text: &str, detail: &str) {
        let mut item = self.item(text.trim(), ItemKind::Word, detail, About::Nothing);
        item.insert = Span::at(self.line.caret);
        item.replace = item.insert;
        let blank = self.view.text()[..self.line.caret as usize].ends_with([' ', '\t']);
        item.text = if blank {
            text.trim_start().to_owned()
        } else {
            text.to_owned()
        };
        self.put(item);
    }

    /// The same with places to fill in.
    pub(super) fn behind_filled(&mut self, snippet: &str, detail: &str) {
        self.behind(&without_places(snippet), detail);
        if let Some(item) = self.items.last_mut() {
            let cut = item.text.len() < without_places(snippet).len();
            let snippet = if cut { snippet.trim_start() } else { snippet };
            item.snippet = Some(snippet.to_owned());
        }
    }

    /// The word at the caret, if the caret stands at its end.
    pub(super) fn typed(&self) -> &'v str {
        let word = self.line.word;
        match word.end == self.line.caret && self.line.within.is_none() {
            true => word.of(self.view.text()),
            false => "",
        }
    }

    /// Whether this stands right behind the caret.
    pub(super) fn is_before(&self, words: &str) -> bool {
        let rest = &self.view.text()[self.line.caret as usize..];
        rest.trim_start_matches([' ', '\t']).starts_with(words)
    }

    /// Nodes behind the word at the caret.
    pub(super) fn nodes_behind(&mut self) {
        let from = self.items.len();
        self.nodes();
        for item in &mut self.items[from..] {
            item.insert = Span::at(self.line.caret);
            item.replace = item.insert;
            item.text = format!(" {}", item.label);
        }
    }

    /// Names that the line sees, of the kinds that are wanted: the most used first, or those said nearest.
    pub(super) fn names(&mut self, wanted: &[Kind], nearest: bool) {
        let home = self.line.start();
        let names = self.view.names();
        let uses = uses(self.view, self.line);
        let mut found = Vec::new();
        for (name, kind) in names.visible(home) {
            let known = names.key(home, name).and_then(|it| names.id(&it));
            let Some(it) = known.map(|it| uses[it]).filter(|_| wanted.contains(&kind)) else {
                continue;
            };
            // The word at the caret alone says nothing yet.
            if it.count > 1 || it.first != Some(self.line.word.start) {
                found.push((name, kind, it));
            }
        }
        found.sort_by_key(|(name, _, it)| match nearest {
            true => (it.distance, 0, *name),
            false => (u64::MAX - it.count as u64, it.distance, *name),
        });
        for (name, kind, it) in found {
            let about = it.first.map_or(About::Nothing, About::Place);
            self.put(self.item(name, item_kind(kind), kind.noun(), about));
        }
    }

    pub(super) fn nodes(&mut self) {
        self.names(&[Kind::Node], true);
        self.ground();
    }

    pub(super) fn ground(&mut self) {
        let about = About::Meaning("The reference: every node voltage is counted from here.");
        self.put(self.item("ground", ItemKind::Node, "0 V", about));
    }

    pub(super) fn parts(&mut self) {
        let own = self.view.names().shelf(Home::Parts);
        for name in &own {
            let about = About::Part((*name).to_owned());
            self.put(self.item(name, ItemKind::Part, "a part", about));
        }
        let about = About::Meaning("The op-amp of the textbook: V+ = V−, no limits.");
        self.put(self.item("ideal", ItemKind::Part, "no limits", about));
        let shipped = classes().iter().map(|it| &it.part);
        for class in shipped.filter(|it| !own.contains(&it.name.as_str())) {
            let about = About::Meaning(class.description.as_deref().unwrap_or_default());
            self.put(self.item(&class.name, ItemKind::Part, "a generic class", about));
        }
    }

    pub(super) fn circuits(&mut self) {
        for name in self.view.names().shelf(Home::Circuits) {
            self.put(self.item(name, ItemKind::Circuit, "a circuit", About::Nothing));
        }
    }

    /// The rules, those with a finding in this circuit first.
    pub(super) fn rules(&mut self) {
        let here = self.view.circuit_at(self.line.start()).map(|it| it.0);
        let found = |rule: &str| {
            let own = self.view.findings().iter();
            own.filter(|it| it.circuit == here && it.rule == rule)
                .count()
        };
        let mut rules: Vec<_> = checks::RULES
            .iter()
            .map(|it| (it.name, found(it.name)))
            .collect();
        rules.sort_by_key(|it| std::cmp::Reverse(it.1));
        for (name, count) in rules {
            let detail = match count {
                0 => "a rule".to_owned(),
                1 => "1 finding here".to_owned(),
                more => format!("{more} findings here"),
            };
            self.put(self.item(name, ItemKind::Rule, &detail, About::Rule(name.to_owned())));
        }
    }

    pub(super) fn series(&mut self) {
        for name in circuit::series::NAMES {
            let about = About::Meaning("A series of preferred values, after IEC 60063.");
            self.put(self.item(name, ItemKind::Value, "preferred values", about));
        }
    }

    /// Units behind a number; those of the word at the caret in its place.
    pub(super) fn units(&mut self, units: &[&str]) {
        let blank = self.view.text()[..self.line.word.start as usize].ends_with([' ', '\t']);
        for unit in units {
            let bare = unit.trim_start_matches(['T', 'G', 'M', 'k', 'm', 'u', 'n', 'p', 'f']);
            let key = if bare.is_empty() { unit } else { bare };
            let meaning = teaching::words::meaning(teaching::words::UNITS, key);
            let about = meaning.map_or(About::Nothing, About::Meaning);
            let mut item = self.item(unit, ItemKind::Unit, "", about);
            // The canonical form: ohms touch their number, all else stands apart.
            if !blank && !matches!(*unit, "k" | "M" | "G") {
                item.text = format!(" {unit}");
            }
            self.put(item);
        }
    }

    /// Values for an element: those that others with such a name have, then usual ones.
    pub(super) fn values(&mut self, letter: char) {
        for value in self.usual_values(letter) {
            self.put(self.item(&value, ItemKind::Value, "", About::Nothing));
        }
    }

    pub(super) fn usual_values(&self, letter: char) -> Vec<String> {
        let text = self.view.text();
        let mut counted: Vec<(String, usize)> = Vec::new();
        for statement in &self.view.tree().statements {
            let syntax::StatementKind::Path(items) = &statement.kind else {
                continue;
            };
            for item in items {
                let syntax::PathItem::Element(it) = item else {
                    continue;
                };
                let value = it.value.span.of(text);
                if it.name.of(text).starts_with(letter)
                    && quantity::read(text, it.value.span).is_ok()
                {
                    match counted.iter_mut().find(|it| it.0 == value) {
                        Some(known) => known.1 += 1,
                        None => counted.push((value.to_owned(), 1)),
                    }
                }
            }
        }
        counted.sort_by_key(|it| std::cmp::Reverse(it.1));
        let mut values: Vec<String> = counted.into_iter().map(|it| it.0).take(8).collect();
        let usual: &[&str] = match letter {
            'C' => &["100 nF", "10 nF", "1 uF"],
            'L' => &["10 mH", "1 mH"],
            _ => &["10k", "1k", "100k"],
        };
        values.extend(usual.iter().map(|it| it.to_string()));
        values
    }

    /// `R3`, where `R1` and `R2` are taken.
    pub(super) fn next_free(&self, letter: &str) -> String {
        let home = self.line.start();
        let names = self.view.names();
        let free = |it: &String| names.known(home, it).is_none();
        (1..)
            .map(|it| format!("{letter}{it}"))
            .find(free)
            .unwrap_or_default()
    }
}

/// A text with places to fill in as it stands where no editor fills them: `plus ${1:node}` is `plus `.
fn without_places(snippet: &str) -> String {
    let mut pieces = snippet.split("${");
    let first = pieces.next().unwrap_or_default().to_owned();
    pieces.fold(first, |all, it| {
        let (place, rest) = it.split_once('}').unwrap_or_default();
        // A value stands as it is; a node is for the writer to say.
        let words = place.split_once(':').map_or("", |it| it.1);
        let kept = if words == "node" && !all.ends_with("- ") {
            ""
        } else {
            words
        };
        all + kept + rest
    })
}

pub(super) fn item_kind(kind: Kind) -> ItemKind {
    match kind {
        Kind::Node | Kind::Ground => ItemKind::Node,
        Kind::Element => ItemKind::Element,
        Kind::Source => ItemKind::Source,
        Kind::Opamp => ItemKind::Opamp,
        Kind::Device | Kind::Instance => ItemKind::Device,
        Kind::Let | Kind::Parameter => ItemKind::Let,
        Kind::Part => ItemKind::Part,
        Kind::Block => ItemKind::Block,
        Kind::Circuit => ItemKind::Circuit,
    }
}
