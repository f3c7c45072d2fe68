//! What a year adds up to.

use super::Totals;
use crate::attribute::DaySums;
use crate::carbon::{self, Beside, FactorSet, Footprint, Gas, Market, MarketLine, SetLine, Status, Supplied};
use crate::found::Issue;
use crate::plant::Plant;
use crate::readings::Instrument;
use crate::report::input::known;
use crate::units::{Co2e, Energy};
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

    /// What its figures are made of.
    pub fn totals(&self) -> Totals {
        // A total that leaves out energy without a factor is no total of the year.
        let is_complete = self.footprint.without == Energy::ZERO;
        let gas = |gas: Gas| {
            let of = |line: &SetLine| line.gases.iter().find(|(other, _)| *other == gas).map(|(_, co2e)| *co2e);
            self.footprint.sets.iter().map(of).sum::<Option<Co2e>>().filter(|_| is_complete).map(Co2e::mg)
        };
        let beside = |what: Beside| self.footprint.beside(what).filter(|_| is_complete).map(Co2e::mg);
        let bundled = |bundled: bool| -> i64 {
            let of = |line: &&MarketLine| matches!(&line.by, Supplied::Instrument(one) if one.bundled == Some(bundled));
            self.market.lines.iter().filter(of).map(|line| line.energy.mwh()).sum()
        };
        Totals {
            days: self.days as i64,
            whole: self.whole as i64,
            energy: self.energy.mwh(),
            estimated: self.estimated.mwh(),
            location: is_complete.then(|| self.footprint.co2e().mg()),
            market: (self.market.without == Energy::ZERO).then(|| self.market.co2e().mg()),
            gases: Gas::ALL.map(|one| (one.word().to_owned(), gas(one))).into(),
            beside: Beside::ALL.map(|what| (what.word().to_owned(), beside(what))).into(),
            covered: self.market.covered().mwh(),
            bundled: bundled(true),
            unbundled: bundled(false),
            web: self.web,
            location_co2_only: self.footprint.co2_only(),
            market_co2_only: self.market.co2_only(),
            provisional: self.footprint.status() == Status::Provisional,
        }
    }
}
