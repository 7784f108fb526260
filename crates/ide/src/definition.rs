//! Where a name comes from.

use syntax::{FileId, Place, Span};

use crate::View;
use crate::at::{At, What, at};

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
    let names = view.names();
    let named = names.at(offset).and_then(|it| {
        let (file, span) = names.first(&names.things[it.thing].key)?;
        let file = FileId(file as u32);
        Some((it.span, Place { file, span }))
    });
    let (from, to) = match named {
        Some(found) => found,
        None => match at(view, offset)? {
            At {
                span,
                what: What::Used(file),
            } => {
                let span_there = Span::default();
                (
                    span,
                    Place {
                        file,
                        span: span_there,
                    },
                )
            }
            _ => return None,
        },
    };
    Some(Definition { from, to: vec![to] })
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
        // A device that a block makes, its ports, and what stands inside.
        let blk = "block blk: «p1», «p2»\n  p1 -- R1 1k -- p2\nend\ncircuit c\nsource s: «x» = 1 V\nblk «F»: p1 x, p2 y\ny -- R2 1k -- ground\n";
        let [plain, port, second, node, device] =
            [None, Some(0), Some(1), Some(2), Some(3)].map(|kept| {
                let mut number = 0;
                let pieces = blk.split('«').enumerate().map(|(at, piece)| match at {
                    0 => piece.to_owned(),
                    _ => {
                        number += 1;
                        let marked = Some(number - 1) == kept;
                        let (name, rest) = piece.split_once('»').expect("an end");
                        if marked {
                            format!("«{name}»{rest}")
                        } else {
                            format!("{name}{rest}")
                        }
                    }
                });
                pieces.collect::<String>()
            });
        assert!(!plain.contains('«'));
        leads(&port.replace("F: p1 x", "F: «»p1 x"));
        leads(&second.replace("x, p2 y", "x, p2«» y"));
        leads(&node.replace("p1 x", "p1 «»x"));
        leads(&device.replace("ground\n", "ground\nexpect «»F.p2 = 1 V\n"));
        leads(&second.replace("ground\n", "ground\nexpect F.«»p2 = 1 V\n"));
        leads("a -- R1 1k -- ground\nwork \"w\"\n  let «i1» = 2\n  a = «»i1\nend\n");
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

    #[test]
    fn the_inside_of_a_used_block_is_found_in_its_file() {
        let mut workspace = Workspace::default();
        let lab = "# Ω\nblock half: top, «mid»\n  top -- «Ra» 1k -- mid\nend\n";
        let (_, inside) = open_in(&mut workspace, "/greenhouse/lab.amp", lab);
        let text = "use \"lab.amp\"\ncircuit c\nsource s: a = 1 V\nhalf D1: top a, «»mid b\nb -- R1 1k -- ground\n\
                    expect D1.«»mid = 0.5 V\nexpect current(D1.«»Ra) = 1 mA\nexpect «»D1.mid = 1 V\n";
        let (view, spans) = open_in(&mut workspace, "/greenhouse/bed.amp", text);
        let to = |index: usize| {
            definition(&view, spans[index].start)
                .expect("it leads somewhere")
                .to[0]
        };
        for (index, place) in [(0, inside[0]), (1, inside[0]), (2, inside[1])] {
            let there = to(index);
            assert_eq!(
                view.file(there.file).expect("a file").0,
                "/greenhouse/lab.amp"
            );
            assert_eq!(there.span, place);
        }
        assert_eq!(to(3).span.of(view.text()), "D1");
    }
}
