//! The closed months of this plant for whoever files for several, and those of other sites.

use crate::cli::close::chain;
use crate::cli::{Failure, unopened};
use crate::closing::{CARBON, Closing, ENERGY, carried, in_force, sealed};
use crate::report::filing::{SiteMonth, SiteYear, Sites, YearFacts};
use crate::store::Store;
use crate::time::Month;
use crate::units::decimal;
use anyhow::anyhow;
use std::fs;
use std::path::PathBuf;

/// The closings of a year in force, with all of the chain.
pub struct Closed {
    all: Vec<Closing>,
    year: i32,
}

impl Closed {
    /// Reads the chain.
    ///
    /// # Errors
    /// A chain that is broken, a store that cannot be read.
    pub fn of(store: &Store, year: i32) -> Result<Self, Failure> {
        Ok(Self { all: chain(store)?, year })
    }

    fn in_force(&self) -> impl Iterator<Item = (Month, &Closing)> {
        in_force(&self.all).into_iter().filter(|(month, _)| month.year == self.year)
    }

    /// The months.
    pub fn months(&self) -> Vec<Month> {
        self.in_force().map(|(month, _)| month).collect()
    }

    /// The months as they are handed on.
    pub fn listed(&self) -> Vec<SiteMonth> {
        let of = |(month, closing): (Month, &Closing)| SiteMonth {
            month: month.to_string(),
            sequence: closing.sequence,
            closing: sealed(closing, 0).hash,
            true_up: closing.true_up,
        };
        self.in_force().map(of).collect()
    }

    /// What they were closed with, and what later months carry of them.
    fn sum(&self, id: &str) -> i64 {
        let of = |(month, closing): (Month, &Closing)| {
            let late = carried(&self.all, month);
            closing.figures.get(id).copied().unwrap_or(0) + late.get(id).copied().unwrap_or(0)
        };
        self.in_force().map(of).sum()
    }

    /// Why what the closed months come to today is not what they were closed with; `None` where it is. Carbon may differ by the
    /// rounding of each month.
    pub fn differs(&self, today: &YearFacts) -> Option<String> {
        let totals = today.totals();
        let shown = |count: i64| decimal(count, 6);
        let (energy, closed) = (totals.energy, self.sum(ENERGY));
        if energy != closed {
            return Some(format!(
                "its closed months come to {} kWh today and were closed with {}: `inkwatt close --audit` says why",
                shown(energy),
                shown(closed)
            ));
        }
        let (carbon, closed) = (totals.location?, self.sum(CARBON));
        (carbon.abs_diff(closed) > self.months().len() as u64 + 1).then(|| {
            format!(
                "its closed months have {} kg by location under the factors of today and were closed with {}: `inkwatt close \
                 --true-up {}` states them anew",
                shown(carbon),
                shown(closed),
                self.year
            )
        })
    }
}

/// Reads the files of other sites.
///
/// # Errors
/// A file that cannot be read, was changed, is of another year or of this plant; two files of one site; a certificate of which
/// sites together spend more than it stands for.
pub fn read(own: SiteYear, files: &[PathBuf]) -> Result<Sites, Failure> {
    let mut others: Vec<SiteYear> = Vec::new();
    for file in files {
        let text = fs::read_to_string(file).map_err(|error| unopened(file, &error))?;
        let refused = |why: String| Failure::unusable(anyhow!("{}: {why}", file.display()));
        let site = SiteYear::parse(&text).map_err(|error| refused(error.to_string()))?;
        if site.year != own.year {
            return Err(refused(format!("is of {}; expected {}", site.year, own.year)));
        }
        if site.site == own.site {
            return Err(refused(format!(
                "is of {}, the plant that files, whose days are in the figures already",
                own.site
            )));
        }
        if let Some(other) = others.iter().find(|other| other.site == site.site) {
            let same = if *other == site { "the same months" } else { "other months or figures" };
            return Err(refused(format!("a file of {} is given already, with {same}; name one", site.site)));
        }
        others.push(site);
    }
    others.sort_by(|a, b| a.site.cmp(&b.site));
    let sites = Sites { own, others };
    match sites.overspent().as_slice() {
        [] => Ok(sites),
        over => Err(Failure::unusable(anyhow!(
            "certificates are spent twice: {}\nhelp: each site files what was cancelled for it; correct what inkwatt import certificates \
             took in at one of them",
            over.join("; ")
        ))),
    }
}
