//! What crosses the crates is tested here; see `tests/`.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

/// The program that `AMPERSUM_BINARY` names, else the one beside the tests, built if it isn't.
pub fn binary() -> &'static Path {
    static BINARY: OnceLock<PathBuf> = OnceLock::new();
    BINARY.get_or_init(|| {
        if let Some(other) = std::env::var_os("AMPERSUM_BINARY") {
            return other.into();
        }
        let cargo = std::env::var_os("CARGO").unwrap_or("cargo".into());
        let built = Command::new(cargo)
            .args(["build", "--quiet", "--locked", "--package", "ampersum"])
            .current_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/.."))
            .status();
        assert!(built.expect("cargo runs").success(), "the command is built");
        profile_folder().join(format!("ampersum{}", std::env::consts::EXE_SUFFIX))
    })
}

/// Cargo's folder for everything that is built; what tests install lies in it too.
pub fn build_folder() -> PathBuf {
    let target = profile_folder();
    target.parent().expect("target/PROFILE").to_owned()
}

fn profile_folder() -> PathBuf {
    let test = std::env::current_exe().expect("tests are a file");
    test.ancestors()
        .nth(2)
        .expect("target/PROFILE/deps")
        .to_owned()
}
