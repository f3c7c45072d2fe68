//! A day on its way: its readings are taken up as they come and condensed to what attribution asks for, the curves of
//! the meters and the changes of the signals. A day needs the same room however often its meters are read, and can be
//! looked at whenever somebody wants to know: what was taken up need not be read again.

use crate::attribute::DayFacts;
use crate::attribute::bands::bands;
use crate::attribute::lamp::Signals;
use crate::attribute::measured::{Measured, register_of};
use crate::attribute::track::time_of;
use crate::attribute::web::Web;
use crate::names::{MeterId, PressId, StationId};
use crate::plant::{Bands, Covers, Dated, Meter, Plant};
use crate::readings::{Quantity, Reading, Series, Subject};
use crate::time::Period;
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};

/// What is known of a day so far. It depends on the readings alone, not on the parts in which they were taken up.
#[derive(Clone, Debug, Default)]
pub struct DayFold {
    pub(super) meters: BTreeMap<MeterId, Measured>,
    pub(super) webs: BTreeMap<PressId, Web>,
    pub(super) signals: BTreeMap<StationId, Signals>,
}

impl DayFold {
    /// The fold of a day before its first reading.
    pub fn new(plant: &Plant) -> Self {
        Self::default().renewed(plant, &BTreeSet::new()).0
    }

    /// All facts about a day at once, whatever the order in which the readings of a series were handed over.
    pub fn of(plant: &Plant, facts: &DayFacts) -> Self {
        let mut fold = Self::new(plant);
        if facts.readings.values().all(|readings| readings.is_sorted()) {
            fold.push(&facts.readings);
        } else {
            let mut sorted = facts.readings.clone();
            sorted.values_mut().for_each(|readings| readings.sort_unstable());
            fold.push(&sorted);
        }
        fold
    }

    /// Millimetres run on each press on a local day; left out where that is not known.
    pub fn web_on(&self, date: NaiveDate) -> BTreeMap<PressId, i64> {
        self.webs.iter().filter_map(|(press, web)| Some((press.clone(), web.run_on(date)?))).collect()
    }

    /// Whether the web of any press moved in a period; `None` where none did as far as is known, and that of one is not
    /// known all the time.
    pub fn worked_on(&self, day: Period) -> Option<bool> {
        let webs: Vec<_> = self.webs.values().map(Web::moving).collect();
        let moves = |moves: bool| webs.iter().map(move |web| time_of(web, day, |said| *said == Some(moves)));
        let stood = !webs.is_empty() && moves(false).all(|millis| millis == day.millis());
        if moves(true).any(|millis| millis > 0) { Some(true) } else { stood.then_some(false) }
    }

    /// The fold for a plant as it is by now, with the subjects of which every reading has to be taken up anew: those
    /// that are `stale`, and those that are described otherwise than before.
    pub fn renewed(mut self, plant: &Plant, stale: &BTreeSet<Subject>) -> (Self, BTreeSet<Subject>) {
        let (mut fold, mut anew) = (Self::default(), BTreeSet::new());
        let mut fresh = |subject: Subject| anew.insert(subject);
        for meter in &plant.meters {
            let (subject, lamps) = (Subject::Meter(meter.id.clone()), lamps(plant, meter));
            let kept = self.meters.remove(&meter.id).filter(|kept| kept.is_of(meter, lamps.as_ref()));
            let measured = kept.filter(|_| !stale.contains(&subject)).unwrap_or_else(|| {
                fresh(subject);
                Measured::new(meter, lamps.as_ref(), plant.zone)
            });
            fold.meters.insert(meter.id.clone(), measured);
        }
        for press in &plant.presses {
            let subject = Subject::Press(press.id.clone());
            let kept = self.webs.remove(&press.id).filter(|kept| kept.moves_from(press.moving_mm_min));
            let web = kept.filter(|_| !stale.contains(&subject)).unwrap_or_else(|| {
                fresh(subject);
                Web::new(press.moving_mm_min, plant.zone)
            });
            fold.webs.insert(press.id.clone(), web);
            for station in &press.stations {
                let subject = Subject::Station(station.id.clone());
                let kept = self.signals.remove(&station.id).filter(|_| !stale.contains(&subject));
                let signals = kept.unwrap_or_else(|| {
                    fresh(subject);
                    Signals::default()
                });
                fold.signals.insert(station.id.clone(), signals);
            }
        }
        (fold, anew)
    }

    /// Takes up readings, each series in order of time. For each subject they are later than those before, and all of it
    /// up to some instant.
    pub fn push(&mut self, readings: &BTreeMap<Series, Vec<Reading>>) {
        let all: Vec<(&Series, &Vec<Reading>)> = readings.iter().collect();
        for same in all.chunk_by(|a, b| a.0.subject == b.0.subject) {
            let of = |quantity| same.iter().find(|(series, _)| series.quantity == quantity).map_or(&[][..], |(_, r)| r);
            match &same[0].0.subject {
                Subject::Meter(id) => self.meters.get_mut(id).into_iter().for_each(|measured| {
                    let register = of(register_of(measured.meter().flow));
                    measured.push(register, of(Quantity::IntervalEnergy), of(Quantity::Power));
                }),
                Subject::Press(id) => self
                    .webs
                    .get_mut(id)
                    .into_iter()
                    .for_each(|web| web.push(of(Quantity::Speed), of(Quantity::WebLength))),
                Subject::Station(id) => self.signals.get_mut(id).into_iter().for_each(|signals| {
                    signals.push(of(Quantity::LampKind), of(Quantity::LampState), of(Quantity::LampLevel));
                }),
                Subject::Site => {}
            }
        }
    }
}

/// The bands of the lamps that a meter feeds, where it is the first one of a station.
fn lamps(plant: &Plant, meter: &Meter) -> Option<Dated<Option<Bands>>> {
    let Covers::Station(station) = &meter.covers else { return None };
    let first = plant.meters.iter().find(|other| other.covers == meter.covers)?;
    let (_, station) = plant.station(station).filter(|_| first.id == meter.id)?;
    Some(bands(plant, station))
}
