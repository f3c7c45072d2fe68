//! What the supply of a scope drew in each interval of a day: the material of [`capacity`](super::capacity).

use super::Scope;
use crate::attribute::{Amount, Claim, DayLedger, LampState, Reactive};
use crate::names::MeterId;
use crate::plant::{Covers, Plant};
use crate::time::{At, HOUR, Period, QUARTER};
use crate::units::Energy;
use std::collections::BTreeMap;

/// Longer means say nothing of the apparent power that a supply is agreed for, which is billed by quarter or half hour.
const LONGEST: i64 = HOUR;

/// Where apparent power is taken, the better place first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Supply {
    /// The supplies of the scope's stations, together.
    Stations,
    /// The main of its press, with all that hangs on it.
    Main,
}

impl Supply {
    /// Both places.
    pub const ALL: [Self; 2] = [Self::Stations, Self::Main];

    /// The place in words.
    pub const fn place(self) -> &'static str {
        match self {
            Self::Stations => "converted stations",
            Self::Main => "press main",
        }
    }

    /// The word in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Stations => "stations",
            Self::Main => "press-main",
        }
    }

    /// Its meters; none where a scope does not have it.
    pub fn meters(self, plant: &Plant, scope: &Scope) -> Vec<MeterId> {
        match self {
            Self::Stations if scope.stations.is_empty() => Vec::new(),
            Self::Stations => scope.meters(plant),
            Self::Main => {
                let main = plant.meters.iter().filter(
                    |meter| matches!(&meter.covers, Covers::Press(press) if scope.judged.press() == Some(press)),
                );
                main.map(|meter| meter.id.clone()).collect()
            }
        }
    }
}

/// What a supply drew in an interval of which all is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PowerInterval {
    /// When.
    pub period: Period,
    /// Station-milliseconds of curing in it: what before and after are matched by.
    pub curing: i64,
    /// Active energy of all its meters.
    pub active: Energy,
    /// Reactive energy of all its meters in milli-varhours, inductive above zero, capacitive below.
    pub reactive: Energy,
}

/// The intervals of a day by supply; a supply of which some reactive energy is not read is absent.
pub type Powers = BTreeMap<Supply, Vec<PowerInterval>>;

/// The intervals of a day. They are quarter hours, or the longest native interval of the meters that they rest on.
pub fn powers(plant: &Plant, scope: &Scope, ledger: &DayLedger, reactive: &BTreeMap<MeterId, Reactive>) -> Powers {
    let of = |supply| Some((supply, intervals(plant, scope, ledger, reactive, supply)?));
    Supply::ALL.into_iter().filter_map(of).collect()
}

fn intervals(
    plant: &Plant,
    scope: &Scope,
    ledger: &DayLedger,
    reactive: &BTreeMap<MeterId, Reactive>,
    supply: Supply,
) -> Option<Vec<PowerInterval>> {
    let meters = supply.meters(plant, scope);
    let read: Vec<(&MeterId, &Reactive)> =
        meters.iter().map(|meter| Some((meter, reactive.get(meter)?))).collect::<Option<_>>()?;
    let lamps = scope.meters(plant);
    let native = |meter: &MeterId| plant.meter(meter).map_or(0, |meter| meter.native);
    let step = meters.iter().chain(&lamps).map(native).fold(QUARTER, i64::max);
    if read.is_empty() || scope.stations.is_empty() || step > LONGEST {
        return None;
    }
    let day = plant.zone.day(ledger.date);
    if day.start.0 % step != 0 {
        return None;
    }
    let cuts: Vec<At> = (0..=day.millis() / step).map(|k| day.start + k * step).collect();
    let mut active = vec![Some(Energy::ZERO); cuts.len() - 1];
    let mut sums = active.clone();
    for (meter, reactive) in read {
        add(&mut active, drawn(ledger, meter, reactive, (day.start, step)));
        add(&mut sums, reactive.between(&cuts).into_iter());
    }
    let curing = curing(scope, ledger, supply, (day.start, step));
    let interval = |k: usize| {
        let (active, reactive) = (active[k]?, sums[k]?);
        let curing = curing.get(&(k as i64)).copied().unwrap_or(Some(0))?;
        Some(PowerInterval { period: Period::new(cuts[k], cuts[k + 1]), curing, active, reactive })
    };
    Some((0..active.len()).filter_map(interval).collect())
}

fn add(sums: &mut [Option<Energy>], more: impl Iterator<Item = Option<Energy>>) {
    sums.iter_mut().zip(more).for_each(|(sum, more)| *sum = sum.zip(more).map(|(sum, more)| sum + more));
}

/// The active energy of a meter in each interval; `None` where some of it is not measured.
fn drawn(
    ledger: &DayLedger,
    meter: &MeterId,
    reactive: &Reactive,
    (start, step): (At, i64),
) -> impl Iterator<Item = Option<Energy>> {
    let mut energies: BTreeMap<i64, (Energy, i64)> = BTreeMap::new();
    for usage in ledger.usage.iter().filter(|usage| usage.meter == *meter) {
        let is_measured = usage.amount < Amount::Estimated && reactive.places(usage.placed);
        if let Some(energy) = usage.energy.filter(|_| is_measured) {
            let (sum, known) = energies.entry((usage.period.start - start).div_euclid(step)).or_default();
            *sum += energy;
            *known += usage.period.millis();
        }
    }
    (0..).map(move |k| energies.get(&k).filter(|(_, known)| *known == step).map(|(energy, _)| *energy))
}

/// Station-milliseconds of curing by interval; `None` where the state of a lamp is not known. An interval that is absent
/// saw nothing cure.
fn curing(scope: &Scope, ledger: &DayLedger, supply: Supply, (start, step): (At, i64)) -> BTreeMap<i64, Option<i64>> {
    let mut curing: BTreeMap<i64, Option<i64>> = BTreeMap::new();
    let own = ledger.slices.iter().filter(|slice| slice.owner.claim == Claim::Own);
    for slice in own.filter(|slice| slice.owner.press.is_some() && slice.owner.press.as_ref() == scope.judged.press()) {
        let Some(station) = &slice.owner.station else { continue };
        if supply == Supply::Stations && !scope.stations.contains(station) {
            continue;
        }
        let sum = curing.entry((slice.usage.period.start - start).div_euclid(step)).or_insert(Some(0));
        *sum = match slice.owner.lamp_state {
            Some(LampState::Curing) => sum.map(|sum| sum + slice.usage.period.millis()),
            Some(_) => *sum,
            None => None,
        };
    }
    curing
}
