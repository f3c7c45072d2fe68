//! Rows in order of time: which of two instants a row of the repeated hour means.
//!
//! A row between neighbours whose instants are known is resolved where evenly spaced rows fill the time between them
//! exactly, or where the order of the rows leaves one possibility. Anything else stays unresolved.

use crate::time::At;

/// Rows that may wait for a resolution: two hours of rows each second, and to spare.
const MOST_WAITING: usize = 20_000;

/// A row with the instants that it may mean, in order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Row<T> {
    pub(super) row: T,
    pub(super) meanings: Vec<At>,
}

/// A row and its instant; all its meanings where it cannot be resolved.
pub(super) type Settled<T> = (T, Result<At, Vec<At>>);

/// Rows on their way through.
#[derive(Clone, Debug)]
pub(super) struct InOrder<T> {
    /// The spacing that the file states, in milliseconds.
    stated: Option<i64>,
    /// The spacing of the last two rows before those that wait.
    seen: Option<i64>,
    before: Option<At>,
    waiting: Vec<Row<T>>,
}

impl<T> InOrder<T> {
    pub(super) const fn new(stated: Option<i64>) -> Self {
        Self { stated, seen: None, before: None, waiting: Vec::new() }
    }

    /// Takes a row; gives the rows that are settled now, in their order.
    pub(super) fn push(&mut self, row: Row<T>) -> Vec<Settled<T>> {
        let &[at] = row.meanings.as_slice() else {
            self.waiting.push(row);
            return if self.waiting.len() < MOST_WAITING { Vec::new() } else { self.end() };
        };
        let mut settled = self.settle(Some(at));
        if settled.is_empty() {
            self.seen = self.before.map(|before| (at - before).abs()).filter(|step| *step > 0);
        }
        self.before = Some(at);
        settled.push((row.row, Ok(at)));
        settled
    }

    /// No row follows; gives those that still waited.
    pub(super) fn end(&mut self) -> Vec<Settled<T>> {
        self.settle(None)
    }

    fn settle(&mut self, after: Option<At>) -> Vec<Settled<T>> {
        let rows = std::mem::take(&mut self.waiting);
        let backwards = matches!((self.before, after), (Some(before), Some(after)) if after < before);
        let mut meanings: Vec<&[At]> = rows.iter().map(|row| row.meanings.as_slice()).collect();
        let (mut before, mut after) = (self.before, after);
        if backwards {
            // The newest row comes first.
            meanings.reverse();
            (before, after) = (after, before);
        }
        let mut instants = resolve(&meanings, before, after, self.stated.or(self.seen));
        if backwards {
            instants.reverse();
        }
        rows.into_iter().zip(instants).map(|(row, at)| (row.row, at.ok_or(row.meanings))).collect()
    }
}

/// The instants of rows between two known ones.
fn resolve(rows: &[&[At]], before: Option<At>, after: Option<At>, step: Option<i64>) -> Vec<Option<At>> {
    if let Some(even) = step.and_then(|step| evenly(rows, before, after, step)) {
        return even.into_iter().map(Some).collect();
    }
    // In strictly rising order each row has an earliest and a latest instant; where they agree, there is no other.
    let mut low = before;
    let earliest = rows.iter().map(|row| {
        let found = row.iter().copied().find(|at| low.is_none_or(|low| low < *at));
        low = found.or(Some(At(i64::MAX)));
        found
    });
    let earliest: Vec<Option<At>> = earliest.collect();
    let mut high = after;
    let latest = rows.iter().rev().map(|row| {
        let found = row.iter().copied().rfind(|at| high.is_none_or(|high| *at < high));
        high = found.or(Some(At(i64::MIN)));
        found
    });
    let mut latest: Vec<Option<At>> = latest.collect();
    latest.reverse();
    earliest.into_iter().zip(latest).map(|(early, late)| early.filter(|_| early == late)).collect()
}

/// The instants that follow each other by `step` from the row before, or up to the row after, without a gap at either.
fn evenly(rows: &[&[At]], before: Option<At>, after: Option<At>, step: i64) -> Option<Vec<At>> {
    let first = match (before, after) {
        (Some(before), _) => before + step,
        (None, after) => after? - step * rows.len() as i64,
    };
    let instants: Vec<At> = (0..rows.len() as i64).map(|k| first + k * step).collect();
    let fits = instants.iter().zip(rows).all(|(at, row)| row.contains(at));
    let joins = after.is_none_or(|after| after == first + step * rows.len() as i64);
    (fits && joins).then_some(instants)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Minutes after the first showing of 02:00; the clock goes back at minute 60.
    fn local(minute: i64) -> Vec<At> {
        let shown = if minute < 60 { minute } else { minute - 60 };
        if (0..60).contains(&shown) && minute < 120 { vec![At(shown), At(shown + 60)] } else { vec![At(minute)] }
    }

    fn run(stated: Option<i64>, minutes: &[i64]) -> Vec<Option<i64>> {
        let mut order = InOrder::new(stated);
        let rows = minutes.iter().map(|minute| Row { row: (), meanings: local(*minute) });
        let mut settled: Vec<Settled<()>> = rows.flat_map(|row| order.push(row)).collect();
        settled.extend(order.end());
        settled.into_iter().map(|(_, at)| at.ok().map(|at| at.0)).collect()
    }

    fn all(minutes: &[i64]) -> Vec<Option<i64>> {
        minutes.iter().copied().map(Some).collect()
    }

    #[test]
    fn evenly_spaced_rows_prove_the_repeated_hour() {
        let minutes: Vec<i64> = (-4..14).map(|k| k * 15).collect();
        assert_eq!(run(None, &minutes), all(&minutes));
        let newest_first: Vec<i64> = minutes.iter().rev().copied().collect();
        assert_eq!(run(None, &newest_first), all(&newest_first));
    }

    #[test]
    fn a_file_that_begins_or_ends_in_the_repeated_hour_is_proved_by_its_spacing() {
        assert_eq!(run(Some(15), &[75, 90, 105, 120]), all(&[75, 90, 105, 120]));
        assert_eq!(run(Some(15), &[-15, 0, 15, 30]), all(&[-15, 0, 15, 30]));
    }

    #[test]
    fn a_clock_that_goes_back_between_two_rows_proves_both_in_spite_of_gaps() {
        assert_eq!(run(None, &[-60, 30, 75, 200]), all(&[-60, 30, 75, 200]));
        assert_eq!(run(Some(15), &[-15, 0, 30, 75, 105, 120]), all(&[-15, 0, 30, 75, 105, 120]));
    }

    #[test]
    fn an_hour_that_is_there_once_is_not_guessed() {
        let missing = run(Some(15), &[-15, 0, 15, 30, 45, 120]);
        assert_eq!(missing, [Some(-15), None, None, None, None, Some(120)]);
        assert_eq!(run(None, &[30, 200]), [None, Some(200)]);
    }

    #[test]
    fn rows_out_of_order_are_not_guessed() {
        assert_eq!(run(None, &[300, 30, 120]), [Some(300), None, Some(120)]);
    }
}
