//! The command line as its users meet it: help, exit codes, errors, and the commands that the README shows.

use inkwatt::cli::grammar;
use inkwatt::readings::{Quantity, Rank, Reading, Series, Subject};
use inkwatt::store::{Access, Store};
use inkwatt::time::{At, Zone};
use std::fs;
use std::path::Path;
use std::process::{Command, Output};
use tempfile::TempDir;

/// Runs the program in a folder.
fn inkwatt(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_inkwatt")).current_dir(folder).args(arguments).output().expect("the program runs")
}

/// What it says on stdout.
fn said(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).expect("text")
}

/// What it says on stderr.
fn complained(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).expect("text")
}

/// A folder with the shipped example as its configuration.
fn example() -> TempDir {
    let folder = TempDir::new().expect("a folder");
    fs::create_dir(folder.path().join("config")).expect("a folder");
    let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/plant.toml");
    fs::copy(example, folder.path().join("config/plant.toml")).expect("a copy");
    folder
}

/// The words of a command line as a shell would part them, up to a comment: two spaces, `#`, or a redirection.
fn words(line: &str) -> Vec<String> {
    let (mut words, mut quoted, mut spaces) = (vec![String::new()], false, 0);
    for letter in line.trim().chars() {
        match letter {
            '"' => quoted = !quoted,
            ' ' if !quoted => {
                spaces += 1;
                if spaces == 2 {
                    break;
                }
                words.push(String::new());
                continue;
            }
            '#' | '>' if !quoted => break,
            letter => words.last_mut().expect("one at least").push(letter),
        }
        spaces = 0;
    }
    words.retain(|word| !word.is_empty());
    words
}

/// The command lines that a help shows.
fn examples(command: &clap::Command) -> Vec<Vec<String>> {
    let help = command.get_after_help().map(ToString::to_string).unwrap_or_default();
    help.lines().filter(|line| line.starts_with("  inkwatt ")).map(words).collect()
}

/// Every command and subcommand with its path, such as `record lamp`.
fn every_command(command: &clap::Command, path: &str, found: &mut Vec<(String, clap::Command)>) {
    for below in command.get_subcommands() {
        let path = format!("{path} {}", below.get_name()).trim().to_owned();
        every_command(below, &path, found);
        found.push((path, below.clone()));
    }
}

#[test]
fn every_command_explains_itself_with_examples_that_can_be_run() {
    let mut commands = Vec::new();
    every_command(&grammar(), "", &mut commands);
    assert!(commands.len() >= 15, "{commands:?}");
    for (path, command) in commands {
        let shown = examples(&command);
        assert!(!shown.is_empty(), "{path} --help has no example");
        for example in &shown {
            let line = example.join(" ");
            assert!(line.contains(&format!(" {path}")), "the help of {path} shows: {line}");
            if let Err(told) = grammar().try_get_matches_from(example) {
                panic!("{path} --help shows what cannot be run: {line}\n{told}");
            }
            let by_hand = path.starts_with("record ") && path != "record list";
            assert!(!by_hand || line.contains("--by "), "without a login name this fails: {line}");
        }
        let help = inkwatt(Path::new("."), &path.split(' ').chain(["--help"]).collect::<Vec<_>>());
        assert_eq!(help.status.code(), Some(0), "{path}");
        assert!(said(&help).contains("\nExample"), "{path}");
    }
}

#[test]
fn every_command_of_the_readme_can_be_run() {
    let readme = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).expect("the README");
    let shown = readme.split(['`', '\n']).filter(|part| part.trim().starts_with("inkwatt "));
    let mut count = 0;
    for line in shown {
        match grammar().try_get_matches_from(words(line)) {
            Err(told) if told.use_stderr() => panic!("{line}\n{told}"),
            _ => count += 1,
        }
    }
    assert!(count >= 8, "only {count} commands were found in the README");
}

