//! First pass over a circuit or a block: every name gets its meaning, every node exists. Devices are in [`crate::devices`], blocks in
//! [`crate::blocks`].

use syntax::{
    Name, PathItem, Place, Rail as SaidRail, SourceForm, Span, StatementId, StatementKind,
};

use crate::FaultKind;
use crate::model::*;
use crate::scope::{Builder, Maker, Pending, PendingDevice, PendingLet, Step, What};

/// How many faults there may be before lines are no longer compared with all others.
const MOST_COMPARED: usize = 50;
impl<'t> Builder<'t> {
    pub(crate) fn statement(&self, frame: usize, id: StatementId) -> &'t syntax::Statement {
        &self.tree(frame).statements[id.0 as usize]
    }

    /// Names and nodes of all these statements.
    pub(crate) fn declare_all(&mut self, frame: usize, statements: &[StatementId]) {
        // Broken lines first: what they name is perhaps known everywhere.
        for id in statements {
            if let StatementKind::Broken(broken) = &self.statement(frame, *id).kind {
                for name in &broken.names {
                    let key = self.key(frame, *name);
                    if broken.wires {
                        self.perhaps_named(frame, key);
                    } else if self.frames[frame].perhaps.insert(key.clone()) {
                        self.frames[frame].perhaps_read.insert(key);
                    }
                }
                self.circuit.perhaps.incomplete |= broken.wires;
            }
        }
        for (index, id) in statements.iter().enumerate() {
            let statement = self.statement(frame, *id);
            let before = self.faults.len();
            match &statement.kind {
                StatementKind::Path(items) => self.declare_path(frame, *id, items),
                StatementKind::Source(source) => self.declare_source(frame, *id, source),
                StatementKind::Device(device) => self.declare_device(frame, *id, device),
                _ => continue,
            }
            self.pasted_twice(frame, statements, index, before);
        }
        // A `let` yields to what stands in the circuit under its name.
        for (index, id) in statements.iter().enumerate() {
            if let StatementKind::Let { name, value } = &self.statement(frame, *id).kind {
                let before = self.faults.len();
                self.declare_let(frame, *id, *name, value);
                self.pasted_twice(frame, statements, index, before);
            }
        }
    }

    /// A line that stands above already, however it is spelled, is one mistake: all its names are taken.
    pub(crate) fn pasted_twice(
        &mut self,
        frame: usize,
        statements: &[StatementId],
        index: usize,
        before: usize,
    ) {
        let taken = |it: &crate::Fault| matches!(it.kind, FaultKind::NameTaken { .. });
        if before > MOST_COMPARED || !self.faults[before..].iter().any(taken) {
            return;
        }
        let span = self.statement(frame, statements[index]).span;
        let text = self.text(frame);
        let name = self.faults[before..].iter().find(|it| taken(it));
        let name = name.map_or("", |it| it.place.span.of(text));
        let own = syntax::format(span.of(text));
        let same = |id: &StatementId| {
            let above = self.statement(frame, *id).span.of(text);
            above.contains(name) && syntax::format(above) == own
        };
        if !statements[..index].iter().any(same) {
            return;
        }
        let mut first = true;
        let mut at = 0;
        self.faults.retain_mut(|it| {
            at += 1;
            if at <= before || !taken(it) {
                return true;
            }
            it.fixes = vec![leave_out(span)];
            std::mem::replace(&mut first, false)
        });
    }

    pub(crate) fn declare_let(
        &mut self,
        frame: usize,
        id: StatementId,
        name: Name,
        value: &'t syntax::Expr,
    ) {
        let index = self.lets.len();
        if self.declare(frame, name, What::Let(index)) {
            let (key, place) = (self.key(frame, name), self.place(frame, name));
            self.lets.push(PendingLet {
                frame,
                value,
                name: key,
                place,
                uses: Vec::new(),
                description: self.description(frame, id),
                state: Step::Waiting,
                parameter: false,
                like: None,
            });
        }
    }

    pub(crate) fn declare_path(&mut self, frame: usize, id: StatementId, items: &'t [PathItem]) {
        let description = self.description(frame, id);
        // A joint before and after each element: a named node, or an unnamed one at the `--` between two elements.
        let mut joints: Vec<(Option<NodeId>, Span)> = Vec::new();
        let mut elements: Vec<&'t syntax::Element> = Vec::new();
        for item in items {
            match item {
                PathItem::Node(name) => {
                    joints.push((self.node(frame, *name, description.as_deref()), *name));
                }
                PathItem::Element(element) => {
                    if let (true, Some(before)) = (joints.len() == elements.len(), elements.last())
                    {
                        let wire = between(before, element, self.text(frame));
                        joints.push((Some(self.unnamed(frame, before, element, wire)), wire));
                    }
                    elements.push(element);
                }
            }
        }
        for (element, joints) in elements.into_iter().zip(joints.windows(2)) {
            let [(left, left_span), (right, right_span)] = *joints else {
                continue;
            };
            if self.declare(frame, element.name, What::Element(self.pending.len())) {
                let end_places = [self.place(frame, left_span), self.place(frame, right_span)];
                self.push(
                    frame,
                    element.name,
                    Maker::Path(element),
                    [left, right],
                    end_places,
                );
                let place = self.place(frame, element.span);
                if let Some(it) = self.pending.last_mut() {
                    it.place = place;
                    it.description.clone_from(&description);
                }
            } else {
                self.doubt([left, right].into_iter().flatten());
            }
        }
    }

    pub(crate) fn unnamed(
        &mut self,
        frame: usize,
        left: &syntax::Element,
        right: &syntax::Element,
        wire: Span,
    ) -> NodeId {
        let id = NodeId(self.circuit.nodes.len() as u32);
        let (a, b) = (self.key(frame, left.name), self.key(frame, right.name));
        let name = format!("{}{a}..{b}", self.frames[frame].prefix);
        let places = vec![self.place(frame, wire)];
        self.circuit.nodes.push(Node {
            name,
            named: false,
            places,
            description: None,
        });
        id
    }

    pub(crate) fn push(
        &mut self,
        frame: usize,
        name: Name,
        maker: Maker<'t>,
        ends: [Option<NodeId>; 2],
        end_places: [Place; 2],
    ) {
        let name_place = self.place(frame, name);
        self.pending.push(Pending {
            frame,
            name: format!("{}{}", self.frames[frame].prefix, self.key(frame, name)),
            maker,
            ends,
            end_places,
            place: name_place,
            name_place,
            description: None,
            value: Step::Waiting,
        });
    }

    pub(crate) fn declare_source(
        &mut self,
        frame: usize,
        id: StatementId,
        source: &'t syntax::Source,
    ) {
        let description = self.description(frame, id);
        let named = self.declare(frame, source.name, What::Source(self.sources.len()));
        let mut nodes = Vec::new();
        if let SourceForm::Held { plus, minus } = source.form {
            nodes.push(self.node(frame, plus, description.as_deref()));
            nodes.extend(minus.map(|it| self.node(frame, it, description.as_deref())));
        }
        if named {
            let place = self.place(frame, source.name.to(source.drive.span));
            self.sources.push(PendingDevice {
                frame,
                said: source,
                place,
                description,
                id: None,
            });
        } else {
            self.doubt(nodes.into_iter().flatten());
        }
    }

    /// Records a statement that is read and not computed.
    pub(crate) fn later(
        &mut self,
        frame: usize,
        what: &str,
        at: Span,
        wires: bool,
        names: &[Name],
    ) {
        let place = self.place(frame, at);
        let names = names.iter().map(|it| self.key(frame, *it)).collect();
        self.circuit.later.push(Later {
            what: what.to_owned(),
            place,
            wires,
            names,
        });
    }
}

/// A whole line less.
pub(crate) fn leave_out(span: Span) -> syntax::Fix {
    let text = String::new();
    syntax::Fix::likely("take it out", vec![syntax::TextEdit { span, text }])
}

/// A rail as written.
pub(crate) fn rail_span(rail: &SaidRail) -> Span {
    match rail {
        SaidRail::Node(name) => *name,
        SaidRail::Value { span, .. } => *span,
    }
}

/// The `--` between two elements.
fn between(left: &syntax::Element, right: &syntax::Element, text: &str) -> Span {
    let gap = Span {
        start: left.span.end,
        end: right.span.start,
    };
    match gap.of(text).rfind("--") {
        Some(at) => Span {
            start: gap.start + at as u32,
            end: gap.start + at as u32 + 2,
        },
        None => gap,
    }
}
