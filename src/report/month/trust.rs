//! How far the month may be trusted: how its energy is known, and what measures it.

use super::uses::Use;
use crate::attribute::{Amount, Placed, Slice};
use crate::report::input::MonthInput;
use crate::report::jobs::Coverages;
use crate::report::known::{Known, is_spread, told_hours};
use crate::report::lines::Ledger;
use crate::report::number::{Figure, Ids, fixed, percent, shares};
use crate::report::sums::total;
use crate::units::Energy;
use serde::Serialize;

/// The answer to how far the figures may be trusted.
#[derive(Clone, Debug, Serialize)]
pub struct Trust {
    /// Partitions of the plant's energy, each with shares that add up to 100.
    pub parted: Vec<Parted>,
    /// What must be known with them, a sentence each.
    pub notes: Vec<String>,
}

/// The plant's energy, parted.
#[derive(Clone, Debug, Serialize)]
pub struct Parted {
    /// By what.
    pub by: &'static str,
    /// Its parts; one without energy is left out.
    pub parts: Vec<Part>,
}

/// A part of the plant's energy.
#[derive(Clone, Debug, Serialize)]
pub struct Part {
    /// What it is.
    pub label: &'static str,
    /// What that means.
    pub meaning: &'static str,
    /// How much of it there is, in kWh.
    pub figure: Figure,
    /// Its share in per cent.
    pub share: String,
}

/// A part before it is printed: the last step of its id, label, meaning, energy.
type Row = (&'static str, &'static str, &'static str, Energy);

/// Parts the energy of a month by how it is known and by what measures it.
pub fn trust(input: &MonthInput, ledger: &Ledger, coverage: &Coverages, known: &Known) -> Trust {
    let sum = |wanted: &dyn Fn(&Slice) -> bool| total(ledger.accounts.iter().filter(|a| wanted(a.slice))).energy;
    let metered =
        |wanted: &dyn Fn(Placed) -> bool| sum(&|s| s.usage.amount == Amount::Metered && wanted(s.usage.placed));
    let known_by = |amount| sum(&|s| s.usage.amount == amount);
    let used = |uses: &[Use]| sum(&|s| uses.contains(&Use::of(input.plant, s)));
    let ways = [
        ("metered", "Metered", "at the time at which it was used", metered(&|p| p == Placed::Measured)),
        (
            "within",
            "Shared between two readings",
            "the amount is metered; a job or state changed in between",
            metered(&|p| p == Placed::Within),
        ),
        ("spread", "Spread over a gap", "the amount is metered; nobody read the meter in between", metered(&is_spread)),
        ("from-power", "From power readings", "the meter has no register of energy", known_by(Amount::Integrated)),
        ("estimated", "Estimated", "by a stated rule", known_by(Amount::Estimated)),
    ];
    let station = [Use::Curing, Use::WarmingUp, Use::Standby, Use::Off, Use::Unknown];
    let covered = [
        ("stations", "Stations", "each behind a meter of its own", used(&station)),
        ("presses", "Presses, beyond their stations", "behind the main of a press", used(&[Use::Press])),
        ("shared", "Shared loads", "metered, and charged by a rule", used(&[Use::Shared])),
        ("rest", "Unmetered rest", "behind no meter but the supply", used(&[Use::Rest])),
    ];
    Trust {
        parted: vec![
            parted(Ids(input.month), "How it is known", &ways),
            parted(Ids(input.month), "What measures it", &covered),
        ],
        notes: [Some(missing(known)), without_job(ledger, coverage)].into_iter().flatten().collect(),
    }
}

fn parted(ids: Ids, by: &'static str, rows: &[Row]) -> Parted {
    let shares = shares(&rows.iter().map(|row| row.3.mwh()).collect::<Vec<_>>());
    let parts = rows.iter().zip(shares).filter(|(row, _)| row.3 != Energy::ZERO);
    let part = |(row, share): (&Row, String)| Part {
        label: row.1,
        meaning: row.2,
        figure: Figure::plain(fixed(row.3, 0), "kWh").with(ids.of(&["trust", row.0])),
        share,
    };
    Parted { by, parts: parts.map(part).collect() }
}

fn missing(known: &Known) -> String {
    let [missing, all] = [known.missing(), known.all()].map(told_hours);
    match known.missing() {
        0 => format!("All {all} meter hours are known."),
        _ => format!("{missing} of {all} meter hours are not known; their energy is in no sum."),
    }
}

fn without_job(ledger: &Ledger, coverage: &Coverages) -> Option<String> {
    let energy: Energy = coverage.values().map(|c| c.energy_without_job).sum();
    let share = percent(energy.mwh(), total(&ledger.accounts).energy.mwh())?;
    let energy_told = fixed(energy, 0);
    (energy != Energy::ZERO).then(|| {
        format!("{energy_told} kWh ({share} %) were used while a web moved without a job, and belong to no job.")
    })
}
