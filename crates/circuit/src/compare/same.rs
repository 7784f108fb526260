//! Which part of one circuit is which of another, whatever their names: colours are refined until each part and node is
//! told apart by what it is joined to; where several remain alike, one is tried after the other. Where the circuits differ,
//! what has the same surroundings in both is taken first, then what hangs on that.
//!
//! The method is colour refinement with individualisation (B. Weisfeiler and A. Leman 1968, from memory).

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::hash::{DefaultHasher, Hash, Hasher};

use super::draw::Drawing;

/// How many trials among alike parts are made before the circuits count as different ones.
const TRIALS: usize = 20_000;

/// How many colours are mixed in the search for what is the same in two different circuits.
const WORK: usize = 20_000_000;

/// Names of `b` (parts and nodes) in the words of `a`. What is found in `b` alone keeps its name, marked as new where `a`
/// has something else under it.
pub fn renaming(a: &Drawing, b: &Drawing) -> BTreeMap<String, String> {
    let (a, b) = (Graph::of(a), Graph::of(b));
    let mut trials = if a.names.len() == b.names.len() {
        TRIALS
    } else {
        0
    };
    let pairs = paired(&a, &b, a.whole(), b.whole(), &mut trials);
    let pairs = pairs.unwrap_or_else(|| Search::new(&a, &b).pairs());
    let taken: BTreeSet<&String> = a.names.iter().collect();
    let mut partners = vec![None; b.names.len()];
    pairs.into_iter().for_each(|(x, y)| partners[y] = Some(x));
    let named = b.names.iter().zip(partners).map(|(name, partner)| {
        let other = match partner {
            Some(x) => a.names[x].clone(),
            None if taken.contains(name) => format!("{name} (new)"),
            None => name.clone(),
        };
        (name.clone(), other)
    });
    named.collect()
}

struct Graph {
    names: Vec<String>,
    /// What each is, whatever its value: a resistor, a node, ground.
    kinds: Vec<u64>,
    /// Its value.
    values: Vec<u64>,
    is_node: Vec<bool>,
    /// Where it stands in the text, of a node its first part.
    places: Vec<u32>,
    /// Neighbour and the pin between.
    edges: Vec<Vec<(usize, u64)>>,
}

impl Graph {
    fn of(drawing: &Drawing) -> Graph {
        let mut graph = Graph {
            names: Vec::new(),
            kinds: Vec::new(),
            values: Vec::new(),
            is_node: Vec::new(),
            places: Vec::new(),
            edges: Vec::new(),
        };
        let mut nodes: HashMap<String, usize> = HashMap::new();
        for (name, it) in &drawing.things {
            let at = it.place.span.start;
            let thing = graph.vertex(name, hash(&it.kind), hash(&it.value()), at);
            for (pin, node) in &it.pins {
                let node = *nodes.entry(node.clone()).or_insert_with(|| {
                    // Ground is itself under any name.
                    let node_at = graph.vertex(node, hash(&("node", node == "ground")), 0, at);
                    graph.is_node[node_at] = true;
                    node_at
                });
                graph.places[node] = graph.places[node].min(at);
                let pin = hash(pin);
                graph.edges[thing].push((node, pin));
                graph.edges[node].push((thing, pin));
            }
        }
        graph
    }

    fn vertex(&mut self, name: &str, kind: u64, value: u64, place: u32) -> usize {
        self.names.push(name.to_owned());
        self.kinds.push(kind);
        self.values.push(value);
        self.is_node.push(false);
        self.places.push(place);
        self.edges.push(Vec::new());
        self.names.len() - 1
    }

    /// What each is, with its value.
    fn whole(&self) -> Vec<u64> {
        let both = self.kinds.iter().zip(&self.values);
        both.map(|it| hash(&it)).collect()
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

/// What counts in a look at the surroundings.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Look {
    /// Kinds, pins and values.
    Values,
    /// Kinds and pins.
    Shape,
    /// Kinds.
    Loose,
}

/// From the surest look to the least sure one, and how far around each goes.
const LOOKS: [(Look, usize); 10] = [
    (Look::Values, 8),
    (Look::Values, 4),
    (Look::Values, 2),
    (Look::Values, 1),
    (Look::Shape, 8),
    (Look::Shape, 4),
    (Look::Shape, 2),
    (Look::Values, 0),
    (Look::Shape, 1),
    (Look::Loose, 1),
];

/// The search for what is the same in two circuits that differ.
struct Search<'g> {
    graphs: [&'g Graph; 2],
    /// The partner of each vertex.
    partners: [Vec<Option<usize>>; 2],
    /// The pairs found, in order.
    found: Vec<(usize, usize)>,
    work: usize,
}

impl<'g> Search<'g> {
    fn new(a: &'g Graph, b: &'g Graph) -> Search<'g> {
        let ground = |it: &Graph| it.names.iter().position(|name| name == "ground");
        let mut search = Search {
            graphs: [a, b],
            partners: [vec![None; a.names.len()], vec![None; b.names.len()]],
            found: Vec::new(),
            work: WORK,
        };
        if let Some((x, y)) = ground(a).zip(ground(b)) {
            search.pair(x, y);
        }
        search
    }

    fn pair(&mut self, x: usize, y: usize) {
        self.partners[0][x] = Some(y);
        self.partners[1][y] = Some(x);
        self.found.push((x, y));
    }

