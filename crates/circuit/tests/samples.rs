//! Every sample circuit is built without a fault.

use std::path::Path;
use std::sync::Arc;

use ampersum_circuit as circuit;

fn folder() -> &'static Path {
    Path::new(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../syntax/tests/samples"
    ))
}

#[test]
fn sound_samples_have_no_fault() {
    let mut count = 0;
    for entry in std::fs::read_dir(folder()).expect("the samples are there") {
        let path = entry.expect("readable").path();
        let name = path
            .file_name()
            .expect("a file")
            .to_string_lossy()
            .into_owned();
        let text: Arc<str> = std::fs::read_to_string(&path).expect("readable").into();
        let book = circuit::build(&name, text, &mut |used| {
            std::fs::read_to_string(folder().join(used))
                .ok()
                .map(Into::into)
        });
        for fault in &book.faults {
            println!(
                "{name}: {:?} at `{}` ({:?})",
                fault.kind,
                book.text(fault.place),
                fault.place
            );
        }
        for circuit in &book.circuits {
            println!(
                "{name} {}: {} nodes, {} elements, {} sources, {} op-amps, {} claims, later {:?}",
                circuit.name,
                circuit.nodes.len(),
                circuit.elements.len(),
                circuit.sources.len(),
                circuit.opamps.len(),
                circuit.claims.len(),
                circuit.later.iter().map(|it| &it.what).collect::<Vec<_>>(),
            );
            assert!(
                circuit.claims.iter().all(|it| it.kind.is_some()),
                "{name}: every claim is understood"
            );
        }
        assert!(book.faults.is_empty(), "{name}");
        count += 1;
    }
    assert!(count >= 18, "all samples were read");
}
