//! `findings.csv`: what the watch found, one row a finding.

use super::table::{CsvTable, Kind, Writer, column, measured};
use crate::report::input::{MonthInput, Noticed};
use crate::units::{Money, decimal};

/// One row for each finding that lasted in the month, by its beginning.
pub fn table(input: &MonthInput, noticed: &[Noticed]) -> CsvTable {
    let (zone, currency) = (input.plant.zone, &input.plant.currency);
    let money = |name: &str| format!("{name}_{}", currency.to_lowercase());
    let mut table = Writer::new(
        "findings",
        "What the watch found that lasted in the month; half-widths are at 90 %",
        vec![
            column("finding", Kind::Words, "What it is called"),
            column("rule", Kind::Words, "What raised it"),
            column("about", Kind::Words, "The thing in question"),
            column("station", Kind::Words, "The station, where it is one"),
            column("since", Kind::Instant, "Since when"),
            column("is_about", Kind::Flag, "Whether that is a first guess"),
            column("raised", Kind::Instant, "When it could first be known"),
            column("until", Kind::Instant, "When it ended; empty where it goes on"),
            measured(
                "watts_above",
                Kind::Number,
                "W",
                "What is drawn above what is expected, or in all where that is nothing",
            ),
            measured(
                "half_width_90_watts",
                Kind::Number,
                "W",
                "Half of the two-sided interval at 90 %; empty where measured",
            ),
            measured("energy_kwh", Kind::Number, "kWh", "What that came to, to the end of the month or of the finding"),
            measured(
                "half_width_90_kwh",
                Kind::Number,
                "kWh",
                "Half of the two-sided interval at 90 %; empty where measured",
            ),
            measured(
                &money("cost"),
                Kind::Number,
                currency,
                "What that cost by the bands of its time, without demand, levies and tax",
            ),
            measured("ahead_kwh", Kind::Number, "kWh", "The 28 days ahead, if it goes on"),
            measured(&money("ahead_cost"), Kind::Number, currency, "The same in money"),
            column("standing", Kind::Words, "open, acknowledged, snoozed, over or closed; empty where it is not kept"),
            column("answer", Kind::Words, "The newest answer of a person"),
            column("evidence", Kind::Words, "What was found"),
        ],
    );
    let watts = |watts: f64| decimal((watts * 10.0).round() as i64, 1);
    let money = |money: Money| decimal(money.micros(), 6);
    for Noticed { id, finding, standing, answer } in noticed {
        let above = finding.above.as_ref();
        let of = |value: Option<String>| value.unwrap_or_default();
        let ahead = above.and_then(|above| above.ahead);
        let cells = [
            id.clone(),
            finding.rule.word().into(),
            finding.about.clone(),
            of(finding.station.as_ref().map(ToString::to_string)),
            zone.stamp(finding.since),
            finding.is_about.to_string(),
            zone.stamp(finding.raised),
            of(finding.until.map(|until| zone.stamp(until))),
            of(above.map(|above| watts(above.watts))),
            of(above.and_then(|above| above.watts_half).map(watts)),
            of(above.map(|above| above.energy.to_string())),
            of(above.and_then(|above| above.energy_half).map(|half| half.to_string())),
            of(above.map(|above| money(above.cost))),
            of(ahead.map(|(energy, _)| energy.to_string())),
            of(ahead.map(|(_, cost)| money(cost))),
            standing.unwrap_or_default().into(),
            of(answer.clone()),
            finding.evidence.join(" "),
        ];
        table.row(cells.iter().map(String::as_str));
    }
    table.finish()
}