    fn pairs(mut self) -> Vec<(usize, usize)> {
        while self.look(false) || self.by_neighbours() || self.look(true) {}
        self.found
    }

    /// Pairs what looks alike in both and is alone in that, else (`ties`) one of those that look alike.
    fn look(&mut self, ties: bool) -> bool {
        for (look, rounds) in LOOKS {
            let size: usize = self.graphs.iter().map(|it| it.names.len()).sum();
            let Some(left) = self.work.checked_sub(size * (rounds + 1)) else {
                return false;
            };
            self.work = left;
            let [in_a, in_b] = [0, 1].map(|side| self.alike(side, look, rounds));
            let both = in_a
                .iter()
                .filter_map(|(colour, of_a)| Some((of_a, in_b.get(colour)?)));
            if ties {
                let smallest = both.min_by_key(|(x, y)| (x.len().max(y.len()), self.first(x)));
                if let Some((of_a, of_b)) = smallest {
                    let (x, y) = self.likeliest(of_a, of_b);
                    self.pair(x, y);
                    return true;
                }
                continue;
            }
            let alone = both.filter(|(x, y)| x.len() == 1 && y.len() == 1);
            let alone: Vec<(usize, usize)> = alone.map(|(x, y)| (x[0], y[0])).collect();
            if !alone.is_empty() {
                alone.into_iter().for_each(|(x, y)| self.pair(x, y));
                return true;
            }
        }
        false
    }

    fn first(&self, of_a: &[usize]) -> Option<u32> {
        of_a.iter().map(|it| self.graphs[0].places[*it]).min()
    }

    /// Of several that look alike: two of one name, else the first of each text.
    fn likeliest(&self, of_a: &[usize], of_b: &[usize]) -> (usize, usize) {
        let [a, b] = self.graphs;
        let names: HashMap<&str, usize> =
            of_b.iter().map(|it| (b.names[*it].as_str(), *it)).collect();
        let named = of_a
            .iter()
            .find_map(|it| Some((*it, *names.get(a.names[*it].as_str())?)));
        let first = |graph: &Graph, all: &[usize]| {
            let first = all.iter().min_by_key(|it| (graph.places[**it], **it));
            first.copied().unwrap_or_default()
        };
        named.unwrap_or_else(|| (first(a, of_a), first(b, of_b)))
    }

    /// Those without a partner, by how they look.
    fn alike(&self, side: usize, look: Look, rounds: usize) -> BTreeMap<u64, Vec<usize>> {
        let (graph, partners) = (self.graphs[side], &self.partners[side]);
        let own = if look == Look::Values {
            graph.whole()
        } else {
            graph.kinds.clone()
        };
        // A pair has one colour, named after its first half.
        let fixed = |it: usize| {
            let partner = partners[it]?;
            Some(hash(&("pair", if side == 0 { it } else { partner })))
        };
        let count = graph.names.len();
        let mut colours: Vec<u64> = (0..count).map(|it| fixed(it).unwrap_or(own[it])).collect();
        for _ in 0..rounds {
            let next = (0..count).map(|it| {
                if partners[it].is_some() {
                    return colours[it];
                }
                let around = graph.edges[it].iter();
                let mut around: Vec<(u64, u64)> = around
                    .map(|(other, pin)| {
                        (if look == Look::Loose { 0 } else { *pin }, colours[*other])
                    })
                    .collect();
                around.sort_unstable();
                hash(&(colours[it], around))
            });
            colours = next.collect();
        }
        let mut alike: BTreeMap<u64, Vec<usize>> = BTreeMap::new();
        for it in (0..count).filter(|it| partners[*it].is_none()) {
            if rounds > 0 || !graph.is_node[it] {
                alike.entry(colours[it]).or_default().push(it);
            }
        }
        alike
    }

    /// Pairs the two that hang on the most pairs by the same pins: nodes with a part in common, parts with a node in common
    /// and at least the value or the name as well, or all their nodes.
    fn by_neighbours(&mut self) -> bool {
        let [a, b] = self.graphs;
        let mut shared: HashMap<(usize, usize), usize> = HashMap::new();
        for (x, y) in &self.found {
            for (of_a, pin_a) in a.edges[*x]
                .iter()
                .filter(|it| self.partners[0][it.0].is_none())
            {
                for (of_b, pin_b) in &b.edges[*y] {
                    let Some(left) = self.work.checked_sub(1) else {
                        return false;
                    };
                    self.work = left;
                    let fits = pin_a == pin_b && a.kinds[*of_a] == b.kinds[*of_b];
                    if fits && self.partners[1][*of_b].is_none() {
                        *shared.entry((*of_a, *of_b)).or_default() += 1;
                    }
                }
            }
        }
        let worth = |(x, y): (usize, usize), count: usize| {
            let named = a.names[x] == b.names[y];
            let value = a.values[x] == b.values[y];
            let all = count >= a.edges[x].len();
            let good = a.is_node[x] || all || value || named;
            good.then_some((
                count,
                value,
                named,
                Reverse((a.places[x], b.places[y], x, y)),
            ))
        };
        let all = shared.into_iter();
        let best = all.filter_map(|(pair, count)| Some((worth(pair, count)?, pair)));
        let Some((_, (x, y))) = best.max() else {
            return false;
        };
        self.pair(x, y);
        true
    }
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
