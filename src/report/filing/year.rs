//! What a year adds up to.

use crate::attribute::DaySums;
use crate::carbon::filing::Datum;
use crate::carbon::{self, Beside, FactorSet, Footprint, Market, MarketLine, Supplied};
use crate::found::Issue;
use crate::plant::Plant;
use crate::readings::Instrument;
use crate::report::input::known;
use crate::report::number::per;
use crate::units::{Co2e, Energy, divide_rounded};
use chrono::NaiveDate;

/// The facts of a year and what follows from them.
#[derive(Clone, Debug)]
pub struct YearFacts {
    /// The year.
    pub year: i32,
    /// Days in it.
    pub days: usize,
    /// Days whose draw is known from midnight to midnight.
    pub whole: usize,
    /// First and last day with readings.
    pub span: (NaiveDate, NaiveDate),
    /// The energy that is known.
    pub energy: Energy,
    /// The part of it that is estimated by a stated rule.
    pub estimated: Energy,
    /// Scope 2 by location.
    pub footprint: Footprint,
    /// Scope 2 by the market.
    pub market: Market,
    /// What must be said of factors that are missing.
    pub issues: Vec<Issue>,
    /// Millimetres of web run on all presses; `None` where nobody counts it.
    pub web: Option<i64>,
}

impl YearFacts {
    /// Adds up the days of a year; `None` where nothing is known of it.
    pub fn of(
        plant: &Plant,
        sets: &[FactorSet],
        instruments: &[Instrument],
        days: &[DaySums],
        estimated: Energy,
    ) -> Option<Self> {
        use chrono::Datelike;
        let with = known(days);
        let (first, last) = (with.first()?.date, with.last()?.date);
        let used = || with.iter().flat_map(|day| day.used(plant.zone));
        let footprint = carbon::of(plant, sets, used());
        let year = first.year();
        // Certificates are of a year as a whole, also where its end is not known yet.
        let all = NaiveDate::from_ymd_opt(year, 1, 1).zip(NaiveDate::from_ymd_opt(year, 12, 31))?;
        let webs: Vec<i64> = with.iter().flat_map(|day| day.web.values().copied()).collect();
        Some(Self {
            year,
            days: (all.1 - all.0).num_days() as usize + 1,
            whole: with.iter().filter(|day| day.whole).count(),
            span: (first, last),
            energy: with.iter().map(DaySums::energy).sum(),
            estimated,
            footprint: footprint.value,
            market: carbon::market(plant, sets, instruments, all, used()),
            issues: footprint.issues,
            web: (!webs.is_empty()).then(|| webs.iter().sum()),
        })
    }

    /// A figure in millionths of its dimension; `None` where it is not known.
    pub fn value(&self, datum: Datum) -> Option<i64> {
        match datum {
            Datum::Electricity => Some(self.energy.mwh()),
            Datum::Location => self.location().map(Co2e::mg),
            Datum::Market => self.by_market().map(Co2e::mg),
            Datum::Gas(gas) => {
                let of = |line: &carbon::SetLine| line.gases.iter().find(|(g, _)| *g == gas).map(|(_, co2e)| *co2e);
                self.location()?;
                self.footprint.sets.iter().map(of).sum::<Option<Co2e>>().map(Co2e::mg)
            }
            Datum::Beside(what) => {
                self.location()?;
                self.footprint.beside(what).map(Co2e::mg)
            }
            Datum::Category3 => [Beside::Losses, Beside::Supply, Beside::SupplyOfLosses]
                .into_iter()
                .map(|what| self.value(Datum::Beside(what)))
                .sum(),
            Datum::Covered => Some(self.market.covered().mwh()),
            Datum::CoveredShare => share(self.market.covered(), self.energy),
            Datum::BundledShare(bundled) => {
                let of =
                    |line: &&MarketLine| matches!(&line.by, Supplied::Instrument(one) if one.bundled == Some(bundled));
                share(self.market.lines.iter().filter(of).map(|line| line.energy).sum(), self.energy)
            }
            Datum::ElectricityPerWeb => self.per_web(self.energy.mwh()),
            Datum::LocationPerWeb => self.per_web(self.location()?.mg()),
            Datum::MarketPerWeb => self.per_web(self.by_market()?.mg()),
        }
    }

    /// A total that leaves out energy without a factor is no total of the year.
    fn location(&self) -> Option<Co2e> {
        (self.footprint.without == Energy::ZERO).then(|| self.footprint.co2e())
    }

    fn by_market(&self) -> Option<Co2e> {
        (self.market.without == Energy::ZERO).then(|| self.market.co2e())
    }

    /// For 1,000 m of web, in millionths.
    fn per_web(&self, count: i64) -> Option<i64> {
        // A million millimetres are 1,000 m.
        per(count, 1, self.web?)
    }

    /// Of which gases a figure is; empty for what is no carbon.
    pub fn gases(&self, datum: Datum) -> &'static str {
        let co2_only = match datum {
            Datum::Market | Datum::MarketPerWeb => self.market.co2_only(),
            Datum::Location | Datum::LocationPerWeb | Datum::Gas(_) | Datum::Beside(_) | Datum::Category3 => {
                self.footprint.co2_only()
            }
            _ => return "",
        };
        if co2_only { "CO2" } else { "CO2e" }
    }

    /// Part of the year's days that are known whole, in millionths of a per cent.
    pub fn coverage(&self) -> Option<i64> {
        parts(self.whole as i64, self.days as i64)
    }

    /// Part of the energy that is estimated.
    pub fn estimated_share(&self) -> Option<i64> {
        share(self.estimated, self.energy)
    }
}

fn share(part: Energy, whole: Energy) -> Option<i64> {
    parts(part.mwh(), whole.mwh())
}

/// A part in millionths of a per cent.
fn parts(part: i64, whole: i64) -> Option<i64> {
    let share = || divide_rounded(i128::from(part) * 100_000_000, i128::from(whole));
    (whole > 0).then(share).and_then(|share| i64::try_from(share).ok())
}
