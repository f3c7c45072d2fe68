//! `energy.csv`: whose the energy is.

use super::table::{CsvTable, Kind, Writer, column, measured};
use crate::attribute::Slice;
use crate::report::input::MonthInput;
use crate::report::lines::Ledger;
use crate::report::number::Ids;
use crate::report::peak::peaks;
use crate::report::sums::by;
use crate::report::words;
use crate::units::{decimal, divide_rounded};

/// What the rows have in common, as the cells print it: press, station, claim, meter, lamp, state of the lamp,
/// state of the press, amount, placed.
type Key<'a> = [&'a str; 9];

fn key(slice: &Slice) -> Key<'_> {
    let (usage, owner) = (&slice.usage, &slice.owner);
    [
        owner.press.as_ref().map_or("", |p| p.as_str()),
        owner.station.as_ref().map_or("", |s| s.short()),
        words::claim(owner.claim),
        usage.meter.as_str(),
        owner.lamp.map_or("", |l| l.word()),
        owner.lamp_state.map_or("", words::lamp_state),
        owner.press_state.map_or("", words::press_state),
        words::amount(usage.amount),
        words::placed(usage.placed),
    ]
}

/// The path of the row that a slice is in.
pub fn path(slice: &Slice) -> String {
    joined(key(slice))
}

fn joined(key: Key) -> String {
    key.map(|part| if part.is_empty() { "-" } else { part }).join("/")
}

/// One row for each press, station, claim, meter, lamp kind, states and quality; the rows add up to the plant.
pub fn table(input: &MonthInput, ledger: &Ledger) -> CsvTable {
    let money = input.plant.currency.to_lowercase();
    let mut table = Writer::new(
        "energy",
        "Energy of the month by owner and state; the rows add up to the plant",
        vec![
            column("id", Kind::Words, "Id of the figure; what begins with the same path adds up"),
            column("press", Kind::Words, "Press; empty where no press is charged"),
            column("station", Kind::Words, "Station of the press; empty where it is not of one station"),
            column("claim", Kind::Words, "own, shared, rest or unassigned"),
            column("meter", Kind::Words, "Measuring point that shows the energy"),
            column("lamp", Kind::Words, "Kind of lamp fitted: arc or led"),
            column("lamp_state", Kind::Words, "State of the lamp: off, warming-up, standby or curing"),
            column("press_state", Kind::Words, "State of the press: idle, make-ready, running, stopped or no-job"),
            measured("energy_kwh", Kind::Number, "kWh", "Energy that is known"),
            measured("unknown_h", Kind::Number, "h", "Hours of the meter whose energy is not known"),
            column("how_known", Kind::Words, words::HOW_KNOWN),
            column("how_placed", Kind::Words, words::HOW_PLACED),
            measured(
                "peak_kw",
                Kind::Number,
                "kW",
                "Highest mean of the row over the meter's interval, at least 15 min",
            ),
            measured(&format!("cost_{money}"), Kind::Number, &input.plant.currency, "Cost of the energy"),
            measured("unpriced_kwh", Kind::Number, "kWh", "Energy without a price, in no cost"),
            measured("co2e_kg", Kind::Number, "kg", "Scope 2, location-based"),
            measured("without_factor_kwh", Kind::Number, "kWh", "Energy without a factor, in no carbon"),
        ],
    );
    let tops = peaks(input.plant, ledger, |slice| Some(key(slice)));
    for (key, sums) in by(&ledger.accounts, |slice| Some(key(slice))) {
        let [press, station, claim, meter, lamp, lamp_state, press_state, amount, placed] = key;
        let id = Ids(input.month).of(&["energy", &joined(key)]);
        let peak = tops.get(&key).map_or_else(String::new, |p| decimal(p.milliwatts(), 6));
        let known = amount != "missing";
        table.row([
            id.as_str(),
            press,
            station,
            claim,
            meter,
            lamp,
            lamp_state,
            press_state,
            &if known { sums.energy.to_string() } else { String::new() },
            &decimal(divide_rounded(i128::from(sums.unknown) * 1_000, 3_600_000) as i64, 3),
            amount,
            placed,
            &peak,
            &sums.cost().filter(|_| known).map_or_else(String::new, |c| c.to_string()),
            &sums.unpriced().to_string(),
            &sums.co2e().filter(|_| known).map_or_else(String::new, |c| c.to_string()),
            &sums.unfactored().to_string(),
        ]);
    }
    table.finish()
}
