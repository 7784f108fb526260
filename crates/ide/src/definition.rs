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
        Thing::Part(part) => book.parts[part.index()].place,
        Thing::Block(block) => book.blocks[block].place,
        Thing::Circuit(circuit) => book.circuits[circuit].place,
    })
}
