//! The pass over a file: statement after statement, each read alone in the body that is open.

use crate::bench::{Bench, Standing};
use crate::diagnose::{self, Around, Blocks};
use crate::kind::{Kind, NONE_YET};
use crate::lexer::{Cut, Token, lex};
use crate::{
    Body, BodyKind, Broken, Fault, FaultKind, Limit, Span, Statement, StatementId, StatementKind,
    Tree,
};
use crate::{limits, mend};

/// Reads a text. Never fails: what could not be read is a fault and a [`StatementKind::Broken`].
pub fn parse(text: &str) -> Tree {
    if text.len() > limits::LARGEST_FILE {
        return Tree {
            faults: vec![Fault::new(Span::at(0), FaultKind::TooBig(Limit::File))],
            ..Tree::default()
        };
    }
    let mut lexed = lex(text);
    let comments = std::mem::take(&mut lexed.comments);
    let mut blocks = Blocks::default();
    let mut circuits = false;
    let mut ends = vec![false; lexed.cuts.len() + 1];
    for (index, cut) in lexed.cuts.iter().enumerate().rev() {
        let tokens = &lexed.tokens[cut.first..cut.end];
        let opener = Kind::opener(tokens);
        ends[index] = opener.is_none() && (Kind::of(tokens, None) == Kind::End || ends[index + 1]);
        match opener {
            Some(Kind::Circuit) => circuits = true,
            Some(Kind::Use) => blocks.uses = true,
            Some(Kind::Block) => {
                let name = tokens.get(1).map(|(_, name)| name.of(text));
                blocks
                    .names
                    .extend(name.map(|it| (it, diagnose::ports(text, tokens))));
            }
            _ => {}
        }
    }
    let around = Around::new(text, &lexed.tokens, &lexed.cuts);
    let mut reader = Reader {
        tokens: &lexed.tokens,
        cuts: &lexed.cuts,
        ends,
        bench: Bench::new(text, &blocks, circuits, &around),
        mends: MOST_MENDED,
        asked: false,
        tree: Tree {
            statements: Vec::with_capacity(lexed.cuts.len()),
            ..Tree::default()
        },
        circuit: None,
        open: None,
    };
    let mut signs = 0;
    for (index, cut) in lexed.cuts.iter().enumerate() {
        signs += limits::signs(&lexed.tokens[cut.first..cut.end]);
        let limit = if reader.tree.faults.len() >= limits::FAULTS {
            Limit::Faults
        } else if signs > limits::ALL_SIGNS {
            Limit::AllSigns
        } else {
            reader.read(index);
            continue;
        };
        reader.leave_the_rest(index, limit);
        break;
    }
    reader.close(None);
    let mut tree = reader.tree;
    tree.bodies.sort_by_key(|body| body.head);
    tree.faults.sort_by_key(|fault| fault.span.start);
    tree.comments = comments;
    tree
}

/// For how many broken lines of a file ways out are tried: where there are more, they are no slips of the pen.
const MOST_MENDED: usize = 50;

/// First words of statements that wire something, beside the devices.
const WIRING: [&str; 4] = ["source", "supply", "opamps", "start"];

/// First words of statements that wire nothing.
const SAYING: [&str; 11] = [
    "let", "expect", "problem", "ask", "answer", "find", "vary", "require", "record", "response",
    "allow",
];

struct Reader<'t> {
    tokens: &'t [Token],
    cuts: &'t [Cut],
    /// Whether an `end` comes before the next line that would close a body, from each statement on.
    ends: Vec<bool>,
    bench: Bench<'t>,
    /// For how many more broken lines ways out are tried.
    mends: usize,
    /// Whether an `ask` or a `find` stands above in this circuit.
    asked: bool,
    tree: Tree,
    /// The circuit that runs, by its index in the tree's bodies.
    circuit: Option<usize>,
    /// The part, block or work sheet that is open.
    open: Option<Open>,
}

struct Open {
    kind: BodyKind,
    /// Its index in the tree's bodies.
    body: usize,
    /// Whether its `end` comes before anything that would close it.
    ends: bool,
}

