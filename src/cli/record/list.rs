//! What is recorded: lamps, devices, ratios, adjustments, static factors, boundaries and corrections, as each was stated last.

use crate::config::Configuration;
use crate::readings::{Event, Happening, Subject, rank};
use crate::store::Corrected;
use crate::time::{At, Zone};
use crate::units::Energy;
use clap::Args;
use std::collections::BTreeMap;

/// Nothing to say.
#[derive(Args)]
#[command(after_help = "Example:
  inkwatt record list
One line a fact, the oldest first: since when, its kind and what it is about, as `inkwatt record withdraw` takes them.
A correction is of one reading; it is not withdrawn but corrected again.")]
pub struct List {}

/// The facts and corrections as text, one a line, in the order of time.
pub fn text(stated: &[Event], corrections: &[Corrected], configuration: &Configuration) -> String {
    let zone = configuration.plant.zone;
    let mut last: BTreeMap<(&str, &str), &Event> = BTreeMap::new();
    for event in stated.iter().filter(|event| about(former(&event.what)).is_some()) {
        let kept = last.entry((rank::kind(event), &event.id)).or_insert(event);
        if (event.rank, event.revision) > (kept.rank, kept.revision) {
            *kept = event;
        }
    }
    let facts = last.into_values().map(|event| (event.at, line(event, zone)));
    let mut lines: Vec<(At, String)> =
        facts.chain(corrections.iter().map(|one| (one.reading.at, correction(one, configuration)))).collect();
    lines.sort_by_key(|(at, _)| *at);
    if lines.is_empty() {
        return "nothing is recorded yet\n".into();
    }
    lines.into_iter().map(|(_, line)| line).collect()
}

fn correction(one: &Corrected, configuration: &Configuration) -> String {
    let Corrected { series, reading, note } = one;
    let (at, value) = (configuration.plant.zone.stamp(reading.at), configuration.display(series, *reading));
    format!("{at}  correction {} {}: {value} ({note})\n", name(&series.subject), series.quantity)
}

/// What a subject is called where it is corrected.
fn name(subject: &Subject) -> &str {
    match subject {
        Subject::Meter(id) => id.as_str(),
        Subject::Press(id) => id.as_str(),
        Subject::Station(id) => id.as_str(),
        Subject::Site => "site",
    }
}

fn line(event: &Event, zone: Zone) -> String {
    let what = former(&event.what);
    let withdrawn = if matches!(event.what, Happening::Withdrawn(_)) { "; withdrawn" } else { "" };
    let note = event.note.as_ref().map_or(String::new(), |note| format!(" ({note})"));
    let (kind, about) = (rank::kind(event), about(what).unwrap_or_default());
    format!("{}  {kind} {about}: {}{withdrawn}{note}\n", zone.stamp(event.at), says(what, zone))
}

/// What was stated, withdrawn or not.
fn former(what: &Happening) -> &Happening {
    match what {
        Happening::Withdrawn(former) => former,
        what => what,
    }
}

/// What a fact is about; `None` for events that nobody records by hand.
pub fn about(what: &Happening) -> Option<String> {
    match what {
        Happening::LampFitted { station, .. } => Some(station.to_string()),
        Happening::DeviceExchanged { meter, .. }
        | Happening::RatioCorrected { meter, .. }
        | Happening::BoundaryCorrected { meter, .. } => Some(meter.to_string()),
        Happening::Adjustment { judged, .. } => Some(judged.name().to_owned()),
        Happening::StaticFactor { factor, .. } => Some(format!("\"{factor}\"")),
        Happening::Instrument(instrument) => Some(instrument.id.clone()),
        Happening::SupplierBill(bill) => Some(bill.id.clone()),
        Happening::Run(_)
        | Happening::ClockEpoch { .. }
        | Happening::Found(_)
        | Happening::Answered(_)
        | Happening::Withdrawn(_) => None,
    }
}

/// Energy in kWh without the zeros at its end.
pub fn kwh(mwh: i64) -> String {
    Energy::from_mwh(mwh).to_string().trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A factor of so many millionths.
pub fn factor(ppm: i64) -> String {
    (ppm as f64 / 1e6).to_string()
}

/// A fact in a few words.
pub fn says(what: &Happening, zone: Zone) -> String {
    match what {
        Happening::LampFitted { lamp: Some(lamp), .. } => format!("lamp {lamp} fitted"),
        Happening::LampFitted { lamp: None, .. } => "no lamp".into(),
        Happening::DeviceExchanged { serial, .. } => format!("device exchanged for {serial}"),
        Happening::RatioCorrected { num, den, .. } => format!("values count {} times", *num as f64 / *den as f64),
        Happening::Adjustment { until, mwh, .. } => {
            format!("adjusted by {} kWh until {}", kwh(*mwh), zone.stamp(*until))
        }
        Happening::StaticFactor { value, holds, .. } => {
            holds.as_ref().map_or_else(|| value.clone(), |why| format!("{value}; the baseline holds: {why}"))
        }
        Happening::BoundaryCorrected { of, like, factor_ppm, uncertainty_ppm, .. } => {
            format!("{of} counts {} times, ± {}, as {like}", factor(*factor_ppm), factor(*uncertainty_ppm))
        }
        Happening::Instrument(one) => {
            format!("{} kWh from {} of {}, {}", kwh(one.energy.mwh()), one.source, one.market, one.fate.word())
        }
        Happening::SupplierBill(bill) => {
            format!("{} kWh, {} from {} to {}", kwh(bill.energy.mwh()), bill.amount, bill.from, bill.to)
        }
        Happening::Run(_)
        | Happening::ClockEpoch { .. }
        | Happening::Found(_)
        | Happening::Answered(_)
        | Happening::Withdrawn(_) => String::new(),
    }
}
