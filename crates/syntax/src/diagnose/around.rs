//! What other lines of a file say, looked up only where a line could not be read.

use std::cell::{Cell, OnceCell};
use std::collections::{BTreeSet, HashMap, HashSet};
use std::ops::Range;

use crate::Span;
use crate::kind::{Kind, tok};
use crate::lexer::{Cut, Tok, Token};

/// The lines of a file, as those of one circuit see them.
pub(crate) struct Around<'t> {
    text: &'t str,
    tokens: &'t [Token],
    cuts: &'t [Cut],
    /// The line that is read.
    at: Cell<usize>,
    all: OnceCell<All>,
}

struct All {
    /// What stands before the circuits and in blocks: all see it.
    common: Seen,
    /// Of each circuit its first line and what stands in it, with all that is common.
    circuits: Vec<(usize, OnceCell<Seen>)>,
}

#[derive(Clone, Default)]
struct Seen {
    /// Each with how often it stands in a path or at a pin.
    nodes: HashMap<String, usize>,
    elements: HashSet<String>,
    /// Nodes that a source or an output holds, or a current source feeds.
    held: HashSet<String>,
    /// Nodes inside blocks.
    inner: HashSet<String>,
    /// Elements, devices, sources, `let`s.
    things: HashSet<String>,
    /// What stands before a point: `S1` of `S1.mid`.
    roots: BTreeSet<String>,
    /// What claims and currents are of.
    claimed: BTreeSet<String>,
    /// What is claimed to be in a state, which only op-amps are.
    stated: BTreeSet<String>,
}

impl All {
    /// The circuit that a line stands in.
    fn own(&self, line: usize) -> Option<usize> {
        let after = self.circuits.partition_point(|it| it.0 <= line);
        after.checked_sub(1)
    }

    /// The lines of a circuit.
    fn lines(&self, circuit: usize, count: usize) -> Range<usize> {
        let end = self.circuits.get(circuit + 1).map_or(count, |it| it.0);
        self.circuits[circuit].0..end
    }
}

