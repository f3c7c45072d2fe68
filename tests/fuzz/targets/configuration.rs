//! Texts of a plant folder's `config/`: the first byte says which file it is, the others are as shipped.

#![no_main]

use inkwatt::config::{ConfigText, EXAMPLE, Use, load_for, load_kept, other_tariffs, stray_line};
use libfuzzer_sys::fuzz_target;
use std::fs;
use std::path::Path;

const REGISTERS: [(&str, &str); 3] = [
    ("energy-float", include_str!("../../../config/registers/energy-float.toml")),
    ("energy-integer", include_str!("../../../config/registers/energy-integer.toml")),
    ("energy-scaled", include_str!("../../../config/registers/energy-scaled.toml")),
];

fuzz_target!(|bytes: &[u8]| {
    let Some((file, text)) = bytes.split_first() else { return };
    let Ok(text) = std::str::from_utf8(text) else { return };
    match file {
        b'p' => kept("config/plant.toml", text),
        b'r' => kept("config/registers/energy-float.toml", text),
        b'f' => kept("config/factors/own.toml", text),
        b't' => kept("config/tariffs/own.toml", text),
        b'o' => drop(other_tariffs("other.toml".into(), text.into(), "GBP")),
        b'l' => drop(stray_line(text)),
        b'm' => written("promise.toml", text),
        b'y' => written("filing.toml", text),
        _ => {}
    }
});

/// Reads the texts as those of a closed month are read.
fn kept(path: &str, text: &str) {
    let one = |path: String, text: &str| ConfigText { path, text: text.into() };
    let mut texts = vec![one("config/plant.toml".into(), EXAMPLE)];
    texts.extend(REGISTERS.map(|(name, text)| one(format!("config/registers/{name}.toml"), text)));
    texts.retain(|other| other.path != path);
    texts.push(one(path.into(), text));
    if let Err(problems) = load_kept(&texts, Path::new("/nonexistent")) {
        let _ = problems.to_string();
    }
}

/// Reads a folder: promise and filing are kept nowhere else.
fn written(name: &str, text: &str) {
    let folder = std::env::temp_dir().join(format!("inkwatt-fuzz-{}", std::process::id()));
    let config = folder.join("config");
    fs::create_dir_all(&config).expect("a folder");
    fs::write(config.join("plant.toml"), EXAMPLE).expect("a file");
    fs::write(config.join(name), text).expect("a file");
    if let Err(problems) = load_for(&folder, Use::Promise) {
        let _ = problems.to_string();
    }
    fs::remove_file(config.join(name)).expect("a file");
}
