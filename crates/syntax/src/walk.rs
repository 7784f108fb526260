//! Ways through a tree: statements by id and by place, and the names in a statement.

use crate::{
    Argument, Body, Drive, DriveKind, Element, Expect, Expr, ExprKind, Name, PathItem,
    PropertyForm, Rail, SourceForm, Span, StateClaim, Statement, StatementId, StatementKind, Tree,
    VaryRange,
};

impl Tree {
    /// The statement of an id of this tree.
    ///
    /// # Panics
    /// With an id of another tree.
    pub fn statement(&self, id: StatementId) -> &Statement {
        &self.statements[id.0 as usize]
    }

    /// Every statement with its id.
    pub fn ids(&self) -> impl Iterator<Item = (StatementId, &Statement)> {
        self.statements
            .iter()
            .enumerate()
            .map(|(index, it)| (StatementId(index as u32), it))
    }

    /// The statement that the caret at `offset` touches.
    pub fn statement_at(&self, offset: u32) -> Option<StatementId> {
        let after = self
            .statements
            .partition_point(|it| it.span.start <= offset);
        let index = after.checked_sub(1)?;
        self.statements[index]
            .span
            .touches(offset)
            .then_some(StatementId(index as u32))
    }

    /// The innermost body that holds a statement, or that it opens or ends.
    pub fn body_of(&self, id: StatementId) -> Option<&Body> {
        let holds = |body: &&Body| {
            body.head == id || body.end == Some(id) || body.inside.binary_search(&id).is_ok()
        };
        // Bodies stand in the order of their heads, so the last one is the innermost.
        let after = self.bodies.partition_point(|body| body.head <= id);
        self.bodies[..after].iter().rev().find(holds)
    }
}

/// What a name stands for by its place in the grammar.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum NameRole {
    /// A thing of the circuit or of the file: node, element, source, device, `let`, part, block, circuit, parameter.
    Thing,
    /// The kind of a device: a word of the language, or a block's name.
    DeviceKind,
    /// The first word of a clause: a word of the language, or a block's port or parameter.
    Clause,
    /// A word of a part's property.
    Property,
    /// A function.
    Function,
    /// A rule of the checker.
    Rule,
    /// A series of values, such as `E24`.
    Series,
}

impl Statement {
    /// Every name in a statement, with its role, in the order of the text. A broken statement's names are things.
    pub fn names(&self) -> Vec<(Name, NameRole)> {
        let mut names = Names(Vec::new());
        names.statement(&self.kind);
        names.0.sort_unstable_by_key(|(span, _)| span.start);
        names.0
    }
}

struct Names(Vec<(Name, NameRole)>);

impl Names {
    fn thing(&mut self, name: Name) {
        self.0.push((name, NameRole::Thing));
    }

    fn things(&mut self, names: impl IntoIterator<Item = Name>) {
        names.into_iter().for_each(|name| self.thing(name));
    }

    fn word(&mut self, name: Span, role: NameRole) {
        self.0.push((name, role));
    }

