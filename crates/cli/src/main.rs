//! The command.

fn main() {
    if std::env::args().nth(1).as_deref() == Some("serve") {
        std::process::exit(server::serve());
    }
    std::process::exit(2);
}
