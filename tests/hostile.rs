//! Texts made to hurt, run through the command as a reader would run it: each is answered with the right finding at the right
//! line, in bounded time, memory and output, without a panic.
//!
//! The sizes are small enough for an unoptimized build. `AMPERSUM_HOSTILE=full` takes the whole sizes, and
//! `AMPERSUM_BINARY` names another build of the command; what each row takes is printed.

use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;
use wait4::Wait4;

use ampersum_tests::binary;

/// What must come of a text.
enum Want {
    /// No error.
    Fine,
    /// Exactly these errors, each with its line.
    Errors(&'static [(&'static str, usize)]),
    /// This error first; more may follow.
    First(&'static str, usize),
}
use Want::{Errors, Fine, First};

/// Its name, what must come of it, whether its circuit is solved too, the text.
type Row = (&'static str, Want, bool, Vec<u8>);

const MIB: usize = 1 << 20;
/// The language's limit on a file.
const LARGEST: usize = 16 * MIB;
/// The machine may be busy and the build unoptimized.
const LONG: Duration = Duration::from_secs(60);
/// In bytes.
const MEMORY: u64 = 256 << 20;

fn is_full() -> bool {
    std::env::var_os("AMPERSUM_HOSTILE").is_some_and(|it| it == "full")
}

/// A number of lines: all of them, or a share that an unoptimized build reads in a second or two.
fn many(count: usize) -> usize {
    if is_full() { count } else { count / 50 }
}

/// A text that in whole size goes beyond what a file may write down, on this line; a share of it is fine.
fn beyond(line: usize) -> Want {
    if is_full() {
        First("too_big", line)
    } else {
        Fine
    }
}

fn lines(count: usize, line: impl Fn(usize) -> String) -> String {
    (0..count).map(|at| line(at) + "\n").collect()
}

/// A circuit that is sound, and these lines.
fn beside(text: &str) -> String {
    format!("source s: in = 1 V\nin -- R0 1k -- ground\n{text}")
}

#[test]
fn limits_hold_just_inside_and_tell_just_beyond() {
    let name = |length: usize| beside(&format!("let {} = 1\n", "x".repeat(length)));
    let value = |text: &str| beside(&format!("let x = {text}\n"));
    let brackets = |depth: usize| value(&format!("{}1{}", "(".repeat(depth), ")".repeat(depth)));
    // A path of exactly so many characters.
    let long = |length: usize| {
        let mut path = "in".to_owned();
        let mut at = 0;
        while path.len() < length - 40 {
            at += 1;
            path += &format!(" -- R{at} 1k -- n{at}");
        }
        let end = " -- Rlast 1k -- ground";
        let digits = length - path.len() - end.len() + 2;
        path += &end.replace("1k", &"1".repeat(digits));
        beside(&path)
    };
    let towers = |count: usize| lines(count, |at| format!("let t{} = t{at}^32", at + 1));
    run(vec![
        ("a name of 64 letters", Fine, true, name(64).into()),
        (
            "a name of 65",
            Errors(&[("too_big", 3)]),
            false,
            name(65).into(),
        ),
        ("40 digits", Fine, true, value(&"9".repeat(40)).into()),
        (
            "41 digits",
            Errors(&[("too_big", 3)]),
            false,
            value(&"9".repeat(41)).into(),
        ),
        ("e30", Fine, true, value("1e30").into()),
        ("e-30", Fine, true, value("1e-30").into()),
        (
            "e31",
            Errors(&[("too_big", 3)]),
            false,
            value("1e31").into(),
        ),
        (
            "e and 20 digits",
            Errors(&[("too_big", 3)]),
            false,
            value("1e99999999999999999999").into(),
        ),
        ("^32", Fine, true, value("2^32").into()),
        (
            "^-33",
            Errors(&[("too_big", 3)]),
            false,
            value("2^-33").into(),
        ),
        ("64 brackets", Fine, true, brackets(64).into()),
        (
            "65 brackets",
            Errors(&[("too_big", 3)]),
            false,
            brackets(65).into(),
        ),
        (
            "1,000 signs",
            Fine,
            true,
            value(&format!("1{}", " + 1".repeat(1_000))).into(),
        ),
        (
            "1,001 signs",
            Errors(&[("too_big", 3)]),
            false,
            value(&format!("1{}", " + 1".repeat(1_001))).into(),
        ),
        (
            "all signs 64 deep",
            Fine,
            true,
            value(&format!("{}1{}", "1 + 2 * -(".repeat(64), ")^1".repeat(64))).into(),
        ),
        (
            "1,000 minus signs",
            Fine,
            true,
            value(&format!("{}1", "- ".repeat(1_000))).into(),
        ),
        (
            "voltages in 1,000 signs",
            Fine,
            true,
            beside(&format!("expect in{} = 1001 V\n", " + in".repeat(1_000))).into(),
        ),
        (
            "a line of 10,000 characters",
            Fine,
            true,
            long(10_000).into(),
        ),
        (
            "a line of 10,001",
            Errors(&[("too_big", 3)]),
            false,
            long(10_001).into(),
        ),
        ("16 blocks deep", Fine, true, nested(16).into()),
        (
            "17 blocks deep",
            Errors(&[("too_big", 47)]),
            false,
            nested(17).into(),
        ),
        ("a file of 16 MiB", Fine, false, filled(LARGEST).into()),
        (
            "100,000 statements",
            Fine,
            false,
            beside(&lines(99_997, |at| format!("let v{at} = 1"))).into(),
        ),
        (
            "100,001 statements",
            Errors(&[("too_big", 100_000)]),
            false,
            beside(&lines(99_998, |at| format!("let v{at} = 1"))).into(),
        ),
        (
            "a file of 16 MiB and a byte",
            Errors(&[("too_big", 1)]),
            false,
            filled(LARGEST + 1).into(),
        ),
        (
            "powers of powers",
            Errors(&[("too_big", 5)]),
            false,
            beside(&format!("let t0 = 10^32\n{}", towers(9))).into(),
        ),
        (
            "a tower of powers",
            Errors(&[("too_big", 3)]),
            false,
            value("((((10^32)^32)^32)^32)^32").into(),
        ),
    ]);
}

#[test]
fn blocks_and_values_that_multiply_are_refused_before_they_are_written_out() {
    let own = "block b: in\n  b X: in in\nend\ncircuit c\nsource s: a = 1 V\nb X: in a\n";
    let mutual = "block b: in\n  d X: in in\nend\nblock d: in\n  b X: in in\nend\ncircuit c\nsource s: a = 1 V\nb X: in a\n";
    let sheet = lines(60, |at| format!("let v{} = v{at} + v{at}", at + 1));
    let sheet = beside(&format!(
        "work \"doubling\"\nlet v0 = in + in\n{sheet}end\n"
    ));
    let chain = many(49_000);
    let forward = lines(chain, |at| format!("let a{} = a{at} + 1", at + 1));
    let backward = lines(chain, |at| format!("let a{at} = a{} + 1", at + 1));
    let last = format!("let a{chain} = 1\nin -- R1 (a0 * 1 ohm) -- ground\n");
    let elements = lines(chain, |at| {
        format!("in -- E{at} (E{} + 1 ohm) -- ground", at + 1)
    });
    let end = format!("in -- E{chain} 1k -- ground\n");
    let ring = lines(chain, |at| format!("let a{at} = a{} + 1", (at + 1) % chain));
    run(vec![
        ("a block in itself", First("ring", 2), true, own.into()),
        (
            "two blocks in each other",
            First("ring", 2),
            true,
            mutual.into(),
        ),
        (
            "2^20 resistors by doubling",
            First("too_big", 5),
            true,
            doubled(20).into(),
        ),
        (
            "2^60 resistors by doubling",
            First("too_big", 5),
            true,
            doubled(60).into(),
        ),
        (
            "2^15 resistors by doubling",
            Fine,
            false,
            doubled(if is_full() { 15 } else { 11 }).into(),
        ),
        (
            "a work sheet that doubles",
            Errors(&[("too_big", 16)]),
            true,
            sheet.into(),
        ),
        (
            "a chain of `let`s",
            Fine,
            false,
            beside(&format!("let a0 = 1\n{forward}")).into(),
        ),
        (
            "a chain of `let`s in reverse",
            Fine,
            false,
            beside(&format!("{backward}{last}")).into(),
        ),
        (
            "a chain of elements in reverse",
            Fine,
            false,
            beside(&format!("{elements}{end}")).into(),
        ),
        (
            "a ring of `let`s",
            Errors(&[("ring", 3)]),
            false,
            beside(&ring).into(),
        ),
    ]);
}

#[test]
fn very_many_of_one_thing_are_read() {
    let ladder = {
        let per_line = 300;
        lines(many(600_000) / per_line, |line| {
            let from = line * per_line;
            let steps: String = (from..from + per_line)
                .map(|at| format!(" -- R{at} 1k -- n{}", at + 1))
                .collect();
            format!("n{from}{steps}")
        })
    };
    let path = |at: usize| {
        let steps: String = (0..250)
            .map(|step| format!(" -- R{at}_{step} 1k -- m{at}_{step}"))
            .collect();
        format!("in{steps} -- L{at} 1 -- ground")
    };
    let dense = |at: usize| {
        let sum = (0..900).map(|it| format!("+{it}")).collect::<String>();
        format!("let d{at} = 1{sum}")
    };
    let rails = |_: usize| format!("supply {} and 5 V", "-".repeat(4_000));
    run(vec![
        (
            "a million names",
            beyond(100_001),
            false,
            lines(many(1_000_000), |at| format!("let n{at}=1")).into(),
        ),
        (
            "half a million `let`s in a circuit",
            beyond(100_000),
            false,
            beside(&lines(many(500_000), |at| format!("let v{at} = {at} ohm"))).into(),
        ),
        (
            "600,000 resistors in a ladder",
            beyond(334),
            false,
            format!("source s: n0 = 1 V\n{ladder}").into(),
        ),
        (
            "long lines",
            beyond(399),
            false,
            beside(&lines(many(1_600), path)).into(),
        ),
        (
            "long sums",
            beyond(558),
            false,
            beside(&lines(many(3_000), dense)).into(),
        ),
        (
            "long lines that cannot be read",
            First("single_dash", 3),
            false,
            beside(&lines(many(3_000), rails)).into(),
        ),
        (
            "a million loose ends",
            beyond(50_001),
            false,
            beside(&lines(many(500_000), |at| {
                format!("in -- R{at}x 1k -- n{at}")
            }))
            .into(),
        ),
        (
            "a million unknown names",
            if is_full() {
                beyond(100_000)
            } else {
                First("unknown_name", 3)
            },
            false,
            beside(&lines(many(700_000), |at| format!("let y{at} = z{at}"))).into(),
        ),
        (
            "a million words",
            First("not_a_statement", 1),
            false,
            lines(many(4_000_000), |_| "a".into()).into(),
        ),
        (
            "a million `end`s",
            First("missing_end", 1),
            false,
            lines(many(4_000_000), |_| "end".into()).into(),
        ),
        (
            "a million same names",
            if is_full() {
                beyond(100_000)
            } else {
                First("name_taken", 4)
            },
            false,
            beside(&lines(many(800_000), |_| "let y = 1".into())).into(),
        ),
    ]);
}

#[test]
fn one_sign_over_and_over_is_read() {
    let of = |sign: &str| {
        sign.repeat(if is_full() { LARGEST } else { MIB / 2 } / sign.len())
            .into_bytes()
    };
    run(vec![
        ("nothing", Fine, false, Vec::new()),
        ("only comments", Fine, false, "# nothing\n# at all\n".into()),
        ("(", Errors(&[("too_big", 1)]), false, of("(")),
        (
            "( in lines",
            First("too_big", 1),
            false,
            of(&format!("{}\n", "(".repeat(9_000))),
        ),
        ("line ends", Fine, false, of("\n")),
        ("#", Fine, false, of("#")),
        ("# in lines", Fine, false, of("#\n")),
        ("## in lines", Fine, false, of("##\n")),
        ("\"", Errors(&[("too_big", 1)]), false, of("\"")),
        (
            "\" in lines",
            Errors(&[("open_string", 1)]),
            false,
            of("\"\n"),
        ),
        ("-", Errors(&[("too_big", 1)]), false, of("-")),
        ("a.", Errors(&[("too_big", 1)]), false, of("a.")),
        ("9", Errors(&[("too_big", 1)]), false, of("9")),
        ("blanks", Fine, false, of(" ")),
        (
            "bytes that are no UTF-8",
            Errors(&[("too_big", 1)]),
            false,
            vec![0xff; if is_full() { LARGEST / 3 } else { MIB / 3 }],
        ),
    ]);
}

#[test]
fn odd_bytes_are_told_where_they_stand() {
    let with = |odd: &[u8], sound: &str| [sound.as_bytes(), odd].concat();
    let sound = beside("");
    let in_line = |odd: &str| beside(&format!("let x{odd} = 1\n"));
    run(vec![
        (
            "a wrong byte first",
            First("stray_character", 1),
            false,
            [b"\xff", sound.as_bytes()].concat(),
        ),
        (
            "a wrong byte in a comment",
            Fine,
            true,
            with(b"# \xff\xfe\n", &sound),
        ),
        (
            "a wrong byte last",
            First("stray_character", 3),
            true,
            with(b"let x = 1\xc3", &sound),
        ),
        (
            "a zero byte",
            Errors(&[("stray_character", 3)]),
            false,
            in_line("\0").into(),
        ),
        (
            "a lone CR",
            Errors(&[("stray_character", 1)]),
            false,
            "source s: in = 1 V\rin -- R0 1k -- ground\n".into(),
        ),
        ("CR LF", Fine, true, sound.replace('\n', "\r\n").into()),
        (
            "a mark of byte order",
            Fine,
            true,
            format!("\u{feff}{sound}").into(),
        ),
        (
            "two of them",
            Errors(&[("stray_character", 1)]),
            false,
            format!("\u{feff}\u{feff}{sound}").into(),
        ),
        (
            "U+2028",
            Errors(&[("stray_character", 3)]),
            false,
            in_line("\u{2028}").into(),
        ),
        (
            "a right-to-left mark",
            Errors(&[("stray_character", 3)]),
            false,
            in_line("\u{200f}").into(),
        ),
        (
            "a right-to-left override",
            Errors(&[("stray_character", 3)]),
            false,
            in_line("\u{202e}").into(),
        ),
        (
            "a space of no width",
            Errors(&[("stray_character", 3)]),
            false,
            in_line("\u{200b}").into(),
        ),
        (
            "letters from the right",
            Fine,
            true,
            in_line("\u{5d0}\u{5d1}").into(),
        ),
        (
            "1,000 accents on a letter",
            Errors(&[("too_big", 3)]),
            false,
            in_line(&"\u{301}".repeat(1_000)).into(),
        ),
    ]);
}

#[test]
fn use_reaches_no_further_than_its_folder() {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("hostile_use");
    let _ = fs::remove_dir_all(&folder);
    let inside = folder.join("inside");
    fs::create_dir_all(inside.join("folder.amp")).expect("a folder");
    let write = |path: &Path, text: &str| fs::write(path, text).expect("written");
    write(&folder.join("outside.amp"), "part p\n  gain 10\nend\n");
    write(&inside.join("ampersum.toml"), "");
    write(&inside.join("good.amp"), "part p\n  gain 10\nend\n");
    write(&inside.join("self.amp"), "use \"self.amp\"\n");
    for (of, used) in [
        ("a2", "b2"),
        ("b2", "a2"),
        ("a3", "b3"),
        ("b3", "c3"),
        ("c3", "a3"),
    ] {
        write(
            &inside.join(format!("{of}.amp")),
            &format!("use \"{used}.amp\"\n"),
        );
    }
    for at in 0..40 {
        write(
            &inside.join(format!("deep{at}.amp")),
            &format!("use \"deep{}.amp\"\n", at + 1),
        );
    }
    write(&inside.join("deep40.amp"), "# the last\n");
    write(&inside.join("large.amp"), &filled(LARGEST + 1));
    #[cfg(unix)]
    {
        use std::os::unix::fs::{PermissionsExt, symlink};
        symlink("../outside.amp", inside.join("link.amp")).expect("linked");
        symlink("..", inside.join("up")).expect("linked");
        symlink("ring.amp", inside.join("ring.amp")).expect("linked");
        symlink("good.amp", inside.join("kept.amp")).expect("linked");
        write(&inside.join("locked.amp"), "# not for you\n");
        let none = fs::Permissions::from_mode(0o0);
        fs::set_permissions(inside.join("locked.amp"), none).expect("locked");
        let made = Command::new("mkfifo").arg(inside.join("pipe.amp")).status();
        assert!(made.is_ok_and(|it| it.success()), "a pipe");
    }
    let absolute = folder.join("outside.amp").to_string_lossy().into_owned();
    // (Whoever runs the tests may be one who reads locked files too.)
    let locked = fs::read(inside.join("locked.amp")).is_ok();
    let refused: &[(&str, usize)] = &[("use_file", 1)];
    let cases: &[(&str, &[(&str, usize)])] = &[
        ("good.amp", &[]),
        ("./folder.amp/../good.amp", &[]),
        ("kept.amp", &[]),
        ("../outside.amp", refused),
        ("../inside/../outside.amp", refused),
        (&absolute, refused),
        ("/etc/passwd", refused),
        ("link.amp", refused),
        ("up/outside.amp", refused),
        ("ring.amp", refused),
        ("folder.amp", refused),
        ("pipe.amp", refused),
        ("missing.amp", refused),
        ("large.amp", refused),
        ("locked.amp", if locked { &[] } else { refused }),
        ("", refused),
        ("a\0b.amp", refused),
        (".", refused),
        // The ring is told in the file that closes it.
        ("self.amp", refused),
        ("a2.amp", refused),
        ("a3.amp", refused),
        ("deep9.amp", &[]),
        ("deep8.amp", &[("too_big", 1)]),
    ];
    let mut wrong = Vec::new();
    for (used, wanted) in cases {
        let file = inside.join("main.amp");
        write(&file, &format!("use \"{used}\"\n{}", beside("")));
        let taken = took(&["check", "--json", &file.to_string_lossy()], None);
        let found = errors(&taken.output);
        let found: Vec<(&str, usize)> = found.iter().map(|it| (it.0.as_str(), it.1)).collect();
        if found != *wanted || taken.code != Some(i32::from(!wanted.is_empty())) {
            wrong.push(format!(
                "use {used:?}: {found:?}, exit {:?}; wanted {wanted:?}",
                taken.code
            ));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    let folder = folder.to_string_lossy();
    for (path, code) in [
        ("no.amp", 2),
        ("inside/locked.amp", if locked { 0 } else { 2 }),
        ("inside/a2.amp", 1),
    ] {
        let taken = took(&["check", &format!("{folder}/{path}")], None);
        assert_eq!(taken.code, Some(code), "{path}");
    }
    // What never ends is read no further than its limit.
    if Path::new("/dev/zero").exists() {
        assert_eq!(took(&["check", "/dev/zero"], None).code, Some(1));
    }
}

/// A text of exactly so many bytes.
fn filled(length: usize) -> String {
    let text = beside("");
    let line = format!("# {}\n", "x".repeat(97));
    let count = (length - text.len()) / line.len();
    let mut text = text + &line.repeat(count);
    let rest = length - text.len();
    text += &"#".repeat(rest);
    text
}

/// Blocks of one of the next, so many inside each other.
fn nested(depth: usize) -> String {
    let mut text = lines(depth - 1, |at| {
        format!("block b{at}: in\n  b{} X: in in\nend", at + 1)
    });
    text += &format!("block b{}: in\n  in -- R1 1k -- ground\nend\n", depth - 1);
    text + "circuit c\nsource s: a = 1 V\nb0 X: in a\n"
}

/// Blocks of two of the next: 2^depth resistors in a row.
fn doubled(depth: usize) -> String {
    let mut text = lines(depth, |at| {
        let next = at + 1;
        format!("block b{at}: in, out\n  b{next} X: in in, out m\n  b{next} Y: in m, out out\nend")
    });
    text += &format!("block b{depth}: in, out\n  in -- R1 1k -- out\nend\n");
    text + "circuit c\nsource s: a = 1 V\nb0 X: in a, out ground\n"
}

/// Each text through `check --json`, `check`, `format -` and, where it makes sense, `solve --json`.
fn run(rows: Vec<Row>) {
    let mut wrong = Vec::new();
    for (name, want, solves, text) in rows {
        let file = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(format!(
            "hostile_{}.amp",
            name.replace(|it: char| !it.is_ascii_alphanumeric(), "_")
        ));
        fs::write(&file, &text).expect("written");
        let path = file.to_string_lossy().into_owned();
        let mut tell = |what: String| wrong.push(format!("{name}: {what}"));
        let commands: &[&[&str]] = &[
            &["check", "--json", &path],
            &["check", &path],
            &["format", "-"],
            &["solve", "--json", &path],
        ];
        for arguments in &commands[..if solves { 4 } else { 3 }] {
            let input = arguments.contains(&"-").then_some(file.as_path());
            let taken = took(arguments, input);
            let shown = arguments.split_last().expect("a file").1.join(" ");
            println!(
                "{:6.2} s {:5} MB {:8} kB  {shown:13} {name}",
                taken.processor.as_secs_f64(),
                taken.memory >> 20,
                taken.output.len() >> 10
            );
            if taken.time > LONG {
                tell(format!("{shown} took {:?}", taken.time));
            }
            if taken.memory > MEMORY {
                tell(format!("{shown} took {} MB", taken.memory >> 20));
            }
            let errors_of = taken.errors.contains("panicked");
            if errors_of || !matches!(taken.code, Some(0..=2)) {
                tell(format!(
                    "{shown} ended with {:?}: {}",
                    taken.code, taken.errors
                ));
            }
            let bound = match arguments[0] {
                "check" => 16 * MIB,
                _ => 64 * MIB + 100 * text.len(),
            };
            if taken.output.len() > bound {
                tell(format!("{shown} printed {} bytes", taken.output.len()));
            }
            if shown == "check" && taken.output.len() > MIB {
                tell(format!("{shown} printed {} bytes", taken.output.len()));
            }
            if shown == "check --json" {
                let found = errors(&taken.output);
                let found: Vec<(&str, usize)> =
                    found.iter().map(|it| (it.0.as_str(), it.1)).collect();
                let (as_wanted, code) = match &want {
                    Fine => (found.is_empty(), 0),
                    Errors(all) => (found == *all, 1),
                    First(rule, line) => (found.first() == Some(&(*rule, *line)), 1),
                };
                if !as_wanted || taken.code != Some(code) {
                    let few = &found[..found.len().min(4)];
                    tell(format!(
                        "{} errors, {few:?}, exit {:?}",
                        found.len(),
                        taken.code
                    ));
                }
            }
        }
        let _ = fs::remove_file(&file);
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// What a run of the command took and gave.
struct Taken {
    time: Duration,
    /// Of the processor, by the command itself.
    processor: Duration,
    /// At its peak, in bytes.
    memory: u64,
    code: Option<i32>,
    output: Vec<u8>,
    errors: String,
}

fn took(arguments: &[&str], input: Option<&Path>) -> Taken {
    let begin = Instant::now();
    let mut child = Command::new(binary())
        .args(arguments)
        .stdin(match input {
            Some(path) => fs::File::open(path).expect("was written").into(),
            None => Stdio::null(),
        })
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the command starts");
    let mut stderr = child.stderr.take().expect("piped");
    let told = std::thread::spawn(move || {
        let mut told = String::new();
        let _ = stderr.read_to_string(&mut told);
        told
    });
    let mut output = Vec::new();
    let stdout = child.stdout.take().expect("piped");
    stdout
        .take(1 << 30)
        .read_to_end(&mut output)
        .expect("it prints");
    let ended = child.wait4().expect("the command ends");
    Taken {
        time: begin.elapsed(),
        processor: ended.rusage.utime + ended.rusage.stime,
        memory: ended.rusage.maxrss,
        code: ended.status.code(),
        output,
        errors: told.join().expect("no panic"),
    }
}

/// The errors that `check --json` tells, with their lines, in the order of the text.
fn errors(output: &[u8]) -> Vec<(String, usize)> {
    let Ok(whole) = serde_json::from_slice::<Value>(output) else {
        return vec![("no JSON".into(), 0)];
    };
    let file = &whole["files"][0];
    let circuits = file["circuits"].as_array().into_iter().flatten();
    let owners = std::iter::once(file).chain(circuits);
    let mut errors: Vec<(usize, String)> = owners
        .flat_map(|it| it["findings"].as_array().into_iter().flatten())
        .filter(|it| it["severity"] == "error")
        .map(|it| {
            let line = it["line"].as_u64().unwrap_or(0) as usize;
            (line, it["rule"].as_str().unwrap_or_default().to_owned())
        })
        .collect();
    errors.sort_by_key(|it| it.0);
    errors
        .into_iter()
        .map(|(line, rule)| (rule, line))
        .collect()
}
