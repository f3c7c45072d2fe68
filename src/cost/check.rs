//! A bill of the supplier held against what the fiscal meter shows and what the tariffs give, with what may lie behind a
//! difference.

use super::demand::highest;
use super::invoice::invoice;
use super::supply::{Interval, Supply};
use super::{Demand, Measure, Tariff};
use crate::readings::SupplierBill;
use crate::time::{HOUR, MINUTE, QUARTER};
use crate::units::{Decimal, Energy, divide_rounded, fixed};
use chrono::{Days, NaiveDate};

/// From here on a figure differs, in millionths of ours. A rule of this project.
const DIFFERS: i128 = 5_000;
/// Within this a cause explains a figure, in millionths. A rule of this project.
const FITS: i128 = 1_000;
/// So many days a period may be shifted.
pub const SHIFTED: u64 = 3;
/// Losses between a meter and the point to which prices refer, in millionths; common practice, no source.
const LOSSES: std::ops::RangeInclusive<i128> = 1_005_000..=1_080_000;
/// Rated primary currents of transformers but for the power of ten (IEC 61869-2): ratios of two of them are what a wrong
/// transformer or multiplier makes of a figure, two phases for three (50 for 75) among them.
const PRIMARIES: [i128; 10] = [100, 125, 150, 200, 250, 300, 400, 500, 600, 750];

/// What is compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Compared {
    /// Energy in kWh.
    Energy,
    /// The highest mean.
    Peak(Measure),
    /// What is to be paid.
    Amount,
}

/// A figure of a bill beside our own, both in millionths of their unit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Comparison {
    /// What it is.
    pub what: Compared,
    /// As billed.
    pub billed: i64,
    /// As metered or reckoned; `None` where it is not known.
    pub ours: Option<i64>,
    /// Whether it differs by more than half a per cent.
    pub differs: bool,
    /// What may lie behind the difference, or why ours is not known.
    pub causes: Vec<String>,
}

/// A bill and the ground that it is checked on.
struct Ground<'a> {
    bill: &'a SupplierBill,
    all: &'a [SupplierBill],
    supply: &'a Supply<'a>,
    tariffs: &'a [Tariff],
}

/// Compares a bill. `all` are the bills on file; the supply should reach [`SHIFTED`] days beyond the bill, and back as far as
/// the tariffs look.
pub fn check(bill: &SupplierBill, all: &[SupplierBill], supply: &Supply, tariffs: &[Tariff]) -> Vec<Comparison> {
    let ground = Ground { bill, all, supply, tariffs };
    let peaks = [(Measure::Kw, bill.peak_kw), (Measure::Kva, bill.peak_kva)];
    let peaks = peaks.into_iter().filter_map(|(unit, billed)| Some(ground.peak(unit, billed?)));
    std::iter::once(ground.energy()).chain(peaks).chain([ground.amount()]).collect()
}

/// Bills that bill a day of this one again.
pub fn again<'a>(bill: &SupplierBill, all: &'a [SupplierBill]) -> Vec<&'a SupplierBill> {
    all.iter().filter(|other| other.id != bill.id && other.from <= bill.to && other.to >= bill.from).collect()
}