impl<'t> Reader<'t> {
    fn read(&mut self, index: usize) {
        self.bench.around.enter(index);
        let cut = &self.cuts[index];
        let tokens = &self.tokens[cut.first..cut.end];
        if Kind::opener(tokens).is_some() {
            self.close(None);
        }
        let kind = Kind::of(tokens, self.inside());
        let outcome = self.statement(index, tokens);
        let (kind, outcome) = match outcome {
            // A body that never ends stops where a line stands that it cannot hold.
            Err(fault)
                if matches!(fault.kind, FaultKind::WrongPlace { .. })
                    && self.open.as_ref().is_some_and(|it| !it.ends)
                    && !self.goes_on_as_a_part(index) =>
            {
                self.close(None);
                let kind = Kind::of(tokens, self.inside());
                (kind, self.statement(index, tokens))
            }
            outcome => (kind, outcome),
        };
        let id = StatementId(self.tree.statements.len() as u32);
        let span = tokens.first().map_or(Span::default(), |first| {
            first.1.to(tokens[tokens.len() - 1].1)
        });
        let (kind, outcome) = match outcome {
            Err(fault) => match self.without_a_head(index, kind, &fault) {
                Some((kind, belongs)) => (
                    kind,
                    Err(Fault::new(fault.span, FaultKind::WrongPlace { belongs })),
                ),
                None => {
                    let kind = self.opens_all_the_same(index, &fault).unwrap_or(kind);
                    (kind, Err(fault))
                }
            },
            outcome => (kind, outcome),
        };
        let outcome = self.key_to_a_question(tokens, kind, outcome);
        let said = match outcome {
            Ok(said) => said,
            Err(mut fault) => {
                // A `part` with properties and an `end` is one, in the wrong place.
                if kind == Kind::Part
                    && matches!(fault.kind, FaultKind::WrongPlace { .. })
                    && self.ends[index + 1]
                {
                    fault.fixes.clear();
                }
                let wires = kind.wires() && !self.wires_nothing(tokens, &fault);
                let fault = self.with_ways_out(index, tokens, fault);
                self.tree.faults.push(fault);
                StatementKind::Broken(broken(tokens, kind, wires, self.inside()))
            }
        };
        self.tree.statements.push(Statement {
            span,
            description: cut.description,
            kind: said,
        });
        self.place(index, id, kind);
    }

    /// Where so much cannot be read, or so much is reckoned, the rest is no text of the language: it counts as one broken
    /// statement.
    fn leave_the_rest(&mut self, index: usize, limit: Limit) {
        let tokens = &self.tokens[self.cuts[index].first..];
        let Some((first, last)) = tokens.first().zip(tokens.last()) else {
            return;
        };
        self.close(None);
        let fault = Fault::new(first.1, FaultKind::TooBig(limit));
        self.tree.faults.push(fault);
        let id = StatementId(self.tree.statements.len() as u32);
        self.tree.statements.push(Statement {
            span: first.1.to(last.1),
            description: None,
            kind: StatementKind::Broken(Broken {
                opens: None,
                wires: true,
                names: Vec::new(),
            }),
        });
        self.place(index, id, Kind::Unknown);
    }

    /// Whether a property of the open part comes next: then one line alone is out of place.
    fn goes_on_as_a_part(&self, index: usize) -> bool {
        let is_part = self
            .open
            .as_ref()
            .is_some_and(|it| it.kind == BodyKind::Part);
        let next = self.cuts.get(index + 1).filter(|_| is_part);
        next.is_some_and(|cut| {
            let tokens = &self.tokens[cut.first..cut.end];
            diagnose::is_property(tokens[0].1.of(self.bench.text))
                && Kind::of_statement(tokens) == Kind::Unknown
        })
    }

    fn statement(&self, index: usize, tokens: &'t [Token]) -> Result<StatementKind, Fault> {
        self.bench.statement(self.standing(index), tokens)
    }

    fn standing(&self, index: usize) -> Standing {
        Standing {
            inside: self.inside(),
            first: index == 0,
        }
    }

    /// An `answer` needs an `ask` or a `find` above it; one that could not be read will do.
    fn key_to_a_question(
        &mut self,
        tokens: &'t [Token],
        kind: Kind,
        outcome: Result<StatementKind, Fault>,
    ) -> Result<StatementKind, Fault> {
        match &outcome {
            Ok(StatementKind::Answer(_)) if !self.asked => {
                let belongs = "below an `ask` or a `find`";
                let span = tokens.first().map_or(Span::default(), |it| it.1);
                return Err(Fault::new(span, FaultKind::WrongPlace { belongs }));
            }
            Ok(StatementKind::Task { ask: true, .. } | StatementKind::Find { .. }) => {
                self.asked = true
            }
            Err(fault) if matches!(kind, Kind::Task | Kind::Find) || fault.unfinished => {
                self.asked = true
            }
            Err(fault) if matches!(fault.kind, FaultKind::NotAStatement(_)) => self.asked = true,
            _ => {}
        }
        outcome
    }

