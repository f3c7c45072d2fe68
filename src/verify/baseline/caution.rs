//! What a reader of a model must know before trusting it.

use super::Points;
use crate::stats::durbin_watson::{Bounds, Verdict};
use crate::stats::savings_uncertainty::Interval;
use crate::stats::{Fit, diagnose};
use crate::verify::words::{listed, number};
use chrono::{Datelike, Month, NaiveDate};
use std::collections::BTreeSet;
use std::fmt;

/// Below this many days a model has seen too little of the year to be taken as it is (own judgement: a quarter).
const FEW: usize = 90;
/// Variance inflation from which a coefficient cannot be read on its own (common practice).
const INFLATED: f64 = 10.0;

/// Something that a reader of a model must know.
#[derive(Clone, Debug, PartialEq)]
pub enum Caution {
    /// Drivers rise and fall together.
    Collinear {
        /// The driver.
        driver: String,
        /// Its variance inflation.
        vif: f64,
    },
    /// Days carry over to the next.
    Autocorrelated {
        /// The Durbin-Watson statistic.
        statistic: f64,
        /// The lower 5 % bound.
        lower: f64,
    },
    /// The test on autocorrelation does not decide.
    Undecided {
        /// The statistic.
        statistic: f64,
        /// The bounds.
        bounds: (f64, f64),
    },
    /// One point moves the model.
    Influence {
        /// The point.
        date: NaiveDate,
        /// Its Cook's distance.
        cook: f64,
    },
    /// Few points.
    Few {
        /// How many days.
        days: usize,
    },
    /// Months of the year without a day that counts.
    Seasons {
        /// They.
        months: Vec<Month>,
    },
    /// A driver that explains little.
    Weak {
        /// The driver.
        driver: String,
        /// Its t.
        t: f64,
    },
    /// A driver with the sign that nobody expects: more production, less energy.
    Sign {
        /// The driver.
        driver: String,
    },
    /// Hours are accepted under conditions.
    RunHours,
}

impl fmt::Display for Caution {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Collinear { driver, vif } => write!(
                f,
                "{driver} rises and falls with the other drivers (VIF {}): the sum is sound within their joint range, its \
                 own coefficient cannot be read",
                number(*vif, 1)
            ),
            Self::Autocorrelated { statistic, lower } => write!(
                f,
                "a day carries over to the next (Durbin-Watson {statistic:.3} below {lower:.3}): formulas that take days \
                 as independent are too sure"
            ),
            Self::Undecided { statistic, bounds: (lower, upper) } => write!(
                f,
                "whether a day carries over to the next is open (Durbin-Watson {statistic:.3} between {lower:.3} and {upper:.3})"
            ),
            Self::Influence { date, cook } => {
                write!(f, "{date} alone moves the model (Cook's distance {cook:.2}): look at what happened that day")
            }
            Self::Few { days } => write!(f, "{days} days have seen little of what the press does in a year"),
            Self::Seasons { months } => {
                let names: Vec<String> = months.iter().map(|month| month.name().to_owned()).collect();
                write!(f, "no day counts in {}", listed(&names))
            }
            Self::Weak { driver, t } => write!(f, "{driver} explains little (t {t:.1}, below 2): leave it out"),
            Self::Sign { driver } => write!(f, "more {driver} goes with less energy: look for what is behind it"),
            Self::RunHours => f.write_str(
                "run_h falls where the conversion lets the press run faster: it is converted to hours at the baseline's \
                 speed if speed or hours a job change by 3 % or more",
            ),
        }
    }
}

/// The cautions about a fit over points. `judged` is the Durbin-Watson statistic with its bounds.
pub fn cautions(
    points: &Points,
    fit: &Fit,
    inflation: &[(String, f64)],
    judged: Option<(f64, Bounds)>,
) -> Vec<Caution> {
    let mut all = Vec::new();
    let worst = inflation.iter().filter(|(_, vif)| *vif > INFLATED && fit.model.constant);
    all.extend(worst.map(|(driver, vif)| Caution::Collinear { driver: driver.clone(), vif: *vif }));
    all.extend(judged.and_then(|(statistic, bounds)| match bounds.judge(statistic) {
        Verdict::Autocorrelated => Some(Caution::Autocorrelated { statistic, lower: bounds.lower }),
        Verdict::Open => Some(Caution::Undecided { statistic, bounds: (bounds.lower, bounds.upper) }),
        Verdict::Independent => None,
    }));
    let threshold = diagnose::cook_threshold(&fit.model).unwrap_or(1.0);
    let moving = diagnose::cook(fit).into_iter().zip(&points.dates).filter_map(|(cook, date)| Some((cook?, *date)));
    let most = moving.max_by(|a, b| a.0.total_cmp(&b.0)).filter(|(cook, _)| *cook >= threshold);
    all.extend(most.map(|(cook, date)| Caution::Influence { date, cook }));
    if points.day_count() < FEW {
        all.push(Caution::Few { days: points.day_count() });
    }
    let seen: BTreeSet<u32> = points.dates.iter().map(NaiveDate::month).collect();
    let months: Vec<Month> = (1..=12).filter(|n| !seen.contains(&u32::from(*n))).flat_map(Month::try_from).collect();
    if !months.is_empty() {
        all.push(Caution::Seasons { months });
    }
    for term in fit.model.terms.iter().skip(usize::from(fit.model.constant)) {
        if let Some(t) = term.t().filter(|t| t.abs() < 2.0) {
            all.push(Caution::Weak { driver: term.name.clone(), t });
        } else if term.coefficient < 0.0 {
            all.push(Caution::Sign { driver: term.name.clone() });
        }
    }
    if points.columns.iter().any(|column| column.name == "run_h") {
        all.push(Caution::RunHours);
    }
    all
}

/// How many points there must be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Least {
    /// As many as a protocol asks for, and some for each term.
    Usual,
    /// As few as a test of some shifts gives: three more than terms.
    Test,
}

impl Least {
    /// The number, for a model of so many terms.
    pub fn points(self, interval: Interval, terms: usize) -> usize {
        match (self, interval) {
            (Self::Test, _) => terms + 3,
            // Own judgement: four weeks show each weekday often enough to tell drivers apart.
            (Self::Usual, Interval::Daily) => (5 * terms).max(28),
            // ASHRAE Guideline 14: at least nine valid monthly points; from memory.
            (Self::Usual, Interval::Monthly) => (2 * terms).max(9),
        }
    }
}
