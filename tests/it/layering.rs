//! The architecture, read from `src/`: imports point upwards in the order of `lib.rs`, pure modules stay pure, edges do
//! not know each other, and each third-party crate is named only where it is listed here.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// How far a module may reach.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Layer {
    Pure,
    Edge,
    Wiring,
}
use Layer::{Edge, Pure, Wiring};

/// Modules in the order of `lib.rs`, with their layer and the crates that they may name.
const MODULES: &[(&str, Layer, &[&str])] = &[
    ("units", Pure, &[]),
    ("time", Pure, &["chrono", "chrono_tz"]),
    ("names", Pure, &[]),
    ("found", Pure, &[]),
    ("plant", Pure, &["chrono"]),
    ("readings", Pure, &["chrono"]),
    ("sources", Pure, &["chrono", "prost", "serde_json"]),
    ("broker", Pure, &["rumqttc", "rustls"]),
    ("stats", Pure, &["libm", "nalgebra", "rand_pcg", "thiserror"]),
    ("attribute", Pure, &["chrono"]),
    ("cost", Pure, &["chrono"]),
    ("carbon", Pure, &["chrono"]),
    ("verify", Pure, &["chrono", "thiserror"]),
    ("watch", Pure, &["chrono"]),
    ("closing", Pure, &["serde", "serde_json", "sha2"]),
    ("report", Pure, &["chrono", "chrono_tz", "csv", "serde", "serde_json", "sha2", "tera", "thiserror"]),
    ("config", Edge, &["chrono", "serde", "strsim", "thiserror", "toml"]),
    (
        "acquire",
        Edge,
        &[
            "chrono",
            "csv",
            "rumqttc",
            "serde",
            "serde_json",
            "sha2",
            "thiserror",
            "tokio",
            "tokio_modbus",
            "tokio_serial",
            "tracing",
        ],
    ),
    ("store", Edge, &["chrono", "crc32c", "pco", "rusqlite", "serde", "serde_json", "sha2", "thiserror", "tracing"]),
    (
        "forward",
        Edge,
        &["base64", "hmac", "influxdb2", "reqwest", "rumqttc", "serde", "serde_json", "sha2", "tokio", "ureq"],
    ),
    (
        "demo",
        Edge,
        &[
            "chrono",
            "chrono_tz",
            "rand_pcg",
            "rumqttc",
            "rumqttd",
            "serde",
            "serde_json",
            "thiserror",
            "tokio",
            "tokio_modbus",
            "tracing",
        ],
    ),
    ("agent", Wiring, &["chrono", "rustls", "serde", "serde_json", "sha2", "thiserror", "tokio", "tracing"]),
    (
        "board",
        Wiring,
        &[
            "axum",
            "chrono",
            "futures_util",
            "getrandom",
            "hmac",
            "serde",
            "serde_json",
            "sha2",
            "subtle",
            "rustls",
            "tera",
            "thiserror",
            "tokio",
            "tokio_rustls",
            "tracing",
            "utoipa",
        ],
    ),
    (
        "cli",
        Wiring,
        &[
            "anyhow",
            "chrono",
            "clap",
            "csv",
            "nix",
            "serde",
            "serde_json",
            "sha2",
            "thiserror",
            "tokio",
            "tracing",
            "tracing_subscriber",
        ],
    ),
];

/// What a pure module may not do: files, sockets, threads, the clock, printing, logging.
const IMPURE: &[&str] = &[
    "std::fs",
    "std::net",
    "std::env",
    "std::process",
    "std::thread",
    "std::io",
    "SystemTime",
    "Instant::now",
    "Utc::now",
    "Local::now",
    "println!",
    "eprintln!",
    "print!",
    "eprint!",
    "tokio",
    "tracing",
];

#[test]
fn imports_point_upwards_and_edges_do_not_know_each_other() {
    check_files(|place, text| {
        let (name, layer, _) = MODULES[place];
        let modules = names_after(text, "crate::").into_iter().filter_map(|n| MODULES.iter().position(|m| m.0 == n));
        let wrong = modules.filter(|&other| match layer {
            Edge => other != place && MODULES[other].1 != Pure,
            _ => other > place,
        });
        wrong.map(|other| format!("{name} names {}, which stands below or beside it", MODULES[other].0)).collect()
    });
}

