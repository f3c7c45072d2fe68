//! The form of a model: how long its points are and what explains them.

use crate::stats::changepoint;
use crate::stats::savings_uncertainty::Interval;
use crate::stats::{Column, Design, Refusal};
use crate::time::Month;
use crate::verify::{Aside, Day, Driver};
use chrono::{Datelike, NaiveDate};
use std::collections::BTreeMap;
use std::fmt;

/// Name of the term of a monthly model that stands for what a day costs whatever it brings.
pub const DAYS: &str = "days";

/// What a model is made of. A daily one has a constant; a monthly one has a term for its days in place of it, so that
/// months of different length compare.
#[derive(Clone, Debug, PartialEq)]
pub struct Form {
    /// Whether a point is a day or a month.
    pub interval: Interval,
    /// Its drivers.
    pub drivers: Vec<Driver>,
    /// How the outdoor temperature enters, if it does.
    pub outdoor: Option<Outdoor>,
}

/// How the outdoor temperature enters a model.
#[derive(Clone, Debug, PartialEq)]
pub struct Outdoor {
    /// The form.
    pub form: changepoint::Form,
    /// Its change points in degrees Celsius, ascending.
    pub knots: Vec<f64>,
}

/// The points of a model: what was drawn, and each driver's part.
#[derive(Clone, Debug, PartialEq)]
pub struct Points {
    /// The day, or the first day of the month, of each point.
    pub dates: Vec<NaiveDate>,
    /// How many days each holds.
    pub days: Vec<f64>,
    /// What part of its calendar month each fills.
    pub months: f64,
    /// Energy in kWh.
    pub kwh: Vec<f64>,
    /// The drivers, in the order of the form.
    pub columns: Vec<Column>,
    /// Days that were set aside, by reason.
    pub aside: BTreeMap<Aside, usize>,
    /// Whether they are days or months.
    pub interval: Interval,
}

impl Form {
    /// A daily model over drivers.
    pub fn daily(drivers: &[Driver]) -> Self {
        Self { interval: Interval::Daily, drivers: drivers.to_vec(), outdoor: None }
    }

    /// Whether a driver enters, the outdoor temperature included.
    pub fn uses(&self, driver: Driver) -> bool {
        self.drivers.contains(&driver) || (driver == Driver::Outdoor && self.outdoor.is_some())
    }

    /// The days that count, as points. A day that is set aside, or lacks a driver, is counted by reason.
    pub fn points<'a>(&self, days: impl IntoIterator<Item = &'a Day>) -> Points {
        let mut aside: BTreeMap<Aside, usize> = BTreeMap::new();
        let mut counted: Vec<(&Day, Vec<f64>)> = Vec::new();
        for day in days {
            match (day.aside, self.values(day)) {
                (None, Some(values)) => counted.push((day, values)),
                (reason, _) => *aside.entry(reason.unwrap_or(Aside::DriverUnknown)).or_default() += 1,
            }
        }
        counted.sort_by_key(|(day, _)| day.date);
        let months = counted.iter().map(|(day, _)| 1.0 / Month::of(day.date).days().count() as f64).sum();
        let date = |day: &Day| match self.interval {
            Interval::Daily => day.date,
            Interval::Monthly => Month::of(day.date).first(),
        };
        let names = self.names();
        let mut points = Points {
            dates: Vec::new(),
            days: Vec::new(),
            months,
            kwh: Vec::new(),
            columns: names.into_iter().map(|name| Column::new(name, Vec::new())).collect(),
            aside,
            interval: self.interval,
        };
        for same in counted.chunk_by(|a, b| date(a.0) == date(b.0)) {
            points.dates.push(date(same[0].0));
            points.days.push(same.len() as f64);
            points.kwh.push(same.iter().map(|(day, _)| day.energy).sum::<crate::units::Energy>().kwh());
            for (k, column) in points.columns.iter_mut().enumerate() {
                column.values.push(same.iter().map(|(_, values)| values[k]).sum());
            }
        }
        points
    }

    /// The values of a day's columns; `None` where a driver is not known.
    fn values(&self, day: &Day) -> Option<Vec<f64>> {
        let mut values: Vec<f64> =
            self.drivers.iter().map(|driver| day.drivers.get(driver).copied()).collect::<Option<_>>()?;
        if let Some(outdoor) = &self.outdoor {
            let temperature = *day.drivers.get(&Driver::Outdoor)?;
            let columns = outdoor.form.columns(&[temperature], &outdoor.knots);
            values.extend(columns.iter().map(|column| column.values[0]));
        }
        Some(values)
    }

    /// The names of its columns, without constant and days.
    pub fn names(&self) -> Vec<String> {
        let drivers = self.drivers.iter().map(|driver| driver.word().to_owned());
        let outdoor = self.outdoor.iter().flat_map(|outdoor| outdoor.form.columns(&[0.0], &outdoor.knots));
        drivers.chain(outdoor.map(|column| column.name)).collect()
    }
}

impl fmt::Display for Form {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut words: Vec<String> = self.drivers.iter().map(|driver| driver.word().to_owned()).collect();
        if let Some(outdoor) = &self.outdoor {
            let knots: Vec<String> = outdoor.knots.iter().map(|k| format!("{k:.1} °C")).collect();
            let at = if knots.is_empty() { String::new() } else { format!(" from {}", knots.join(", ")) };
            words.push(format!("outdoor_c{at}"));
        }
        f.write_str(if words.is_empty() { "mean" } else { "" })?;
        f.write_str(&words.join(" + "))
    }
}

impl Points {
    /// How many there are.
    pub fn len(&self) -> usize {
        self.dates.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.dates.is_empty()
    }

    /// How many days they hold together.
    pub fn day_count(&self) -> usize {
        self.days.iter().sum::<f64>() as usize
    }

    /// Numbers of the points, consecutive where their days or months are.
    pub fn numbers(&self) -> Vec<i64> {
        let number = |date: &NaiveDate| match self.interval {
            Interval::Daily => i64::from(date.num_days_from_ce()),
            Interval::Monthly => i64::from(date.year()) * 12 + i64::from(date.month()),
        };
        self.dates.iter().map(number).collect()
    }

    /// The design of the model over these points.
    ///
    /// # Errors
    /// As [`Design::with_constant`].
    pub fn design(&self) -> Result<Design, Refusal> {
        match self.interval {
            Interval::Daily => Design::with_constant(self.len(), self.columns.clone()),
            Interval::Monthly => {
                let days = Column::new(DAYS, self.days.clone());
                Design::through_origin(std::iter::once(days).chain(self.columns.iter().cloned()).collect())
            }
        }
    }

    /// The points before and from a place on.
    pub fn split(&self, at: usize) -> (Self, Self) {
        let part = |range: std::ops::Range<usize>| Self {
            dates: self.dates[range.clone()].to_vec(),
            days: self.days[range.clone()].to_vec(),
            months: self.months,
            kwh: self.kwh[range.clone()].to_vec(),
            columns: self
                .columns
                .iter()
                .map(|c| Column::new(c.name.clone(), c.values[range.clone()].to_vec()))
                .collect(),
            aside: BTreeMap::new(),
            interval: self.interval,
        };
        (part(0..at), part(at..self.len()))
    }
}
