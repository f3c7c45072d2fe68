//! Secrets: read from the place that the configuration names, never from the configuration itself.

use super::section::Section;
use std::fmt;
use std::path::Path;

/// A secret; it never shows when printed.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(String);

impl Secret {
    /// The secret itself, to hand to the one who asks for it.
    pub fn reveal(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret")
    }
}

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
    match (section.get(&env), section.get(&file)) {
        (None, None) => Some(None),
        (Some(_), Some(value)) => value.refuse(&format!("and {env} are both given; one is enough")),
        (Some(value), None) => {
            let variable = value.text()?;
            match std::env::var(variable) {
                Ok(secret) if !secret.is_empty() => Some(Some(Secret(secret))),
                _ => value.refuse(&format!("names the environment variable {variable}, which is not set")),
            }
        }
        (None, Some(value)) => {
            let path = value.text()?;
            match std::fs::read_to_string(folder.join(path)) {
                Ok(text) if !text.lines().next().unwrap_or_default().is_empty() => {
                    Some(Some(Secret(text.lines().next().unwrap_or_default().into())))
                }
                Ok(_) => value.refuse(&format!("names {path}, whose first line is empty")),
                Err(error) => value.refuse(&format!("names {path}, which cannot be read: {error}")),
            }
        }
    }
}
