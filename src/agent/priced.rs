//! Days of a plant with what they are priced by.

use super::{Books, BooksError};
use crate::config::Configuration;
use crate::report::{Basis, Facts};
use crate::time::days;
use chrono::NaiveDate;

/// Reads the days from the first to the last, both included, and has something made of them.
///
/// # Errors
/// Where the store cannot be read.
pub fn with_basis<R>(
    books: &Books,
    configuration: &Configuration,
    (first, last): (NaiveDate, NaiveDate),
    then: impl FnOnce(&Basis) -> R,
) -> Result<R, BooksError> {
    let dates: Vec<NaiveDate> = days(first, last).collect();
    let (days, sums): (Vec<_>, Vec<_>) = books.days(&dates)?.into_iter().unzip();
    let period = books.plant().zone.days(first, last);
    let (runs, instruments) = (books.runs(period), books.instruments());
    Ok(then(&Basis {
        plant: books.plant(),
        period,
        facts: Facts { days: &days, sums: &sums, runs: &runs },
        issues: books.issues(),
        tariffs: &configuration.tariffs,
        factors: &configuration.factors,
        instruments: &instruments,
    }))
}