    /// Whether a line that no statement begins like can have brought nothing into the circuit that another line needs: a
    /// claim or a task with a slip in its first word, or a word that begins neither a device nor any name that it can see.
    fn wires_nothing(&self, tokens: &[Token], fault: &Fault) -> bool {
        let FaultKind::NotAStatement(meant) = fault.kind else {
            return false;
        };
        if let [(_, only)] = tokens {
            let word = only.of(self.bench.text);
            let begins = |it: &str| it.starts_with(word);
            return self.mends > 0
                && !WIRING.into_iter().chain(crate::DEVICES).any(begins)
                && !self.bench.around.continues(word, *only);
        }
        meant.is_some_and(|it| SAYING.contains(&it))
    }

    fn with_ways_out(&mut self, index: usize, tokens: &'t [Token], fault: Fault) -> Fault {
        if self.mends == 0 {
            return fault;
        }
        self.mends -= 1;
        mend::with_ways_out(&self.bench, self.standing(index), tokens, fault)
    }

    /// A misspelt `part`, `block`, `circuit` or `work` opens its body too, where the rest of the file says that one was meant.
    fn opens_all_the_same(&self, index: usize, fault: &Fault) -> Option<Kind> {
        let FaultKind::NotAStatement(Some(meant)) = fault.kind else {
            return None;
        };
        let kind = match meant {
            "end" if self.open.as_ref().is_some_and(|it| !it.ends) => return Some(Kind::End),
            "part" => Kind::Part,
            "block" => Kind::Block,
            "circuit" => Kind::Circuit,
            "work" => Kind::Work,
            _ => return None,
        };
        (self.open.is_none() && (kind == Kind::Circuit || self.ends[index + 1])).then_some(kind)
    }

    /// A line of a part or a block above the first circuit, with an `end` below it: the body is there, its head is missing.
    fn without_a_head(
        &self,
        index: usize,
        kind: Kind,
        fault: &Fault,
    ) -> Option<(Kind, &'static str)> {
        let FaultKind::WrongPlace { belongs } = fault.kind else {
            return None;
        };
        if self.inside().is_some() || !self.ends[index + 1] {
            return None;
        }
        let in_blocks = kind.belongs(Some(BodyKind::Block), true, false).is_none();
        match belongs {
            "a part" => Some((
                Kind::Part,
                "a part, and none has begun here: `part NAME` is missing above it",
            )),
            NONE_YET if in_blocks => Some((
                Kind::Block,
                "a block or a circuit, and none has begun here: `block NAME: PORT, PORT` is missing above it",
            )),
            _ => None,
        }
    }

    /// Puts a statement into the bodies, and opens or closes one.
    fn place(&mut self, index: usize, id: StatementId, kind: Kind) {
        if kind == Kind::End && self.open.is_some() {
            self.close(Some(id));
            return;
        }
        if kind == Kind::Circuit {
            self.circuit = None;
            self.asked = false;
        }
        if let Some(holder) = self.open.as_ref().map(|it| it.body).or(self.circuit) {
            self.tree.bodies[holder].inside.push(id);
        }
        if let Some(opened) = kind.opens() {
            let body = self.tree.bodies.len();
            self.tree.bodies.push(Body {
                kind: opened,
                head: id,
                inside: Vec::new(),
                end: None,
            });
            if opened == BodyKind::Circuit {
                self.circuit = Some(body);
            } else {
                self.open = Some(Open {
                    kind: opened,
                    body,
                    ends: self.ends[index + 1],
                });
            }
        }
    }

    /// Closes the open part, block or sheet; without its `end` that is a fault of its head, unless that has one already.
    fn close(&mut self, end: Option<StatementId>) {
        let Some(open) = self.open.take() else { return };
        let body = &mut self.tree.bodies[open.body];
        body.end = end;
        let head = &self.tree.statements[body.head.0 as usize];
        if end.is_none() && !matches!(head.kind, StatementKind::Broken(_)) {
            let last = body
                .inside
                .last()
                .map_or(head, |id| &self.tree.statements[id.0 as usize]);
            self.tree
                .faults
                .push(diagnose::missing_end(open.kind, head.span, last.span));
        }
    }

    fn inside(&self) -> Option<BodyKind> {
        self.open
            .as_ref()
            .map(|it| it.kind)
            .or(self.circuit.map(|_| BodyKind::Circuit))
    }
}

fn broken(tokens: &[Token], kind: Kind, wires: bool, inside: Option<BodyKind>) -> Broken {
    Broken {
        opens: kind.opens(),
        wires: inside != Some(BodyKind::Work) && wires,
        names: tokens
            .iter()
            .filter(|(tok, _)| tok.is_ref())
            .map(|(_, span)| *span)
            .collect(),
    }
}
