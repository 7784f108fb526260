//! The fenced blocks of a page, and what their first line says of them.
//!
//! | first line | the block is | it is held to |
//! |---|---|---|
//! | `amp` | a whole file | no finding but `not_built`; every claim holds or waits for that; canonical form |
//! | `amp finding=RULE` | a whole file | exactly one finding of that rule, and `not_built` |
//! | `amp spelling` | a whole file in other spellings | as `amp`, but for the form |
//! | `amp file=NAME` | a whole file | as `amp`; the page's later blocks can `use` it |
//! | `amp part` | a fragment | nothing |
//! | `text from=COMMAND` | what the command prints on the block of circuits above | every line is one that the facts give |

/// A fenced block.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Fence<'t> {
    /// The first word after the fence: `amp`, `text`, `toml`.
    pub language: &'t str,
    /// The other words: `finding=swing`, `part`.
    pub notes: Vec<&'t str>,
    /// The lines between the fences.
    pub text: &'t str,
    /// The line of the page that opens it, from 1.
    pub line: usize,
}

impl<'t> Fence<'t> {
    /// What follows `key=`.
    pub fn note(&self, key: &str) -> Option<&'t str> {
        self.notes
            .iter()
            .find_map(|it| it.strip_prefix(key)?.strip_prefix('='))
    }

    /// Whether it is marked with this word.
    pub fn is(&self, mark: &str) -> bool {
        self.notes.contains(&mark)
    }
}

/// The fenced blocks of a Markdown text, in order. A block without an end goes on to the end of the text.
pub fn fences(text: &str) -> Vec<Fence<'_>> {
    const FENCE: &str = "```";
    let mut fences: Vec<Fence> = Vec::new();
    let mut open: Option<usize> = None;
    let mut at = 0;
    for (index, line) in text.split_inclusive('\n').enumerate() {
        let next = at + line.len();
        match (open, line.trim_end().strip_prefix(FENCE)) {
            (None, Some(first)) => {
                let mut words = first.split_whitespace();
                fences.push(Fence {
                    language: words.next().unwrap_or_default(),
                    notes: words.collect(),
                    text: &text[next..],
                    line: index + 1,
                });
                open = Some(next);
            }
            (Some(start), Some("")) => {
                if let Some(last) = fences.last_mut() {
                    last.text = &text[start..at];
                }
                open = None;
            }
            _ => {}
        }
        at = next;
    }
    fences
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_block_is_its_lines_with_what_its_first_line_says() {
        let text = "a\n```amp finding=swing part\nx\n```\nb\n```\n```\n```text\nopen";
        let found = fences(text);
        let shown: Vec<_> = found
            .iter()
            .map(|it| (it.language, it.text, it.line))
            .collect();
        assert_eq!(shown, [("amp", "x\n", 2), ("", "", 6), ("text", "open", 8)]);
        assert_eq!(found[0].note("finding"), Some("swing"));
        assert!(found[0].is("part") && !found[0].is("finding"));
    }
}
