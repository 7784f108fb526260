//! In which circuit a place of the first file lies, found by halving.

use circuit::Book;
use syntax::{BodyKind, FileId, Span, StatementId};

/// The stretches of a file.
pub(crate) struct Extents {
    /// Start, end, index; in the order of the text.
    circuits: Vec<(Span, usize)>,
    /// Parts and blocks, which belong to no circuit.
    apart: Vec<Span>,
}

impl Extents {
    pub(crate) fn of(book: &Book) -> Extents {
        let circuits = book.circuits.iter().enumerate();
        let own = circuits.filter(|(_, it)| it.extent.file == FileId(0));
        let mut circuits: Vec<(Span, usize)> =
            own.map(|(index, it)| (it.extent.span, index)).collect();
        circuits.sort_unstable();
        let mut apart = Vec::new();
        if let Some(file) = book.files.first() {
            let span = |id: StatementId| file.tree.statements.get(id.0 as usize).map(|it| it.span);
            for body in &file.tree.bodies {
                let last = body
                    .end
                    .or(body.inside.last().copied())
                    .unwrap_or(body.head);
                if let (Some(head), Some(last)) = (span(body.head), span(last))
                    && matches!(body.kind, BodyKind::Part | BodyKind::Block)
                {
                    apart.push(head.to(last));
                }
            }
        }
        apart.sort_unstable();
        Extents { circuits, apart }
    }

    /// The circuit around a stretch of the first file.
    pub(crate) fn circuit(&self, span: Span) -> Option<usize> {
        let around = |it: &Span| it.start <= span.start && span.end <= it.end;
        let apart = self.apart.partition_point(|it| it.start <= span.start);
        if apart
            .checked_sub(1)
            .and_then(|it| self.apart.get(it))
            .is_some_and(around)
        {
            return None;
        }
        let next = self.circuits.partition_point(|it| it.0.start <= span.start);
        let (extent, index) = self.circuits.get(next.checked_sub(1)?)?;
        around(extent).then_some(*index)
    }
}
