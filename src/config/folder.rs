//! The files of a plant folder's `config/`, merged over the shipped ones.

use super::document::Document;
use super::{Problem, shipped};
use std::fs;
use std::io::ErrorKind;
use std::path::Path;

/// Where the promise stands.
const PROMISE: &str = "config/promise.toml";

/// The files, by what they hold.
pub struct Folder {
    /// `config/plant.toml`.
    pub plant: Document,
    /// Register maps, sorted by path.
    pub registers: Vec<Document>,
    /// Factor sets, sorted by path.
    pub factors: Vec<Document>,
    /// Tariffs, sorted by path.
    pub tariffs: Vec<Document>,
    /// `config/promise.toml`, where there is one.
    pub promise: Option<Document>,
}

impl Folder {
    /// Reads every file; all that cannot be read are told at once.
    pub fn read(folder: &Path) -> Result<Self, Vec<Problem>> {
        if !folder.is_dir() {
            return Err(vec![absent()]);
        }
        let mut problems = Vec::new();
        let plant = read(folder, "config/plant.toml", &mut problems);
        let [registers, factors, tariffs] =
            ["registers", "factors", "tariffs"].map(|name| gather(folder, name, &mut problems));
        let there = folder.join(PROMISE).exists();
        let promise = if there { read(folder, PROMISE, &mut problems) } else { None };
        match plant {
            Some(plant) if problems.is_empty() => Ok(Self { plant, registers, factors, tariffs, promise }),
            _ => Err(problems),
        }
    }

    /// Every file.
    pub fn all(&self) -> impl Iterator<Item = &Document> {
        let folders = self.registers.iter().chain(&self.factors).chain(&self.tariffs);
        [&self.plant].into_iter().chain(folders).chain(&self.promise)
    }
}

/// The `*.toml` of a folder, and the shipped ones whose name it does not have.
fn gather(folder: &Path, name: &str, problems: &mut Vec<Problem>) -> Vec<Document> {
    let mut names: Vec<String> = match fs::read_dir(folder.join("config").join(name)) {
        Ok(entries) => entries.flatten().filter_map(|entry| entry.file_name().into_string().ok()).collect(),
        Err(error) if error.kind() == ErrorKind::NotFound => Vec::new(),
        Err(error) => {
            problems.push(unreadable(&format!("config/{name}"), &error));
            Vec::new()
        }
    };
    names.retain(|file| file.ends_with(".toml") && !file.starts_with('.'));
    let shipped = shipped::FILES.iter().filter(|(kind, file, _)| *kind == name && !names.iter().any(|own| own == file));
    let mut documents: Vec<Document> = shipped
        .map(|(kind, file, text)| Document::new(format!("{}{kind}/{file}", shipped::PREFIX), (*text).into()))
        .collect();
    documents.extend(names.iter().filter_map(|file| read(folder, &format!("config/{name}/{file}"), problems)));
    documents.sort_by(|a, b| a.path.cmp(&b.path));
    documents
}

fn read(folder: &Path, path: &str, problems: &mut Vec<Problem>) -> Option<Document> {
    match fs::read_to_string(folder.join(path)) {
        Ok(text) => Some(Document::new(path.into(), text)),
        Err(error) => {
            problems.push(unreadable(path, &error));
            None
        }
    }
}

/// What to do where the folder or its main file is not there.
const BEGIN: &str = "name the plant's folder with --plant DIR; `inkwatt check --example` prints a commented config/plant.toml to start from";

fn absent() -> Problem {
    Problem { path: String::new(), place: None, text: "there is no such folder".into(), help: Some(BEGIN.into()) }
}

fn unreadable(path: &str, error: &std::io::Error) -> Problem {
    let (text, help) = match error.kind() {
        ErrorKind::NotFound => ("there is no such file".into(), Some(BEGIN.into())),
        ErrorKind::InvalidData => ("is not UTF-8 text".into(), Some("save it as UTF-8".into())),
        _ => (format!("cannot be read: {error}"), None),
    };
    Problem { path: path.into(), place: None, text, help }
}
