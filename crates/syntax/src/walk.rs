//! Ways through a tree: statements by id and by place, and the names in a statement.

use crate::{
    Argument, Body, DriveKind, Expect, Expr, ExprKind, Name, PathItem, PropertyForm, Rail,
    SourceForm, Span, StateClaim, Statement, StatementId, StatementKind, Tree, VaryRange,
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

impl StatementKind {
    /// The expressions of a statement, not those inside them, in the order of the grammar.
    pub fn exprs(&self) -> Vec<&Expr> {
        use StatementKind as S;
        match self {
            S::Path(items) => items
                .iter()
                .filter_map(|item| match item {
                    PathItem::Element(it) => Some([&it.value].into_iter().chain(&it.extras)),
                    PathItem::Node(_) => None,
                })
                .flatten()
                .collect(),
            S::Source(source) => match &source.drive.kind {
                DriveKind::Linear(expr) => vec![expr],
                DriveKind::Periodic {
                    size,
                    frequency,
                    offset,
                    phase,
                    duty,
                    ..
                } => [size, frequency]
                    .into_iter()
                    .chain(offset)
                    .chain(phase)
                    .chain(duty)
                    .collect(),
                DriveKind::Step { from, to, at } => vec![from, to, at],
                DriveKind::Through(corners) => corners
                    .iter()
                    .flat_map(|(level, time)| [level, time])
                    .collect(),
            },
            S::Device(device) => device
                .clauses
                .iter()
                .flat_map(|clause| match &clause.argument {
                    Argument::Value(value) => vec![value],
                    Argument::Rails(rails) => of_rails(rails),
                    Argument::None | Argument::Name(_) => Vec::new(),
                })
                .collect(),
            S::Supply(rails) => of_rails(rails),
            S::Block { ports, .. } => ports.iter().filter_map(|it| it.default.as_ref()).collect(),
            S::Property(property) => match &property.form {
                PropertyForm::Name(_) => Vec::new(),
                PropertyForm::Value(value) => vec![value],
                PropertyForm::Range(from, to) => vec![from, to],
                PropertyForm::Named(pairs) => pairs.iter().map(|(_, value)| value).collect(),
            },
            S::Let { value, .. } => vec![value],
            S::Equation { left, right } | S::Require { left, right, .. } => vec![&**left, &**right],
            S::Start { of, value } => vec![&**of, &**value],
            S::Find { exprs, .. } => exprs.iter().collect(),
            S::Record { exprs, time } => exprs.iter().chain([&**time]).collect(),
            S::Response { of, from, to, .. } => vec![&**of, &**from, &**to],
            S::Vary { range, .. } => match &**range {
                VaryRange::Among(values) => values.iter().collect(),
                VaryRange::By(from, to, step) => vec![from, to, step],
                VaryRange::In(from, to, _) => vec![from, to],
            },
            S::Expect(expect) => match &**expect {
                Expect::Equal {
                    left,
                    right,
                    at,
                    within,
                    ..
                } => [left, right].into_iter().chain(at).chain(within).collect(),
                Expect::State {
                    state: StateClaim::Goes { at, within, .. },
                    ..
                } => [at].into_iter().chain(within).collect(),
                Expect::State { .. } | Expect::Finding { .. } => Vec::new(),
            },
            S::Version(_) | S::Use(_) | S::Part(_) | S::Circuit { .. } | S::Work { .. } => {
                Vec::new()
            }
            S::End
            | S::OpampsAre(_)
            | S::Task { .. }
            | S::Answer(_)
            | S::Allow { .. }
            | S::Broken(_) => Vec::new(),
        }
    }
}

fn of_rails(rails: &[Rail]) -> Vec<&Expr> {
    rails
        .iter()
        .filter_map(|it| match it {
            Rail::Value { value, .. } => Some(value),
            Rail::Node(_) => None,
        })
        .collect()
}

impl Expr {
    /// The expressions right inside this one, in the order of the text.
    pub fn operands(&self) -> Vec<&Expr> {
        match &self.kind {
            ExprKind::Quantity | ExprKind::Ref => Vec::new(),
            ExprKind::Call(_, arguments) => arguments.iter().collect(),
            ExprKind::Brackets(inner) | ExprKind::Negative(inner) | ExprKind::Power(inner, _) => {
                vec![inner]
            }
            ExprKind::Binary { left, right, .. } => vec![left, right],
        }
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
        kind.exprs().into_iter().for_each(|it| self.expr(it));
        match kind {
            S::Part(name) | S::OpampsAre(name) | S::Circuit { name, .. } => self.thing(*name),
            S::Work { circuit, .. } => self.things(*circuit),
            S::Block { name, ports } => {
                self.thing(*name);
                self.things(ports.iter().map(|it| it.name));
            }
            S::Property(property) => {
                self.word(property.word, NameRole::Property);
                match &property.form {
                    PropertyForm::Name(name) => self.thing(*name),
                    PropertyForm::Named(pairs) => {
                        pairs
                            .iter()
                            .filter_map(|it| it.0)
                            .for_each(|it| self.word(it, NameRole::Property));
                    }
                    PropertyForm::Value(_) | PropertyForm::Range(..) => {}
                }
            }
            S::Path(items) => self.things(items.iter().map(|item| match item {
                PathItem::Node(name) => *name,
                PathItem::Element(element) => element.name,
            })),
            S::Source(source) => {
                self.thing(source.name);
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
                        Argument::Name(name) => self.thing(*name),
                        Argument::Rails(rails) => self.rails(rails),
                        Argument::None | Argument::Value(_) => {}
                    }
                }
            }
            S::Let { name, .. } => self.thing(*name),
            S::Supply(rails) => self.rails(rails),
            S::Allow { rule, at, .. } => {
                self.word(*rule, NameRole::Rule);
                self.thing(*at);
            }
            S::Expect(expect) => match &**expect {
                Expect::Finding { rule, at } => {
                    self.word(*rule, NameRole::Rule);
                    self.thing(*at);
                }
                Expect::State { of, state } => {
                    self.thing(*of);
                    if let StateClaim::Goes { node, .. } = state {
                        self.thing(*node);
                    }
                }
                Expect::Equal { .. } => {}
            },
            S::Vary { of, range } => {
                self.thing(*of);
                if let VaryRange::In(_, _, series) = &**range {
                    self.word(*series, NameRole::Series);
                }
            }
            S::Response { driven_by, .. } => self.things(*driven_by),
            S::Broken(broken) => self.things(broken.names.iter().copied()),
            S::Equation { .. } | S::Require { .. } | S::Start { .. } => {}
            S::Find { .. } | S::Record { .. } | S::Version(_) | S::Use(_) | S::End => {}
            S::Task { .. } | S::Answer(_) => {}
        }
    }

    fn rails(&mut self, rails: &[Rail]) {
        self.things(rails.iter().filter_map(|rail| match rail {
            Rail::Node(name) => Some(*name),
            Rail::Value { .. } => None,
        }));
    }

    fn expr(&mut self, expr: &Expr) {
        match &expr.kind {
            ExprKind::Ref => self.thing(expr.span),
            ExprKind::Call(name, _) => self.word(*name, NameRole::Function),
            _ => {}
        }
        expr.operands().into_iter().for_each(|it| self.expr(it));
    }
}