impl<'t> Around<'t> {
    pub(crate) fn new(text: &'t str, tokens: &'t [Token], cuts: &'t [Cut]) -> Around<'t> {
        Around {
            text,
            tokens,
            cuts,
            at: Cell::new(0),
            all: OnceCell::new(),
        }
    }

    /// From now on answers are for this line.
    pub(crate) fn enter(&self, line: usize) {
        self.at.set(line);
    }

    /// Whether a path, a pin or a source somewhere makes a node of this name.
    pub(super) fn is_node(&self, name: &str) -> bool {
        name == "ground" || self.seen().nodes.contains_key(name)
    }

    /// Whether a path somewhere has an element of this name.
    pub(super) fn is_element(&self, name: &str) -> bool {
        self.seen().elements.contains(name)
    }

    /// Whether a source somewhere holds a node of this name.
    pub(super) fn is_held(&self, name: &str) -> bool {
        name == "ground" || self.seen().held.contains(name)
    }

    /// How often paths and pins name a node.
    pub(super) fn mentions(&self, name: &str) -> usize {
        self.seen().nodes.get(name).copied().unwrap_or(0)
    }

    /// Whether an element, a device, a source or a `let` somewhere has this name.
    pub(super) fn is_a_thing(&self, name: &str) -> bool {
        self.seen().things.contains(name)
    }

    /// The one node that a single connection touches and nothing feeds.
    pub(super) fn unfed(&self) -> Option<&str> {
        let seen = self.seen();
        let alone = seen.nodes.iter().filter(|(name, count)| {
            let name = name.as_str();
            **count == 1
                && name != "ground"
                && !seen.held.contains(name)
                && !seen.inner.contains(name)
        });
        only(alone.map(|it| it.0.as_str()))
    }

    /// The one name that other lines read and nothing has: of a block's device, or of something else.
    pub(super) fn missing<'a>(&'a self, block: bool) -> Option<&'a str> {
        let seen = self.seen();
        let unknown = |name: &&str| {
            !seen.things.contains(*name) && !seen.nodes.contains_key(*name) && *name != "ground"
        };
        let alone =
            |read: &'a BTreeSet<String>| only(read.iter().map(String::as_str).filter(unknown));
        match block {
            true => alone(&seen.roots),
            false => alone(&seen.stated).or_else(|| alone(&seen.claimed)),
        }
    }

    /// Whether a name that the line can see begins with this word, which stands at `place`.
    pub(crate) fn continues(&self, word: &str, place: Span) -> bool {
        let all = self.all();
        let first = all.circuits.first().map_or(self.cuts.len(), |it| it.0);
        let own = all.own(self.at.get());
        let own = own.map_or(0..0, |it| all.lines(it, self.cuts.len()));
        let name = |(tok, span): &Token| {
            tok.is_ref() && *span != place && span.of(self.text).starts_with(word)
        };
        let mut found = false;
        self.walk(0..self.cuts.len(), |line, in_block, tokens| {
            let seen = in_block || line < first || own.contains(&line);
            found |= seen && tokens.iter().any(name);
        });
        found
    }

    fn all(&self) -> &All {
        self.all.get_or_init(|| self.look_at_all())
    }

    fn seen(&self) -> &Seen {
        let all = self.all();
        let Some(circuit) = all.own(self.at.get()) else {
            return &all.common;
        };
        all.circuits[circuit].1.get_or_init(|| {
            let mut seen = all.common.clone();
            self.walk(
                all.lines(circuit, self.cuts.len()),
                |_, in_block, tokens| {
                    if !in_block {
                        self.look(tokens, &mut seen);
                    }
                },
            );
            seen
        })
    }

    fn look_at_all(&self) -> All {
        let tokens = |cut: &Cut| &self.tokens[cut.first..cut.end];
        let opens = |cut: &Cut| Kind::opener(tokens(cut)) == Some(Kind::Circuit);
        let lines = self.cuts.iter().enumerate();
        let circuits: Vec<_> = lines
            .filter(|it| opens(it.1))
            .map(|it| (it.0, OnceCell::new()))
            .collect();
        let first = circuits.first().map_or(self.cuts.len(), |it| it.0);
        let (mut seen, mut inner) = (Seen::default(), Seen::default());
        self.walk(0..self.cuts.len(), |_, in_block, tokens| {
            if in_block {
                self.look(tokens, &mut inner);
            }
        });
        self.walk(0..first, |_, in_block, tokens| {
            if !in_block {
                self.look(tokens, &mut seen);
            }
        });
        seen.inner.extend(inner.nodes.keys().cloned());
        inner.nodes.into_iter().for_each(|(name, count)| {
            *seen.nodes.entry(name).or_default() += count;
        });
        seen.held.extend(inner.held);
        seen.elements.extend(inner.elements);
        All {
            common: seen,
            circuits,
        }
    }

    /// Tells of each line whether it stands in a block, and its tokens.
    fn walk(&self, lines: Range<usize>, mut tell: impl FnMut(usize, bool, &[Token])) {
        let mut in_block = false;
        for line in lines {
            let cut = &self.cuts[line];
            let tokens = &self.tokens[cut.first..cut.end];
            match Kind::opener(tokens) {
                Some(opener) => in_block = opener == Kind::Block,
                None => in_block &= Kind::of(tokens, None) != Kind::End,
            }
            tell(line, in_block, tokens);
        }
    }

    fn look(&self, tokens: &[Token], seen: &mut Seen) {
        let word = |at: usize| tokens[at].1.of(self.text).to_owned();
        let is_ref = |at: usize| tok(tokens, at).is_some_and(Tok::is_ref);
        let dotted = tokens.iter().filter(|(tok, _)| *tok == Tok::Dotted);
        let roots = dotted.filter_map(|(_, span)| span.of(self.text).split('.').next());
        seen.roots.extend(roots.map(str::to_owned));
        let called = |at: &usize| tok(tokens, at - 1) == Some(Tok::Call) && at + 1 < tokens.len();
        let carried = |at: &usize| matches!(word(at - 2).as_str(), "current" | "power");
        let carriers = (2..tokens.len()).filter(|at| tok(tokens, *at) == Some(Tok::Name));
        seen.claimed
            .extend(carriers.filter(called).filter(carried).map(word));
        let kind = Kind::of_statement(tokens);
        let named = matches!(
            kind,
            Kind::Device | Kind::Let | Kind::HeldSource | Kind::CurrentSource
        );
        if named && is_ref(1) {
            seen.things.insert(word(1));
        }
        match kind {
            Kind::Expect if tok(tokens, 1) == Some(Tok::Name) => {
                let state = matches!(
                    tok(tokens, 2),
                    Some(Tok::Linear | Tok::Latches | Tok::Oscillates | Tok::At | Tok::Goes)
                );
                seen.claimed.extend(state.then(|| word(1)));
                seen.stated.extend(state.then(|| word(1)));
            }
            Kind::CurrentSource => {
                let ends = (4..tokens.len()).filter(|at| {
                    is_ref(*at) && matches!(tok(tokens, at - 1), Some(Tok::From | Tok::Into))
                });
                seen.held.extend(ends.map(word));
            }
            Kind::Path => {
                let stands = |at: usize| at == 0 || tok(tokens, at - 1) == Some(Tok::Wire);
                let ends = |at: usize| matches!(tok(tokens, at + 1), None | Some(Tok::Wire));
                for at in (0..tokens.len()).filter(|at| is_ref(*at) && stands(*at)) {
                    match ends(at) {
                        true => *seen.nodes.entry(word(at)).or_default() += 1,
                        false => {
                            seen.things.insert(word(at));
                            seen.elements.insert(word(at));
                        }
                    }
                }
            }
            Kind::HeldSource => {
                let equals = tokens.iter().position(|(tok, _)| *tok == Tok::Equals);
                for at in (3..equals.unwrap_or(0)).filter(|at| is_ref(*at)) {
                    seen.nodes.entry(word(at)).or_default();
                    seen.held.insert(word(at));
                }
            }
            Kind::Device => {
                let part = |at: usize| tok(tokens, at) == Some(Tok::Part);
                let pins = |at: &usize| is_ref(*at) && is_ref(at - 1) && !part(at - 1);
                for at in (4..tokens.len()).filter(pins) {
                    *seen.nodes.entry(word(at)).or_default() += 1;
                    if word(at - 1) == "drives" {
                        seen.held.insert(word(at));
                    }
                }
            }
            _ => {}
        }
    }
}

/// The only one of several, if there is one.
fn only<'n>(mut names: impl Iterator<Item = &'n str>) -> Option<&'n str> {
    names.next().filter(|_| names.next().is_none())
}
