//! A `let`, part or block that nothing uses, in a file with circuits.

use std::collections::{BTreeMap, HashSet};

use circuit::{Book, FaultKind};
use syntax::{FileId, Place, Span, StatementKind, Tree};

use crate::{Check, Finding, Rule, Severity};

/// The rule.
pub const RULE: Rule = Rule {
    name: "unused",
    severity: Severity::Hint,
    doc: DOC,
    check: Check::Book(check),
};

const DOC: &str = "\
A `let`, a part or a block that nothing uses is most often left over from an earlier version, or the place that should use it
has another name. A file of parts and blocks alone, made for other files, is left in peace.
# Wrong
    let Rstock = 4.7k
    source probe: in = 1 V
    in -- R1 4.7k -- ground
# Right
    let Rstock = 4.7k
    source probe: in = 1 V
    in -- R1 (Rstock) -- ground
";

fn check(book: &Book, findings: &mut Vec<Finding>) {
    let Some(file) = book.files.first().filter(|_| !book.circuits.is_empty()) else {
        return;
    };
    // what another finding offers as the right name is not called unused as well
    let offered = book.faults.iter().flat_map(|it| match &it.kind {
        FaultKind::UnknownName { nearest, also, .. } => {
            nearest.iter().chain(also).map(String::as_str).collect()
        }
        FaultKind::UnknownWord { nearest, .. } => nearest.iter().map(String::as_str).collect(),
        _ => Vec::new(),
    });
    let perhaps: HashSet<&str> = file
        .tree
        .statements
        .iter()
        .flat_map(|it| broken_names(&it.kind, &file.text))
        .chain(offered)
        .chain(names_beside_faults(book))
        .collect();
    let in_blocks: HashSet<&str> = names_in_blocks(book).collect();
    for (what, name, place) in lets(book)
        .into_iter()
        .chain(parts(book))
        .chain(blocks(&file.tree, &file.text))
    {
        let told = what == "`let`" && in_blocks.contains(name.as_str());
        if !told && !perhaps.contains(name.as_str()) && findings.len() < crate::MOST_OF_A_RULE {
            findings.push(unused(what, name, place));
        }
    }
}

fn unused(what: &str, name: String, place: Place) -> Finding {
    let message = format!("nothing uses the {what} `{name}`");
    let help =
        "Use it, or take the line out. Perhaps the place that should use it has another name."
            .to_string();
    let finding = Finding::new(RULE.name, RULE.severity, place, message, help);
    Finding {
        unnecessary: true,
        ..finding.about([name])
    }
}

/// A file-wide `let` belongs to all its circuits: it is unused if it is so in each.
fn lets(book: &Book) -> Vec<(&'static str, String, Place)> {
    let tell = |name: &str, place: Place| ("`let`", name.to_string(), place);
    if let [alone] = &book.circuits[..] {
        let unused = alone.lets.iter().filter(|it| it.uses.is_empty());
        let unused = unused.filter(|it| it.place.file == FileId(0));
        return unused.map(|it| tell(&it.name, it.place)).collect();
    }
    let mut lets: BTreeMap<Place, (&str, bool)> = BTreeMap::new();
    for it in book.circuits.iter().flat_map(|it| &it.lets) {
        let (_, used) = lets.entry(it.place).or_insert((&it.name, false));
        *used |= !it.uses.is_empty();
    }
    let unused = lets
        .into_iter()
        .filter(|(place, (_, used))| place.file == FileId(0) && !used);
    unused.map(|(place, (name, _))| tell(name, place)).collect()
}

fn parts(book: &Book) -> Vec<(&'static str, String, Place)> {
    let unused = book.parts.iter().filter(|it| {
        it.place.file == FileId(0) && !it.place.span.of(&book.files[0].text).is_empty()
    });
    let unused =
        unused.filter(|it| it.uses.is_empty() && it.place.span.of(&book.files[0].text) == it.name);
    unused
        .map(|it| ("part", it.name.clone(), it.place))
        .collect()
}

