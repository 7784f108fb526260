//! Every place of a text that says a name, and what it does with it.

use circuit::Book;
use syntax::{Argument, NameRole, PathItem, SourceForm, Span, Statement, StatementKind, normal};

use teaching::words;

use super::scopes::{Scope, Tables};
use super::{Access, Home, Key, Kind, Names, Said, Thing};

/// The names that the first file of a book says.
pub(super) fn read(book: &Book, tables: &Tables) -> Names {
    let Some(file) = book.files.first() else {
        return Names::default();
    };
    let mut reader = Reader {
        text: &file.text,
        tables,
        names: Names::default(),
        broken: false,
    };
    for (id, statement) in file.tree.ids() {
        let table = &tables.files[0];
        let inside = table.opened_by(id);
        reader.statement(statement, (0, table.home[id.0 as usize]), inside);
    }
    reader.names.said.sort_unstable_by_key(|it| it.span.start);
    reader.names
}

struct Reader<'t> {
    text: &'t str,
    tables: &'t Tables,
    names: Names,
    broken: bool,
}

/// Where a name is looked up.
#[derive(Clone, Copy)]
enum In {
    /// Among the names that a line sees.
    Scope(Scope),
    /// Among parts, blocks or circuits.
    Shelf(Home),
}

impl Reader<'_> {
    fn statement(&mut self, statement: &Statement, scope: Scope, inside: Option<Home>) {
        self.broken = matches!(statement.kind, StatementKind::Broken(_));
        let special = self.special(statement, scope, inside);
        let around = In::Scope(scope);
        for (span, role) in statement.names() {
            match role {
                NameRole::Thing => {
                    if self.broken && self.is_word(statement, span) {
                        continue;
                    }
                    let known = special.iter().find(|it| it.0 == span);
                    let (_, place, access) =
                        known.copied().unwrap_or((span, around, Access::Reads));
                    self.name(span, place, access);
                }
                NameRole::DeviceKind => self.name(span, In::Shelf(Home::Blocks), Access::Reads),
                NameRole::Clause => {
                    if let Some((_, place, access)) = special.iter().find(|it| it.0 == span) {
                        self.name(span, *place, *access);
                    }
                }
                NameRole::Property | NameRole::Function | NameRole::Rule | NameRole::Series => {}
            }
        }
    }

    /// The names of a statement that are not merely read where they stand.
    fn special(
        &self,
        statement: &Statement,
        scope: Scope,
        inside: Option<Home>,
    ) -> Vec<(Span, In, Access)> {
        let around = In::Scope(scope);
        let mut all = Vec::new();
        match &statement.kind {
            StatementKind::Part(name) => {
                all.push((*name, In::Shelf(Home::Parts), Access::Declares));
            }
            StatementKind::OpampsAre(name) => {
                all.push((*name, In::Shelf(Home::Parts), Access::Reads));
            }
            StatementKind::Circuit { name, .. } => {
                all.push((*name, In::Shelf(Home::Circuits), Access::Declares));
            }
            StatementKind::Work { circuit, .. } => {
                let circuit = circuit.map(|it| (it, In::Shelf(Home::Circuits), Access::Reads));
                all.extend(circuit);
            }
            StatementKind::Block { name, ports } => {
                all.push((*name, In::Shelf(Home::Blocks), Access::Declares));
                let inside = inside.map_or(around, |it| In::Scope((scope.0, it)));
                all.extend(ports.iter().map(|it| (it.name, inside, Access::Declares)));
            }
            StatementKind::Path(items) => {
                for item in items {
                    if let PathItem::Element(it) = item {
                        all.push((it.name, around, Access::Declares));
                    }
                }
            }
            StatementKind::Source(source) => {
                all.push((source.name, around, Access::Declares));
                let nodes = match source.form {
                    SourceForm::Held { plus, minus } => [Some(plus), minus],
                    SourceForm::Current { from, into } => [Some(from), Some(into)],
                };
                let nodes = nodes.into_iter().flatten();
                all.extend(nodes.map(|it| (it, around, Access::Writes)));
            }
            StatementKind::Device(device) => {
                all.push((device.name, around, Access::Declares));
                let kind = normal(device.kind.of(self.text));
                let block = self.tables.block(scope.0, &kind);
                for clause in &device.clauses {
                    let word = normal(clause.word.of(self.text));
                    let port = block.and_then(|(inside, ports)| {
                        let port = ports.iter().find(|it| it.0 == word)?;
                        Some((inside, port.1))
                    });
                    if let Some((inside, kind)) = port {
                        let access = match kind {
                            Kind::Parameter => Access::Writes,
                            _ => Access::Reads,
                        };
                        all.push((clause.word, In::Scope(inside), access));
                    }
                    if let Argument::Name(name) = clause.argument {
                        all.push(match &*word {
                            "part" if port.is_none() => {
                                (name, In::Shelf(Home::Parts), Access::Reads)
                            }
                            "drives" if block.is_none() => (name, around, Access::Writes),
                            _ => (name, around, Access::Reads),
                        });
                    }
                }
            }
            StatementKind::Let { name, .. } => all.push((*name, around, Access::Declares)),
            _ => {}
        }
        all
    }

    /// Whether a word in a line that cannot be read is rather one of the language: its first, or a clause's.
    fn is_word(&self, statement: &Statement, span: Span) -> bool {
        let (word, behind) = (span.of(self.text), &self.text[span.range().end..]);
        let begins = span.start == statement.span.start && !behind.trim_start().starts_with('-');
        let is_in = |table: &[words::Word]| words::meaning(table, word).is_some();
        begins && (is_in(words::STATEMENTS) || is_in(words::DEVICES))
            || syntax::CLAUSES.contains(&word)
    }

    /// Notes a name, of `F1.mid` each of its words.
    fn name(&mut self, span: Span, place: In, access: Access) {
        let words = span.of(self.text);
        let mut start = span.start;
        let mut place = place;
        let last = words.split('.').count() - 1;
        for (index, word) in words.split('.').enumerate() {
            let own = Span {
                start,
                end: start + word.len() as u32,
            };
            start = own.end + 1;
            let access = if index == last { access } else { Access::Reads };
            let Some((scope, block)) = self.word(own, word, place, access) else {
                return;
            };
            let inside = block.and_then(|it| self.tables.block(scope.0, &it));
            let Some((inside, _)) = inside else { return };
            place = In::Scope(inside);
        }
    }

    /// Notes one word; gives its home, and the block that it is made of.
    fn word(
        &mut self,
        span: Span,
        word: &str,
        place: In,
        access: Access,
    ) -> Option<(Scope, Option<String>)> {
        let name = normal(word).into_owned();
        if name == "ground" {
            let In::Scope(scope) = place else { return None };
            let kind = Kind::Ground;
            self.note(span, scope, name, kind, access);
            return None;
        }
        let (scope, declared) = match place {
            In::Scope(scope) => self.tables.find(scope, &name)?,
            In::Shelf(home) => self.tables.on_shelf(0, home, &name)?,
        };
        let (kind, first, block) = (declared.kind, declared.first, declared.block.clone());
        // The first place of a node brings it into being, but nothing more than that; a second declaration is none.
        let access = match access {
            Access::Declares if scope.0 != 0 || first != span => Access::Reads,
            other => other,
        };
        self.note(span, scope, name, kind, access);
        Some((scope, block))
    }

    fn note(&mut self, span: Span, (file, home): Scope, name: String, kind: Kind, access: Access) {
        let key = Key {
            file: self.tables.files[file].path.clone(),
            home,
            name,
        };
        let things = &mut self.names.things;
        let thing = *self.names.ids.entry(key).or_insert_with_key(|key| {
            things.push(Thing {
                key: key.clone(),
                kind,
            });
            things.len() - 1
        });
        self.names.said.push(Said {
            span,
            thing,
            access,
            broken: self.broken,
        });
    }
}