#[test]
fn pure_modules_do_no_input_or_output() {
    check_files(|place, text| match MODULES[place].1 {
        Pure => {
            IMPURE.iter().filter(|word| text.contains(**word)).map(|word| format!("pure, but says {word}")).collect()
        }
        _ => Vec::new(),
    });
}

#[test]
fn third_party_crates_are_named_only_where_they_are_listed() {
    let crates = dependencies();
    check_files(|place, text| {
        let unlisted = crates.iter().filter(|c| !MODULES[place].2.contains(&c.as_str()));
        unlisted.filter(|c| names_crate(text, c)).map(|c| format!("names the crate {c}")).collect()
    });
}

#[test]
fn every_module_of_the_map_is_listed_here_in_its_order() {
    let map = fs::read_to_string(root().join("src/lib.rs")).expect("the map");
    let modules: Vec<&str> =
        map.lines().filter_map(|l| l.strip_prefix("pub mod ")).filter_map(|l| l.strip_suffix(';')).collect();
    let listed: Vec<&str> = MODULES.iter().map(|m| m.0).collect();
    assert_eq!(modules, listed);
}

/// Applies a check to every source file, given the place of its module and its text without comments and tests.
fn check_files(check: impl Fn(usize, &str) -> Vec<String>) {
    let mut faults = Vec::new();
    for (place, (name, _, _)) in MODULES.iter().enumerate() {
        for file in files_of(name) {
            let text = bare(&fs::read_to_string(&file).expect("a source file"));
            faults.extend(check(place, &text).into_iter().map(|fault| format!("{}: {fault}", file.display())));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// The files of a module.
fn files_of(module: &str) -> Vec<PathBuf> {
    let single = root().join("src").join(module).with_extension("rs");
    if single.exists() {
        return vec![single];
    }
    let mut folders = vec![root().join("src").join(module)];
    let mut files = Vec::new();
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).expect("a module's folder").flatten() {
            match entry.path() {
                path if path.is_dir() => folders.push(path),
                path if path.extension().is_some_and(|e| e == "rs") => files.push(path),
                _ => {}
            }
        }
    }
    files
}

/// A source text without its comments and its unit tests.
fn bare(text: &str) -> String {
    let code = text.split("#[cfg(test)]\nmod tests").next().unwrap_or_default();
    code.lines().map(|line| line.split("//").next().unwrap_or_default()).collect::<Vec<_>>().join("\n")
}

/// The names that follow a prefix, also those in braces: `crate::time` and `crate::{time, units}`.
fn names_after(text: &str, prefix: &str) -> BTreeSet<String> {
    let word = |s: &str| s.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect::<String>();
    let mut names = BTreeSet::new();
    for rest in text.split(prefix).skip(1) {
        match rest.strip_prefix('{') {
            Some(group) => names.extend(group.split('}').next().unwrap_or_default().split(',').map(|s| word(s.trim()))),
            None => {
                names.insert(word(rest));
            }
        }
    }
    names
}

/// Whether a text names a crate: `name::` that is not part of a longer path or word.
fn names_crate(text: &str, name: &str) -> bool {
    text.match_indices(&format!("{name}::")).any(|(at, _)| {
        let before = text[..at].chars().next_back();
        !before.is_some_and(|c| c.is_alphanumeric() || c == '_' || c == ':')
    })
}

/// The crates of `[dependencies]`.
fn dependencies() -> Vec<String> {
    let manifest = fs::read_to_string(root().join("Cargo.toml")).expect("the manifest");
    let section = manifest.split("[dependencies]").nth(1).and_then(|s| s.split("\n[").next()).expect("a section");
    section.lines().filter_map(|l| l.split_once(" = ")).map(|(name, _)| name.trim().replace('-', "_")).collect()
}

/// The folder of the package.
fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}
