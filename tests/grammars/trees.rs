//! Tree-sitter's trees: an error on exactly the statements that the parser could not read, and no bad line spoils the next.

use std::collections::{BTreeMap, BTreeSet};

use syntax::{
    Body, BodyKind, ClassedToken, Fault, FaultKind, Span, Statement, StatementId, StatementKind,
    TokenClass, Tree,
};
use tree_sitter::{Node, Query, QueryCursor, StreamingIterator};

use crate::generate;
use crate::random::{Random, seed};
use crate::texts::{Text, damaged, samples, tables};

pub struct Parser(tree_sitter::Parser);

impl Parser {
    pub fn new() -> Self {
        let mut parser = tree_sitter::Parser::new();
        parser
            .set_language(&tree_sitter_ampersum::LANGUAGE.into())
            .expect("the runtime reads the committed parser");
        Self(parser)
    }

    pub fn parse(&mut self, text: &str) -> tree_sitter::Tree {
        self.0.parse(text, None).expect("nothing stops it")
    }
}

/// The rows that errors and missing tokens stand on.
fn error_rows(tree: &tree_sitter::Tree) -> BTreeSet<usize> {
    let mut rows = BTreeSet::new();
    let mut nodes = vec![tree.root_node()];
    while let Some(node) = nodes.pop() {
        if node.is_error() || node.is_missing() {
            rows.extend(rows_of(node));
        } else if node.has_error() {
            nodes.extend((0..node.child_count()).filter_map(|index| node.child(index)));
        }
    }
    rows
}

/// An error that ends where a line begins has nothing of that line.
fn rows_of(node: Node) -> std::ops::RangeInclusive<usize> {
    let (start, end) = (node.start_position(), node.end_position());
    let last = if end.column == 0 && end.row > start.row {
        end.row - 1
    } else {
        end.row
    };
    start.row..=last
}

/// Why the two may judge a statement differently: what only the server can judge.
fn only_the_server_tells(
    text: &str,
    tree: &Tree,
    id: StatementId,
    fault: Option<&Fault>,
) -> Option<&'static str> {
    if !matches!(tree.statement(id).kind, StatementKind::Broken(_)) {
        return read_otherwise(text, tree, id);
    }
    let words = || tree.statement(id).span.of(text).split_whitespace();
    match &fault?.kind {
        FaultKind::WrongPlace { .. } => Some("a line that cannot stand in its body"),
        FaultKind::NewerVersion => Some("a version to come"),
        FaultKind::TooBig(_) => Some("a limit that is passed"),
        FaultKind::SourceForm if words().any(|it| it == "ground") => Some("ground left of ="),
        FaultKind::BareEquation if behind_an_open(BodyKind::Work, tree, id) => {
            Some("an equation behind a sheet that a statement closed")
        }
        FaultKind::Expected { what, .. } if what.contains("its word in front") => {
            Some("the nodes of a switch without their words")
        }
        _ => None,
    }
}

/// Why a sound statement may be read as something else.
fn read_otherwise(text: &str, tree: &Tree, id: StatementId) -> Option<&'static str> {
    let statement = tree.statement(id);
    let mut words = statement.span.of(text).split_whitespace();
    let is_property = matches!(statement.kind, StatementKind::Property(_));
    if in_a_misspelt_body(tree, id) {
        Some("the body of a misspelt head")
    } else if behind_an_open(BodyKind::Part, tree, id) {
        Some("a line behind a part without its end that might be a property")
    } else if behind_an_open(BodyKind::Work, tree, id)
        && words
            .clone()
            .nth(1)
            .is_some_and(|it| it.starts_with(['+', '-', '−', '(']))
    {
        Some("a line behind a sheet without its end that might be an equation")
    } else if is_property && words.next().is_some_and(|it| STATEMENT_WORDS.contains(&it)) {
        Some("a property called like a statement")
    } else if is_property && words.last() == Some("to") {
        Some("a value called `to` in a property")
    } else {
        None
    }
}

/// First words of statements that a part's properties may have too.
const STATEMENT_WORDS: [&str; 12] = [
    "ampersum", "opamps", "start", "expect", "problem", "ask", "answer", "find", "vary", "require",
    "record", "response",
];

/// Whether the head of a statement's part or block cannot be read, though the rest of the file says that one was meant.
fn in_a_misspelt_body(tree: &Tree, id: StatementId) -> bool {
    tree.bodies.iter().any(|body| {
        let head = tree.statement(body.head);
        let misspelt = matches!(head.kind, StatementKind::Broken(_))
            && matches!(body.kind, BodyKind::Part | BodyKind::Block);
        let no_head = |it: &Fault| matches!(it.kind, FaultKind::NotAStatement(Some(_)));
        let misspelt = misspelt || tree.faults.iter().any(|it| no_head(it) && of(head, it));
        misspelt && (body.end == Some(id) || body.inside.contains(&id))
    })
}

