//! Sound circuits are read without a fault.

use std::fs;
use std::path::Path;

use ampersum_syntax::{StatementKind, parse};

fn samples() -> Vec<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/samples");
    let mut samples = Vec::new();
    for entry in fs::read_dir(folder).expect("the samples' folder") {
        let path = entry.expect("an entry").path();
        let text = fs::read_to_string(&path).expect("a text");
        samples.push((
            path.file_name()
                .expect("a name")
                .to_string_lossy()
                .into_owned(),
            text,
        ));
    }
    samples.sort();
    samples
}

#[test]
fn every_sample_reads_without_a_fault() {
    let samples = samples();
    assert!(samples.len() >= 18);
    for (name, text) in &samples {
        let tree = parse(text);
        let faults: Vec<_> = tree
            .faults
            .iter()
            .map(|it| (it.span.of(text), &it.kind))
            .collect();
        assert!(faults.is_empty(), "{name}: {faults:?}");
        assert!(
            !tree
                .statements
                .iter()
                .any(|it| matches!(it.kind, StatementKind::Broken(_))),
            "{name}"
        );
    }
}
