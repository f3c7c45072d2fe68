//! Ids of the rows of `savings.csv`: the page bears them on the same figures, so that each can be cited and found.

use crate::names::PressId;
use crate::report::number::Ids;
use crate::time::Month;
use crate::verify::Cause;

/// Ids of the rows of a month's `savings.csv`; empty where no report of a month is made.
#[derive(Clone, Copy, Debug)]
pub struct RowIds(pub Option<Month>);

impl RowIds {
    /// A row of a press: `promised`, `at-operation`, `unexplained` or `measured`, or `step` with what it is due to.
    pub fn of(self, press: &PressId, row: &str, cause: &str) -> String {
        let path = ["savings", press.as_str(), row, cause];
        let path = if cause.is_empty() { &path[..3] } else { &path };
        self.0.map_or_else(String::new, |month| Ids(month).of(path))
    }
}

/// What a step is due to, with the causes in it that could not be told apart.
pub fn step_name(cause: Cause, with: &[Cause]) -> String {
    std::iter::once(&cause).chain(with).map(|cause| cause.word()).collect::<Vec<_>>().join(" + ")
}