/// The tokens that a grammar can be held to: not those of broken statements, of which the parser says only the first word,
/// nor those that a grammar may read as something else.
pub fn sound_tokens(text: &str) -> Vec<ClassedToken> {
    let tree = syntax::parse(text);
    let left_out: Vec<Span> = tree
        .ids()
        .filter(|(id, it)| {
            matches!(it.kind, StatementKind::Broken(_))
                || read_otherwise(text, &tree, *id).is_some()
        })
        .map(|(_, it)| it.span)
        .collect();
    let tokens = syntax::tokens(text).into_iter();
    let is_held_to = |token: &ClassedToken| {
        let mut left_out = left_out.iter();
        !left_out.any(|it| it.start <= token.span.start && token.span.end <= it.end)
    };
    tokens.filter(is_held_to).collect()
}

fn behind_an_open(kind: BodyKind, tree: &Tree, id: StatementId) -> bool {
    let open = |it: &&Body| it.kind == kind && it.end.is_none();
    tree.bodies.iter().filter(open).any(|it| it.head < id)
}

fn of(statement: &Statement, fault: &Fault) -> bool {
    statement.span.start <= fault.span.start && fault.span.end <= statement.span.end
}

/// Compares a text's errors; what differs for a reason is counted under it.
#[derive(Default)]
struct Comparison {
    statements: usize,
    broken: usize,
    explained: BTreeMap<&'static str, usize>,
}

impl Comparison {
    fn compare(&mut self, parser: &mut Parser, name: &str, text: &str) {
        let rows = error_rows(&parser.parse(text));
        let tree = syntax::parse(text);
        let row = |at: u32| text[..at as usize].matches('\n').count();
        for (id, statement) in tree.ids() {
            let (first, last) = (row(statement.span.start), row(statement.span.end));
            let errs = rows.range(first..=last).next().is_some();
            let broken = matches!(statement.kind, StatementKind::Broken(_));
            self.statements += 1;
            self.broken += usize::from(broken);
            if errs == broken {
                continue;
            }
            let fault = tree.faults.iter().find(|it| of(statement, it));
            match only_the_server_tells(text, &tree, id, fault) {
                Some(reason) => *self.explained.entry(reason).or_default() += 1,
                None => panic!(
                    "{name}, line {}: the parser finds it {}, tree-sitter does not ({:?}):\n{}\n\nin\n{text}",
                    first + 1,
                    if broken { "broken" } else { "sound" },
                    fault.map(|it| it.kind.id()),
                    statement.span.of(text),
                ),
            }
        }
    }

    /// At most this share of the statements, in thousandths, may differ for a reason.
    #[track_caller]
    fn agree(&self, most: usize) {
        let explained: usize = self.explained.values().sum();
        println!(
            "{} statements, {} broken; only the server tells: {:?}",
            self.statements, self.broken, self.explained
        );
        assert!(
            explained * 1000 <= self.statements * most,
            "{:?}",
            self.explained
        );
    }
}

#[test]
fn sound_samples_have_no_error() {
    let mut parser = Parser::new();
    for sample in samples() {
        let tree = parser.parse(&sample.text);
        assert!(
            !tree.root_node().has_error(),
            "{}: {}",
            sample.name,
            tree.root_node().to_sexp()
        );
    }
}

#[test]
fn the_tables_of_what_goes_wrong_err_where_the_parser_does() {
    let mut parser = Parser::new();
    let mut comparison = Comparison::default();
    for table in tables() {
        comparison.compare(&mut parser, &table.name, &table.text);
    }
    assert!(
        comparison.broken >= 130,
        "{} broken statements",
        comparison.broken
    );
    comparison.agree(100);
}

#[test]
fn each_line_of_the_tables_alone_errs_where_the_parser_does() {
    let mut parser = Parser::new();
    let mut comparison = Comparison::default();
    for table in tables() {
        for line in table.text.lines() {
            comparison.compare(&mut parser, &table.name, line);
            let between = format!("in -- R0 1k -- sum\n{line}\nfind sum, in\n");
            comparison.compare(&mut parser, &table.name, &between);
        }
    }
    comparison.agree(100);
}

#[test]
fn generated_files_have_no_error() {
    let mut parser = Parser::new();
    let mut comparison = Comparison::default();
    let mut random = Random::new(seed(7));
    for _ in 0..1_500 {
        let text = generate::file(&mut random);
        comparison.compare(&mut parser, "generated", &text);
    }
    assert!(comparison.statements > 10_000 && comparison.broken * 100 < comparison.statements);
    comparison.agree(0);
}

