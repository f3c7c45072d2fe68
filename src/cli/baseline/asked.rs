//! What a baseline is asked of: the press, its days, and what may explain them.

use super::bills::Bills;
use super::exchanged;
use crate::acquire::Clock;
use crate::agent::{self, Books};
use crate::cli::{Failure, unknown};
use crate::config::Configuration;
use crate::stats::savings_uncertainty::Interval;
use crate::store::{Access, Store};
use crate::time::At;
use crate::units::Energy;
use crate::verify::baseline::{Form, Kind, Refused, boundaries};
use crate::verify::{Day, Driver, Judged, Scope};
use anyhow::anyhow;
use chrono::NaiveDate;
use clap::Args;
use std::collections::BTreeMap;
use std::io::{self, IsTerminal};
use std::path::{Path, PathBuf};

/// Which baseline.
#[derive(Args)]
pub struct Chosen {
    /// The press, or the shared load.
    pub press: String,
    /// First day; the first that is known if absent.
    #[arg(long, value_name = "DATE")]
    from: Option<NaiveDate>,
    /// Last day; the last before the conversion if absent.
    #[arg(long, value_name = "DATE")]
    to: Option<NaiveDate>,
    /// Drivers of the model, parted by commas; the usual models are compared if absent.
    #[arg(long, value_name = "NAMES", value_delimiter = ',')]
    drivers: Option<Vec<String>>,
    /// Months in place of days.
    #[arg(long)]
    monthly: bool,
    /// What it rests on: metered, lamp-exchange-test, sister-press, retained-station, billed or, to
    /// freeze, rated.
    #[arg(long, value_name = "KIND", default_value = "metered")]
    kind: String,
    /// With sister-press or retained-station: which.
    #[arg(long, value_name = "NAME")]
    other: Option<String>,
    /// With lamp-exchange-test: the days on which arc lamps were fitted again, parted by commas.
    #[arg(long, value_name = "DATES", value_delimiter = ',')]
    days: Vec<NaiveDate>,
    /// With billed: a CSV file with the columns month (2025-01) and kwh; its months before the conversion count.
    #[arg(long, value_name = "FILE")]
    bills: Option<PathBuf>,
}

impl Chosen {
    /// Whether it is to be of ratings.
    ///
    /// # Errors
    /// Options beside it that say something of days or of a model.
    pub fn is_rated(&self) -> Result<bool, Failure> {
        let beside = [
            ("--from", self.from.is_some()),
            ("--to", self.to.is_some()),
            ("--drivers", self.drivers.is_some()),
            ("--monthly", self.monthly),
            ("--other", self.other.is_some()),
            ("--days", !self.days.is_empty()),
            ("--bills", self.bills.is_some()),
        ];
        let is_rated = self.kind == Kind::Rated.word();
        match beside.into_iter().find(|(_, given)| is_rated && *given) {
            Some((option, _)) => Err(Failure::unusable(anyhow!(
                "{option} says nothing of ratings, which rest on no day\nhelp: leave it out"
            ))),
            None => Ok(is_rated),
        }
    }
}

/// Where a press's days are read.
pub struct Ground {
    pub books: Books,
    pub store: Store,
    pub scope: Scope,
    pub now: At,
}

/// The days of a baseline and what may explain them.
pub struct Asked {
    pub judged: Judged,
    pub kind: Kind,
    pub period: (NaiveDate, NaiveDate),
    pub days: Vec<Day>,
    pub interval: Interval,
    pub drivers: Option<Vec<Driver>>,
    pub boundary: BTreeMap<String, String>,
}

impl Asked {
    /// The form of the drivers that were named, without the outdoor temperature.
    pub fn form(&self) -> Form {
        let drivers = self.drivers.iter().flatten().copied().filter(|driver| *driver != Driver::Outdoor);
        Form { interval: self.interval, drivers: drivers.collect(), outdoor: None }
    }

    /// Whether the outdoor temperature was named.
    pub fn with_outdoor(&self) -> bool {
        self.drivers.as_ref().is_some_and(|drivers| drivers.contains(&Driver::Outdoor))
    }
}

impl Ground {
    /// The books of a plant and the scope of one of its presses.
    pub fn open(plant: &Path, configuration: &Configuration, press: &str) -> Result<Self, Failure> {
        let now = Clock::start(0).now();
        let of = &configuration.plant;
        let judged = Judged::named(of, press).and_then(|judged| Scope::judging(of, &judged));
        let loads = of.loads.iter().map(|load| load.id.as_str());
        let known = of.presses.iter().map(|press| press.id.as_str()).chain(loads);
        let scope = judged.ok_or_else(|| Failure::Unusable(unknown("press or load", press, known)))?;
        let store = Store::open(plant, configuration.plant.zone, Access::Read).map_err(Failure::unreachable)?;
        let books = Books::open(plant, configuration, now).map_err(Failure::unreachable)?;
        Ok(Self { books, store, scope, now })
    }

