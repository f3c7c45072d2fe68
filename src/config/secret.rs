//! Secrets: read from the place that the configuration names, never from the configuration itself.

use super::section::Section;
use super::value::Value;
use std::fmt;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// A secret, or the reason why it is not at hand: whoever writes a report need not be able to read the agent's
/// password. It never shows when printed.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret {
    /// The file that it is in; `None` where the environment has it.
    file: Option<PathBuf>,
    held: Result<String, Absent>,
}

impl Secret {
    /// The secret itself, to hand to the one who asks for it.
    ///
    /// # Errors
    /// Where the place that the configuration names does not hold it.
    pub fn reveal(&self) -> Result<&str, Absent> {
        self.held.as_deref().map_err(Absent::clone)
    }

    /// The file that it is in; `None` where the environment has it.
    pub fn file(&self) -> Option<&Path> {
        self.file.as_deref()
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret")
    }
}

/// A secret that is not where the configuration says; the text names the place.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("{0}")]
pub struct Absent(String);

/// The secret `name` of a section, from the environment variable `NAME_env` or the first line of the file `NAME_file`,
/// which is sought from the plant folder. `Some(None)` where there is none; `None` after a problem.
pub fn read(section: &Section<'_>, name: &str, folder: &Path) -> Option<Option<Secret>> {
    let (env, file) = (format!("{name}_env"), format!("{name}_file"));
    if section.get(name).is_some() {
        section.say_help(
            name,
            &format!("a {name} must not stand in the configuration, which is kept with every report"),
            format!("put it into an environment variable or a file and write {env} = \"NAME\" or {file} = \"PATH\""),
        );
        return None;
    }
    let of = |key: &str, file: Option<PathBuf>, found: Result<String, String>| {
        let absent = |told| Absent(format!("{}: {key} names {told}", section.about()));
        Some(Some(Secret { file, held: found.map_err(absent) }))
    };
    match (section.get(&env), section.get(&file)) {
        (None, None) => Some(None),
        (Some(_), Some(value)) => value.refuse(&format!("and {env} are both given; one is enough")),
        (Some(value), None) => of(&env, None, variable(&value)?),
        (None, Some(value)) => of(&file, Some(folder.join(value.text()?)), first_line(&value, folder)?),
    }
}

/// What an environment variable holds; `None` after a problem.
fn variable(value: &Value<'_>) -> Option<Result<String, String>> {
    let name = value.text()?;
    let found = std::env::var(name).ok().filter(|secret| !secret.is_empty());
    Some(found.ok_or_else(|| format!("the environment variable {name}, which is not set")))
}

/// The first line of a file; `None` after a problem.
fn first_line(value: &Value<'_>, folder: &Path) -> Option<Result<String, String>> {
    let path = value.text()?;
    let text = std::fs::read_to_string(folder.join(path));
    Some(match text.as_deref().map(|text| text.lines().next().unwrap_or_default()) {
        Ok("") => Err(format!("{path}, whose first line is empty")),
        Ok(line) => Ok(line.into()),
        Err(error) => Err(format!("{path}, which cannot be read: {error}")),
    })
}