#[test]
fn a_damaged_line_errs_alone() {
    let mut parser = Parser::new();
    let mut comparison = Comparison::default();
    let mut random = Random::new(seed(11));
    let samples = samples();
    for _ in 0..3_000 {
        let text = if random.chance(70) {
            damaged(&random.pick(&samples).text, &mut random)
        } else {
            let file = generate::file(&mut random);
            damaged(&file, &mut random)
        };
        comparison.compare(&mut parser, "damaged", &text);
    }
    assert!(comparison.broken >= 1_000);
    comparison.agree(15);
}

#[test]
fn an_edit_gives_the_tree_of_the_text_as_it_is_then() {
    let mut parser = Parser::new();
    let mut random = Random::new(seed(13));
    let samples = samples();
    for _ in 0..400 {
        let text = &random.pick(&samples).text;
        let edited = damaged(text, &mut random) + "\n";
        let same = text
            .bytes()
            .zip(edited.bytes())
            .take_while(|(a, b)| a == b)
            .count();
        let same = (0..=same)
            .rev()
            .find(|at| text.is_char_boundary(*at) && edited.is_char_boundary(*at));
        let start = same.unwrap_or_default();
        let mut old = parser.parse(text);
        old.edit(&tree_sitter::InputEdit {
            start_byte: start,
            old_end_byte: text.len(),
            new_end_byte: edited.len(),
            start_position: point(text, start),
            old_end_position: point(text, text.len()),
            new_end_position: point(&edited, edited.len()),
        });
        let again = parser
            .0
            .parse(&edited, Some(&old))
            .expect("nothing stops it");
        let fresh = parser.parse(&edited);
        assert_eq!(
            again.root_node().to_sexp(),
            fresh.root_node().to_sexp(),
            "{edited}"
        );
    }
}

fn point(text: &str, at: usize) -> tree_sitter::Point {
    let line = text[..at].rfind('\n').map_or(0, |it| it + 1);
    tree_sitter::Point::new(text[..at].matches('\n').count(), at - line)
}

#[test]
fn colours_agree_with_the_parser() {
    let language = tree_sitter_ampersum::LANGUAGE.into();
    let query = Query::new(&language, tree_sitter_ampersum::HIGHLIGHTS).expect("a sound query");
    let mut parser = Parser::new();
    let mut random = Random::new(seed(17));
    let samples = samples();
    let mut texts = tables();
    for _ in 0..300 {
        let text = generate::file(&mut random);
        texts.push(Text {
            name: "damaged".into(),
            text: damaged(&text, &mut random),
        });
        texts.push(Text {
            name: "generated".into(),
            text,
        });
        let text = damaged(&random.pick(&samples).text, &mut random);
        texts.push(Text {
            name: "damaged".into(),
            text,
        });
    }
    texts.extend(samples);
    let mut tokens = 0;
    for Text { name, text } in texts {
        let tree = parser.parse(&text);
        let mut captured = BTreeMap::new();
        let mut cursor = QueryCursor::new();
        let mut found = cursor.captures(&query, tree.root_node(), text.as_bytes());
        while let Some((found, index)) = found.next() {
            let capture = found.captures[*index];
            let class = class_of(query.capture_names()[capture.index as usize]);
            captured.insert(capture.node.start_byte(), class);
        }
        for token in sound_tokens(&text) {
            tokens += 1;
            let start = token.span.start as usize;
            let class = captured.get(&start).copied().unwrap_or(TokenClass::Name);
            let word = token.span.of(&text);
            assert!(
                class == token.class || is_explained(word, token.class, class),
                "{name}: `{word}` at {start} is {:?} and coloured as {class:?} in\n{text}",
                token.class
            );
        }
    }
    assert!(tokens > 100_000, "{tokens} tokens");
}

/// What only the server sees in a sound line.
pub fn is_explained(token: &str, should: TokenClass, is: TokenClass) -> bool {
    match (should, is) {
        // It stands above no statement: the next line goes on from the one before, or an empty line parts it from more.
        (TokenClass::Comment, TokenClass::Description) => token.starts_with("##"),
        // An element or a device is called so, which nothing can be.
        (TokenClass::Word, TokenClass::Name) => token == "ground",
        _ => false,
    }
}

fn class_of(capture: &str) -> TokenClass {
    match capture {
        "keyword" | "constant.builtin" | "property" => TokenClass::Word,
        "function" => TokenClass::Function,
        "number" | "constant.numeric" => TokenClass::Number,
        "string" => TokenClass::Text,
        "operator" | "punctuation.delimiter" | "punctuation.bracket" => TokenClass::Sign,
        "comment" => TokenClass::Comment,
        "comment.documentation" => TokenClass::Description,
        "type" | "variable.parameter" => TokenClass::Name,
        "error" => TokenClass::Error,
        other => panic!("a capture of no class: {other}"),
    }
}

#[test]
fn the_other_queries_are_sound() {
    let language = tree_sitter_ampersum::LANGUAGE.into();
    for query in [tree_sitter_ampersum::FOLDS, tree_sitter_ampersum::INDENTS] {
        Query::new(&language, query).expect("a sound query");
    }
}