fn blocks(tree: &Tree, text: &str) -> Vec<(&'static str, String, Place)> {
    let normal = |name: Span| syntax::normal(name.of(text)).into_owned();
    let used: HashSet<String> = tree
        .statements
        .iter()
        .filter_map(|it| match &it.kind {
            StatementKind::Device(device) => Some(normal(device.kind)),
            _ => None,
        })
        .collect();
    let blocks = tree.statements.iter().filter_map(|it| match &it.kind {
        StatementKind::Block { name, .. } => Some(*name),
        _ => None,
    });
    let unused = blocks.filter(|it| !used.contains(&normal(*it)));
    unused
        .map(|it| {
            (
                "block",
                normal(it),
                Place {
                    file: FileId(0),
                    span: it,
                },
            )
        })
        .collect()
}

/// A `let` that a block reads is used, or told with the block.
fn names_in_blocks(book: &Book) -> impl Iterator<Item = &str> {
    let file = &book.files[0];
    let bodies = file.tree.bodies.iter();
    let bodies = bodies.filter(|it| it.kind == syntax::BodyKind::Block);
    let statements = bodies.flat_map(|it| it.inside.iter().chain([&it.head]));
    statements.flat_map(|id| {
        let names = file.tree.statement(*id).names();
        names.into_iter().map(|(name, _)| name.of(&file.text))
    })
}

/// What stands in a line with a mistake is perhaps used there.
fn names_beside_faults(book: &Book) -> Vec<&str> {
    let file = &book.files[0];
    let related = |it: &circuit::Fault| it.related.iter().map(|it| it.0).collect::<Vec<_>>();
    let places = book
        .faults
        .iter()
        .flat_map(|it| [vec![it.place], related(it)].concat());
    let own = places.filter(|it| it.file == FileId(0));
    let ids = own.filter_map(|it| file.tree.statement_at(it.span.start));
    let names = ids.flat_map(|id| file.tree.statement(id).names());
    names.map(|(name, _)| name.of(&file.text)).collect()
}

fn broken_names<'t>(kind: &StatementKind, text: &'t str) -> Vec<&'t str> {
    match kind {
        StatementKind::Broken(broken) => broken.names.iter().map(|it| it.of(text)).collect(),
        _ => Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::tests::report;

    #[test]
    fn what_nothing_uses() {
        report(
            r#"
part slow_one
  gain 5000
end
let tray = 3
block divider: in, out
  in -- R1 10k -- out -- R2 10k -- ground
end
circuit c
let a = 2
let b = 3
source probe: in = b * 1 V
in -- R1 10k -- ground
"#,
            expect![[r#"
                hint: unused at `slow_one`
                  nothing uses the part `slow_one`
                  Use it, or take the line out. Perhaps the place that should use it has another name.
                hint: unused at `tray`
                  nothing uses the `let` `tray`
                  Use it, or take the line out. Perhaps the place that should use it has another name.
                hint: unused at `divider`
                  nothing uses the block `divider`
                  Use it, or take the line out. Perhaps the place that should use it has another name.
                hint: unused at `a`
                  nothing uses the `let` `a`
                  Use it, or take the line out. Perhaps the place that should use it has another name.
            "#]],
        );
    }

    #[test]
    fn a_name_in_a_broken_line_is_perhaps_used() {
        report(
            r#"
let tray = 3
source probe: in = 1 V
in -- R1 10k -- ground
in -- R2 (tray * 1k -- ground
"#,
            expect![[r#"
                error: wire_in_equation at `--`
                  `--` stands inside an expression
                  Two dashes join a path. Close the brackets before the path goes on; to take away a negative number, write `a - (-b)`.
                  fix: write `(tray * 1k) --`: in -- R2 (tray * 1k) -- ground
            "#]],
        );
    }
}
