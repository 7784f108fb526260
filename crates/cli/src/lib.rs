//! The `ampersum` command: arguments in, words or JSON out, an exit status. One output format, one file.
//!
//! In reading order: [`arguments`], [`read`] (files, `use`, settings), then the formats [`words`], [`report`] and [`json`].

use std::ffi::OsString;
use std::io::{IsTerminal, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use checks::Severity;
use clap::Parser;

mod arguments;
mod compare;
mod fix;
mod format;
mod json;
mod pages;
mod read;
mod report;
mod sarif;
mod words;

use arguments::{Arguments, Command, OneFile};
use json::{Only, Shape};
use read::Examined;

/// What `solve --json` prints for a text that stands in no file system.
pub fn solve_json(path: &str, text: &str) -> serde_json::Value {
    let it = [read::examine_text(path, text)];
    json::report(&it, Shape::Solve { shares: false }, Only::default())
}

/// What `solve --shares --json` prints for a text that stands in no file system.
pub fn shares_json(path: &str, text: &str) -> serde_json::Value {
    let it = [read::examine_text(path, text)];
    json::report(&it, Shape::Solve { shares: true }, Only::default())
}

/// What `check --json` prints for a text that stands in no file system.
pub fn check_json(path: &str, text: &str) -> serde_json::Value {
    json::report(
        &[read::examine_text(path, text)],
        Shape::Check,
        Only::default(),
    )
}

/// What `equations --json` prints for a text that stands in no file system.
pub fn equations_json(path: &str, text: &str) -> serde_json::Value {
    json::report(
        &[read::examine_text(path, text)],
        Shape::Equations {
            matrix: false,
            real: false,
        },
        Only::default(),
    )
}

/// What `compare --json` prints for two texts that stand in no file system.
pub fn compare_json(old: &str, new: &str, any_names: bool) -> serde_json::Value {
    let names = if any_names {
        circuit::compare::Names::Any
    } else {
        circuit::compare::Names::Count
    };
    let [old, new] = [old, new].map(|it| read::examine_text("text.amp", it));
    compare::json(&compare::of(old, new, names))
}

/// What `format` writes.
pub fn format_text(text: &str) -> String {
    syntax::format(text)
}

/// Runs the command.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(error) => {
            let _ = error.print();
            return ExitCode::from(if error.use_stderr() { 2 } else { 0 });
        }
    };
    let outcome = match arguments.command {
        Command::Check {
            paths,
            json,
            sarif,
            strict,
            fix,
        } => {
            let print = if sarif {
                Print::Sarif
            } else if json {
                Print::Json
            } else {
                Print::Words
            };
            check(&paths, print, strict, fix)
        }
        Command::Format { paths, check, json } => format(&paths, check, json),
        Command::Compare {
            files,
            any_names,
            json,
        } => compare(&files, any_names, json),
        Command::Solve {
            file,
            explain,
            shares,
        } => one(&file, Shape::Solve { shares }, None, |it, index| {
            let mut solved = words::solved(it, index);
            if shares {
                solved.push_str(&words::shares(it, index));
            }
            match &explain {
                Some(node) => words::explained(it, index, Some(node), false)
                    .map(|said| format!("{solved}\n{said}")),
                None => Some(solved),
            }
        }),
        Command::Equations { file, matrix, real } => {
            let shape = Shape::Equations { matrix, real };
            one(&file, shape, None, |it, index| {
                Some(words::equations_of(it, index, matrix, real))
            })
        }
        Command::Explain { file, at, real } => {
            let shape = Shape::Equations {
                matrix: false,
                real,
            };
            let at = at.as_deref();
            one(&file, shape, at, |it, index| {
                words::explained(it, index, at, real)
            })
        }
        Command::Suit { file } => suit(&file),
        Command::Rule { name } => Ok(page(pages::rule(name.as_deref()), name.as_deref())),
        Command::Manual {
            completions: Some(shell),
            ..
        } => {
            print(&String::from_utf8_lossy(&pages::completions(shell)));
            Ok(true)
        }
        Command::Manual { man: true, .. } => match pages::man() {
            Ok(text) => {
                print(&String::from_utf8_lossy(&text));
                Ok(true)
            }
            Err(error) => Err(format!("the man page cannot be written: {error}")),
        },
        Command::Manual { page: name, .. } => {
            Ok(page(pages::manual(name.as_deref()), name.as_deref()))
        }
        Command::Serve => return ExitCode::from(u8::try_from(server::serve()).unwrap_or(1)),
    };
    match outcome {
        Ok(good) => ExitCode::from(u8::from(!good)),
        Err(sentence) => {
            let _ = writeln!(std::io::stderr(), "ampersum: {sentence}");
            ExitCode::from(2)
        }
    }
}

/// How findings are printed.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Print {
    Words,
    Json,
    Sarif,
}

