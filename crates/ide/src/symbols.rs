//! What a text defines, as an outline: circuits with their sources, elements, op-amps, nodes, claims and sheets.

use circuit::{Circuit, ElementKind};
use syntax::{BodyKind, FileId, Place, Span, StatementKind};
use teaching::{equation, names, notation};

use crate::View;

/// One entry of the outline.
#[derive(Clone, PartialEq, Debug)]
pub struct Symbol {
    /// Its name.
    pub name: String,
    /// A few words more: a value, a title.
    pub detail: String,
    /// What it is.
    pub kind: SymbolKind,
    /// All of it.
    pub span: Span,
    /// Its name in the text; lies inside `span`.
    pub name_span: Span,
    /// What it holds.
    pub children: Vec<Symbol>,
}

/// What an entry is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum SymbolKind {
    /// A circuit.
    Circuit,
    /// A node.
    Node,
    /// A resistor, capacitor or inductor.
    Element,
    /// A source.
    Source,
    /// An op-amp.
    Opamp,
    /// A device made of a block.
    Device,
    /// A named value.
    Let,
    /// A claim.
    Claim,
    /// A work sheet.
    Work,
    /// A part.
    Part,
    /// A block.
    Block,
}

/// The outline of a text, in its order.
pub fn symbols(view: &View) -> Vec<Symbol> {
    let mut symbols = Vec::new();
    for circuit in &view.book().circuits {
        symbols.push(of_circuit(view, circuit));
    }
    let tree = view.tree();
    for body in tree
        .bodies
        .iter()
        .filter(|it| matches!(it.kind, BodyKind::Part | BodyKind::Block | BodyKind::Work))
    {
        let head = &tree.statements[body.head.0 as usize];
        let last = body
            .end
            .or(body.inside.last().copied())
            .unwrap_or(body.head);
        let span = head.span.to(tree.statements[last.0 as usize].span);
        let (name_span, kind) = match &head.kind {
            StatementKind::Part(name) => (*name, SymbolKind::Part),
            StatementKind::Block { name, .. } => (*name, SymbolKind::Block),
            StatementKind::Work { label, .. } => (
                label.first().copied().unwrap_or(head.span),
                SymbolKind::Work,
            ),
            _ => continue,
        };
        let name = name_span.of(view.text()).trim_matches('"').to_string();
        let symbol = Symbol {
            name,
            detail: String::new(),
            kind,
            span,
            name_span,
            children: Vec::new(),
        };
        let around = symbols.iter_mut().find(|it| {
            it.kind == SymbolKind::Circuit && it.span.start <= span.start && span.end <= it.span.end
        });
        match around {
            Some(circuit) => circuit.children.push(symbol),
            None => symbols.push(symbol),
        }
    }
    symbols.sort_by_key(|it| it.span.start);
    for symbol in &mut symbols {
        symbol.children.sort_by_key(|it| it.name_span.start);
    }
    symbols
}

