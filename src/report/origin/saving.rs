//! Figures of what came of the promise: what the baseline expects and what was drawn, day by day, and the steps between.

use super::{Cited, OfDay, Origin, shown};
use crate::report::input::{MonthInput, Text};
use crate::report::month::MonthView;
use crate::report::number::fixed;
use crate::units::Energy;
use crate::verify::baseline::Frozen;
use crate::verify::savings::Savings;
use crate::verify::{Confidence, Judged, Whole};

/// What a row of a bridge is.
const ROWS: [(&str, &str); 6] = [
    (
        "promised",
        "It is what the promise says for the hours that count, at the hours, stations, speed and levels that it names.",
    ),
    ("at-operation", "It is the promise's own formula with hours, stations lit, speed and levels as they were."),
    (
        "step",
        "It is the Shapley value of this cause: by how much the promise's own formula moves when the cause takes its measured value, \
         as the mean over all orders in which the causes can take theirs.",
    ),
    ("unexplained", "It is the measured saving less the promise's own formula with every cause at its measured value."),
    (
        "measured",
        "It is what the frozen baseline expects on the days that count, less what was drawn on them, less adjustments.",
    ),
    (
        "rated",
        "It is what the old lamps are rated for in the hours that count, less what was drawn; no measured saving.",
    ),
];

/// How a figure of a saving came about; `None` where the path is of no saving.
pub fn of(input: &MonthInput, view: &MonthView, path: &str) -> Option<Origin> {
    let rest = path.strip_prefix("savings/")?;
    let statements = input.savings?;
    let id = format!("{}/{path}", input.month);
    let cell = |column: &str| shown::cell(view, "savings", &id, column);
    // What a kWh is worth moves money and carbon alone.
    let currency = &input.plant.currency;
    let money = format!("money_{}", currency.to_lowercase());
    let columns = [("energy_kwh", "kWh"), (money.as_str(), currency), ("co2e_kg", "kg")];
    let (exact, unit) = columns.into_iter().find_map(|(column, unit)| Some((cell(column)?, unit))).unzip();
    let unit = unit.unwrap_or("kWh").to_owned();
    let mut origin = Origin { id: id.clone(), unit, exact, ..Origin::default() };
    if let Some(of) = rest.strip_suffix("capacity") {
        let of = of.trim_end_matches('/');
        origin.about = format!("Apparent power freed, {}", if of.is_empty() { "all presses together" } else { of });
        (origin.unit, origin.exact) = ("kVA".into(), cell("freed_kva"));
        origin.rules = vec![
            "It is the highest apparent power before the conversion less that after it, sqrt((sum P)2 + (sum Q)2) by interval, at as \
             many stations lit and over as many intervals on both sides."
                .into(),
        ];
        return origin.exact.is_some().then_some(origin);
    }
    let presses = statements.presses.iter().map(|one| (&one.scope.judged, &one.savings, &one.frozen, &one.sha256));
    let loads = statements.shared.iter().map(|one| (&one.scope.judged, &one.savings, &one.frozen, &one.sha256));
    let (judged, savings, frozen, sha256, row) =
        presses.chain(loads).find_map(|(judged, savings, frozen, sha256)| {
            let own = match judged {
                Judged::Press(press) => press.to_string(),
                Judged::Load(load) => format!("load/{load}"),
            };
            Some((judged, savings, frozen, sha256, rest.strip_prefix(&own)?.strip_prefix('/')?))
        })?;
    let (word, cause) = row.split_once('/').unwrap_or((row, ""));
    let (_, rule) = ROWS.iter().find(|(other, _)| *other == word)?;
    let of = if cause.is_empty() { String::new() } else { format!(", {cause}") };
    origin.about = format!("Saving of {}, {word}{of}, {} to {}", judged.name(), savings.period.0, savings.period.1);
    origin.rules = vec![(*rule).to_owned(), counted(savings)];
    if ["measured", "rated", "unexplained"].contains(&word) {
        origin.rules.extend(measured(input, savings, frozen, sha256));
        origin.days = days(savings);
    }
    if word != "measured" {
        origin.rules.push(promised(input.texts).map_or_else(
            || "The promise is in config/promise.toml.".into(),
            |text| format!("The promise is {}, SHA-256 {}.", text.path, text.sha256),
        ));
    }
    Some(origin)
}

fn counted(savings: &Savings) -> String {
    let aside: usize = savings.aside.values().sum();
    let aside = if aside > 0 { format!("; {aside} stand aside") } else { String::new() };
    format!("{} days count{aside}.", savings.counted)
}

fn measured(input: &MonthInput, savings: &Savings, frozen: &Frozen, sha256: &str) -> Vec<String> {
    let kwh = |value: f64| fixed(Energy::nearest(value), 0);
    let half = savings.avoided.half_width(Confidence::P90);
    let adjusted: f64 = savings.adjustments.iter().map(|one| one.kwh).sum();
    let mut told = vec![format!(
        "Expected {} kWh, drawn {} kWh, adjustments {} kWh; avoided {} kWh ± {} at 90 %.",
        kwh(savings.expected),
        kwh(savings.actual),
        kwh(adjusted),
        kwh(savings.avoided.value),
        kwh(half)
    )];
    let (first, last) = frozen.period;
    let from = &frozen.provenance;
    told.push(format!(
        "The baseline is of {first} to {last}, kind {}, frozen on {} by {} ({}), SHA-256 {sha256}.",
        frozen.kind.word(),
        input.plant.zone.date(from.at),
        from.author,
        from.reason
    ));
    told.extend(savings.alike.iter().map(|one| one.words()));
    told
}

/// What each point adds.
fn days(savings: &Savings) -> Vec<OfDay> {
    let point = |(day, expected, drawn): &(chrono::NaiveDate, f64, f64)| OfDay {
        day: day.to_string(),
        amount: Energy::nearest(expected - drawn).to_string(),
        from: format!("expected {}, drawn {}", fixed(Energy::nearest(*expected), 1), fixed(Energy::nearest(*drawn), 1)),
    };
    savings.points.iter().map(point).collect()
}

fn promised(texts: &[Text]) -> Option<Cited> {
    texts.iter().find(|text| text.path.ends_with("promise.toml")).map(Cited::of)
}
