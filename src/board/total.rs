//! What the plant draws right now, each watt counted once: the draw of every topmost meter that gives one. What lies
//! below such a meter is in its draw already.

use crate::agent::Now;
use crate::board::present::{short, tenths, watts};
use crate::names::MeterId;
use crate::plant::{Flow, Meter};
use crate::readings::{Quantity, Series, Subject};
use crate::time::At;
use crate::units::counted;
use serde::Serialize;
use std::collections::BTreeSet;

/// The draw of the plant in kilowatts and how it came about.
#[derive(Debug, PartialEq, Serialize)]
pub(super) struct Total {
    pub(super) draw: String,
    pub(super) note: String,
}

/// Meters named in the note; more than these are counted.
const NAMED: usize = 6;

/// The draw now; `None` where no meter gives one. A meter that should give one and does not leaves it unknown.
pub(super) fn total(now: &Now, silent: &BTreeSet<MeterId>, at: At) -> Option<Total> {
    let (summed, missing) = parts(now, silent, at);
    let named = |meters: &[&Meter]| match meters.len() {
        ..=NAMED => meters.iter().map(|meter| short(&meter.name)).collect::<Vec<_>>().join(", "),
        many => format!("{}, none of them below another", counted(many, "meter")),
    };
    if !missing.is_empty() {
        return Some(Total { draw: "–".into(), note: format!("no value now from {}", named(&missing)) });
    }
    let watts: f64 = summed.iter().map(|(_, watts)| watts).sum();
    let meters: Vec<&Meter> = summed.iter().map(|(meter, _)| *meter).collect();
    let note = match meters.as_slice() {
        [] => return None,
        [only] => format!("by {}", short(&only.name)),
        several => format!("sum of {}; what has no meter is not in it", named(several)),
    };
    Some(Total { draw: tenths(watts / 1e3), note })
}

/// The draw now in watts; `None` unless every meter that should give it does.
pub(super) fn summed(now: &Now, silent: &BTreeSet<MeterId>, at: At) -> Option<f64> {
    let (summed, missing) = parts(now, silent, at);
    (missing.is_empty() && !summed.is_empty()).then(|| summed.iter().map(|(_, watts)| watts).sum())
}

/// Meters with their draw, and those that should give one and do not.
fn parts<'a>(now: &'a Now, silent: &BTreeSet<MeterId>, at: At) -> (Vec<(&'a Meter, f64)>, Vec<&'a Meter>) {
    let (mut summed, mut missing) = (Vec::new(), Vec::new());
    let tops = now.plant.meters.iter().filter(|meter| meter.below.is_none());
    tops.for_each(|top| gather(now, silent, at, top, &mut summed, &mut missing));
    (summed, missing)
}

/// A meter's draw, or else that of the meters below it; what it delivers into the plant or out of it is no draw.
fn gather<'a>(
    now: &'a Now,
    silent: &BTreeSet<MeterId>,
    at: At,
    meter: &'a Meter,
    summed: &mut Vec<(&'a Meter, f64)>,
    missing: &mut Vec<&'a Meter>,
) {
    if meter.flow != Flow::Import {
        return;
    }
    let power = Series::new(Subject::Meter(meter.id.clone()), Quantity::Power);
    match watts(now, meter, at) {
        Some(watts) => summed.push((meter, watts)),
        None if now.latest.contains_key(&power) || silent.contains(&meter.id) => missing.push(meter),
        None => now.plant.below(&meter.id).for_each(|below| gather(now, silent, at, below, summed, missing)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agent::Live;
    use crate::config;
    use crate::readings::Reading;
    use tempfile::TempDir;

    const NOON: At = At(1_780_000_000_000);

    /// The example plant: a supply meter that is a file, below it the mains of two presses and a fan.
    fn example() -> Live {
        let folder = TempDir::new().expect("a folder");
        std::fs::create_dir(folder.path().join("config")).expect("a folder");
        std::fs::write(folder.path().join("config/plant.toml"), config::EXAMPLE).expect("written");
        Live::of(config::load(folder.path()).expect("a configuration").plant)
    }

    fn draws(live: &Live, meter: &str, at: At, kilowatts: i64) {
        let plant = live.now().plant;
        let device = plant.meter(&meter.into()).and_then(|meter| meter.device.at(at)).expect("a device").clone();
        let milliwatts = kilowatts as f64 * 1e6 / (device.mw_per_count.to_f64() * device.transformers.to_f64());
        let series = Series::new(Subject::Meter(meter.into()), Quantity::Power);
        live.committed(at, &[(series, Reading { at, count: milliwatts.round() as i64 })], &[]);
    }

    fn told(live: &Live, silent: &[&str]) -> Option<(String, String)> {
        let silent = silent.iter().map(|meter| MeterId::from(*meter)).collect();
        total(&live.now(), &silent, NOON).map(|total| (total.draw, total.note))
    }

    #[test]
    fn what_lies_below_a_meter_that_gives_its_draw_is_not_added_to_it() {
        let live = example();
        assert_eq!(told(&live, &[]), None);
        for (meter, kilowatts) in [("p1-main", 30), ("p1-s1", 5), ("p2-main", 12), ("fan", 3)] {
            draws(&live, meter, NOON, kilowatts);
        }
        let note = |id: &str| live.now().plant.meter(&id.into()).expect("a meter").name.clone();
        let (draw, sum) = told(&live, &[]).expect("a total");
        assert_eq!(draw, "45.0");
        assert_eq!(
            sum,
            format!("sum of {}, {}, {}; what has no meter is not in it", note("fan"), note("p1-main"), note("p2-main"))
        );
        draws(&live, "supply", NOON, 50);
        assert_eq!(told(&live, &[]), Some(("50.0".into(), format!("by {}", note("supply")))));
    }

    #[test]
    fn the_draw_is_not_known_while_a_meter_that_should_give_it_is_silent() {
        let live = example();
        draws(&live, "p1-s1", NOON, 5);
        let name = live.now().plant.meter(&"p1-main".into()).expect("a meter").name.clone();
        let unknown = Some(("–".to_owned(), format!("no value now from {name}")));
        assert_eq!(told(&live, &["p1-main"]), unknown);
        draws(&live, "p1-main", NOON - 600_000, 30);
        assert_eq!(told(&live, &[]), unknown);
    }
}
