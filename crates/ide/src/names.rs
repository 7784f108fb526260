//! Names: what each one belongs to, and every place that says it.
//!
//! All of it is told from the statements alone. So it holds in blocks and sheets that nothing uses and beside lines that
//! cannot be read, and it costs no analysis.

mod said;
mod scopes;

use std::collections::HashMap;
use std::sync::Arc;

use circuit::Book;
use syntax::Span;

use scopes::Tables;

/// All names of one text.
#[derive(Debug, Default)]
pub(crate) struct Names {
    /// What they stand for; an index is a [`ThingId`].
    pub(crate) things: Vec<Thing>,
    /// Every place that says one, in the order of the text; none overlaps another.
    pub(crate) said: Vec<Said>,
    ids: HashMap<Key, ThingId>,
    tables: Tables,
}

/// An index into [`Names::things`].
pub(crate) type ThingId = usize;

/// Something with a name.
#[derive(Clone, Debug)]
pub(crate) struct Thing {
    pub(crate) key: Key,
    pub(crate) kind: Kind,
}

/// Tells one thing from all others, in whichever text it is met.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub(crate) struct Key {
    /// The file that it belongs to.
    pub(crate) file: Arc<str>,
    pub(crate) home: Home,
    /// In the form in which names compare.
    pub(crate) name: String,
}

/// What names are compared in: no name stands twice in one home.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub(crate) enum Home {
    /// The file's `let`s; all names of a file that is one circuit.
    File,
    Parts,
    Blocks,
    Circuits,
    /// The inside of a circuit, a block or a work sheet, by its index in the tree's bodies.
    Body(usize),
}

/// What kind of thing it is.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub(crate) enum Kind {
    /// A node; a block's port is one too.
    Node,
    Ground,
    Element,
    Source,
    Opamp,
    /// A switch, a pot, a diode, an electrolytic.
    Device,
    /// A device made of a block.
    Instance,
    Let,
    Parameter,
    Part,
    Block,
    Circuit,
}

impl Kind {
    /// "a node", "an element".
    pub(crate) fn noun(self) -> &'static str {
        match self {
            Kind::Node => "a node",
            Kind::Ground => "the reference",
            Kind::Element => "an element",
            Kind::Source => "a source",
            Kind::Opamp => "an op-amp",
            Kind::Device | Kind::Instance => "a device",
            Kind::Let => "a `let`",
            Kind::Parameter => "a parameter",
            Kind::Part => "a part",
            Kind::Block => "a block",
            Kind::Circuit => "a circuit",
        }
    }
}

/// One place that says a name.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) struct Said {
    /// The name; of `F1.mid` one of its two words.
    pub(crate) span: Span,
    pub(crate) thing: ThingId,
    pub(crate) access: Access,
    /// It stands in a line that cannot be read.
    pub(crate) broken: bool,
}

/// What a place does with what it names.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Access {
    /// Brings it into being: an element in its path, a `let`.
    Declares,
    /// Gives it its value: a source its nodes, `drives` its node.
    Writes,
    /// Anything else.
    Reads,
}

impl Names {
    /// The names in the first file of a book.
    pub(crate) fn of(book: &Book) -> Names {
        let tables = Tables::of(book);
        let mut names = said::read(book, &tables);
        names.tables = tables;
        names
    }

    /// The name that the caret touches.
    pub(crate) fn at(&self, offset: u32) -> Option<&Said> {
        let after = self.said.partition_point(|it| it.span.start <= offset);
        // At a border the right one counts.
        self.said[..after]
            .iter()
            .rev()
            .take(2)
            .find(|it| it.span.touches(offset))
    }

    /// Where a thing has its name first: the file's index in the book, and the place. `None` of what comes with the tool.
    pub(crate) fn first(&self, key: &Key) -> Option<(usize, Span)> {
        self.tables.first(key)
    }

