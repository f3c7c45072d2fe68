//! The readings behind slices.

use super::{Books, BooksError};
use crate::attribute;
use crate::readings::{Reading, Series, Subject};
use crate::store::{Access, Store};
use crate::time::Period;

/// The readings of a series behind a period.
#[derive(Clone, Debug)]
pub struct Behind {
    /// Of what.
    pub series: Series,
    /// Those in force within the period, and the nearest on either side, in order of time.
    pub readings: Vec<Reading>,
    /// Who corrected which of them by hand, and why.
    pub corrected: Vec<(Reading, String)>,
}

/// What attribution reads of some subjects over a period; series of which nothing is known are left out.
///
/// # Errors
/// Where the store cannot be read.
pub fn behind(books: &Books, subjects: &[Subject], period: Period) -> Result<Vec<Behind>, BooksError> {
    let store = Store::open(books.folder(), books.plant().zone, Access::Read)?;
    let corrections = store.corrections()?;
    let mut all = Vec::new();
    for series in attribute::needs(books.plant()).into_iter().filter(|series| subjects.contains(&series.subject)) {
        let readings = store.readings(&series, period, true)?.value;
        let of_these = corrections.iter().filter(|one| one.series == series && readings.contains(&one.reading));
        let corrected = of_these.map(|one| (one.reading, one.note.clone())).collect();
        if !readings.is_empty() {
            all.push(Behind { series, readings, corrected });
        }
    }
    Ok(all)
}
