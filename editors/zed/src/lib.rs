//! Starts `ampersum serve`; all else is the server's.

use zed_extension_api as zed;

struct Ampersum;

impl zed::Extension for Ampersum {
    fn new() -> Self {
        Ampersum
    }

    fn language_server_command(
        &mut self,
        _server: &zed::LanguageServerId,
        worktree: &zed::Worktree,
    ) -> zed::Result<zed::Command> {
        let command = worktree.which("ampersum").ok_or(
            "`ampersum` is not on the PATH: run `cargo install --path crates/cli` in its checkout",
        )?;
        Ok(zed::Command {
            command,
            args: vec!["serve".into()],
            env: worktree.shell_env(),
        })
    }
}

zed::register_extension!(Ampersum);
