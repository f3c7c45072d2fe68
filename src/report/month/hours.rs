//! The bands of the tariff over the hours of the day, as a picture.

use super::load::Key;
use crate::attribute::by_quarter;
use crate::report::chart::{Column, Layer, Words, stacked};
use crate::report::lines::Ledger;
use crate::report::number::{Figure, Millionths, fixed};
use crate::time::Zone;
use crate::units::{Energy, Money};
use chrono::Timelike;
use serde::Serialize;

/// A class for each band, the dearest first; bands beyond are drawn as one.
const CLASSES: [&str; 4] = ["band1", "band2", "band3", "band4"];

/// The energy of each band over the hours of the day.
#[derive(Clone, Debug, Serialize)]
pub struct Hours {
    /// The drawing, as SVG.
    pub drawing: String,
    /// Its layers from the ground up.
    pub legend: Vec<Key>,
}

/// A band of whatever tariff, as it is drawn.
struct Layered {
    name: String,
    energy: Energy,
    cost: Money,
    hours: [Energy; 24],
}

impl Layered {
    fn take(&mut self, other: &Self) {
        self.energy += other.energy;
        self.cost += other.cost;
        self.hours.iter_mut().zip(other.hours).for_each(|(sum, hour)| *sum += hour);
    }

    /// Money a kWh, to put the dearest first.
    fn price(&self) -> f64 {
        self.cost.count() as f64 / self.energy.mwh().max(1) as f64
    }
}

/// Draws the bands; `None` where nothing has a price.
pub fn hours(zone: Zone, ledger: &Ledger) -> Option<Hours> {
    let bands = layered(zone, ledger);
    let legend: Vec<Key> = bands
        .iter()
        .zip(CLASSES)
        .map(|(band, class)| Key {
            class,
            name: band.name.clone(),
            figure: Figure::plain(fixed(band.energy, 0), "kWh"),
            share: String::new(),
        })
        .collect();
    let layers: Vec<Layer> = legend.iter().map(|key| Layer { class: key.class, name: key.name.clone() }).collect();
    let column = |hour: usize| Column {
        label: format!("{hour:02}"),
        name: format!("{hour:02}:00 to {:02}:00", hour + 1),
        apart: false,
        part: false,
        values: Some(bands.iter().map(|band| band.hours[hour].kwh()).collect()),
    };
    let columns: Vec<Column> = (0..24).map(column).collect();
    let words = Words {
        title: "Electricity by hour of the day and band of the tariff",
        description: "One column an hour by the local clock, stacked from the ground up in the order of the legend.",
        unit: "kWh",
        every: 6,
    };
    (!bands.is_empty()).then(|| Hours { drawing: stacked(words, &layers, &columns), legend })
}

/// The bands by name, the dearest first.
fn layered(zone: Zone, ledger: &Ledger) -> Vec<Layered> {
    let mut bands: Vec<Layered> = Vec::new();
    for line in &ledger.bill.bands {
        let mut hours = [Energy::ZERO; 24];
        for share in &line.shares {
            for (quarter, energy) in by_quarter(ledger.lines[share.place].slice.usage.period, share.energy) {
                hours[zone.local(quarter).hour() as usize] += energy;
            }
        }
        let new = Layered { name: line.band.clone(), energy: line.energy, cost: line.cost, hours };
        match bands.iter_mut().find(|band| band.name == new.name) {
            Some(band) => band.take(&new),
            None => bands.push(new),
        }
    }
    bands.sort_by(|a, b| b.price().total_cmp(&a.price()));
    while bands.len() > CLASSES.len() {
        let last = bands.pop();
        if let (Some(last), Some(rest)) = (last, bands.last_mut()) {
            rest.take(&last);
            rest.name = "other bands".into();
        }
    }
    bands
}
