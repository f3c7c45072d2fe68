//! Jobs by codes of their own, where the plant wants nobody at the board to read customers from job names.

use super::access::Key;
use std::borrow::Cow;

/// Letters of a code, without those that are taken for others.
const LETTERS: &[u8; 30] = b"23456789ABCDEFGHJKLMNPQRSTVWXZ";
/// Letters of a code: of ten thousand jobs two share one with a chance of about one in ten thousand (30^8 codes).
const LENGTH: usize = 8;

/// How jobs are called.
pub struct Jobs(Option<Key>);

impl Jobs {
    /// By their names, or by codes under the key of the plant.
    pub fn new(are_coded: bool, key: &Key) -> Self {
        Self(are_coded.then(|| key.clone()))
    }

    /// What a job is called.
    pub fn called<'a>(&self, job: &'a str) -> Cow<'a, str> {
        let Some(key) = &self.0 else { return Cow::Borrowed(job) };
        let letter = |byte: &u8| char::from(LETTERS[usize::from(*byte) % LETTERS.len()]);
        Cow::Owned(key.code("job", job).iter().take(LENGTH).map(letter).collect())
    }

    /// Whether names are not shown.
    pub const fn are_coded(&self) -> bool {
        self.0.is_some()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tempfile::TempDir;

    #[test]
    fn a_job_keeps_its_code_over_restarts_and_other_plants_call_it_otherwise() {
        let plant = || {
            let folder = TempDir::new().expect("a folder");
            std::fs::create_dir(folder.path().join("store")).expect("a folder");
            folder
        };
        let (here, there) = (plant(), plant());
        let called =
            |folder: &TempDir, job| Jobs::new(true, &Key::of(folder.path()).expect("a key")).called(job).into_owned();
        let code = called(&here, "Example Dairy 4711");
        assert_eq!(code.len(), LENGTH);
        assert_eq!(called(&here, "Example Dairy 4711"), code);
        assert_ne!(called(&here, "Example Dairy 4712"), code);
        assert_ne!(called(&there, "Example Dairy 4711"), code);
        assert_eq!(Jobs::new(false, &Key::of(here.path()).expect("a key")).called("4711"), "4711");
    }
}
