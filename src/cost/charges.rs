//! The lines that one tariff puts on a bill.

use super::demand::{Billed, highest, milli};
use super::invoice::{Element, InvoiceLine, Unit};
use super::supply::{Supply, Total};
use super::versions::{Part, Piece, pieces};
use super::{Band, BlockSize, Capacity, Demand, Levied, Levy, Measure, Over, Per, Tariff, Wattless};
use crate::time::{HOUR, MINUTE, Month, Period, Zone};
use crate::units::{Decimal, Energy, Money, counted, divide_rounded, fixed};
use chrono::{Datelike, NaiveDate};

/// One tariff in a billing period.
pub struct Charges<'a> {
    /// The supply.
    pub supply: &'a Supply<'a>,
    /// The tariffs of the plant.
    pub tariffs: &'a [Tariff],
    /// The tariff in question, and the days on which it holds.
    pub piece: Piece,
    /// The first and the last day of the whole period.
    pub period: (NaiveDate, NaiveDate),
}

/// How much of something is billed at which price.
struct Sold {
    amount: i64,
    unit: Unit,
    price: Decimal,
    times: Part,
    note: String,
}

const ONCE: Part = Part { num: 1, den: 1 };

impl Charges<'_> {
    /// Its lines, which add up to what it comes to.
    pub fn lines(&self, remarks: &mut Vec<String>) -> Vec<InvoiceLine> {
        let tariff = self.tariff();
        let demands: Vec<Result<Billed, String>> =
            tariff.terms.demands.iter().map(|demand| demand.billed(self.supply, self.period)).collect();
        let mut lines = self.energy(demands.first(), remarks);
        lines.extend(self.standing());
        for (demand, billed) in tariff.terms.demands.iter().zip(demands) {
            lines.extend(self.demand(demand, billed, remarks));
        }
        lines.extend(tariff.terms.capacity.iter().flat_map(|capacity| self.capacity(capacity)));
        lines.extend(tariff.terms.reactive.iter().map(|reactive| self.reactive(reactive, remarks)));
        for (place, levy) in tariff.terms.levies.iter().enumerate() {
            let line = self.levy(place, levy, &lines);
            lines.push(line);
        }
        let before = lines.clone();
        lines.extend(tariff.terms.taxes.iter().map(|tax| self.on_lines(&tax.name, tax.share, &before)));
        lines.extend(self.rounding(&lines));
        lines
    }

    fn tariff(&self) -> &Tariff {
        &self.tariffs[self.piece.tariff]
    }

    fn zone(&self) -> Zone {
        self.supply.plant().zone
    }

    /// A line, rounded where every line is.
    fn line(&self, label: &str, element: Element, sold: Sold) -> InvoiceLine {
        let cost = sold.price.scale(sold.amount, sold.times.num, sold.times.den);
        let rounding = self.tariff().terms.rounding.filter(|rounding| rounding.lines);
        let cost = cost.map(|cost| rounding.map_or(cost, |rounding| rounded(cost, rounding.decimals)));
        let note = if cost.is_none() { "the amount is too large".into() } else { sold.note };
        let (amount, unit, price) = (sold.amount, sold.unit, sold.price);
        let (tariff, label) = (self.tariff().name.clone(), label.into());
        InvoiceLine { tariff, label, element, amount, unit, price, cost: cost.map(Money::from_micros), note }
    }

    /// A line that is not known, and why.
    fn unknown(&self, label: &str, element: Element, unit: Unit, price: Decimal, why: String) -> InvoiceLine {
        let (tariff, label) = (self.tariff().name.clone(), label.into());
        InvoiceLine { tariff, label, element, amount: 0, unit, price, cost: None, note: format!("not known: {why}") }
    }

    fn energy(&self, demand: Option<&Result<Billed, String>>, remarks: &mut Vec<String>) -> Vec<InvoiceLine> {
        let tariff = self.tariff();
        let mut energies = self.supply.by_band(self.piece.days, tariff);
        let without = energies.pop().unwrap_or_default();
        if without != Energy::ZERO {
            remarks.push(format!(
                "{} kWh fall into hours that no band of \"{}\" prices",
                without.rounded(),
                tariff.name
            ));
        }
        let bands = tariff.bands.iter().zip(energies).enumerate().filter(|(_, (_, energy))| *energy != Energy::ZERO);
        bands.flat_map(|(place, (band, energy))| self.band(place, band, energy, demand)).collect()
    }

    /// The lines of a band: one, or one for each of its blocks that is reached.
    fn band(
        &self,
        place: usize,
        band: &Band,
        energy: Energy,
        demand: Option<&Result<Billed, String>>,
    ) -> Vec<InvoiceLine> {
        let element = Element::Energy { tariff: self.piece.tariff, band: place };
        let Some(mut left) = self.with_losses(energy) else {
            return vec![self.unknown(&band.name, element, Unit::Kwh, band.price, "the amount is too large".into())];
        };
        let note = || self.tariff().terms.loss_multiplier.map_or(String::new(), |by| format!("with losses, x {by}"));
        let sold = |amount, price| Sold { amount, unit: Unit::Kwh, price, times: ONCE, note: note() };
        let (mut lines, months) = (Vec::new(), self.piece.months);
        for block in &band.blocks {
            let size = match (block.size, demand) {
                (BlockSize::Kwh(kwh), _) => kwh.scale(1_000_000, months.num, months.den),
                (BlockSize::Hours(hours), Some(Ok(billed))) => hours.scale(billed.milli, months.num, months.den),
                (BlockSize::Hours(_), _) => None,
            };
            let Some(size) = size else {
                let why = "the demand is not known that says how large its blocks are".to_owned();
                return vec![self.unknown(&band.name, element, Unit::Kwh, band.price, why)];
            };
            let part = left.min(size);
            left -= part;
            let label = match block.size {
                BlockSize::Kwh(kwh) => format!("{}, first {kwh} kWh", band.name),
                BlockSize::Hours(hours) => format!("{}, first {hours} h of the demand", band.name),
            };
            lines.extend((part > 0).then(|| self.line(&label, element, sold(part, block.price))));
        }
        if left != 0 {
            let label = if band.blocks.is_empty() { band.name.clone() } else { format!("{}, beyond", band.name) };
            lines.push(self.line(&label, element, sold(left, band.price)));
        }
        lines
    }

    fn with_losses(&self, energy: Energy) -> Option<i64> {
        self.tariff().terms.loss_multiplier.map_or(Some(energy.mwh()), |by| by.scale(energy.mwh(), 1, 1))
    }

    fn days(&self) -> i64 {
        (self.piece.days.1 - self.piece.days.0).num_days() + 1
    }

    fn standing(&self) -> Vec<InvoiceLine> {
        let (tariff, months) = (self.tariff(), self.piece.months);
        let (amount, unit, price) = (self.days() * 1_000_000, Unit::Days, tariff.standing_per_day);
        let daily = Sold { amount, unit, price, times: ONCE, note: String::new() };
        let daily = (price.fraction().0 != 0).then_some(daily);
        let monthly = tariff.terms.standing_per_month.map(|price| {
            let (amount, unit) = (1_000_000, Unit::Months);
            Sold { amount, unit, price, times: months, note: part(months, "month") }
        });
        let sold = daily.into_iter().chain(monthly);
        sold.map(|sold| self.line("standing charge", Element::Standing, sold)).collect()
    }

    /// How often a price for a time is charged, and that in words.
    fn times(&self, per: Per) -> (Part, String) {
        let months = self.piece.months;
        match per {
            Per::Day => (Part { num: self.days().into(), den: 1 }, format!("{} days", self.days())),
            Per::Month => (months, part(months, "month")),
            Per::Year => {
                let years = Part { num: months.num, den: months.den * 12 };
                (years, part(years, "year"))
            }
        }
    }

    fn demand(&self, demand: &Demand, billed: Result<Billed, String>, remarks: &mut Vec<String>) -> Vec<InvoiceLine> {
        let unit = unit(demand.unit);
        let billed = match billed {
            Ok(billed) => billed,
            Err(why) => return vec![self.unknown(&demand.name, Element::Demand(None), unit, demand.price, why)],
        };
        if billed.unknown_months > 0 {
            remarks.push(format!(
                "{}: the peaks of {} before are not known and may make it higher",
                demand.name,
                counted(billed.unknown_months, "month")
            ));
        }
        let (times, told) = self.times(demand.per);
        let own = format!(
            "highest {} min {} {} at {}",
            demand.interval / MINUTE,
            fixed(billed.own.milli.into(), 6, 2),
            demand.unit.word(),
            self.stamp(billed.own.period)
        );
        let note = [vec![own], billed.because.clone(), vec![told]].concat();
        let note = note.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(", ");
        let sold = Sold { amount: billed.milli, unit, price: demand.price, times, note };
        let line = self.line(&demand.name, Element::Demand(Some(billed.own.period)), sold);
        std::iter::once(line).chain(self.rebilled(demand, &billed)).collect()
    }

    /// What a higher peak adds to the months of the year before, each at its own price.
    fn rebilled(&self, demand: &Demand, billed: &Billed) -> Option<InvoiceLine> {
        let is_last = self.piece.days.1 == self.period.1;
        if demand.over != (Over::Year { rebilled: true }) || !is_last {
            return None;
        }
        let first = self.period.0;
        let more = billed.milli - demand.before(self.supply, first)?;
        let (known, _) = self.supply.days()?;
        let from = NaiveDate::from_ymd_opt(first.year(), 1, 1)?.max(Month::of(known).first());
        let held = pieces(self.tariffs, &self.supply.plant().currency, from, first.pred_opt()?).ok()?;
        let yearly = |piece: &Piece| {
            let demands = &self.tariffs[piece.tariff].terms.demands;
            let same = demands.iter().find(|other| other.name == demand.name && other.over == demand.over)?;
            Some((same.price, piece.months, if same.per == Per::Year { 12 } else { 1 }))
        };
        let mut cost = 0;
        for (price, months, by) in held.iter().filter_map(yearly) {
            cost += price.scale(more, months.num, months.den * by)?;
        }
        if more <= 0 || cost == 0 {
            return None;
        }
        let label = format!("{}, months before", demand.name);
        let note = format!("the peak of the year rose: billed again from {from} on");
        let sold = Sold { amount: more, unit: unit(demand.unit), price: demand.price, times: ONCE, note };
        let mut line = self.line(&label, Element::Rebilled(billed.own.period), sold);
        let rounding = self.tariff().terms.rounding.filter(|rounding| rounding.lines);
        line.cost = Some(Money::from_micros(rounding.map_or(cost, |rounding| rounded(cost, rounding.decimals))));
        Some(line)
    }

    fn capacity(&self, capacity: &Capacity) -> Vec<InvoiceLine> {
        let (unit, (times, told)) = (unit(capacity.unit), self.times(capacity.per));
        let Some(agreed) = milli(capacity.agreed) else { return Vec::new() };
        let sold = Sold { amount: agreed, unit, price: capacity.price, times, note: told.clone() };
        let line = self.line("agreed capacity", Element::Capacity, sold);
        let label = "beyond the agreed capacity";
        let beyond = match highest(self.supply, self.period, capacity.unit, capacity.interval, &[]) {
            Err(why) => Some(self.unknown(label, Element::Excess(None), unit, capacity.excess_price, why)),
            Ok(top) if top.milli > agreed => {
                let note = [
                    format!(
                        "highest {} {} at {}",
                        fixed(top.milli.into(), 6, 3),
                        capacity.unit.word(),
                        self.stamp(top.period)
                    ),
                    told,
                ];
                let note = note.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(", ");
                let sold = Sold { amount: top.milli - agreed, unit, price: capacity.excess_price, times, note };
                Some(self.line(label, Element::Excess(Some(top.period)), sold))
            }
            Ok(_) => None,
        };
        std::iter::once(line).chain(beyond).collect()
    }

    fn reactive(&self, charge: &Wattless, remarks: &mut Vec<String>) -> InvoiceLine {
        let days = self.piece.days;
        let unknown = |why: &str| self.unknown(&charge.name, Element::Reactive, Unit::Kvarh, charge.price, why.into());
        let missing = self.supply.without_reactive(days.0, days.1);
        if missing > 0 && self.supply.of(days.0, days.1).iter().all(|(_, interval)| interval.lag.is_none()) {
            return unknown("reactive energy is not read");
        }
        if missing > 0 {
            let hours = fixed(divide_rounded(i128::from(missing) * 10, i128::from(HOUR)), 1, 1);
            remarks.push(format!("{}: reactive energy of {hours} h is not known and not in it", charge.name));
        }
        if charge.larger && !self.supply.has_lead() {
            remarks.push(format!("{}: capacitive energy is not read, the inductive counts alone", charge.name));
        }
        // In parts of a milli-varhour, so that nothing is rounded before the sum.
        let (share, ten) = charge.free.fraction();
        let beyond = |total: &Total| -> i128 {
            let reactive = i128::from(total.reactive(charge.larger).mwh());
            (reactive * ten - i128::from(total.energy.mwh().max(0)) * share).max(0)
        };
        let (amount, note) = match charge.interval {
            Some(interval) if self.supply.step() > interval => {
                return unknown(&format!(
                    "the meter shows intervals of {} minutes, the tariff asks for {}",
                    self.supply.step() / MINUTE,
                    interval / MINUTE
                ));
            }
            Some(interval) => {
                let sums = self.supply.sums(days, interval, &charge.windows, true);
                let amount: i128 = sums.iter().map(|(_, total)| beyond(total)).sum();
                (amount, format!("beyond {} kvarh a kWh in each {} min", charge.free, interval / MINUTE))
            }
            None => {
                let total = self.supply.total(days, &charge.windows);
                let all = fixed(total.reactive(charge.larger).mwh().into(), 6, 0);
                (beyond(&total), format!("of {all} kvarh, beyond {} a kWh", charge.free))
            }
        };
        let amount = divide_rounded(amount, ten) as i64;
        let sold = Sold { amount, unit: Unit::Kvarh, price: charge.price, times: ONCE, note };
        self.line(&charge.name, Element::Reactive, sold)
    }

    fn levy(&self, place: usize, levy: &Levy, lines: &[InvoiceLine]) -> InvoiceLine {
        match &levy.on {
            Levied::Lines(share) => self.on_lines(&levy.name, *share, lines),
            Levied::Energy { price, windows, with_losses } => {
                let element = Element::Levy { tariff: self.piece.tariff, levy: place };
                let energy = self.supply.total(self.piece.days, windows).energy;
                let amount = if *with_losses { self.with_losses(energy) } else { Some(energy.mwh()) };
                match amount {
                    None => self.unknown(&levy.name, element, Unit::Kwh, *price, "the amount is too large".into()),
                    Some(amount) => {
                        let sold = Sold { amount, unit: Unit::Kwh, price: *price, times: ONCE, note: String::new() };
                        self.line(&levy.name, element, sold)
                    }
                }
            }
        }
    }

    /// A share of the lines above.
    fn on_lines(&self, label: &str, share: Decimal, lines: &[InvoiceLine]) -> InvoiceLine {
        let costs: Option<Vec<Money>> = lines.iter().map(|line| line.cost).collect();
        match costs {
            None => self.unknown(label, Element::OnLines, Unit::Money, share, "a line above it is not known".into()),
            Some(costs) => {
                let amount = costs.iter().sum::<Money>().micros();
                let sold = Sold { amount, unit: Unit::Money, price: share, times: ONCE, note: String::new() };
                self.line(label, Element::OnLines, sold)
            }
        }
    }

    fn rounding(&self, lines: &[InvoiceLine]) -> Option<InvoiceLine> {
        let rounding = self.tariff().terms.rounding.filter(|rounding| !rounding.lines)?;
        let sum = lines.iter().map(|line| line.cost).sum::<Option<Money>>()?.micros();
        let amount = rounded(sum, rounding.decimals) - sum;
        let (price, note) = (Decimal::whole(1), String::new());
        (amount != 0).then(|| {
            self.line("rounding", Element::Rounding, Sold { amount, unit: Unit::Money, price, times: ONCE, note })
        })
    }

    fn stamp(&self, period: Period) -> String {
        self.zone().local(period.start).format("%Y-%m-%d %H:%M").to_string()
    }
}

/// Millionths rounded to so many decimals.
fn rounded(micros: i64, decimals: u32) -> i64 {
    let step = 10_i128.pow(6 - decimals.min(6));
    (divide_rounded(micros.into(), step) * step) as i64
}

const fn unit(load: Measure) -> Unit {
    match load {
        Measure::Kw => Unit::Kw,
        Measure::Kva => Unit::Kva,
    }
}

/// A part of a month or year in words; nothing where it is a whole one.
fn part(part: Part, of: &str) -> String {
    let Part { num, den } = part.reduced();
    match (num, den) {
        (1, 1) => String::new(),
        (num, 1) => format!("{num} {of}s"),
        (num, den) => format!("{num}/{den} of a {of}"),
    }
}