    fn statement(&mut self, kind: &StatementKind) {
        use StatementKind as S;
        match kind {
            S::Version(_) | S::Use(_) | S::End | S::Task { .. } | S::Answer(_) => {}
            S::Part(name) | S::OpampsAre(name) | S::Circuit { name, .. } => self.thing(*name),
            S::Work { circuit, .. } => self.things(*circuit),
            S::Block { name, ports } => {
                self.thing(*name);
                for port in ports {
                    self.thing(port.name);
                    self.exprs(&port.default);
                }
            }
            S::Property(property) => {
                self.word(property.word, NameRole::Property);
                match &property.form {
                    PropertyForm::Name(name) => self.thing(*name),
                    PropertyForm::Value(value) => self.expr(value),
                    PropertyForm::Range(from, to) => self.exprs([from, to]),
                    PropertyForm::Named(pairs) => {
                        for (word, value) in pairs {
                            word.iter()
                                .for_each(|word| self.word(*word, NameRole::Property));
                            self.expr(value);
                        }
                    }
                }
            }
            S::Equation { left, right } | S::Require { left, right, .. } => {
                self.exprs([left, right])
            }
            S::Path(items) => items.iter().for_each(|item| match item {
                PathItem::Node(name) => self.thing(*name),
                PathItem::Element(Element {
                    name,
                    value,
                    extras,
                    ..
                }) => {
                    self.thing(*name);
                    self.expr(value);
                    self.exprs(extras);
                }
            }),
            S::Source(source) => {
                self.thing(source.name);
                self.drive(&source.drive);
                match source.form {
                    SourceForm::Held { plus, minus } => {
                        self.things([plus].into_iter().chain(minus))
                    }
                    SourceForm::Current { from, into } => self.things([from, into]),
                }
            }
            S::Device(device) => {
                self.word(device.kind, NameRole::DeviceKind);
                self.thing(device.name);
                for clause in &device.clauses {
                    self.word(clause.word, NameRole::Clause);
                    match &clause.argument {
                        Argument::None => {}
                        Argument::Name(name) => self.thing(*name),
                        Argument::Value(value) => self.expr(value),
                        Argument::Rails(rails) => self.rails(rails),
                    }
                }
            }
            S::Let { name, value } => {
                self.thing(*name);
                self.expr(value);
            }
            S::Supply(rails) => self.rails(rails),
            S::Start { of, value } => self.exprs([of, value]),
            S::Expect(expect) => self.expect(expect),
            S::Find { exprs, .. } => self.exprs(exprs),
            S::Vary { of, range } => {
                self.thing(*of);
                match range {
                    VaryRange::Among(values) => self.exprs(values),
                    VaryRange::By(from, to, step) => self.exprs([from, to, step]),
                    VaryRange::In(from, to, series) => {
                        self.exprs([from, to]);
                        self.word(*series, NameRole::Series);
                    }
                }
            }
            S::Record { exprs, time } => {
                self.exprs(exprs);
                self.expr(time);
            }
            S::Response {
                of,
                driven_by,
                from,
                to,
            } => {
                self.exprs([of, from, to]);
                self.things(*driven_by);
            }
            S::Allow { rule, at, .. } => {
                self.word(*rule, NameRole::Rule);
                self.thing(*at);
            }
            S::Broken(broken) => self.things(broken.names.iter().copied()),
        }
    }

    fn expect(&mut self, expect: &Expect) {
        match expect {
            Expect::Finding { rule, at } => {
                self.word(*rule, NameRole::Rule);
                self.thing(*at);
            }
            Expect::State { of, state } => {
                self.thing(*of);
                if let StateClaim::Goes {
                    node, at, within, ..
                } = state
                {
                    self.thing(*node);
                    self.exprs([at].into_iter().chain(within));
                }
            }
            Expect::Equal {
                left,
                right,
                at,
                within,
                ..
            } => {
                self.exprs([left, right].into_iter().chain(at).chain(within));
            }
        }
    }

    fn drive(&mut self, drive: &Drive) {
        match &drive.kind {
            DriveKind::Linear(expr) => self.expr(expr),
            DriveKind::Periodic {
                size,
                frequency,
                offset,
                phase,
                duty,
                ..
            } => {
                self.exprs(
                    [size, frequency]
                        .into_iter()
                        .chain(offset)
                        .chain(phase)
                        .chain(duty),
                );
            }
            DriveKind::Step { from, to, at } => self.exprs([from, to, at]),
            DriveKind::Through(corners) => corners
                .iter()
                .for_each(|(level, time)| self.exprs([level, time])),
        }
    }

    fn rails(&mut self, rails: &[Rail]) {
        for rail in rails {
            match rail {
                Rail::Node(name) => self.thing(*name),
                Rail::Value { value, .. } => self.expr(value),
            }
        }
    }

    fn exprs<'e>(&mut self, exprs: impl IntoIterator<Item = &'e Expr>) {
        exprs.into_iter().for_each(|expr| self.expr(expr));
    }

    fn expr(&mut self, expr: &Expr) {
        match &expr.kind {
            ExprKind::Quantity => {}
            ExprKind::Ref => self.thing(expr.span),
            ExprKind::Call(name, arguments) => {
                self.word(*name, NameRole::Function);
                self.exprs(arguments);
            }
            ExprKind::Brackets(inner) | ExprKind::Negative(inner) | ExprKind::Power(inner, _) => {
                self.expr(inner)
            }
            ExprKind::Binary { left, right, .. } => self.exprs([left.as_ref(), right.as_ref()]),
        }
    }
}
