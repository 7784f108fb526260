//! Compiles the parser.

fn main() {
    let files = ["src/parser.c", "src/scanner.c"];
    for file in files {
        println!("cargo:rerun-if-changed={file}");
    }
    cc::Build::new()
        .std("c11")
        .include("src")
        .files(files)
        .flag_if_supported("-Wno-unused")
        .compile("tree-sitter-ampersum");
}