/// Whether every file is free of errors.
fn check(paths: &[PathBuf], form: Print, strict: bool, fix: bool) -> Result<bool, String> {
    let files = read::amp_files(paths)?;
    if fix && files.iter().any(|it| it.as_os_str() == "-") {
        return Err("--fix writes into files: standard input cannot be fixed".to_owned());
    }
    let mut edited = Vec::new();
    let mut all = Vec::new();
    // What can be read is told all the same.
    let mut unreadable = Vec::new();
    for file in &files {
        let examined = if fix {
            fix::fix(file)
        } else {
            read::examine_file(file).map(|it| (it, Vec::new()))
        };
        match examined {
            Ok((it, made)) => {
                edited.push(made);
                all.push(it);
            }
            Err(sentence) => unreadable.push(sentence),
        }
    }
    // One settings file holds for many circuits: its mistakes are told once.
    let mut told = std::collections::HashSet::new();
    for it in &mut all {
        let paths: Vec<String> = it.book.files.iter().map(|file| file.path.clone()).collect();
        it.findings.retain(|finding| {
            let path = &paths[finding.place.file.0 as usize];
            finding.rule != "settings" || told.insert((path.clone(), finding.place.span))
        });
    }
    let worst = if strict {
        Severity::Warning
    } else {
        Severity::Error
    };
    let good = all
        .iter()
        .flat_map(|it| &it.findings)
        .all(|it| it.severity < worst);
    if all.is_empty() && !unreadable.is_empty() {
        return Err(unreadable.join("\nampersum: "));
    }
    match form {
        Print::Json => {
            let mut report = json::report(&all, Shape::Check, Only::default());
            if fix {
                json::tell_edits(&mut report, &edited);
            }
            print(&pretty(&report));
        }
        Print::Sarif => print(&pretty(&sarif::report(&all))),
        Print::Words => print(&summed_up(&all, &edited)),
    }
    match unreadable.is_empty() {
        true => Ok(good),
        false => Err(unreadable.join("\nampersum: ")),
    }
}

/// What was found in all files, and how much of it.
fn summed_up(all: &[Examined], edited: &[Vec<fix::Made>]) -> String {
    let mut out = String::new();
    for (it, made) in all.iter().zip(edited) {
        for fix::Made { line, old, new } in made {
            out.push_str(&format!("{}:{line}: `{old}` → `{new}`\n", it.path));
        }
    }
    let mut count = [0usize; 3];
    for it in all {
        out.push_str(&reports(it, None));
        for finding in &it.findings {
            count[finding.severity as usize] += 1;
        }
    }
    let plural =
        |count: usize, word: &str| format!("{count} {word}{}", if count == 1 { "" } else { "s" });
    let [hints, warnings, errors] = count;
    let fixes = edited.iter().map(Vec::len).sum();
    if fixes > 0 {
        out.push_str(&format!("{} made; ", plural(fixes, "edit")));
    }
    out.push_str(&format!(
        "{}: {}, {}, {}\n",
        plural(all.len(), "file"),
        plural(errors, "error"),
        plural(warnings, "warning"),
        plural(hints, "hint"),
    ));
    out
}

/// Whether every text was, or is now, canonical.
fn format(paths: &[PathBuf], only_check: bool, as_json: bool) -> Result<bool, String> {
    let done = format::run(paths, only_check)?;
    let good = !only_check || done.texts.iter().all(|it| it.1);
    match &done.output {
        Some(text) if !only_check && !as_json => print(text),
        _ if as_json => print(&pretty(&format::json(&done))),
        _ => {
            for (path, _) in done.texts.iter().filter(|it| !it.1) {
                print(&format!(
                    "{} {path}\n",
                    if only_check {
                        "not canonical:"
                    } else {
                        "formatted"
                    }
                ));
            }
        }
    }
    Ok(good)
}

/// Whether two versions mean the same. As git's diff driver it always says yes: git takes a no for a failure.
fn compare(words: &[PathBuf], any_names: bool, as_json: bool) -> Result<bool, String> {
    let Some((old, new, shown)) = compare::files(words) else {
        return Err("compare takes two files, OLD and NEW".to_owned());
    };
    let names = if any_names {
        circuit::compare::Names::Any
    } else {
        circuit::compare::Names::Count
    };
    let it = compare::run(old, new, names)?;
    print(&if as_json {
        pretty(&compare::json(&it))
    } else {
        compare::words(&it, shown)
    });
    Ok(it.differences.is_empty() || shown.is_some())
}