    /// The thing with this key, if the text says it.
    pub(crate) fn id(&self, key: &Key) -> Option<ThingId> {
        self.ids.get(key).copied()
    }

    /// Every place of one thing.
    pub(crate) fn places(&self, key: &Key) -> impl Iterator<Item = &Said> {
        let thing = self.id(key);
        self.said.iter().filter(move |it| Some(it.thing) == thing)
    }

    /// The thing that a name stands for where a statement begins at `offset`.
    pub(crate) fn key(&self, offset: u32, name: &str) -> Option<Key> {
        self.tables.key_at(offset, name)
    }

    /// What a name stands for where a statement begins at `offset`.
    pub(crate) fn known(&self, offset: u32, name: &str) -> Option<(Home, Kind)> {
        self.tables.known_at(offset, name)
    }

    /// What has a name already where a thing of another name would be seen: its file in the book, its place.
    pub(crate) fn taken(&self, new: &Key, old: &Key) -> Option<(usize, Span, Kind)> {
        self.tables.taken(new, old)
    }

    /// All names that can be read where a statement begins at `offset`, with their kinds.
    pub(crate) fn visible(&self, offset: u32) -> Vec<(&str, Kind)> {
        self.tables.visible_at(offset)
    }

    /// Parts, blocks or circuits that the text sees.
    pub(crate) fn shelf(&self, home: Home) -> Vec<&str> {
        self.tables.shelf_names(home)
    }

    /// The ports and parameters of a block that the text sees, in their order.
    pub(crate) fn ports(&self, block: &str) -> Option<&[(String, Kind)]> {
        self.tables.ports(block)
    }

    /// What stands inside a device made of a block: its names with their kinds.
    pub(crate) fn inside(&self, offset: u32, device: &str) -> Vec<(&str, Kind)> {
        self.tables.inside(offset, device)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::marked::open;

    /// Each name with its kind and what is done with it: `in node W`.
    fn drawn(text: &str) -> String {
        let (view, _) = open(text);
        let names = view.names();
        let line = |it: &Said| {
            let thing = &names.things[it.thing];
            let access = match it.access {
                Access::Declares => "D",
                Access::Writes => "W",
                Access::Reads => "R",
            };
            let home = match thing.key.home {
                Home::Body(body) => format!("{body}"),
                other => format!("{other:?}"),
            };
            format!(
                "{} {:?} {home} {access}",
                it.span.of(view.text()),
                thing.kind
            )
        };
        names.said.iter().map(line).collect::<Vec<_>>().join("\n")
    }

    #[test]
    fn every_name_is_found_with_what_is_done_to_it() {
        expect_test::expect![[r#"
            slow Part Parts D
            half Block Blocks D
            in Node 1 D
            out Node 1 D
            R Parameter 1 D
            in Node 1 R
            R1 Element 1 D
            R Parameter 1 R
            out Node 1 R
            k Let File D
            c Circuit Circuits D
            s Source 2 D
            a Node 2 W
            k Let File R
            half Block Blocks R
            H1 Instance 2 D
            in Node 1 R
            a Node 2 R
            out Node 1 R
            b Node 2 R
            R Parameter 1 W
            A1 Opamp 2 D
            b Node 2 R
            ground Ground 2 R
            q Node 2 W
            slow Part Parts R
            H1 Instance 2 R
            R1 Element 1 R
            c Circuit Circuits R
            x Let 3 D
            a Node 2 R
            x Let 3 R
            b Node 2 R"#]]
        .assert_eq(&drawn(
            "part slow\n  gain 5\nend\nblock half: in, out, R = 1k\n  in -- R1 (R) -- out\nend\nlet k = 2\ncircuit c\n\
             source s: a = k * 1 V\nhalf H1: in a, out b, R 2k\nopamp A1: plus b, minus ground, drives q, part slow\n\
             expect current(H1.R1) = 0\nwork \"sheet\" for c\n  let x = a\n  x = b\nend\n"
        ));
    }
}
