//! The command line, as one value with its docs: help, man page and completions are printed from it.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

/// Op-amp circuits as plain text: node equations, exact answers, and what is wrong with a circuit.
///
/// Exit status: 0 when the answer is yes, 1 when the command ran and the answer is no, 2 for wrong usage or a file that
/// cannot be read. `-` stands for standard input wherever a FILE stands.
#[derive(Parser, Debug)]
#[command(
    name = "ampersum",
    version,
    propagate_version = true,
    max_term_width = 100
)]
pub struct Arguments {
    /// What to do
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Subcommand, Debug)]
pub enum Command {
    /// Say what is wrong in files and folders; exit 0 when there is no error
    Check {
        /// Files and folders (every `.amp` file below); this folder where none is named
        paths: Vec<PathBuf>,
        /// Print JSON
        #[arg(long)]
        json: bool,
        /// Print SARIF 2.1.0
        #[arg(long, conflicts_with = "json")]
        sarif: bool,
        /// Warnings fail too
        #[arg(long)]
        strict: bool,
        /// First write every fix whose meaning cannot be other into the files
        #[arg(long)]
        fix: bool,
    },
    /// Solve every circuit of a file: equations, node voltages, currents, powers, claims, findings
    Solve {
        /// What to read and how to print it
        #[command(flatten)]
        file: OneFile,
        /// Also explain the equation that belongs to this node
        #[arg(long, value_name = "NODE")]
        explain: Option<String>,
        /// Also split each node's voltage by source, and say which resistances are seen
        #[arg(long)]
        shares: bool,
    },
    /// Write the node equations as on paper, without answers
    Equations {
        /// What to read and how to print it
        #[command(flatten)]
        file: OneFile,
        /// As a table of factors, one row an equation
        #[arg(long)]
        matrix: bool,
        /// With each op-amp as its part says, not ideal
        #[arg(long)]
        real: bool,
    },
    /// Explain each equation term by term
    Explain {
        /// What to read and how to print it
        #[command(flatten)]
        file: OneFile,
        /// Only the equation that belongs to this node
        #[arg(long, value_name = "NODE")]
        at: Option<String>,
        /// With each op-amp as its part says, not ideal
        #[arg(long)]
        real: bool,
    },
    /// Try each generic op-amp class in a circuit, and say which would do and which limit rules the others out
    Suit {
        /// What to read and how to print it
        #[command(flatten)]
        file: OneFile,
    },
    /// Write texts in their canonical form, in place; `-` reads standard input and writes standard output
    Format {
        /// Files and folders (every `.amp` file below); this folder where none is named
        paths: Vec<PathBuf>,
        /// Write nothing; exit 1 where a text is not canonical
        #[arg(long)]
        check: bool,
        /// Print JSON
        #[arg(long)]
        json: bool,
    },
    /// Tell two versions apart by meaning; order, spelling and comments do not count
    Compare {
        /// OLD and NEW (or the seven words that git gives to a diff driver)
        #[arg(num_args = 2..=7, required = true, value_names = ["OLD", "NEW"])]
        files: Vec<PathBuf>,
        /// Names do not count either
        #[arg(long)]
        any_names: bool,
        /// Print JSON
        #[arg(long)]
        json: bool,
    },
    /// Show the manual page of a rule, or list the rules
    Rule {
        /// The rule's name, as it stands beside a finding
        name: Option<String>,
    },
    /// Show a page of the manual, or list the pages
    Manual {
        /// The page's name (a rule's name is one too)
        page: Option<String>,
        /// Print the man page
        #[arg(long, conflicts_with_all = ["page", "completions"])]
        man: bool,
        /// Print completions for a shell
        #[arg(long, value_name = "SHELL", conflicts_with = "page")]
        completions: Option<clap_complete::Shell>,
    },
    /// Serve an editor: the language server on standard input and output
    Serve,
}

/// One file to read.
#[derive(Args, Debug)]
pub struct OneFile {
    /// The file, or `-` for standard input
    pub file: PathBuf,
    /// Only this circuit
    #[arg(long, value_name = "NAME")]
    pub circuit: Option<String>,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}
