//! What other lines of a file say, looked up only where a line could not be read.

use std::cell::OnceCell;
use std::collections::HashSet;

use crate::kind::{Kind, tok};
use crate::lexer::{Cut, Tok, Token};

/// The lines of a file.
pub(crate) struct Around<'t> {
    text: &'t str,
    tokens: &'t [Token],
    cuts: &'t [Cut],
    seen: OnceCell<Seen>,
}

#[derive(Default)]
struct Seen {
    nodes: HashSet<String>,
    elements: HashSet<String>,
    held: HashSet<String>,
}

impl<'t> Around<'t> {
    pub(crate) fn new(text: &'t str, tokens: &'t [Token], cuts: &'t [Cut]) -> Around<'t> {
        Around {
            text,
            tokens,
            cuts,
            seen: OnceCell::new(),
        }
    }

    /// Whether a path, a pin or a source somewhere makes a node of this name.
    pub(super) fn is_node(&self, name: &str) -> bool {
        name == "ground" || self.seen().nodes.contains(name)
    }

    /// Whether a path somewhere has an element of this name.
    pub(super) fn is_element(&self, name: &str) -> bool {
        self.seen().elements.contains(name)
    }

    /// Whether a source somewhere holds a node of this name.
    pub(super) fn is_held(&self, name: &str) -> bool {
        name == "ground" || self.seen().held.contains(name)
    }

    fn seen(&self) -> &Seen {
        self.seen.get_or_init(|| {
            let mut seen = Seen::default();
            for cut in self.cuts {
                self.look(&self.tokens[cut.first..cut.end], &mut seen);
            }
            seen
        })
    }

    fn look(&self, tokens: &[Token], seen: &mut Seen) {
        let word = |at: usize| tokens[at].1.of(self.text).to_owned();
        let is_ref = |at: usize| tok(tokens, at).is_some_and(Tok::is_ref);
        match Kind::of_statement(tokens) {
            Kind::Path => {
                let stands = |at: usize| at == 0 || tok(tokens, at - 1) == Some(Tok::Wire);
                let ends = |at: usize| matches!(tok(tokens, at + 1), None | Some(Tok::Wire));
                let nodes = (0..tokens.len()).filter(|at| is_ref(*at) && stands(*at) && ends(*at));
                seen.nodes.extend(nodes.map(word));
                let elements =
                    (0..tokens.len()).filter(|at| is_ref(*at) && stands(*at) && !ends(*at));
                seen.elements.extend(elements.map(word));
            }
            Kind::HeldSource => {
                let equals = tokens.iter().position(|(tok, _)| *tok == Tok::Equals);
                for at in (3..equals.unwrap_or(0)).filter(|at| is_ref(*at)) {
                    seen.nodes.insert(word(at));
                    seen.held.insert(word(at));
                }
            }
            Kind::Device => {
                let pins = (4..tokens.len()).filter(|at| is_ref(*at) && is_ref(at - 1));
                seen.nodes.extend(pins.map(word));
            }
            _ => {}
        }
    }
}
