//! Where a name comes from.

use syntax::{Place, Span};
use teaching::names;

use crate::View;
use crate::at::{At, Thing, What, at};

/// Where the word at the caret leads.
#[derive(Clone, PartialEq, Debug)]
pub struct Definition {
    /// The word.
    pub from: Span,
    /// The places: of a name inside a block one, however often the block is used.
    pub to: Vec<Place>,
}

/// Where the name at `offset` is first said; of a node the first place that names it; of `use` the file.
pub fn definition(view: &View, offset: u32) -> Option<Definition> {
    let At { span, what } = at(view, offset)?;
    let mut to = match what {
        What::Things(things) => things.iter().filter_map(|it| place(view, *it)).collect(),
        What::Used(file) => vec![Place {
            file,
            span: Span::default(),
        }],
        What::Word(_) | What::Number => return None,
    };
    to.dedup();
    (!to.is_empty()).then_some(Definition { from: span, to })
}

fn place(view: &View, thing: Thing) -> Option<Place> {
    let book = view.book();
    Some(match thing {
        Thing::Node(circuit, node) => *book.circuits[circuit].nodes[node.index()].places.first()?,
        Thing::Carrier(circuit, carrier) => {
            names::carrier_name_place(&book.circuits[circuit], carrier)
        }
        Thing::Let(circuit, id) => book.circuits[circuit].lets[id.index()].place,
        // What ships with the tool stands in no file that an editor could open.
        Thing::Part(part) => {
            let place = book.parts[part.index()].place;
            (!book.ships(place.file)).then_some(place)?
        }
        Thing::Block(block) => book.blocks[block].place,
        Thing::Circuit(circuit) => book.circuits[circuit].place,
    })
}

#[cfg(test)]
mod tests {
    use super::definition;
    use crate::Workspace;
    use crate::marked::{open, open_in};

    /// From the first mark to the second; `None` where nothing leads anywhere.
    #[track_caller]
    fn leads(marked: &str) {
        let (view, spans) = open(marked);
        let [first, second] = spans[..] else {
            panic!("two marks")
        };
        let (caret, target) = if first.start == first.end {
            (first, second)
        } else {
            (second, first)
        };
        let to = definition(&view, caret.start)
            .expect("it leads somewhere")
            .to;
        assert_eq!(
            to.iter().map(|it| it.span).collect::<Vec<_>>(),
            [target],
            "{marked}"
        );
    }

    #[test]
    fn names_lead_to_where_they_are_first_said() {
        leads("source s: «a» = 1 V\na -- R1 1k -- ground\nexpect «»a = 1 V\n");
        leads("source s: a = 1 V\na -- «R1» 1k -- ground\nexpect current(«»R1) = 1 mA\n");
        leads("source «s»: a = 1 V\na -- R1 1k -- ground\nexpect current(«»s) = 1 mA\n");
        leads("let «R» = 1k\nsource s: a = 1 V\na -- R1 («»R) -- ground\n");
        leads(
            "part «slow»\n  gain 5\nend\ncircuit c\nopamp A1: plus a, minus b, drives b, part «»slow\n",
        );
        leads(
            "block «half»: in, out\n  in -- R1 1k -- out\nend\ncircuit c\n«»half H1: in a, out b\n",
        );
        leads(
            "block half: in, out\n  in -- «R1» 1k -- out\nend\ncircuit c\nhalf H1: in a, out b\nexpect H1.«»R1 = 1k\n",
        );
        leads("circuit «c»\na -- R1 1k -- ground\nwork \"w\" for «»c\n  a = 0\nend\n");
    }

    #[test]
    fn words_and_numbers_lead_nowhere() {
        let (view, spans) = open("«»source s: a = «»1 V\n«»\n# «»a\n");
        assert!(spans.iter().all(|it| definition(&view, it.start).is_none()));
    }

    #[test]
    fn a_class_that_ships_with_the_tool_leads_nowhere() {
        let (view, spans) =
            open("circuit c\nopamp A1: plus a, minus b, drives b, part «»fet_input\n");
        assert_eq!(definition(&view, spans[0].start), None);
    }

    #[test]
    fn a_used_file_and_what_it_brings_are_found_in_it() {
        let mut workspace = Workspace::default();
        let (_, part) = open_in(
            &mut workspace,
            "/greenhouse/lab.amp",
            "part «slow»\n  gain 5\nend\n",
        );
        let text =
            "use \"«»lab.amp\"\ncircuit c\nopamp A1: plus a, minus b, drives b, part «»slow\n";
        let (view, spans) = open_in(&mut workspace, "/greenhouse/bed.amp", text);
        let to = |index: usize| {
            let place = definition(&view, spans[index].start)
                .expect("it leads somewhere")
                .to[0];
            (
                view.file(place.file)
                    .expect("a file of the book")
                    .0
                    .to_string(),
                place.span,
            )
        };
        assert_eq!(
            to(0),
            ("/greenhouse/lab.amp".to_string(), syntax::Span::default())
        );
        assert_eq!(to(1), ("/greenhouse/lab.amp".to_string(), part[0]));
    }
}
