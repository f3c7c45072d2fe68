//! Unequal boundaries: refused, or made alike by a measured correction that is on file with its uncertainty.

use super::{Reporting, span};
use crate::plant::Meter;
use crate::readings::{Event, Happening};
use crate::units::Energy;
use crate::verify::baseline::{Bounds, Frozen, Refused, measured};
use crate::verify::words::number;
use crate::verify::{Day, Estimate, Whole};
use chrono::NaiveDate;
use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

/// A meter whose energy was made comparable with what it measured in the baseline.
#[derive(Clone, Debug, PartialEq)]
pub struct MadeAlike {
    /// The meter.
    pub meter: String,
    /// What it measured in the baseline.
    pub before: String,
    /// What it measures now.
    pub after: String,
    /// What its energy is multiplied by.
    pub factor: f64,
    /// Half-width of the factor at 90 %.
    pub half_width: f64,
    /// The day on which it was measured.
    pub measured: NaiveDate,
    /// The days to which it applies.
    pub days: BTreeSet<NaiveDate>,
    /// What the meter showed on those of them that count, kWh.
    pub kwh: f64,
    /// Who recorded it, and why.
    pub note: String,
}

impl MadeAlike {
    /// By how much it moves what was drawn, kWh.
    pub fn moved(&self) -> f64 {
        self.kwh * (self.factor - 1.0)
    }

    /// Standard uncertainty of that: the factor errs on every day alike.
    pub fn se(&self) -> f64 {
        Estimate::within(self.factor, self.half_width).times(self.kwh).se
    }

    /// Sums what the meter showed on days that count.
    pub fn count(&mut self, counted: &[&Day]) {
        let days = counted.iter().filter(|day| self.days.contains(&day.date));
        self.kwh = days.map(|day| shown(day, &self.meter).kwh()).sum();
    }

    /// What was done, in a sentence.
    pub fn words(&self) -> String {
        let Self { meter, before, after, factor, half_width, measured, note, .. } = self;
        format!(
            "Meter {meter} measured {before} in the baseline and measures {after} now. Its {} kWh count {factor} times, \
             ± {half_width} at 90 %, as measured on {measured}: {} kWh ({note}).",
            number(self.kwh, 0),
            number(self.moved(), 0)
        )
    }
}

/// The corrections that make the meters of a reporting period comparable with those of the baseline.
///
/// # Errors
/// Other meters; a boundary that differs and of which no measured correction is on file.
pub fn of(frozen: &Frozen, reporting: &Reporting<'_>, days: &[Day]) -> Result<Vec<MadeAlike>, Refused> {
    let now = &reporting.boundary;
    // Another press's meters, or a bill, are no like boundary by their names; that is for whoever chose that kind.
    if frozen.kind.other().is_some() || frozen.boundary.is_empty() {
        now.iter().try_for_each(|(meter, words)| measured(meter, words))?;
        return Ok(Vec::new());
    }
    if !frozen.boundary.keys().eq(now.keys()) {
        let names = |boundary: &BTreeMap<String, String>| boundary.keys().cloned().collect();
        return Err(Refused::Meters { before: names(&frozen.boundary), after: names(now) });
    }
    let mut all = Vec::new();
    for (meter, before) in &frozen.boundary {
        let after = &now[meter];
        let is_alike = before == after || Bounds::parse(before).is_some_and(|old| Some(old) == Bounds::parse(after));
        if !is_alike {
            all.extend(of_meter(meter, (before, after), reporting, days)?);
        }
    }
    Ok(all)
}

/// The corrections of one meter whose boundary is not that of the baseline on every day.
fn of_meter(
    name: &str,
    (before, after): (&str, &str),
    reporting: &Reporting<'_>,
    days: &[Day],
) -> Result<Vec<MadeAlike>, Refused> {
    let zone = reporting.plant.zone;
    let refused = || {
        let (old, new) = (Bounds::parse(before), Bounds::parse(after));
        let apart = old.zip(new).map_or_else(String::new, |(old, new)| old.apart(&new));
        let (meter, before, after) = (name.to_owned(), before.to_owned(), after.to_owned());
        measured(name, &after).err().unwrap_or(Refused::Boundary { meter, before, after, apart })
    };
    let meter = reporting.plant.meters.iter().find(|meter| meter.id.as_str() == name).ok_or_else(refused)?;
    let alike = Bounds::parse(before).ok_or_else(refused)?;
    let on_file: Vec<(Bounds, MadeAlike)> = reporting
        .events
        .iter()
        .filter_map(|event| {
            let ([of, like], factor, half_width) = of_event(event, meter)?;
            let one = MadeAlike {
                meter: name.to_owned(),
                before: before.to_owned(),
                after: of.to_string(),
                factor,
                half_width,
                measured: zone.date(event.at),
                days: BTreeSet::new(),
                kwh: 0.0,
                note: event.note.clone().unwrap_or_default(),
            };
            (like == alike).then_some((of, one))
        })
        .collect();
    if on_file.is_empty() {
        return Err(refused());
    }
    let mut used: BTreeMap<usize, MadeAlike> = BTreeMap::new();
    for day in days.iter().filter(|day| day.aside.is_none()) {
        let bounds = Bounds::of(meter, span(zone, day));
        if bounds == alike {
            continue;
        }
        // Events come in order of time: of several corrections of one boundary the last is the best.
        let place = on_file.iter().rposition(|(of, _)| *of == bounds).ok_or_else(refused)?;
        used.entry(place).or_insert_with(|| on_file[place].1.clone()).days.insert(day.date);
    }
    Ok(used.into_values().collect())
}

