//! Ids of the rows of `savings.csv`: the page bears them on the same figures, so that each can be cited and found.

use crate::report::number::Ids;
use crate::time::Month;
use crate::verify::{Cause, Judged};

/// Ids of the rows of a month's `savings.csv`; empty where no report of a month is made.
#[derive(Clone, Copy, Debug)]
pub struct RowIds(pub Option<Month>);

impl RowIds {
    /// A row of a press or load: `promised`, `at-operation`, `unexplained` or `measured`, or `step` with what it is due to.
    pub fn of(self, judged: &Judged, row: &str, cause: &str) -> String {
        let Some(month) = self.0 else { return String::new() };
        let kind = judged.press().map_or("load", |_| "");
        let path = ["savings", kind, judged.name(), row, cause];
        Ids(month).of(&path.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>())
    }
}

/// What a step is due to, with the causes in it that could not be told apart.
pub fn step_name(cause: Cause, with: &[Cause]) -> String {
    std::iter::once(&cause).chain(with).map(|cause| cause.word()).collect::<Vec<_>>().join(" + ")
}
