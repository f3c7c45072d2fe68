//! A frozen baseline: everything that is needed to predict with it, and to say how sure that is, for as long as it stands.

use super::{Fitted, Form, Kind, Points, Refused};
use crate::stats::savings_uncertainty::counted;
use crate::stats::{Model, ar1};
use crate::time::At;
use crate::verify::{Aside, Conditions, Day, Driver, Ratings, Scope};
use chrono::NaiveDate;
use std::collections::BTreeMap;
use std::fmt::Write;

/// A baseline that is kept as it is.
#[derive(Clone, Debug, PartialEq)]
pub struct Frozen {
    /// The press and the stations that it is of.
    pub scope: Scope,
    /// What it rests on.
    pub kind: Kind,
    /// First and last day.
    pub period: (NaiveDate, NaiveDate),
    /// The form of the model.
    pub form: Form,
    /// The model.
    pub model: Model,
    /// Autocorrelation as measured, sum form.
    pub rho: f64,
    /// X'RX with the autocorrelation that counts: what formula E needs of the points.
    pub cross: Vec<Vec<f64>>,
    /// The points.
    pub points: Points,
    /// The largest leverage among them: beyond it a day lies outside the joint range of the drivers.
    pub leverage: f64,
    /// What the old lamps are rated for, under [`Kind::Rated`]; there is no model and there are no points then.
    pub ratings: Option<Ratings>,
    /// What each meter measured.
    pub boundary: BTreeMap<String, String>,
    /// How the press was run.
    pub conditions: Conditions,
    /// Where it comes from.
    pub provenance: Provenance,
}

/// Where a baseline comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Provenance {
    /// When it was frozen.
    pub at: At,
    /// By whom.
    pub author: String,
    /// Why this one.
    pub reason: String,
    /// SHA-256 of [`facts`].
    pub data: String,
    /// Version of the program.
    pub program: String,
    /// Version of the rules of attribution.
    pub rules: u32,
}

impl Frozen {
    /// The model of a fit, ready to be kept.
    pub fn new(
        scope: &Scope,
        kind: Kind,
        period: (NaiveDate, NaiveDate),
        fitted: &Fitted,
        boundary: BTreeMap<String, String>,
        conditions: Conditions,
        provenance: Provenance,
    ) -> Result<Self, Refused> {
        let design = fitted.points.design()?;
        let cross = ar1::cross_product(&design.values(), &fitted.points.numbers(), counted(fitted.rho));
        Ok(Self {
            scope: scope.clone(),
            kind,
            period,
            form: fitted.form.clone(),
            model: fitted.fit.model.clone(),
            rho: fitted.rho,
            cross,
            points: fitted.points.clone(),
            leverage: fitted.fit.leverage.iter().copied().fold(0.0, f64::max),
            ratings: None,
            boundary,
            conditions,
            provenance,
        })
    }

    /// A baseline of ratings, ready to be kept. `day` is the last before the conversion.
    pub fn rated(
        scope: &Scope,
        ratings: Ratings,
        day: NaiveDate,
        boundary: BTreeMap<String, String>,
        provenance: Provenance,
    ) -> Self {
        let form = Form::daily(&[]);
        Self {
            scope: scope.clone(),
            kind: Kind::Rated,
            period: (day, day),
            model: Model { terms: Vec::new(), constant: false, inverse: Vec::new(), points: 0, rmse: 0.0, mean: 0.0 },
            rho: 0.0,
            cross: Vec::new(),
            points: form.points([]),
            form,
            leverage: 0.0,
            ratings: Some(ratings),
            boundary,
            conditions: Conditions::default(),
            provenance,
        }
    }

    /// Whether a day counts: it is not set aside, and all is known that this baseline needs of it.
    pub fn counts(&self, day: &Day) -> bool {
        match &self.ratings {
            Some(ratings) => day.aside.is_none() && ratings.day(day).is_some(),
            None => self.form.points([day]).day_count() == 1,
        }
    }

    /// The range of a column over the points.
    pub fn range(&self, name: &str) -> Option<(f64, f64)> {
        let column = self.points.columns.iter().find(|column| column.name == name)?;
        let low = column.values.iter().copied().reduce(f64::min)?;
        Some((low, column.values.iter().copied().fold(low, f64::max)))
    }
}

/// The facts of days in canonical words, one day a line: what a data hash is taken of.
pub fn facts(days: &[Day]) -> String {
    let mut text = String::new();
    for day in days {
        let aside = day.aside.map_or("counts", Aside::word);
        // Writing to a text cannot fail.
        let _ = write!(text, "{} {aside} mwh={}", day.date, day.energy.mwh());
        for driver in Driver::ALL {
            if let Some(value) = day.drivers.get(&driver) {
                let _ = write!(text, " {}={value}", driver.word());
            }
        }
        text.push('\n');
    }
    text
}
