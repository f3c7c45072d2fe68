//! Presses and their stations: what their energy was used for.

use super::grid::{Cell, Grid, Table};
use super::uses::Use;
use crate::attribute::{Claim, Slice};
use crate::names::{PressId, StationId};
use crate::plant::{LampKind, Plant, Press};
use crate::report::chart::bar;
use crate::report::lines::Ledger;
use crate::report::number::{Ids, UNKNOWN};
use crate::report::peak::{Peak, of_plant, peaks};
use crate::report::sums::{by, total};
use crate::report::words;
use crate::time::Month;
use crate::units::Energy;
use std::collections::{BTreeMap, BTreeSet};

/// Whose a slice is, as rows of the page are.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Part {
    /// A station.
    Station(PressId, StationId),
    /// A press beyond its stations.
    Press(PressId),
    /// A shared load that nobody is charged with.
    Load(String),
    /// What nobody meters.
    Rest,
}

impl Part {
    /// Whose a slice is.
    pub fn of(plant: &Plant, slice: &Slice) -> Self {
        let owner = &slice.owner;
        match (&owner.press, &owner.station) {
            (Some(press), Some(station)) => Self::Station(press.clone(), station.clone()),
            (Some(press), None) => Self::Press(press.clone()),
            (None, _) if Use::of(plant, slice) == Use::Rest => Self::Rest,
            (None, _) => Self::Load(plant.meter(&slice.usage.meter).map_or_else(String::new, |m| m.name.clone())),
        }
    }

    /// The path of its figures.
    pub fn path(&self) -> String {
        match self {
            Self::Station(_, station) => station.to_string(),
            Self::Press(press) => format!("{press}/-"),
            Self::Load(name) => name.clone(),
            Self::Rest => "rest".into(),
        }
    }

    /// Its press.
    pub const fn press(&self) -> Option<&PressId> {
        match self {
            Self::Station(press, _) | Self::Press(press) => Some(press),
            _ => None,
        }
    }
}

/// The uses that have a column of their own.
const COLUMNS: [Use; 5] = [Use::Curing, Use::WarmingUp, Use::Standby, Use::Off, Use::Unknown];

struct Sheet {
    ids: Ids,
    /// What is known; a part without an entry is not known.
    uses: BTreeMap<(Part, Use), Energy>,
    peaks: BTreeMap<Part, Peak>,
    press_peaks: BTreeMap<PressId, Peak>,
    lamps: BTreeMap<StationId, BTreeSet<LampKind>>,
    columns: Vec<Use>,
    widest: f64,
}

/// The table of presses and stations; its rows of kind `group` and `sum` add up to the plant.
pub fn presses(plant: &Plant, month: Month, ledger: &Ledger) -> Table {
    let sheet = Sheet::new(plant, month, ledger);
    let mut grid = Grid::new("Energy of presses and stations by state of the lamp").words("").words("Lamp");
    for column in &sheet.columns {
        grid = grid.numbers(column.word(), "kWh");
    }
    grid = grid
        .numbers("Other", "kWh")
        .numbers("Shared", "kWh")
        .numbers("Total", "kWh")
        .decimals("Peak", "kW", 1)
        .words("");

    for press in &plant.presses {
        sheet.press(&mut grid, press);
    }
    let loads: BTreeSet<Part> =
        sheet.uses.keys().map(|(part, _)| part.clone()).filter(|p| p.press().is_none()).collect();
    let draws = |wanted: &Part| sheet.uses.iter().any(|((part, _), energy)| part == wanted && *energy != Energy::ZERO);
    for part in loads.iter().filter(|part| draws(part)) {
        let name = match part {
            Part::Load(name) => format!("{name}, not charged to a press"),
            _ => "Unmetered rest".into(),
        };
        sheet.row(&mut grid, "group", name, "", &part.path(), &|p| p == part, sheet.peaks.get(part));
    }
    let whole = of_plant(plant, ledger);
    sheet.row(&mut grid, "sum", "Plant".into(), "", "plant", &|_| true, whole.as_ref());
    grid.finish()
}

impl Sheet {
    fn new(plant: &Plant, month: Month, ledger: &Ledger) -> Self {
        let part = |slice: &Slice| Part::of(plant, slice);
        let known = ledger.accounts.iter().filter(|account| account.slice.usage.energy.is_some());
        let sums = by(known, |slice| Some((part(slice), Use::of(plant, slice))));
        let uses: BTreeMap<_, _> = sums.into_iter().map(|(key, sums)| (key, sums.energy)).collect();
        let mut lamps: BTreeMap<StationId, BTreeSet<LampKind>> = BTreeMap::new();
        for owner in ledger.accounts.iter().map(|account| &account.slice.owner) {
            if let (Some(station), Some(lamp)) = (&owner.station, owner.lamp) {
                lamps.entry(station.clone()).or_default().insert(lamp);
            }
        }
        // A station without a meter has no line of its own; what is fitted to it is known all the same.
        for station in plant.presses.iter().flat_map(|press| &press.stations) {
            let fitted = station.fitted.spans(ledger.period).filter_map(|(_, lamp)| plant.lamp(lamp.as_ref()?));
            let kinds: BTreeSet<LampKind> = fitted.map(|lamp| lamp.kind).collect();
            if !kinds.is_empty() {
                lamps.entry(station.id.clone()).or_insert(kinds);
            }
        }
        let own = |slice: &Slice| slice.owner.claim != Claim::Shared;
        let mut widths: BTreeMap<&Part, f64> = BTreeMap::new();
        for ((part, _), energy) in uses.iter().filter(|((part, _), _)| part.press().is_some()) {
            *widths.entry(part).or_default() += energy.kwh().max(0.0);
        }
        Self {
            ids: Ids(month),
            peaks: peaks(plant, ledger, |slice| own(slice).then(|| part(slice))),
            press_peaks: peaks(plant, ledger, |slice| slice.owner.press.clone()),
            lamps,
            columns: COLUMNS
                .into_iter()
                .filter(|c| uses.iter().any(|((_, u), e)| u == c && *e != Energy::ZERO))
                .collect(),
            widest: widths.into_values().fold(0.0, f64::max),
            uses,
        }
    }

