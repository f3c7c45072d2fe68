//! The command line as its users meet it: help, exit codes, errors, and the commands that the README shows.

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

/// The commands as the general help lists them.
fn commands() -> Vec<String> {
    let help = said(&inkwatt(Path::new("."), &["--help"]));
    let listed = help.lines().skip_while(|line| *line != "Commands:").skip(1).take_while(|line| !line.is_empty());
    let names = listed.filter_map(|line| line.strip_prefix("  ")?.split_whitespace().next()).map(str::to_owned);
    names.filter(|name| name != "help").collect()
}

#[test]
fn every_command_explains_itself_with_an_example() {
    let commands = commands();
    assert!(commands.len() >= 7, "{commands:?}");
    for command in commands {
        let help = inkwatt(Path::new("."), &[&command, "--help"]);
        assert_eq!(help.status.code(), Some(0), "{command}");
        assert!(said(&help).contains("inkwatt"), "{command}");
        assert!(said(&help).to_lowercase().contains("example"), "{command} --help has no example");
    }
}

#[test]
fn every_command_of_the_readme_exists_with_its_options() {
    let readme = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).expect("the README");
    let shown = readme.split(['`', '\n']).filter_map(|part| part.trim().strip_prefix("inkwatt "));
    let mut count = 0;
    for line in shown {
        let words: Vec<&str> = line.split('#').next().unwrap_or_default().split_whitespace().collect();
        let after = |word: &str| words.iter().position(|w| *w == word).map(|k| k + 2).unwrap_or(0);
        let command = words[after("--plant")];
        let help = said(&inkwatt(Path::new("."), &[command, "--help"]));
        assert!(help.contains(&format!("inkwatt {command}")), "inkwatt {line}: there is no command {command}");
        for option in words.iter().filter(|word| word.starts_with("--")) {
            assert!(help.contains(option), "inkwatt {line}: {command} has no {option}");
        }
        count += 1;
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
    let output = inkwatt(folder.path(), &["check"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(complained(&output).contains("config/plant.toml"), "{}", complained(&output));
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