/// A command on one file: words for each circuit, or the JSON shape. The answer is whether all of it could be done.
fn one(
    file: &OneFile,
    shape: Shape,
    node: Option<&str>,
    words: impl Fn(&Examined, usize) -> Option<String>,
) -> Result<bool, String> {
    let it = read::examine_file(&file.file)?;
    let (only, chosen) = (file.circuit.as_deref(), chosen(&it, file)?);
    let good = good(&it, &chosen, shape);
    if file.json {
        let only = Only {
            circuit: only,
            node,
        };
        print(&pretty(&json::report(
            std::slice::from_ref(&it),
            shape,
            only,
        )));
        return Ok(good);
    }
    let mut all_said = true;
    for (count, index) in chosen.iter().enumerate() {
        if count > 0 {
            print("\n");
        }
        match words(&it, *index) {
            Some(text) => print(&text),
            None => all_said = false,
        }
    }
    if chosen.is_empty() {
        print(&format!("`{}` holds no circuit\n", it.path));
    }
    let found = reports(&it, only.map(|_| chosen.as_slice()));
    if !found.is_empty() {
        print(&format!("\n{found}"));
    }
    if !all_said && chosen.len() == 1 {
        return Err("the circuit has no such node (`ampersum equations` lists them)".to_owned());
    }
    Ok(good)
}

/// The circuits that are asked for.
fn chosen(it: &Examined, file: &OneFile) -> Result<Vec<usize>, String> {
    let only = file.circuit.as_deref();
    let chosen: Vec<usize> = (0..it.book.circuits.len())
        .filter(|index| only.is_none_or(|name| it.book.circuits[*index].name == name))
        .collect();
    if let (Some(name), true) = (only, chosen.is_empty()) {
        let names: Vec<&str> = it.book.circuits.iter().map(|it| it.name.as_str()).collect();
        let known = if names.is_empty() {
            "none".to_owned()
        } else {
            names.join(", ")
        };
        return Err(format!(
            "`{}` has no circuit `{name}` (it has: {known})",
            it.path
        ));
    }
    Ok(chosen)
}

/// Whether some class of op-amp would do for each circuit.
fn suit(file: &OneFile) -> Result<bool, String> {
    let it = read::examine_file(&file.file)?;
    let chosen = chosen(&it, file)?;
    let tried = chosen.iter().map(|index| {
        let classes = checks::suit::suit(&it.book, *index, &it.settings);
        (*index, classes)
    });
    let tried: Vec<_> = tried.collect();
    // Where nothing is to choose, anything will do.
    let would_do = |(_, classes): &(usize, Vec<checks::suit::Suited>)| {
        classes.is_empty() || classes.iter().any(|it| it.findings.is_empty())
    };
    let good = !tried.is_empty() && tried.iter().all(would_do);
    if file.json {
        print(&pretty(&json::suited(&it, &tried)));
        return Ok(good);
    }
    let said = tried
        .iter()
        .map(|(index, classes)| words::suited(&it, *index, classes));
    print(&said.collect::<Vec<_>>().join("\n"));
    if tried.is_empty() {
        print(&format!("`{}` holds no circuit\n", it.path));
    }
    Ok(good)
}

/// `solve`: everything solved and every claim kept; the teaching commands: the equations could be written.
fn good(it: &Examined, chosen: &[usize], shape: Shape) -> bool {
    let readable =
        |finding: &checks::Finding| finding.circuit.is_none_or(|index| chosen.contains(&index));
    let clean = it
        .findings
        .iter()
        .filter(|it| readable(it))
        .all(|it| it.severity < Severity::Error);
    let complete = chosen.iter().all(|index| {
        let (circuit, study) = (&it.book.circuits[*index], &it.studies[*index]);
        let judged = study.judgements(circuit, &it.book.parts);
        let kept = circuit
            .claims
            .iter()
            .zip(judged)
            .all(|(claim, judged)| json::holds(it, *index, claim, judged) == Some(true));
        study.outcome(circuit, &it.book.parts).is_settled() && kept
    });
    match shape {
        Shape::Solve { .. } => clean && complete && !chosen.is_empty(),
        _ => !chosen.is_empty() && it.book.files.iter().all(|it| it.tree.faults.is_empty()),
    }
}

/// Prints a page; without it says what was perhaps meant.
fn page(found: Result<String, Option<&'static str>>, name: Option<&str>) -> bool {
    match found {
        Ok(text) => {
            print(&text);
            true
        }
        Err(nearest) => {
            let hint = nearest.map_or(String::new(), |it| format!("; did you mean `{it}`?"));
            let _ = writeln!(
                std::io::stderr(),
                "ampersum: there is no page `{}`{hint}",
                name.unwrap_or("")
            );
            false
        }
    }
}

fn reports(it: &Examined, circuits: Option<&[usize]>) -> String {
    let colour = std::io::stdout().is_terminal()
        && std::env::var_os("NO_COLOR").is_none_or(|it| it.is_empty());
    let mine = |finding: &&checks::Finding| match (circuits, finding.circuit) {
        (Some(circuits), Some(index)) => circuits.contains(&index),
        _ => true,
    };
    report::findings(it, it.findings.iter().filter(mine), colour)
}

fn pretty(value: &serde_json::Value) -> String {
    format!("{value:#}\n")
}

/// Prints; a reader that has gone away (a closed pipe) is no fault of ours.
fn print(text: &str) {
    let _ = anstream::stdout().lock().write_all(text.as_bytes());
}
