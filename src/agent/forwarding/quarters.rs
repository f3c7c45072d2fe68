//! Quarter hours that are due: the whole of a past day whose stamp is another than was sent, and of today what is new.

use super::round::{Carried, Ended, Round, Step};
use crate::agent::Books;
use crate::forward::influx::quarter_lines;
use crate::store::Sent;
use crate::time::At;
use chrono::NaiveDate;
use std::sync::Arc;

/// What these records are called in the book.
const PART: &str = "quarter";

impl Round {
    /// Sends the quarter hours of every day that are not as they were sent, those of today as far as they were over at `until`.
    pub(super) fn quarters(&mut self, today: NaiveDate, until: At, carried: &mut Carried) -> Result<(), Ended> {
        let books = Books::open(&self.folder, &self.configuration, self.now)?;
        let days: Vec<NaiveDate> = self.touched(0)?.into_keys().filter(|day| *day <= today).collect();
        for day in days {
            self.go_on()?;
            match day == today {
                true => self.running(&books, day, until, carried)?,
                false => self.over(&books, day)?,
            }
        }
        Ok(())
    }

    fn over(&mut self, books: &Books, day: NaiveDate) -> Result<(), Ended> {
        let key = day.to_string();
        let hash = books.stamp(&self.store, day)?.1.bytes().to_vec();
        if self.book.sent(&key)?.get(PART).is_some_and(|sent| sent.hash == hash) {
            return Ok(());
        }
        self.step(Step::Anew(key.clone(), PART.into()))?;
        let date: Arc<str> = key.as_str().into();
        for line in self.lines_of(books, day, self.now)? {
            self.line(&date, &PART.into(), line)?;
        }
        self.mark(&key, vec![(PART.into(), Sent { hash, ..Sent::default() })])
    }

    fn running(&mut self, books: &Books, day: NaiveDate, until: At, carried: &mut Carried) -> Result<(), Ended> {
        if carried.told.0 != Some(day) {
            carried.told = (Some(day), Default::default());
        }
        let date: Arc<str> = day.to_string().into();
        for line in self.lines_of(books, day, until)? {
            if carried.told.1.insert(line.clone()) {
                self.line(&date, &PART.into(), line)?;
            }
        }
        self.mark(&date, Vec::new())
    }

    fn lines_of(&self, books: &Books, day: NaiveDate, until: At) -> Result<Vec<String>, Ended> {
        let ledgers = books.ledgers(&[day])?;
        Ok(ledgers.iter().flat_map(|found| quarter_lines(&books.plant().name, &found.value, until)).collect())
    }
}
