//! A file of the configuration with the problems found in it, and a place in it.

use super::Problem;
use std::cell::RefCell;
use toml::Spanned;
use toml::de::DeTable;

/// A file as it was read.
pub struct Document {
    /// Its path below the plant folder, or `shipped:...`.
    pub path: String,
    /// Its text.
    pub text: String,
    problems: RefCell<Vec<Problem>>,
}

impl Document {
    /// A file with its text.
    pub fn new(path: String, text: String) -> Self {
        Self { path, text, problems: RefCell::default() }
    }

    /// A file or folder that cannot be read, and why.
    pub fn unreadable(problem: Problem) -> Self {
        Self { path: problem.path.clone(), text: String::new(), problems: RefCell::new(vec![problem]) }
    }

    /// Its tables; `None` where it could not be read or is not TOML, after noting every place where it is not.
    pub fn parse(&self) -> Option<Spanned<DeTable<'_>>> {
        self.problems.borrow().is_empty().then_some(())?;
        let (table, errors) = DeTable::parse_recoverable(&self.text);
        for error in &errors {
            self.spot(error.span().map_or(0, |span| span.start)).say(error.message());
        }
        errors.is_empty().then_some(table)
    }

    /// The place of a byte of its text.
    pub const fn spot(&self, byte: usize) -> Spot<'_> {
        Spot { document: self, byte }
    }

    /// The file name without `.toml`: what a register map is called by.
    pub fn stem(&self) -> &str {
        let name = self.path.rsplit(['/', ':']).next().unwrap_or(&self.path);
        name.strip_suffix(".toml").unwrap_or(name)
    }

    /// Everything found wrong in it, in the order of its lines.
    pub fn problems(&self) -> Vec<Problem> {
        let mut problems = self.problems.borrow().clone();
        problems.sort();
        problems.dedup();
        problems
    }
}

/// A place in a file, at which a problem can be told.
#[derive(Clone, Copy)]
pub struct Spot<'a> {
    document: &'a Document,
    byte: usize,
}

impl<'a> Spot<'a> {
    /// Another place in the same file.
    pub const fn at(self, byte: usize) -> Spot<'a> {
        Spot { document: self.document, byte }
    }

    /// Line and column, both from 1; columns count characters.
    pub fn place(self) -> (usize, usize) {
        let text = &self.document.text;
        let before = &text[..(0..=self.byte).rfind(|at| text.is_char_boundary(*at)).unwrap_or(0)];
        let line = before.matches('\n').count() + 1;
        let start = before.rfind('\n').map_or(0, |at| at + 1);
        (line, before[start..].chars().count() + 1)
    }

    /// Notes a problem here.
    pub fn say(self, text: impl Into<String>) {
        self.note(text.into(), None);
    }

    /// Notes a problem here, with what to do about it.
    pub fn say_help(self, text: impl Into<String>, help: impl Into<String>) {
        self.note(text.into(), Some(help.into()));
    }

    fn note(self, text: String, help: Option<String>) {
        let problem = Problem { path: self.document.path.clone(), place: Some(self.place()), text, help };
        self.document.problems.borrow_mut().push(problem);
    }
}
