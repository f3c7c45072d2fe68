//! A bill shared out to those who used the energy. The shares of every line add up to it exactly.
//!
//! Energy goes by what each used in the hours of the band, and a levy on energy by what each used in its hours. Demand and
//! what exceeds the agreed capacity go by what each drew in the highest interval, whatever made the demand billed higher.
//! Standing charges, agreed capacity and reactive energy go by energy on the days of the tariff. Discounts, taxes and
//! rounding go by what the lines above them come to. What nobody used stays with nobody.

use super::clock::within;
use super::invoice::{Element, Invoice, InvoiceLine};
use super::{Levied, Tariff};
use crate::attribute::by_quarter;
use crate::plant::Plant;
use crate::time::{At, Period};
use crate::units::{Energy, Money};
use std::collections::BTreeMap;

/// Energy that one of several used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Used {
    /// When.
    pub period: Period,
    /// How much.
    pub energy: Energy,
    /// Who, by place among them; [`None`] for nobody.
    pub who: Option<usize>,
}

/// What each used, to share lines by: a weight for everyone, nobody last.
struct Weights {
    tariff: BTreeMap<usize, Vec<i128>>,
    band: BTreeMap<(usize, usize), Vec<i128>>,
    levy: BTreeMap<(usize, usize), Vec<i128>>,
}

/// The costs of every line of a bill to each of `count` and, last, to nobody; `None` for a line that is not known.
pub fn shares(
    invoice: &Invoice,
    plant: &Plant,
    tariffs: &[Tariff],
    parts: &[Used],
    count: usize,
) -> Vec<Option<Vec<Money>>> {
    let weights = Weights::of(invoice, plant, tariffs, parts, count);
    let mut shared: Vec<Option<Vec<Money>>> = Vec::new();
    for (place, line) in invoice.lines.iter().enumerate() {
        let by = match line.element {
            Element::Energy { tariff, band } => weights.band.get(&(tariff, band)).cloned().unwrap_or_default(),
            Element::Levy { tariff, levy } => weights.levy.get(&(tariff, levy)).cloned().unwrap_or_default(),
            Element::Demand(Some(peak)) | Element::Rebilled(peak) | Element::Excess(Some(peak)) => {
                within_peak(parts, peak, count)
            }
            Element::OnLines | Element::Rounding => above(&invoice.lines[..place], &shared, line, count),
            Element::Standing
            | Element::Capacity
            | Element::Reactive
            | Element::Demand(None)
            | Element::Excess(None) => weights.of_name(tariffs, &line.tariff, count),
        };
        shared.push(line.cost.map(|cost| dealt(cost, &by, count)));
    }
    shared
}

/// A cost dealt out by weights; where nobody has any it is nobody's.
fn dealt(cost: Money, weights: &[i128], count: usize) -> Vec<Money> {
    let nobody = || {
        let mut all = vec![Money::ZERO; count + 1];
        all[count] = cost;
        all
    };
    cost.split(weights).unwrap_or_else(nobody)
}

/// What the lines above of the same tariff come to for each.
fn above(lines: &[InvoiceLine], shared: &[Option<Vec<Money>>], line: &InvoiceLine, count: usize) -> Vec<i128> {
    let mut sums = vec![0; count + 1];
    let same = lines.iter().zip(shared).filter(|(other, _)| other.tariff == line.tariff);
    for shares in same.filter_map(|(_, shares)| shares.as_ref()) {
        sums.iter_mut().zip(shares).for_each(|(sum, share)| *sum += i128::from(share.micros()));
    }
    sums
}

/// What each drew in an interval; of what reaches beyond it the part inside.
fn within_peak(parts: &[Used], peak: Period, count: usize) -> Vec<i128> {
    let mut sums = vec![0; count + 1];
    for part in parts {
        let Some(inside) = part.period.overlap(peak) else { continue };
        let share =
            i128::from(part.energy.mwh()) * i128::from(inside.millis()) / i128::from(part.period.millis().max(1));
        sums[part.who.unwrap_or(count)] += share;
    }
    sums
}

impl Weights {
    fn of(invoice: &Invoice, plant: &Plant, tariffs: &[Tariff], parts: &[Used], count: usize) -> Self {
        let mut weights = Self { tariff: BTreeMap::new(), band: BTreeMap::new(), levy: BTreeMap::new() };
        let days = plant.zone.days(invoice.days.0, invoice.days.1);
        let mut held: BTreeMap<At, (Option<usize>, Vec<usize>)> = BTreeMap::new();
        let none = || vec![0; count + 1];
        for part in parts {
            let who = part.who.unwrap_or(count);
            for (quarter, energy) in by_quarter(part.period, part.energy).filter(|(at, _)| days.contains(*at)) {
                let local = plant.zone.local(quarter).naive_local();
                let Some(tariff) = Tariff::on(tariffs, local.date()) else { continue };
                let (band, levies) = held.entry(quarter).or_insert_with(|| {
                    let of = &tariffs[tariff];
                    let levied = |place: &usize| match &of.terms.levies[*place].on {
                        Levied::Energy { windows, .. } => within(windows, local, &plant.calendar),
                        Levied::Lines(_) => false,
                    };
                    let levies = (0..of.terms.levies.len()).filter(levied).collect();
                    (of.band(local, &plant.calendar), levies)
                });
                let more = i128::from(energy.mwh());
                weights.tariff.entry(tariff).or_insert_with(none)[who] += more;
                if let Some(band) = *band {
                    weights.band.entry((tariff, band)).or_insert_with(none)[who] += more;
                }
                for levy in levies {
                    weights.levy.entry((tariff, *levy)).or_insert_with(none)[who] += more;
                }
            }
        }
        weights
    }

    /// The energy of each on the days of the tariffs of a name.
    fn of_name(&self, tariffs: &[Tariff], name: &str, count: usize) -> Vec<i128> {
        let mut sums = vec![0; count + 1];
        for (_, weights) in self.tariff.iter().filter(|(place, _)| tariffs[**place].name == name) {
            sums.iter_mut().zip(weights).for_each(|(sum, weight)| *sum += weight);
        }
        sums
    }
}
