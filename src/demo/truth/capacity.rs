//! The true apparent powers before and after the conversion: what the capacity of a report should find.

use crate::attribute::LampState;
use crate::demo::dates::{ACCEPTED, CONVERSION, END, START, ZONE, at};
use crate::demo::hall::{MAIN, PRESSES, first_station};
use crate::demo::model::Model;
use crate::time::{At, MINUTE, Period};
use serde::Serialize;
use std::collections::BTreeMap;

/// Minutes of the interval that apparent power is billed by.
const QUARTER: i64 = 15;

/// What the main of a press really drew in a quarter hour, in the sums of its minutes.
#[derive(Clone, Copy, Debug, Default)]
struct Quarter {
    watts: i64,
    vars: i64,
    lit: i64,
}

/// Quarter hours before the conversion began and after the acceptance, in order.
#[derive(Clone, Debug, Default)]
struct Sides {
    before: Vec<Quarter>,
    after: Vec<Quarter>,
}

/// What every press drew.
#[derive(Debug, Default)]
pub struct Capacity {
    present: [Quarter; PRESSES.len()],
    sides: [Sides; PRESSES.len()],
}

/// The true apparent powers.
#[derive(Serialize)]
pub struct CapacityRow {
    before_kva: f64,
    after_kva: f64,
    /// Share of the quarter hours after in which the power factor was leading.
    leading_share: f64,
}

impl Capacity {
    /// Adds the present minute of the plant.
    pub fn tally(&mut self, model: &Model) {
        let now = model.now();
        for (press, quarter) in self.present.iter_mut().enumerate() {
            let first = first_station(press);
            let lamps = &now.lamps[first..first + PRESSES[press].stations()];
            quarter.watts += now.watts[MAIN + press];
            quarter.vars += now.vars[press];
            quarter.lit += lamps.iter().filter(|state| **state == LampState::Curing).count() as i64;
            if (now.minute + 1) % QUARTER != 0 {
                continue;
            }
            let done = std::mem::take(quarter);
            let start = At((now.minute + 1 - QUARTER) * MINUTE);
            if Period::new(START, at(CONVERSION[press].0, 0, 0)).contains(start) {
                self.sides[press].before.push(done);
            } else if Period::new(at(ACCEPTED, 0, 0), ZONE.day(ZONE.date(END)).start).contains(start) {
                self.sides[press].after.push(done);
            }
        }
    }

    /// Those of a press.
    pub fn row(&self, press: usize) -> CapacityRow {
        self.sides[press].row()
    }

    /// Those of all presses together, quarter hour by quarter hour.
    pub fn together(&self) -> CapacityRow {
        let sum = |of: fn(&Sides) -> &Vec<Quarter>| {
            let length = self.sides.iter().map(|sides| of(sides).len()).min().unwrap_or(0);
            let each = |k: usize| self.sides.iter().map(move |sides| of(sides)[k]);
            (0..length).map(|k| each(k).fold(Quarter::default(), Quarter::plus)).collect()
        };
        Sides { before: sum(|sides| &sides.before), after: sum(|sides| &sides.after) }.row()
    }
}

impl Sides {
    /// The highest apparent powers with as many quarter hours on each side at each number of stations lit, those nearest
    /// to the conversion.
    fn row(&self) -> CapacityRow {
        let (before, after) = (by_lit(&self.before), by_lit(&self.after));
        let mut row = CapacityRow { before_kva: 0.0, after_kva: 0.0, leading_share: 0.0 };
        let (mut leading, mut all) = (0, 0);
        for (lit, old) in &before {
            let Some(new) = after.get(lit) else { continue };
            let both = old.len().min(new.len());
            let highest = |side: &[&Quarter]| side.iter().map(|quarter| quarter.kva()).fold(0.0, f64::max);
            row.before_kva = row.before_kva.max(highest(&old[old.len() - both..]));
            row.after_kva = row.after_kva.max(highest(&new[..both]));
            leading += new[..both].iter().filter(|quarter| quarter.vars < 0).count();
            all += both;
        }
        row.leading_share = leading as f64 / all.max(1) as f64;
        row
    }
}

impl Quarter {
    fn plus(self, other: Self) -> Self {
        Self { watts: self.watts + other.watts, vars: self.vars + other.vars, lit: self.lit + other.lit }
    }

    fn kva(&self) -> f64 {
        (self.watts as f64).hypot(self.vars as f64) / (1e3 * QUARTER as f64)
    }
}

/// Quarter hours by the whole number of stations lit on average, where there is one.
fn by_lit(quarters: &[Quarter]) -> BTreeMap<i64, Vec<&Quarter>> {
    let mut lit: BTreeMap<i64, Vec<&Quarter>> = BTreeMap::new();
    for quarter in quarters {
        let stations = (2 * quarter.lit + QUARTER) / (2 * QUARTER);
        if stations > 0 {
            lit.entry(stations).or_default().push(quarter);
        }
    }
    lit
}