#[test]
fn a_word_that_is_no_command_ends_with_2() {
    let output = inkwatt(Path::new("."), &["reprot"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(complained(&output).contains("unrecognized subcommand 'reprot'"), "{}", complained(&output));
}

#[test]
fn a_folder_without_a_configuration_ends_with_2_and_says_what_to_do() {
    let folder = TempDir::new().expect("a folder");
    let begin = "help: name the plant's folder with --plant DIR; `inkwatt check --example` prints a commented \
                 config/plant.toml to start from\n";
    let cases: [(&[&str], &str); 3] = [
        (&["check"], "config/plant.toml: there is no such file"),
        (&["check", "--plant", "nowhere"], "nowhere: there is no such folder"),
        (&["--plant", "plant", "report", "2026-03"], "plant/config/plant.toml: there is no such file"),
    ];
    fs::create_dir(folder.path().join("plant")).expect("a folder");
    for (arguments, told) in cases {
        let output = inkwatt(folder.path(), arguments);
        assert_eq!(output.status.code(), Some(2));
        let text = format!("error: the configuration cannot be used\n{told}\n{begin}");
        assert_eq!(complained(&output), text, "{arguments:?}");
    }
}

#[test]
fn a_problem_names_the_file_as_the_folder_was_named() {
    let folder = example();
    let path = folder.path().join("config/plant.toml");
    let text = fs::read_to_string(&path).expect("the example");
    fs::write(&path, text.replace("[board]", "[bord]")).expect("written");
    let above = folder.path().parent().expect("a folder above");
    let name = folder.path().file_name().expect("a name").to_str().expect("text");
    let told = complained(&inkwatt(above, &["--plant", name, "check"]));
    let line = text.lines().position(|line| line == "[board]").expect("a line") + 1;
    assert!(told.contains(&format!("\n{name}/config/plant.toml:{line}:2: key \"bord\" is not known\n")), "{told}");
}

#[test]
fn a_port_that_is_taken_is_told_with_what_to_do() {
    let taken = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = taken.local_addr().expect("an address");
    let folder = example();
    let path = folder.path().join("config/plant.toml");
    let text = fs::read_to_string(&path).expect("the example");
    fs::write(&path, text.replace("127.0.0.1:8420", &address.to_string())).expect("written");
    let output = inkwatt(folder.path(), &["run"]);
    assert_eq!(output.status.code(), Some(3), "{}", complained(&output));
    let told = complained(&output);
    let text = format!(
        "error: cannot serve the page on {address}: Address already in use (os error 98)\n\
         help: another program has this port, perhaps another agent: stop it, or name another port under [board] \
         listen in config/plant.toml\n"
    );
    assert_eq!(told, text);
}

#[test]
fn an_export_of_nothing_says_where_something_is() {
    let folder = example();
    let ask = ["export", "readings", "--from", "2026-01-01", "--to", "2026-01-31", "--meter", "p1-main"];
    let meter = Series::new(Subject::Meter("p1-main".into()), Quantity::Import);
    let at = |text| At::parse(text).expect("an instant");
    let readings = ["2026-03-02T10:00:00Z", "2026-03-05T10:00:00Z"].map(|text| Reading { at: at(text), count: 1 });
    let readings = readings.map(|reading| (meter.clone(), reading));
    let mut store = Store::open(folder.path(), Zone::UTC, Access::Command).expect("a store");
    let nothing = inkwatt(folder.path(), &ask);
    store.commit("test", Rank::Live, &readings, &[], None).expect("stored");
    let elsewhere = inkwatt(folder.path(), &ask);
    let (from, told) = ("the store has no readings of meter p1-main from 2026-01-01 to 2026-01-31; ", complained);
    assert_eq!(told(&nothing), format!("{from}it holds no readings of meter p1-main yet\n"));
    let dates = "its readings of meter p1-main are from 2026-03-02 to 2026-03-05\n";
    assert_eq!(told(&elsewhere), format!("{from}{dates}"));
    assert_eq!((elsewhere.status.code(), said(&elsewhere).as_str()), (Some(0), "time,subject,quantity,count\r\n"));
}

#[test]
fn the_demo_names_the_folder_that_it_takes() {
    let help = said(&inkwatt(Path::new("."), &["demo", "--help"]));
    let help = help.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(help.contains("where none is named the current one, and for the demo inkwatt-demo"), "{help}");
    assert!(!help.contains("default: ."), "{help}");
}

#[test]
fn a_report_without_a_store_ends_with_3() {
    let folder = example();
    let output = inkwatt(folder.path(), &["report", "2026-03"]);
    assert_eq!(output.status.code(), Some(3), "{}", complained(&output));
    assert!(complained(&output).contains("facts.db"), "{}", complained(&output));
}

#[test]
fn the_shipped_example_is_understood() {
    let folder = example();
    let output = inkwatt(folder.path(), &["check"]);
    assert_ne!(output.status.code(), Some(2), "{}", complained(&output));
    assert!(said(&output).contains("Press 1"), "{}", said(&output));
}

#[test]
fn check_holds_a_promise_against_itself() {
    let folder = example();
    let output = inkwatt(folder.path(), &["check", "--example", "promise"]);
    let promise = said(&output).replace("kwh = 11760 ", "kwh = 31760 ");
    fs::write(folder.path().join("config/promise.toml"), promise).expect("written");
    let output = inkwatt(folder.path(), &["check"]);
    assert!(
        said(&output).contains(
            "Promise \"Proposal for press 1\" of 2025-09-15, held against itself\n  group 1 (p1) promises 31,760 kWh a year; \
             its own watts, stations, levels and hours give 11,760 kWh a year: ask the supplier how the figure was reckoned\n"
        ),
        "{}",
        said(&output)
    );
}
