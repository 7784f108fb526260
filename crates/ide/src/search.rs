//! Names of all texts that fit a few letters.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use crate::symbols::{Symbol, SymbolKind, symbols};
use crate::{Snapshot, View};

/// A name that fits.
#[derive(Clone, Debug)]
pub struct Found {
    /// Its text.
    pub view: Arc<View>,
    /// What it is; without what it holds.
    pub symbol: Symbol,
    /// What holds it.
    pub container: Option<String>,
}

/// A longer list helps nobody.
const MOST: usize = 500;

/// The names whose letters hold those of `query` in this order, whatever their case: best fit first. An empty query fits
/// circuits, parts and blocks.
pub fn search(snapshot: &Snapshot, query: &str, stop: &AtomicBool) -> Vec<Found> {
    let mut found: Vec<(u32, Found)> = Vec::new();
    for view in snapshot.all(stop) {
        if stop.load(Ordering::Relaxed) {
            break;
        }
        for symbol in symbols(&view) {
            visit(&view, symbol, None, query, &mut found);
        }
    }
    found.sort_by(|(a, x), (b, y)| {
        let key = |it: &Found| (it.symbol.name.len(), it.symbol.name.clone());
        b.cmp(a).then_with(|| key(x).cmp(&key(y)))
    });
    found.truncate(MOST);
    found.into_iter().map(|it| it.1).collect()
}

fn visit(
    view: &Arc<View>,
    mut symbol: Symbol,
    container: Option<&str>,
    query: &str,
    found: &mut Vec<(u32, Found)>,
) {
    let children = std::mem::take(&mut symbol.children);
    for child in children {
        visit(view, child, Some(&symbol.name), query, found);
    }
    let outer = matches!(
        symbol.kind,
        SymbolKind::Circuit | SymbolKind::Part | SymbolKind::Block
    );
    // A claim's words are no name.
    if symbol.kind == SymbolKind::Claim || (query.is_empty() && !outer) {
        return;
    }
    if let Some(fit) = fit(&symbol.name, query) {
        let container = container.map(str::to_owned);
        found.push((
            fit,
            Found {
                view: view.clone(),
                symbol,
                container,
            },
        ));
    }
}

/// How well a name fits: letters in a row and at the beginning of a word count more. `None`: not at all.
fn fit(name: &str, query: &str) -> Option<u32> {
    let letters: Vec<char> = name.chars().flat_map(char::to_lowercase).collect();
    let mut score = 0;
    let mut at = 0;
    let mut row = 0;
    for wanted in query
        .chars()
        .filter(|it| !it.is_whitespace())
        .flat_map(char::to_lowercase)
    {
        let next = letters[at..].iter().position(|it| *it == wanted)? + at;
        row = if next == at && at > 0 { row + 1 } else { 0 };
        let begins = next == 0 || matches!(letters[next - 1], '_' | '.');
        score += 1 + 2 * row + if begins { 5 } else { 0 };
        at = next + 1;
    }
    Some(score)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Workspace;

    #[test]
    fn letters_in_order_fit_and_words_begin_best() {
        assert!(fit("moisture_scaler", "mosc").is_some());
        assert_eq!(fit("moisture_scaler", "scm"), None);
        assert!(fit("probe_scaler", "ps") > fit("lamps", "ps"));
        assert!(fit("sum", "SUM") > fit("s_u_xm", "sum"));
    }

    #[test]
    fn all_texts_are_searched() {
        let mut workspace = Workspace::default();
        workspace.open("a.amp", 1, "circuit bed\nsource probe: in = 1 V\n");
        workspace.open(
            "b.amp",
            1,
            "part brisk\nend\ncircuit pump\nsource s: in = 1 V\n",
        );
        let names = |query: &str| {
            let found = search(&workspace.snapshot(), query, &AtomicBool::new(false));
            found
                .iter()
                .map(|it| {
                    format!(
                        "{} {}",
                        it.symbol.name,
                        it.container.as_deref().unwrap_or("")
                    )
                })
                .collect::<Vec<_>>()
        };
        assert_eq!(names("prb"), ["probe bed"]);
        assert_eq!(names("in"), ["in bed", "in pump"]);
        assert_eq!(names(""), ["bed ", "pump ", "brisk "]);
        assert_eq!(names("xyz"), Vec::<String>::new());
    }
}