    fn press(&self, grid: &mut Grid, press: &Press) {
        let of_press = |part: &Part| part.press() == Some(&press.id);
        self.row(grid, "group", press.name.clone(), "", press.id.as_str(), &of_press, self.press_peaks.get(&press.id));
        for station in &press.stations {
            let part = Part::Station(press.id.clone(), station.id.clone());
            let kinds = self.lamps.get(&station.id);
            let kinds = kinds.map(|kinds| kinds.iter().map(|k| words::lamp(*k)).collect::<Vec<_>>().join(", "));
            let lamp = kinds.as_deref().unwrap_or(UNKNOWN);
            let name = format!("{} {}", station.id.short(), station.name);
            self.row(grid, "part", name, lamp, station.id.as_str(), &|p| *p == part, self.peaks.get(&part));
        }
        let beyond = Part::Press(press.id.clone());
        if self.uses.keys().any(|(part, _)| *part == beyond) {
            self.row(
                grid,
                "part",
                "beyond its stations".into(),
                "",
                &beyond.path(),
                &|p| *p == beyond,
                self.peaks.get(&beyond),
            );
        }
    }

    #[allow(clippy::too_many_arguments, reason = "one row of a flat table")]
    fn row(
        &self,
        grid: &mut Grid,
        kind: &'static str,
        name: String,
        lamp: &str,
        path: &str,
        wanted: &dyn Fn(&Part) -> bool,
        peak: Option<&Peak>,
    ) {
        let energy = |uses: &[Use]| -> Energy {
            self.uses.iter().filter(|((part, u), _)| wanted(part) && uses.contains(u)).map(|(_, e)| *e).sum()
        };
        let is_known = self.uses.keys().any(|(part, _)| wanted(part));
        let cell = |uses: &[Use], last: &str| {
            Cell::maybe(is_known.then(|| energy(uses)), self.ids.of(&["energy", path, last]))
        };
        let mut cells: Vec<Cell> = vec![name.into(), lamp.into()];
        cells.extend(self.columns.iter().map(|column| cell(&[*column], column.class())));
        cells.push(cell(&[Use::Press, Use::Rest], "other"));
        cells.push(cell(&[Use::Shared], "shared"));
        cells.push(Cell::maybe(is_known.then(|| energy(&Use::ALL)), self.ids.of(&["energy", path])));
        cells.push(Cell::maybe(peak.map(|p| p.milliwatts()), self.ids.of(&["peak", path])));
        cells.push("".into());
        match kind {
            "part" => {
                let parts: Vec<_> = Use::ALL.iter().map(|u| (u.class(), energy(&[*u]).kwh())).collect();
                grid.drawn(kind, cells, bar("Energy by use", &parts, self.widest));
            }
            _ => grid.row(kind, cells),
        }
    }
}

/// Cost and carbon of each press, of shared loads that nobody is charged with, and of the rest; adds up to the plant.
pub fn charged(plant: &Plant, month: Month, ledger: &Ledger) -> Table {
    let ids = Ids(month);
    let sums = by(&ledger.accounts, |slice| {
        let part = Part::of(plant, slice);
        Some(part.press().map_or((1, String::new()), |press| (0, press.to_string())))
    });
    let mut grid = Grid::new("Energy, cost and carbon by press")
        .words("")
        .numbers("Energy", "kWh")
        .decimals("Cost of energy", &plant.currency, 2)
        .numbers("Scope 2, location-based", &ledger.carbon_unit("kg"));
    let mut row = |kind, name: String, path: &str, sums: &crate::report::sums::Sums| {
        grid.row(
            kind,
            vec![
                name.into(),
                Cell::of(sums.energy, ids.of(&["energy", path])),
                Cell::maybe(sums.cost(), ids.of(&["cost", path])),
                Cell::maybe(sums.co2e(), ids.of(&["carbon", path])),
            ],
        );
    };
    for press in &plant.presses {
        if let Some(sums) = sums.get(&(0, press.id.to_string())) {
            row("plain", press.name.clone(), press.id.as_str(), sums);
        }
    }
    if let Some(sums) = sums.get(&(1, String::new())) {
        row("plain", "Charged to no press".into(), "none", sums);
    }
    row("sum", "Plant".into(), "plant", &total(&ledger.accounts));
    grid.finish()
}
