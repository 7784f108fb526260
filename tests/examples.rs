//! The greenhouse circuits of `examples/`: green under `check`, every claim holds, and each says that its figures are invented.

use std::fs;

use crate::harness::{Report, root};

#[test]
fn examples_are_green_and_keep_their_claims() {
    let mut files: Vec<_> = fs::read_dir(root().join("examples"))
        .expect("the examples")
        .map(|entry| entry.expect("a file").path())
        .filter(|path| path.extension().is_some_and(|it| it == "amp"))
        .collect();
    files.sort();
    assert!(files.len() >= 8, "only {} examples", files.len());
    for path in files {
        let name = path.display();
        let text = fs::read_to_string(&path).expect("an example");
        assert!(
            text.contains("invented"),
            "{name} says that its figures are invented"
        );
        let report = Report::new(ampersum::solve_json(&path.to_string_lossy(), &text));
        assert_eq!(report.all_findings(), [], "{name}");
        for circuit in &report.circuits {
            let claims = circuit.0["expects"]
                .as_array()
                .map_or(&[][..], Vec::as_slice);
            assert!(
                !claims.is_empty(),
                "{name}: {} claims nothing",
                circuit.name()
            );
            for claim in claims {
                assert_eq!(claim["holds"], true, "{name}: {claim}");
            }
        }
    }
}