impl Ground<'_> {
    const fn days(&self) -> (NaiveDate, NaiveDate) {
        (self.bill.from, self.bill.to)
    }

    fn metered(&self, days: (NaiveDate, NaiveDate)) -> Option<i64> {
        let known = self.supply.of(days.0, days.1).iter().any(|(_, interval)| interval.energy.is_some());
        known.then(|| self.supply.total(days, &[]).energy.mwh())
    }

    fn energy(&self) -> Comparison {
        let billed = self.bill.energy.mwh();
        let Some(ours) = self.metered(self.days()) else {
            return unknown(Compared::Energy, billed, "the meter has no reading in these days".into());
        };
        compared(Compared::Energy, billed, ours, || self.energy_causes(billed, ours))
    }

    fn energy_causes(&self, billed: i64, ours: i64) -> Vec<String> {
        let mut causes = Vec::new();
        let missing = self.supply.unknown(self.bill.from, self.bill.to);
        if missing > 0 {
            let hours = fixed(divide_rounded(i128::from(missing) * 10, i128::from(HOUR)), 1, 1);
            causes.push(format!("readings: those of {hours} h are not known here"));
        }
        if self.bill.estimated {
            causes.push("estimated reading: the bill says so; the next one should make up for it".into());
        }
        causes.extend(self.made_up_for(billed, ours));
        let shifted = |days| self.metered(days).filter(|_| self.supply.unknown(days.0, days.1) == 0);
        causes.extend(self.period(billed, shifted));
        causes.extend(multiplier(billed, ours));
        if causes.is_empty() {
            causes.extend(self.losses(billed, ours));
        }
        causes
    }

    /// The bill before or after makes up for the difference.
    fn made_up_for(&self, billed: i64, ours: i64) -> Option<String> {
        self.all.iter().find_map(|other| {
            let next = other.from.pred_opt() == Some(self.bill.to) || other.to.succ_opt() == Some(self.bill.from);
            let theirs = self.metered((other.from, other.to)).filter(|_| next)?;
            fits(billed + other.energy.mwh(), ours + theirs)
                .then(|| format!("estimated reading: together with bill {} the kWh agree", other.id))
        })
    }

    /// The days by which the figure fits, the least shifted first.
    fn period(&self, billed: i64, of: impl Fn((NaiveDate, NaiveDate)) -> Option<i64>) -> Option<String> {
        let (from, to) = self.days();
        let both = |day: NaiveDate, by: u64| [day.checked_sub_days(Days::new(by)), day.checked_add_days(Days::new(by))];
        let shifts = (1..=SHIFTED).flat_map(|by| {
            let ([before, after], [sooner, later]) = (both(from, by), both(to, by));
            let (first, last) = (Some(from), Some(to));
            [(before, last), (after, last), (first, sooner), (first, later), (before, sooner), (after, later)]
        });
        let mut shifts = shifts.filter_map(|(first, last)| Some((first?, last?))).filter(|(first, last)| first <= last);
        let (first, last) = shifts.find(|days| of(*days).is_some_and(|ours| fits(billed, ours)))?;
        Some(format!("period: it agrees from {first} to {last}"))
    }

    fn losses(&self, billed: i64, ours: i64) -> Option<String> {
        let terms = Tariff::on(self.tariffs, self.bill.to).map(|place| &self.tariffs[place].terms);
        match terms.and_then(|terms| terms.loss_multiplier) {
            Some(by) => by
                .scale(ours, 1, 1)
                .is_some_and(|with| fits(billed, with))
                .then(|| format!("losses: the bill shows kWh with those of the tariff, x {by}")),
            None => {
                let ratio = i128::from(billed) * 1_000_000 / i128::from(ours.max(1));
                LOSSES.contains(&ratio).then(|| {
                    let ratio = fixed(ratio, 6, 4);
                    format!("losses: the bill may add some, x {ratio}; the tariff has no loss_multiplier")
                })
            }
        }
    }

    /// The demand of a unit that the tariff of the last day bills.
    fn demand(&self, unit: Measure) -> Option<&Demand> {
        let tariff = Tariff::on(self.tariffs, self.bill.to)?;
        self.tariffs[tariff].terms.demands.iter().find(|demand| demand.unit == unit)
    }

    fn peak(&self, unit: Measure, billed: i64) -> Comparison {
        let demand = self.demand(unit);
        let (interval, windows) = demand.map_or((QUARTER, &[][..]), |demand| (demand.interval, &demand.windows));
        let of = |days, unit, interval| highest(self.supply, days, unit, interval, windows).map(|top| top.milli);
        let ours = match of(self.days(), unit, interval) {
            Ok(ours) => ours,
            Err(why) => return unknown(Compared::Peak(unit), billed, why),
        };
        compared(Compared::Peak(unit), billed, ours, || {
            let mut causes = Vec::new();
            let as_billed = demand.and_then(|demand| demand.billed(self.supply, self.days()).ok());
            if let Some(demand) = as_billed.filter(|demand| fits(billed, demand.milli) && !demand.because.is_empty()) {
                causes.push(format!(
                    "tariff: it is the demand billed, not the one measured: {}",
                    demand.because.join(", ")
                ));
            }
            let others = [15, 30, 60].map(|minutes| minutes * MINUTE).into_iter().filter(|other| *other != interval);
            let mut others = others.filter(|other| of(self.days(), unit, *other).is_ok_and(|ours| fits(billed, ours)));
            causes.extend(
                others.next().map(|other| format!("interval: it agrees with the highest {} min", other / MINUTE)),
            );
            let other = if unit == Measure::Kw { Measure::Kva } else { Measure::Kw };
            if of(self.days(), other, interval).is_ok_and(|ours| fits(billed, ours)) {
                causes.push(format!("unit: it agrees in {}", other.word()));
            }
            causes.extend(self.period(billed, |days| of(days, unit, interval).ok()));
            causes.extend(multiplier(billed, ours));
            causes
        })
    }

    fn total(&self, supply: &Supply, tariffs: &[Tariff]) -> Result<i64, String> {
        let invoice = invoice(supply, tariffs, self.days()).map_err(|why| why.to_string())?;
        match invoice.lines.iter().find(|line| line.cost.is_none()) {
            Some(line) => Err(format!("{}: {}", line.label, line.note)),
            None => Ok(invoice.total().micros()),
        }
    }

    fn amount(&self) -> Comparison {
        let billed = self.bill.amount.micros();
        if self.metered(self.days()).is_none() {
            return unknown(Compared::Amount, billed, "the meter has no reading in these days".into());
        }
        match self.total(self.supply, self.tariffs) {
            Err(why) => unknown(Compared::Amount, billed, why),
            Ok(ours) => compared(Compared::Amount, billed, ours, || self.amount_causes(billed)),
        }
    }

    fn amount_causes(&self, billed: i64) -> Vec<String> {
        let mut causes = Vec::new();
        let says = |total: Result<i64, String>| total.is_ok_and(|total| fits(billed, total));
        if says(self.total(&self.scaled(), self.tariffs)) {
            causes.push("kWh: at the kWh billed the money agrees".into());
        }
        let held = |day| Tariff::on(self.tariffs, day);
        let changed = held(self.bill.from) != held(self.bill.to);
        for (place, tariff) in self.tariffs.iter().enumerate() {
            let alone = [Tariff { valid_from: NaiveDate::MIN, valid_to: None, ..tariff.clone() }];
            if (changed || held(self.bill.from) != Some(place)) && says(self.total(self.supply, &alone)) {
                let (name, since) = (&tariff.name, tariff.valid_from);
                causes.push(format!("tariff version: it agrees at the prices of \"{name}\" since {since} throughout"));
            }
        }
        let mut untaxed = self.tariffs.to_vec();
        untaxed.iter_mut().for_each(|tariff| tariff.terms.taxes.clear());
        if untaxed != self.tariffs && says(self.total(self.supply, &untaxed)) {
            causes.push("tax: it agrees without".into());
        }
        let energy = self.energy();
        if let Some(ppm) = energy.ppm().filter(|_| energy.differs && causes.is_empty()) {
            causes.push(format!("kWh: they differ as well, by {} %", fixed(ppm.into(), 4, 2)));
        }
        causes
    }

    /// The supply with the energy of the bill, in the proportions of the meter.
    fn scaled(&self) -> Supply<'_> {
        let (billed, ours) = (self.bill.energy.mwh(), self.metered(self.days()).unwrap_or(0).max(1));
        let scale = |energy: Energy| {
            Energy::from_mwh(Decimal::whole(billed).scale(energy.mwh(), 1, ours.into()).unwrap_or(energy.mwh()))
        };
        let every = self.supply.of(self.bill.from, self.bill.to).iter();
        let intervals = every.map(|(_, i)| Interval { energy: i.energy.map(scale), ..*i });
        Supply::new(self.supply.plant(), intervals.collect())
    }
}

