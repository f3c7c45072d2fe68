//! Claims about config: what is read, what is refused, and in which words.

mod plant_file;
mod promise;
mod record;
mod shipped;
mod tables;

use inkwatt::config::{Configuration, load};
use std::fs;
use tempfile::TempDir;

/// A plant folder with a small sound configuration, to be spoiled.
pub struct Folder(TempDir);

impl Folder {
    /// The small plant.
    pub fn sound() -> Self {
        let folder = Self(tempfile::tempdir().expect("a folder"));
        folder.with("config/plant.toml", include_str!("config/plant.toml"))
    }

    /// With another file.
    pub fn with(self, path: &str, text: &str) -> Self {
        let path = self.0.path().join(path);
        fs::create_dir_all(path.parent().expect("a folder")).expect("made");
        fs::write(path, text).expect("written");
        self
    }

    /// With one place of `config/plant.toml` changed.
    pub fn edit(self, from: &str, to: &str) -> Self {
        let path = self.0.path().join("config/plant.toml");
        let text = fs::read_to_string(&path).expect("there");
        assert_eq!(text.matches(from).count(), 1, "{from:?} must stand in the plant once");
        fs::write(&path, text.replace(from, to)).expect("written");
        self
    }

    /// Where it is.
    pub fn path(&self) -> &std::path::Path {
        self.0.path()
    }

    /// What it says.
    pub fn load(&self) -> Configuration {
        load(self.path()).unwrap_or_else(|problems| panic!("{problems}"))
    }

    /// Every problem, as it is told.
    pub fn told(&self) -> Vec<String> {
        let problems = load(self.path()).expect_err("a problem");
        problems.0.iter().map(ToString::to_string).collect()
    }
}

/// The only thing told about the small plant with one place changed.
pub fn told(from: &str, to: &str) -> String {
    let mut told = Folder::sound().edit(from, to).told();
    assert_eq!(told.len(), 1, "one problem: {told:#?}");
    told.remove(0)
}