fn of_circuit(view: &View, circuit: &Circuit) -> Symbol {
    let mut children = Vec::new();
    let extent = circuit.extent.span;
    let inside = |place: Place| {
        place.file == FileId(0) && extent.start <= place.span.start && place.span.end <= extent.end
    };
    let mut child = |place: Place, whole: Place, kind, name: &str, detail: String| {
        // What a block brings stands in the block, and has a name with a point.
        if inside(place) && (kind == SymbolKind::Claim || !name.contains('.')) {
            let (span, name) = (whole.span.to(place.span), name.to_string());
            children.push(Symbol {
                name,
                detail,
                kind,
                span,
                name_span: place.span,
                children: Vec::new(),
            });
        }
    };
    for it in circuit.nodes.iter().skip(1).filter(|it| it.named) {
        if let Some(place) = it.places.iter().find(|it| inside(**it)) {
            child(
                *place,
                *place,
                SymbolKind::Node,
                &it.name,
                it.description.clone().unwrap_or_default(),
            );
        }
    }
    for it in circuit.elements.iter() {
        let value = match it.kind {
            ElementKind::Wire => "closed".into(),
            kind => notation::number(&it.value, names::element_dimension(kind)),
        };
        child(
            it.name_place,
            it.place,
            SymbolKind::Element,
            &it.name,
            value,
        );
    }
    for it in &circuit.sources {
        child(
            it.name_place,
            it.place,
            SymbolKind::Source,
            &it.name,
            equation::drive(circuit, it),
        );
    }
    for it in &circuit.opamps {
        let [plus, minus, drives] = [it.plus, it.minus, it.drives].map(|it| circuit.node_name(it));
        child(
            it.name_place,
            it.place,
            SymbolKind::Opamp,
            &it.name,
            format!("{plus}, {minus} → {drives}"),
        );
    }
    for it in &circuit.lets {
        let value = it
            .value
            .as_ref()
            .map(|it| notation::number(&it.number, it.dimension));
        child(
            it.place,
            it.place,
            SymbolKind::Let,
            &it.name,
            value.unwrap_or_default(),
        );
    }
    for it in &circuit.claims {
        child(
            it.place,
            it.place,
            SymbolKind::Claim,
            &it.text,
            String::new(),
        );
    }
    let tree = view.tree();
    let devices = tree.statements.iter().filter_map(|it| match &it.kind {
        StatementKind::Device(device) => Some((it.span, device)),
        _ => None,
    });
    let blocks = &view.book().blocks;
    for (span, device) in devices {
        let kind = device.kind.of(view.text());
        if blocks.iter().any(|it| it.name == kind) {
            let place = |span| Place {
                file: FileId(0),
                span,
            };
            child(
                place(device.name),
                place(span),
                SymbolKind::Device,
                device.name.of(view.text()),
                kind.to_string(),
            );
        }
    }
    let span = circuit.extent.span.to(circuit.place.span);
    Symbol {
        name: circuit.name.clone(),
        detail: circuit.title.clone().unwrap_or_default(),
        kind: SymbolKind::Circuit,
        span,
        name_span: circuit.place.span,
        children,
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::{Symbol, symbols};
    use crate::marked::open;

    fn draw(symbols: &[Symbol], depth: usize, drawn: &mut String) {
        for it in symbols {
            drawn.push_str(&format!(
                "{}{:?} {} [{}]\n",
                "  ".repeat(depth),
                it.kind,
                it.name,
                it.detail
            ));
            draw(&it.children, depth + 1, drawn);
        }
    }

    #[test]
    fn the_outline_has_everything_once_and_in_order() {
        let (view, _) = open(
            "part slow\n  gain 100 dB\nend\nblock half: in, out\n  in -- R1 1k -- out -- R2 1k -- ground\nend\n\
             circuit one \"The first\"\nlet V0 = 1.5 V\nsource s: a = V0\nhalf H1: in a, out b\n\
             opamp A1: plus b, minus q, drives q, part slow\nexpect q = 0.75 V\nwork \"sheet\"\n  a = 1.5\nend\n\
             circuit two\nx -- R1 1k -- ground\nx -- R2 2\n",
        );
        let mut drawn = String::new();
        let symbols = symbols(&view);
        draw(&symbols, 0, &mut drawn);
        expect![[r#"
            Part slow []
            Block half []
            Circuit one [The first]
              Let V0 [1.5 V]
              Source s [1.5 V]
              Node a []
              Device H1 [half]
              Node b []
              Opamp A1 [b, q → q]
              Node q []
              Claim q = 0.75 V []
              Work sheet []
            Circuit two []
              Node x []
              Element R1 [1 kΩ]
        "#]]
        .assert_eq(&drawn);
        fn inside(symbol: &Symbol) -> bool {
            symbol.span.start <= symbol.name_span.start
                && symbol.name_span.end <= symbol.span.end
                && symbol.children.iter().all(inside)
        }
        assert!(
            symbols.iter().all(inside),
            "a name lies inside what it names"
        );
    }
}
