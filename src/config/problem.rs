//! What is wrong with a configuration, all of it at once, in words for the person who wrote it.

use super::shipped;
use std::fmt;
use std::path::Path;

/// One thing that is wrong.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Problem {
    /// The file, as the plant folder knows it: `config/plant.toml`; empty where the folder itself is meant.
    pub path: String,
    /// Line and column, both from 1; `None` where the whole file is meant.
    pub place: Option<(usize, usize)>,
    /// What was found and what was expected.
    pub text: String,
    /// What to do about it, where that can be said.
    pub help: Option<String>,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.place {
            Some((line, column)) => write!(f, "{}:{line}:{column}: {}", self.path, self.text)?,
            None => write!(f, "{}: {}", self.path, self.text)?,
        }
        match &self.help {
            Some(help) => write!(f, "\nhelp: {help}"),
            None => Ok(()),
        }
    }
}

/// Everything that is wrong, in the order of files and lines; never empty.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problems(pub Vec<Problem>);

impl Problems {
    /// The same with each path as seen from where the plant folder was named, so that it can be opened from there.
    #[must_use]
    pub fn seen_from(mut self, folder: &Path) -> Self {
        for problem in self.0.iter_mut().filter(|problem| !problem.path.starts_with(shipped::PREFIX)) {
            problem.path = match problem.path.as_str() {
                "" => folder.display().to_string(),
                _ if folder == Path::new(".") => continue,
                path => folder.join(path).display().to_string(),
            };
        }
        self
    }
}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0.len() {
            1 => write!(f, "the configuration cannot be used")?,
            many => write!(f, "the configuration cannot be used, for {many} reasons")?,
        }
        self.0.iter().try_for_each(|problem| write!(f, "\n{problem}"))
    }
}

impl std::error::Error for Problems {}
