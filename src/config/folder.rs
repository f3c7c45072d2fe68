//! The files of a plant folder's `config/`, merged over the shipped ones.

use super::document::Document;
use super::{ConfigText, Problem, Use, shipped};
use std::fs;
use std::io::ErrorKind;
use std::path::Path;

/// Where the data points stand that are filed.
const FILING: &str = "config/filing.toml";
/// Where the plant stands.
const PLANT: &str = "config/plant.toml";
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
    /// `config/filing.toml`, or the shipped one.
    pub filing: Document,
    /// `config/promise.toml`, where there is one.
    pub promise: Option<Document>,
}

impl Folder {
    /// Reads every file; one that cannot be read bears its problem.
    pub fn read(folder: &Path) -> Result<Self, Problem> {
        if !folder.is_dir() {
            return Err(absent());
        }
        let [registers, factors, tariffs] = ["registers", "factors", "tariffs"].map(|name| gather(folder, name));
        let is_promised = fs::symlink_metadata(folder.join(PROMISE)).is_ok();
        let promise = is_promised.then(|| read(folder, PROMISE));
        let is_own = fs::symlink_metadata(folder.join(FILING)).is_ok();
        let shipped = || Document::new(format!("{}filing.toml", shipped::PREFIX), shipped::FILING.into());
        let filing = if is_own { read(folder, FILING) } else { shipped() };
        Ok(Self { plant: read(folder, PLANT), registers, factors, tariffs, filing, promise })
    }

    /// The files whose texts were kept, without those that state what is promised and filed.
    pub fn kept(texts: &[ConfigText]) -> Result<Self, Problem> {
        let document = |text: &ConfigText| Document::new(text.path.clone(), text.text.clone());
        let of = |sort: &str| -> Vec<Document> {
            let paths = [format!("config/{sort}/"), format!("{}{sort}/", shipped::PREFIX)];
            texts.iter().filter(|text| paths.iter().any(|path| text.path.starts_with(path))).map(document).collect()
        };
        let plant = texts.iter().find(|text| text.path == PLANT).map(document).ok_or_else(absent)?;
        let filing = Document::new(format!("{}filing.toml", shipped::PREFIX), shipped::FILING.into());
        let [registers, factors, tariffs] = ["registers", "factors", "tariffs"].map(of);
        Ok(Self { plant, registers, factors, tariffs, filing, promise: None })
    }

    /// Every file, with what it is needed for.
    pub fn all(&self) -> impl Iterator<Item = (Use, &Document)> {
        let metering = [&self.plant].into_iter().chain(&self.registers).map(|file| (Use::Metering, file));
        let pricing = self.factors.iter().chain(&self.tariffs).chain([&self.filing]).map(|file| (Use::Pricing, file));
        metering.chain(pricing).chain(self.promise.iter().map(|file| (Use::Promise, file)))
    }

    /// Everything found wrong, in the order of files and lines, with what the file is needed for.
    pub fn problems(&self) -> Vec<(Use, Problem)> {
        self.all().flat_map(|(of, file)| file.problems().into_iter().map(move |problem| (of, problem))).collect()
    }
}

/// The `*.toml` of a folder, and the shipped ones whose name it does not have.
fn gather(folder: &Path, name: &str) -> Vec<Document> {
    let mut documents = Vec::new();
    let mut names: Vec<String> = match fs::read_dir(folder.join("config").join(name)) {
        Ok(entries) => entries.flatten().filter_map(|entry| entry.file_name().into_string().ok()).collect(),
        Err(error) if error.kind() == ErrorKind::NotFound => Vec::new(),
        Err(error) => {
            documents.push(Document::unreadable(unreadable(&format!("config/{name}"), &error)));
            Vec::new()
        }
    };
    names.retain(|file| file.ends_with(".toml") && !file.starts_with('.'));
    let shipped = shipped::FILES.iter().filter(|(kind, file, _)| *kind == name && !names.iter().any(|own| own == file));
    documents.extend(
        shipped.map(|(kind, file, text)| Document::new(format!("{}{kind}/{file}", shipped::PREFIX), (*text).into())),
    );
    documents.extend(names.iter().map(|file| read(folder, &format!("config/{name}/{file}"))));
    documents.sort_by(|a, b| a.path.cmp(&b.path));
    documents
}

fn read(folder: &Path, path: &str) -> Document {
    match fs::read_to_string(folder.join(path)) {
        Ok(text) => Document::new(path.into(), text),
        Err(error) => Document::unreadable(unreadable(path, &error)),
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
        ErrorKind::IsADirectory => ("is a folder, expected a file".into(), None),
        ErrorKind::InvalidData => ("is not UTF-8 text".into(), Some("save it as UTF-8".into())),
        _ => (format!("cannot be read: {error}"), None),
    };
    Problem { path: path.into(), place: None, text, help }
}
