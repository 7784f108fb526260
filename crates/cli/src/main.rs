//! The `ampersum` command.

fn main() -> std::process::ExitCode {
    ampersum::run(std::env::args_os())
}
