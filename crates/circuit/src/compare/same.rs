//! Whether two circuits are one under other names: colours are refined until each part and node is told apart by what it is
//! joined to; where several remain alike, one is tried after the other.
//!
//! The method is colour refinement with individualisation (B. Weisfeiler and A. Leman 1968, from memory).

use std::collections::{BTreeMap, HashMap};
use std::hash::{DefaultHasher, Hash, Hasher};

use super::draw::Drawing;

/// How many trials among alike parts are made before the answer is "not known to be the same".
const TRIALS: usize = 20_000;

/// Names of `b` (parts and nodes) in the words of `a`, if they are one circuit.
pub fn renaming(a: &Drawing, b: &Drawing) -> Option<BTreeMap<String, String>> {
    let (a, b) = (Graph::of(a), Graph::of(b));
    if a.names.len() != b.names.len() {
        return None;
    }
    let mut trials = TRIALS;
    let pairs = paired(&a, &b, a.colours.clone(), b.colours.clone(), &mut trials)?;
    Some(
        pairs
            .into_iter()
            .map(|(x, y)| (b.names[y].clone(), a.names[x].clone()))
            .collect(),
    )
}

struct Graph {
    names: Vec<String>,
    colours: Vec<u64>,
    /// Neighbour and the pin between.
    edges: Vec<Vec<(usize, u64)>>,
}

impl Graph {
    fn of(drawing: &Drawing) -> Graph {
        let mut graph = Graph {
            names: Vec::new(),
            colours: Vec::new(),
            edges: Vec::new(),
        };
        let mut nodes: HashMap<String, usize> = HashMap::new();
        for (name, it) in &drawing.things {
            let thing = graph.vertex(name.clone(), hash(&("thing", it.kind, &it.value)));
            for (pin, node) in &it.pins {
                let node = *nodes.entry(node.clone()).or_insert_with(|| {
                    // Ground is itself under any name.
                    graph.vertex(node.clone(), hash(&("node", node == "ground")))
                });
                let pin = hash(pin);
                graph.edges[thing].push((node, pin));
                graph.edges[node].push((thing, pin));
            }
        }
        graph
    }

    fn vertex(&mut self, name: String, colour: u64) -> usize {
        self.names.push(name);
        self.colours.push(colour);
        self.edges.push(Vec::new());
        self.names.len() - 1
    }

    /// Colours told further apart by their neighbours, until nothing changes.
    fn refined(&self, mut colours: Vec<u64>) -> Vec<u64> {
        let mut kinds = distinct(&colours);
        loop {
            let next: Vec<u64> = (0..colours.len())
                .map(|it| {
                    let mut around: Vec<(u64, u64)> = self.edges[it]
                        .iter()
                        .map(|(other, pin)| (*pin, colours[*other]))
                        .collect();
                    around.sort_unstable();
                    hash(&(colours[it], around))
                })
                .collect();
            let count = distinct(&next);
            if count == kinds {
                return next;
            }
            (colours, kinds) = (next, count);
        }
    }
}

fn paired(
    a: &Graph,
    b: &Graph,
    colours_a: Vec<u64>,
    colours_b: Vec<u64>,
    trials: &mut usize,
) -> Option<Vec<(usize, usize)>> {
    *trials = trials.checked_sub(1)?;
    // Both are refined as often as the one that needs more, so that equal colours mean equal surroundings.
    let (colours_a, colours_b) = (a.refined(colours_a), b.refined(colours_b));
    let (groups_a, groups_b) = (groups(&colours_a), groups(&colours_b));
    let alike = groups_a.len() == groups_b.len()
        && groups_a
            .iter()
            .zip(&groups_b)
            .all(|(x, y)| x.0 == y.0 && x.1.len() == y.1.len());
    if !alike {
        return None;
    }
    let open = groups_a
        .iter()
        .zip(&groups_b)
        .filter(|(x, _)| x.1.len() > 1)
        .min_by_key(|(x, _)| x.1.len());
    let Some(((_, of_a), (_, of_b))) = open else {
        let pairs: Vec<(usize, usize)> = groups_a
            .values()
            .zip(groups_b.values())
            .map(|(x, y)| (x[0], y[0]))
            .collect();
        return fits(a, b, &pairs).then_some(pairs);
    };
    let chosen = of_a[0];
    for candidate in of_b {
        let (mut colours_a, mut colours_b) = (colours_a.clone(), colours_b.clone());
        let mark = hash(&("chosen", colours_a[chosen]));
        colours_a[chosen] = mark;
        colours_b[*candidate] = mark;
        if let Some(pairs) = paired(a, b, colours_a, colours_b, trials) {
            return Some(pairs);
        }
        if *trials == 0 {
            return None;
        }
    }
    None
}

/// Whether every edge of one is an edge of the other.
fn fits(a: &Graph, b: &Graph, pairs: &[(usize, usize)]) -> bool {
    let mut map = vec![0; a.names.len()];
    pairs.iter().for_each(|(x, y)| map[*x] = *y);
    pairs.iter().all(|(x, y)| {
        let mut of_a: Vec<(usize, u64)> = a.edges[*x]
            .iter()
            .map(|(other, pin)| (map[*other], *pin))
            .collect();
        let mut of_b = b.edges[*y].clone();
        of_a.sort_unstable();
        of_b.sort_unstable();
        of_a == of_b
    })
}

fn groups(colours: &[u64]) -> BTreeMap<u64, Vec<usize>> {
    let mut groups: BTreeMap<u64, Vec<usize>> = BTreeMap::new();
    for (index, colour) in colours.iter().enumerate() {
        groups.entry(*colour).or_default().push(index);
    }
    groups
}

fn distinct(colours: &[u64]) -> usize {
    groups(colours).len()
}

fn hash(it: &impl Hash) -> u64 {
    let mut hasher = DefaultHasher::new();
    it.hash(&mut hasher);
    hasher.finish()
}
