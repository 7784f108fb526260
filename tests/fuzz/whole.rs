//! What must hold of every text when it is checked and solved.

use std::sync::Arc;

use analysis::Study;
use checks::{Finding, Settings};
use circuit::Book;
use circuit::compare::Names;
use syntax::{FileId, Place};
use teaching::explain::explain;

use super::oracles::{assert_edits, fits};

/// Reading, circuit, study, findings and answers: every place lies in the text, every fix can be made, and the canonical
/// form means the same.
pub fn check(text: &str) {
    let (book, findings) = checked(text);
    let inside = |place: Place| assert!(place.file == FileId(0) && fits(text, place.span));
    for finding in &findings {
        inside(finding.place);
        finding.related.iter().for_each(|it| inside(it.place));
        assert!(!finding.message.is_empty() && !finding.help.is_empty());
        for fix in &finding.fixes {
            assert!(
                !fix.title.is_empty() && !fix.edits.is_empty(),
                "{finding:?}"
            );
            assert_edits(text, &fix.edits);
        }
    }
    if book.files[0].tree.faults.is_empty() {
        let formatted = syntax::format(text);
        let (again, told_again) = checked(&formatted);
        let differences =
            circuit::compare::compare(&book, &again, Names::Count, &teaching::notation::number);
        assert!(differences.is_empty(), "{differences:#?}\n{formatted}");
        assert_eq!(told(&findings), told(&told_again), "\n{formatted}");
    }
}

/// Everything that is worked out about a text.
fn checked(text: &str) -> (Book, Vec<Finding>) {
    let book = circuit::build("bench.amp", Arc::from(text), &mut |_| None);
    let settings = Settings::default();
    let circuits = book.circuits.iter();
    let studies: Vec<Study> = circuits.map(|it| Study::new(it, &book.parts)).collect();
    let findings = checks::check(&book, &studies, &settings);
    for (circuit, study) in book.circuits.iter().zip(&studies) {
        study.outcome(circuit, &book.parts);
        let judged = study.judgements(circuit, &book.parts);
        assert_eq!(judged.len(), circuit.claims.len());
        let writing = settings.writing();
        let said = explain(circuit, &study.equations, &study.feedback, writing);
        assert_eq!(said.equations.len(), study.equations.list.len());
    }
    (book, findings)
}

/// What findings are about, without words that quote the text.
fn told(findings: &[Finding]) -> Vec<String> {
    let told = findings.iter();
    let told = told.map(|it| format!("{} {:?} {:?}", it.rule, it.severity, it.subjects));
    let mut told: Vec<String> = told.collect();
    told.sort();
    told
}