fn unknown(what: Compared, billed: i64, why: String) -> Comparison {
    Comparison { what, billed, ours: None, differs: false, causes: vec![why] }
}

fn compared(what: Compared, billed: i64, ours: i64, causes: impl FnOnce() -> Vec<String>) -> Comparison {
    let differs = !within(billed, ours, DIFFERS);
    Comparison { what, billed, ours: Some(ours), differs, causes: if differs { causes() } else { Vec::new() } }
}

fn within(billed: i64, ours: i64, millionths: i128) -> bool {
    (i128::from(billed) - i128::from(ours)).abs() * 1_000_000 <= millionths * i128::from(ours).abs()
}

fn fits(billed: i64, ours: i64) -> bool {
    within(billed, ours, FITS)
}

/// Whether a figure is another by the ratio of two transformers.
fn multiplier(billed: i64, ours: i64) -> Option<String> {
    let tens = [(1, 1), (10, 1), (1, 10), (100, 1), (1, 100)];
    let ratios = tens.into_iter().flat_map(|(up, down)| {
        PRIMARIES.into_iter().flat_map(move |a| PRIMARIES.into_iter().map(move |b| (a * up, b * down)))
    });
    let is_it = |(a, b): &(i128, i128)| {
        let ours = i128::from(ours) * a / b;
        a != b && i64::try_from(ours).is_ok_and(|ours| fits(billed, ours))
    };
    let (a, b) = { ratios }.find(is_it)?;
    Some(format!(
        "meter multiplier: it is {} times what the meter shows, as by another transformer ratio",
        fixed(divide_rounded(a * 10_000, b), 4, 4)
    ))
}

impl Comparison {
    /// Billed less ours over ours, in millionths; `None` where ours is not known or zero.
    pub fn ppm(&self) -> Option<i64> {
        let ours = self.ours.filter(|ours| *ours > 0)?;
        Some(divide_rounded((i128::from(self.billed) - i128::from(ours)) * 1_000_000, ours.into()) as i64)
    }
}