/// What an event says of a meter: its boundary then and the one that it is made like, the factor and its half-width.
fn of_event(event: &Event, of: &Meter) -> Option<([Bounds; 2], f64, f64)> {
    match &event.what {
        Happening::BoundaryCorrected { meter, of: then, like, factor_ppm, uncertainty_ppm } if *meter == of.id => Some(
            ([Bounds::parse(then)?, Bounds::parse(like)?], *factor_ppm as f64 / 1e6, *uncertainty_ppm as f64 / 1e6),
        ),
        _ => None,
    }
}

/// The days with their energy as it would have been measured at the boundaries of the baseline. What lamps drew by state
/// follows in proportion.
pub fn comparable<'d>(alike: &[MadeAlike], days: &'d [Day]) -> Cow<'d, [Day]> {
    if alike.is_empty() {
        return Cow::Borrowed(days);
    }
    let made = |day: &Day| {
        let on_day = alike.iter().filter(|one| one.days.contains(&day.date));
        let moved: f64 = on_day.map(|one| shown(day, &one.meter).kwh() * (one.factor - 1.0)).sum();
        let energy = day.energy + Energy::nearest(moved);
        let mut made = Day { energy, ..day.clone() };
        if day.energy != Energy::ZERO {
            let ratio = energy.kwh() / day.energy.kwh();
            made.worked.values_mut().for_each(|worked| worked.energy = Energy::nearest(worked.energy.kwh() * ratio));
        }
        made
    };
    Cow::Owned(days.iter().map(made).collect())
}

/// What a meter showed on a day.
fn shown(day: &Day, meter: &str) -> Energy {
    day.loads.iter().filter(|((id, _, _), _)| id.as_str() == meter).map(|(_, energy)| *energy).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::Load;
    use crate::verify::{DayType, LoadBy};

    /// A day on which m1 showed 10 kWh and m2 30 kWh.
    fn day(date: &str) -> Day {
        let loads = [("m1", 10_000), ("m2", 30_000)]
            .map(|(m, wh)| ((m.into(), Load::From5, LoadBy::Usual), Energy::from_wh(wh)));
        Day {
            date: date.parse().expect("a date"),
            hours: 24.0,
            kind: DayType::Running,
            energy: Energy::from_wh(40_000),
            aside: None,
            worked: BTreeMap::new(),
            on_job_h: None,
            outside_h: None,
            curing: BTreeMap::new(),
            loads: loads.into(),
            powers: BTreeMap::new(),
            drivers: BTreeMap::new(),
        }
    }

    fn made(factor: f64, half_width: f64, days: &[&str]) -> MadeAlike {
        MadeAlike {
            meter: "m1".into(),
            before: "cabinet with blower".into(),
            after: "lamp-supply".into(),
            factor,
            half_width,
            measured: "2026-05-04".parse().expect("a date"),
            days: days.iter().map(|day| day.parse().expect("a date")).collect(),
            kwh: 0.0,
            note: String::new(),
        }
    }

    /// 10 kWh at 1.2 are 12; the other meter and the other day stay.
    #[test]
    fn a_correction_moves_its_own_meter_on_its_own_days() {
        let days = [day("2026-05-01"), day("2026-05-02")];
        let found = comparable(&[made(1.2, 0.1, &["2026-05-02"])], &days);
        assert_eq!(found.iter().map(|day| day.energy.kwh()).collect::<Vec<_>>(), [40.0, 42.0]);
        assert!(matches!(comparable(&[], &days), Cow::Borrowed(_)));
    }

    /// The factor errs alike on both days: 20 kWh x 0.1 / 1.6449 (the half-width of a normal at 90 %).
    #[test]
    fn its_uncertainty_is_that_of_the_factor_on_the_whole_energy() {
        let days = [day("2026-05-01"), day("2026-05-02")];
        let mut one = made(1.2, 0.1, &["2026-05-01", "2026-05-02"]);
        one.count(&days.iter().collect::<Vec<_>>());
        assert!((one.moved() - 4.0).abs() < 1e-12);
        assert!((one.se() - 2.0 / 1.644_853_627).abs() < 1e-6, "{}", one.se());
    }
}
