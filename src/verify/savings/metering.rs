//! What the meters may be wrong by, taken where they really work: an LED draws a few per cent of what the transformers of
//! an arc lamp are sized for, and there their limits are wider, or there are none.

use crate::names::MeterId;
use crate::plant::{Load, Meter, Plant};
use crate::stats::gum;
use crate::units::Energy;
use crate::verify::baseline::Frozen;
use crate::verify::words::listed;
use crate::verify::{Day, LoadBy};
use std::collections::{BTreeMap, BTreeSet};

/// Energy of a meter in one bin of load may move by this share of all and the bins are still alike (own judgement).
const ALIKE: f64 = 0.10;

/// Energy where no limit is stated leaves a meter's uncertainty unstated, unless it is a smaller share of the meter's than
/// this, as the idle draw of an LED (own judgement).
const SMALL: f64 = 0.01;

/// What the meters of a scope may be wrong by.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Metering {
    /// Each meter.
    pub meters: Vec<MeterError>,
    /// Relative standard uncertainty of what was measured before and after, over all meters; `None` where more than a
    /// small part of a meter's energy was measured where no limit is stated.
    pub relative: (Option<f64>, Option<f64>),
    /// Whether the same meters worked in the same bins before and after, so that their errors multiply the saving only.
    pub alike: bool,
}

/// What one meter may be wrong by.
#[derive(Clone, Debug, PartialEq)]
pub struct MeterError {
    /// The meter.
    pub meter: String,
    /// Its class and that of its transformers.
    pub classes: String,
    /// Share of its energy by bin of load, before and after.
    pub loads: (BTreeMap<Load, f64>, BTreeMap<Load, f64>),
    /// Relative standard uncertainty before and after, rectangular limits combined in quadrature.
    pub relative: (Option<f64>, Option<f64>),
    /// What must be known about these figures.
    pub remarks: Vec<String>,
}

/// What the meters of a baseline may be wrong by, from the loads of both periods. Where it rests on another press or
/// station, its meters are those of the time before.
pub fn metering(plant: &Plant, frozen: &Frozen, before: &[Day], after: &[&Day]) -> Metering {
    let other = frozen.kind.other().and_then(|_| frozen.kind.scope(plant, &frozen.scope));
    let ids: BTreeSet<MeterId> =
        [Some(&frozen.scope), other.as_ref()].into_iter().flatten().flat_map(|scope| scope.meters(plant)).collect();
    let counted: Vec<&Day> = before.iter().filter(|day| day.aside.is_none()).collect();
    let mut all = Metering { alike: true, ..Metering::default() };
    let mut weighted = [Some(0.0), Some(0.0)];
    let mut weights = [0.0, 0.0];
    for meter in ids.iter().filter_map(|id| plant.meter(id)) {
        let loads = [loads(meter, &counted), loads(meter, after)];
        let mut remarks = Vec::new();
        let relative = loads.each_ref().map(|loads| relative(meter, loads, &mut remarks));
        let mut told = BTreeSet::new();
        remarks.retain(|remark| told.insert(remark.clone()));
        remarks.extend(found_by(meter, &counted, after));
        for (k, loads) in loads.iter().enumerate() {
            let energy: f64 = loads.values().sum::<f64>();
            // What a meter did not measure it is not wrong about.
            if energy > 0.0 {
                // The error of each is its own; those of several are added as if they were one, which is cautious.
                weighted[k] = weighted[k].zip(relative[k]).map(|(sum, u)| sum + u * energy);
                weights[k] += energy;
            }
        }
        let [before, after] = loads.map(shares);
        let same = Load::ALL.iter().all(|bin| {
            let of = |shares: &BTreeMap<Load, f64>| shares.get(bin).copied().unwrap_or(0.0);
            (of(&before) - of(&after)).abs() <= ALIKE
        });
        all.alike &= same;
        all.meters.push(MeterError {
            meter: meter.id.to_string(),
            classes: classes(meter),
            loads: (before, after),
            relative: (relative[0], relative[1]),
            remarks,
        });
    }
    let overall = |k: usize| weighted[k].filter(|_| weights[k] > 0.0).map(|sum| sum / weights[k]);
    all.relative = (overall(0), overall(1));
    all
}

impl Metering {
    /// Standard uncertainty in kWh of a saving: of the saving itself where the same meters worked alike, else of what
    /// was expected and what was drawn, each by its own (common practice after IPMVP; from memory).
    pub fn standard(&self, expected: f64, actual: f64, saved: f64) -> Option<f64> {
        let (before, after) = (self.relative.0?, self.relative.1?);
        match self.alike {
            true => Some(before.max(after) * saved.abs()),
            false => Some(gum::combined([before * expected, after * actual])),
        }
    }
}

/// Energy of a meter in each bin of load, kWh.
fn loads(meter: &Meter, days: &[&Day]) -> BTreeMap<Load, f64> {
    let mut loads: BTreeMap<Load, f64> = BTreeMap::new();
    for day in days {
        for ((id, load, _), energy) in &day.loads {
            if *id == meter.id && *energy > Energy::ZERO {
                *loads.entry(*load).or_default() += energy.kwh();
            }
        }
    }
    loads
}

/// By what the load of a meter was found, where that is not by its currents throughout; it matters only where a rating is
/// stated.
fn found_by(meter: &Meter, before: &[&Day], after: &[&Day]) -> Option<String> {
    meter.circuit.as_ref()?.rated_ma?;
    let ways: BTreeSet<LoadBy> = before
        .iter()
        .chain(after)
        .flat_map(|day| day.loads.keys().filter(|(id, _, _)| *id == meter.id).map(|(_, _, by)| *by))
        .collect();
    let words: Vec<String> = ways.into_iter().map(|by| by.words().to_owned()).collect();
    (!words.is_empty()).then(|| format!("load by {}", listed(&words)))
}

fn shares(loads: BTreeMap<Load, f64>) -> BTreeMap<Load, f64> {
    let total: f64 = loads.values().sum();
    loads.into_iter().map(|(load, energy)| (load, energy / total)).collect()
}

fn classes(meter: &Meter) -> String {
    let own = meter.class.as_deref().map_or("no class stated".into(), |class| format!("class {class}"));
    match meter.circuit.as_ref().and_then(|circuit| circuit.ct_class.as_deref()) {
        Some(ct) => format!("{own}, transformers class {ct}"),
        None => own,
    }
}

/// The relative standard uncertainty of a meter that measured so much in each bin.
fn relative(meter: &Meter, loads: &BTreeMap<Load, f64>, remarks: &mut Vec<String>) -> Option<f64> {
    let total: f64 = loads.values().sum();
    if total <= 0.0 {
        return None;
    }
    let (mut sum, mut unlimited) = (0.0, 0.0);
    for (load, energy) in loads {
        let limit = crate::plant::limit(meter, *load);
        remarks.extend(limit.remarks);
        match limit.per_cent {
            Some(limits) => sum += gum::combined(limits.map(|limit| gum::rectangular(limit / 100.0))) * energy,
            None => unlimited += energy,
        }
    }
    if unlimited >= SMALL * total {
        return None;
    }
    if unlimited > 0.0 {
        remarks.push(
            "less than 1 % of its energy was measured where no limit is stated: that is taken as wholly unsure".into(),
        );
    }
    Some((sum + gum::rectangular(1.0) * unlimited) / total)
}
