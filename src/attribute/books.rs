//! Everything that is known about a day, from which its slices are written.

use crate::attribute::counting::gap_limit;
use crate::attribute::cuts::{grid, in_order, shifts};
use crate::attribute::timeline::{Timeline, timeline};
use crate::attribute::{Amount, Claim, Curve, DayFold, Owner, Part, Placed, Usage};
use crate::found::Issue;
use crate::names::{MeterId, PressId, StationId};
use crate::plant::{Covers, Meter, Plant};
use crate::readings::Run;
use crate::time::{At, Period};
use std::collections::BTreeMap;

/// A day with the curves of its meters and the timeline of its presses.
pub struct Books<'a> {
    /// The plant.
    pub plant: &'a Plant,
    /// What every meter showed.
    pub curves: BTreeMap<MeterId, Curve>,
    /// What presses and lamps were doing.
    pub timeline: Timeline,
    /// For which part of the day each meter stood there and is looked at.
    spans: BTreeMap<MeterId, Period>,
    shifts: Vec<At>,
}

impl<'a> Books<'a> {
    /// Opens the books of a day, or of the part of it that is looked at: a day that still runs up to `until`.
    pub fn open(plant: &'a Plant, fold: &DayFold, runs: &[Run], span: Period, until: Option<At>) -> (Self, Vec<Issue>) {
        let mut issues = Vec::new();
        let (mut curves, mut spans) = (BTreeMap::new(), BTreeMap::new());
        for meter in &plant.meters {
            let found = fold.meters[&meter.id].curve(span);
            issues.extend(found.issues);
            spans.insert(meter.id.clone(), looked_at(meter, &found.value, span, until));
            curves.insert(meter.id.clone(), found.value);
        }
        let found = timeline(plant, fold, runs, &curves, span);
        issues.extend(found.issues);
        (Self { plant, curves, timeline: found.value, spans, shifts: shifts(plant, span) }, issues)
    }

    /// The part of the day for which a meter is looked at.
    pub fn span(&self, meter: &Meter) -> Period {
        self.spans[&meter.id]
    }

    /// Usage at the longer of quarter hours and native intervals; cut also where the energy ceases to be known.
    pub fn usage(&self, meter: &Meter) -> Vec<Usage> {
        let cuts = in_order(grid(meter, self.span(meter)).into_iter().chain(self.borders_of_holes(meter)));
        self.curves[&meter.id].parts(&cuts).iter().map(|part| usage(meter, part, part.is_known())).collect()
    }

    /// Where the slices of a meter are cut.
    pub fn cuts(&self, meter: &Meter) -> Vec<At> {
        let span = self.span(meter);
        let devices = meter.device.changes(span);
        let mut cuts = grid(meter, span);
        cuts.extend(self.shifts.iter().copied().filter(|at| span.contains(*at)));
        cuts.extend(devices.chain(self.changes(meter)).chain(self.borders_of_holes(meter)));
        in_order(cuts)
    }

    /// Where the owner of a meter's energy changes.
    pub fn changes(&self, meter: &Meter) -> Vec<At> {
        let span = self.span(meter);
        match &meter.covers {
            Covers::Site => Vec::new(),
            Covers::Press(press) => self.press_changes(press, span).collect(),
            Covers::Station(station) => {
                let line = &self.timeline.stations[station];
                let own = line.kind.changes(span).chain(line.state.changes(span));
                let press = self.plant.station(station).map(|(press, _)| self.press_changes(&press.id, span));
                own.chain(press.into_iter().flatten()).collect()
            }
            Covers::Load(load) => {
                let load = self.plant.load(load);
                let served = load.into_iter().flat_map(|load| &load.serves);
                let stations = served.filter_map(|press| self.plant.press(press)).flat_map(|press| &press.stations);
                stations.flat_map(|station| self.timeline.stations[&station.id].kind.changes(span)).collect()
            }
        }
    }

    /// Where a press changes its state or its run.
    pub fn press_changes(&self, press: &PressId, span: Period) -> impl Iterator<Item = At> + '_ {
        let line = &self.timeline.presses[press];
        line.state.changes(span).chain(line.run.changes(span))
    }

    fn borders_of_holes(&self, meter: &Meter) -> impl Iterator<Item = At> + use<> {
        self.curves[&meter.id].holes(self.span(meter)).into_iter().flat_map(|hole| [hole.start, hole.end])
    }

    /// A press at an instant as an owner.
    pub fn press(&self, press: &PressId, at: At, claim: Claim) -> Owner {
        let line = &self.timeline.presses[press];
        Owner {
            press: Some(press.clone()),
            press_state: line.state.at(at).copied().flatten(),
            run: line.run.at(at).cloned().flatten(),
            ..nobody(claim)
        }
    }

    /// A station at an instant as an owner.
    pub fn station(&self, station: &StationId, at: At, claim: Claim) -> Owner {
        let Some((press, _)) = self.plant.station(station) else { return nobody(claim) };
        let line = &self.timeline.stations[station];
        Owner {
            station: Some(station.clone()),
            lamp: line.kind.at(at).copied().flatten(),
            lamp_state: line.state.at(at).copied().flatten(),
            ..self.press(&press.id, at, claim)
        }
    }
}

/// No owner in particular.
pub const fn nobody(claim: Claim) -> Owner {
    Owner { press: None, station: None, lamp: None, press_state: None, lamp_state: None, run: None, claim }
}

/// What a part says, as the usage of a meter.
pub fn usage(meter: &Meter, part: &Part, known: bool) -> Usage {
    let (meter, period) = (meter.id.clone(), part.period);
    match known {
        true => Usage { meter, period, energy: Some(part.energy), amount: part.amount, placed: part.placed },
        false => Usage { meter, period, energy: None, amount: Amount::Missing, placed: Placed::Estimated },
    }
}

/// From the first device of a meter on; of a day that still runs, up to the last reading, unless the meter has been
/// silent for longer than its gap limit.
fn looked_at(meter: &Meter, curve: &Curve, span: Period, until: Option<At>) -> Period {
    let installed = meter.device.iter().next().map_or(span.end, |(since, _)| *since);
    let start = span.start.max(installed).min(span.end);
    let last = curve.pieces().last().map_or(start, |piece| piece.period.end);
    let awaited = until.is_some() && last < span.end && span.end - last <= gap_limit(meter);
    Period::new(start, if awaited { last.max(start) } else { span.end })
}