    /// The days that a baseline is asked of.
    pub fn gather(&self, chosen: &Chosen) -> Result<Asked, Failure> {
        let drivers = chosen.drivers.as_deref().map(drivers).transpose()?;
        let kind = Kind::of(&chosen.kind, chosen.other.as_deref()).ok_or_else(|| {
            let help = "metered, lamp-exchange-test --days, sister-press --other PRESS, retained-station --other STATION, billed --bills FILE, rated";
            Failure::unusable(anyhow!("--kind \"{}\" is not known or lacks its other option\nhelp: {help}", chosen.kind))
        })?;
        if kind == Kind::Rated {
            return Err(Failure::unusable(anyhow!(
                "ratings are no model that could be fitted\nhelp: inkwatt baseline freeze {} --kind rated --bound 25% --why TEXT",
                chosen.press
            )));
        }
        let scope = self.scope_of(&kind)?;
        kind.fits(&self.scope).map_err(Failure::unusable)?;
        let bills = match kind {
            Kind::Billed => Some(Bills::read(chosen.bills.as_deref())?),
            _ => None,
        };
        let period = self.period(chosen, &kind, &scope, bills.as_ref())?;
        let zone = self.books.plant().zone;
        let span = zone.days(period.0, period.1);
        let boundary = match kind {
            Kind::Billed => BTreeMap::new(),
            _ => boundaries(self.books.plant(), &scope, span).map_err(Failure::unusable)?,
        };
        let mut days = self.days(&scope, period)?;
        if !days.iter().any(|day| day.energy != Energy::ZERO) && kind != Kind::Billed {
            return Err(self.no_data(period));
        }
        match &kind {
            Kind::LampExchangeTest => exchanged::named(self.books.plant(), &self.scope, &mut days, &chosen.days)?,
            Kind::RetainedStation(_) => {
                let stations = self.scope.stations.len() as i64;
                days.iter_mut().for_each(|day| day.energy = Energy::from_mwh(day.energy.mwh() * stations));
            }
            _ => days = bills.map(|bills| bills.days(&days)).unwrap_or(days),
        }
        let interval = match chosen.monthly || kind == Kind::Billed {
            true => Interval::Monthly,
            false => Interval::Daily,
        };
        Ok(Asked { judged: self.scope.judged.clone(), kind, period, days, interval, drivers, boundary })
    }

    /// The scope whose days a kind of baseline takes.
    pub fn scope_of(&self, kind: &Kind) -> Result<Scope, Failure> {
        let plant = self.books.plant();
        kind.scope(plant, &self.scope).ok_or_else(|| {
            let stations = || plant.presses.iter().flat_map(|press| &press.stations);
            let (noun, known): (_, Vec<&str>) = match kind {
                Kind::RetainedStation(_) => ("station", stations().map(|station| station.id.as_str()).collect()),
                _ => ("press", plant.presses.iter().map(|press| press.id.as_str()).collect()),
            };
            Failure::Unusable(unknown(noun, kind.other().unwrap_or_default(), known.into_iter()))
        })
    }

    /// First and last day: as asked, else all that is known or billed on the right side of the conversion.
    fn period(
        &self,
        chosen: &Chosen,
        kind: &Kind,
        scope: &Scope,
        bills: Option<&Bills>,
    ) -> Result<(NaiveDate, NaiveDate), Failure> {
        if *kind == Kind::LampExchangeTest {
            return exchanged::span(&chosen.days);
        }
        let zone = self.books.plant().zone;
        let began = kind.conversion(self.books.plant(), &self.scope).map(|conversion| zone.date(conversion.start));
        let extent = agent::extent(&self.books, &self.store, scope).map_err(Failure::unreachable)?;
        let known = match bills {
            Some(bills) => Some(bills.extent(began)?),
            None => extent.map(|extent| (zone.date(extent.start), zone.date(extent.end - 1))),
        };
        let today = zone.date(self.now);
        let (first, last) = known.unwrap_or((today, today));
        let before = began.and_then(|began| began.pred_opt()).map_or(last, |before| last.min(before));
        let (first, last) = (chosen.from.unwrap_or(first), chosen.to.unwrap_or(before));
        match began {
            Some(began) if first >= began && chosen.from.is_none() => {
                Err(Failure::unusable(Refused::NothingBefore { judged: scope.judged.to_string(), began }))
            }
            Some(began) if first <= last && last >= began => {
                Err(Failure::unusable(Refused::ConversionInside { first, last, began }))
            }
            _ if first > last => Err(Failure::unusable(Refused::Disordered { first, last })),
            _ => Ok((first, last)),
        }
    }

    fn no_data(&self, (first, last): (NaiveDate, NaiveDate)) -> Failure {
        Failure::unusable(Refused::NoData { judged: self.scope.judged.to_string(), first, last })
    }

    /// The days of a scope, with a sign of life on a terminal.
    pub fn days(&self, scope: &Scope, (first, last): (NaiveDate, NaiveDate)) -> Result<Vec<Day>, Failure> {
        let total = (last - first).num_days() + 1;
        let alive = |done: usize| {
            if io::stderr().is_terminal() {
                eprintln!("{done} of {total} days");
            }
        };
        let scopes = std::slice::from_ref(scope);
        let days = agent::observe(&self.books, &self.store, scopes, (first, last), self.now, alive);
        Ok(days.map_err(Failure::unreachable)?.pop().unwrap_or_default())
    }
}

/// Drivers by their words.
fn drivers(words: &[String]) -> Result<Vec<Driver>, Failure> {
    let mut drivers = Vec::new();
    for word in words.iter().map(|word| word.trim()) {
        if word.starts_with("lamp") {
            return Err(Failure::unusable(Refused::LampHours));
        }
        let known = Driver::ALL.map(Driver::word);
        let driver =
            Driver::parse(word).ok_or_else(|| Failure::Unusable(unknown("driver", word, known.into_iter())))?;
        drivers.push(driver);
    }
    Ok(drivers)
}
