//! Work sheets: a student's equations, names resolved in order, in the scope of the circuit they are about.

use syntax::{FileId, Name, Place, StatementId, StatementKind};

use crate::FaultKind;
use crate::formula::Reads;
use crate::model::{Sheet, SheetLine};
use crate::scope::{Builder, Frame, What};

impl<'t> Builder<'t> {
    /// The sheets about this circuit: those inside it that name no other, and those elsewhere in the file that name it.
    pub(crate) fn sheets(&mut self, frame: usize, inside: &[StatementId]) {
        let library: &'t crate::files::Library = self.library;
        let tree = library.tree(FileId(0));
        for body in library.sheets(&self.circuit.name, inside) {
            let body = &tree.bodies[body];
            let head = tree.statement(body.head);
            let StatementKind::Work { label, .. } = &head.kind else {
                continue;
            };
            let text = self.text(frame);
            let label: Vec<&str> = label
                .iter()
                .map(|it| it.of(text).trim_matches('"'))
                .collect();
            let place = Place {
                file: FileId(0),
                span: head.span,
            };
            let lines = self.sheet(frame, &body.inside);
            self.circuit.sheets.push(Sheet {
                label: label.join(" "),
                place,
                lines,
            });
        }
    }

    fn sheet(&mut self, circuit: usize, inside: &[StatementId]) -> Vec<Option<SheetLine>> {
        let frame = self.frames.len();
        let around = &self.frames[circuit];
        self.frames.push(Frame {
            file: around.file,
            prefix: String::new(),
            outer: Some(circuit),
            names: Default::default(),
            perhaps: Default::default(),
            perhaps_read: Default::default(),
            in_circuit: true,
            part: None,
            supply: None,
            around: None,
            depth: 0,
            trail: Vec::new(),
        });
        self.sheet_lets.clear();
        self.in_sheet = true;
        let lines = inside
            .iter()
            .map(|id| self.sheet_line(frame, circuit, *id))
            .collect();
        self.in_sheet = false;
        lines
    }

    fn sheet_line(&mut self, frame: usize, circuit: usize, id: StatementId) -> Option<SheetLine> {
        let statement = self.statement(frame, id);
        let place = self.place(frame, statement.span);
        self.sheet_operands = 0;
        match &statement.kind {
            StatementKind::Let { name, value } => {
                // Order matters here: a name stands for what was said above.
                let typed = self.formula(frame, value, Reads::Answers);
                let known = self.frames[circuit]
                    .names
                    .contains_key(&self.word(frame, *name));
                let index = self.sheet_lets.len();
                match &typed {
                    // A name of the circuit may not get a second meaning.
                    _ if known => self.taken(frame, circuit, *name),
                    Some(typed) => {
                        if self.declare(frame, *name, What::SheetLet(index)) {
                            let size = typed.formula.operands();
                            self.sheet_lets.push((typed.clone(), size));
                        }
                    }
                    None => {
                        self.declare(frame, *name, What::Broken);
                    }
                }
                let typed = typed?;
                Some(SheetLine {
                    place,
                    left: None,
                    right: typed.formula,
                    dimension: Some(typed.dimension),
                })
            }
            StatementKind::Equation { left, right } => {
                // `i1 = …`, where a `let` makes the name
                let new = matches!(left.kind, syntax::ExprKind::Ref)
                    && self.find(frame, &self.key(frame, left.span)).is_none();
                let before = self.faults.len();
                let left = self.formula(frame, left, Reads::Answers);
                let edit = syntax::TextEdit {
                    span: syntax::Span::at(statement.span.start),
                    text: "let ".to_owned(),
                };
                let fault = self.faults.get_mut(before);
                if let Some(fault) = fault.filter(|it| new && it.fixes.is_empty()) {
                    fault.fixes = vec![syntax::Fix::likely("write `let` before it", vec![edit])];
                }
                let right = self.formula(frame, right, Reads::Answers);
                let (left, right) = (left?, right?);
                let dimension = self.same(frame, &left, &right, "compared")?;
                let open = left.plain && right.plain;
                let dimension = (!open).then_some(dimension);
                Some(SheetLine {
                    place,
                    left: Some(left.formula),
                    right: right.formula,
                    dimension,
                })
            }
            StatementKind::Broken(broken) => {
                for name in &broken.names {
                    let key = self.key(frame, *name);
                    self.perhaps_named(frame, key);
                }
                None
            }
            _ => None,
        }
    }

    fn taken(&mut self, frame: usize, circuit: usize, name: Name) {
        let key = self.key(frame, name);
        let Some((what, at)) = self.frames[circuit].names.get(key.as_str()).copied() else {
            return;
        };
        let line = self.library.line(at);
        let kind = FaultKind::NameTaken {
            name: key.clone(),
            is: what.noun(),
            line: Some(line),
        };
        let fault = self.fault(frame, name, kind);
        fault
            .related
            .push((at, format!("`{key}` is {} here", what.noun())));
        fault.subjects.push(key);
    }
}
