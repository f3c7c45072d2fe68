//! Closed months as a person reads them.

use super::Failure;
use crate::closing::{CARBON, COST, Closing, ENERGY, Figures, in_force, sum};
use crate::config::Configuration;
use crate::time::At;
use crate::units::{counted, decimal, fixed};
use std::collections::BTreeSet;

/// A figure with its unit; empty where it is not known.
pub fn figure(figures: &Figures, id: &str, places: u32, unit: &str) -> Option<String> {
    figures.get(id).map(|count| format!("{} {unit}", fixed(i128::from(*count), 6, places)))
}

/// Energy, cost and carbon of the plant in one line.
pub fn in_short(configuration: &Configuration, figures: &Figures) -> String {
    let parts = [
        figure(figures, ENERGY, 0, "kWh"),
        figure(figures, COST, 2, &configuration.plant.currency),
        figure(figures, CARBON, 0, "kg by location"),
    ];
    parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

/// By how much the plant's energy changed.
pub fn came(by: &Figures) -> String {
    format!("{} kWh came since it was closed,", decimal(by.get(ENERGY).copied().unwrap_or(0), 6))
}

fn json(of: &impl serde::Serialize) -> Result<String, Failure> {
    serde_json::to_string_pretty(of).map_err(Failure::unusable)
}

/// A month that was closed just now.
pub fn closed(configuration: &Configuration, closing: &Closing, as_json: bool) -> Result<String, Failure> {
    if as_json {
        return json(closing);
    }
    let what = if closing.sequence == 0 { "closed" } else { "restated" };
    let mut text = format!(
        "{} is {what}: {}\nkWh and money are final, carbon is provisional; it rests on {} facts and {} texts\n",
        closing.month,
        in_short(configuration, &closing.figures),
        closing.facts.len(),
        closing.documents.len()
    );
    if closing.sequence > 0 {
        text.push_str(&format!("more than before: {}\n", changed(configuration, &closing.difference)));
    }
    for (month, by) in &closing.carried {
        text.push_str(&format!("late data of {month} are a line of it: {}\n", changed(configuration, by)));
    }
    Ok(text)
}

/// The months of a year that were trued up just now.
pub fn trued_up(configuration: &Configuration, year: i32, added: &[Closing], as_json: bool) -> Result<String, Failure> {
    if as_json {
        return json(&added);
    }
    let all = added.iter().fold(Figures::new(), |all, one| sum(&all, &one.difference));
    let mut text = String::new();
    for one in added {
        text.push_str(&format!("{}  {} more\n", one.month, kg(&one.difference)));
    }
    let grounds: BTreeSet<&String> = added.iter().flat_map(|one| &one.grounds).collect();
    text.extend(grounds.into_iter().map(|ground| format!("         {ground}\n")));
    text.push_str(&format!(
        "{year} is trued up: {} more by location in {}; kWh and money of {} stay as they were closed\n",
        kg(&all),
        counted(added.len(), "month"),
        configuration.plant.name
    ));
    Ok(text)
}

/// The plant's carbon in figures.
fn kg(figures: &Figures) -> String {
    format!("{} kg", fixed(i128::from(figures.get(CARBON).copied().unwrap_or(0)), 6, 1))
}

/// A difference in short; said where it is none of the plant's.
pub fn changed(configuration: &Configuration, by: &Figures) -> String {
    let text = in_short(configuration, by);
    if text.is_empty() { "nothing of the plant, only whose it is".into() } else { text }
}

/// The closed months, a line each, with their restatements.
pub fn list(configuration: &Configuration, all: &[Closing], as_json: bool) -> Result<String, Failure> {
    if as_json {
        return json(&all);
    }
    if all.is_empty() {
        return Ok("no month is closed; `inkwatt close YYYY-MM` closes one".into());
    }
    let latest = in_force(all);
    let mut text = String::new();
    for one in all {
        let stands =
            one.month().is_none_or(|month| latest.get(&month).is_some_and(|last| last.sequence == one.sequence));
        let on = configuration.plant.zone.date(At(one.at));
        let what = match (one.true_up, one.sequence) {
            (true, _) => "trued up",
            (false, 0) => "closed",
            (false, _) => "restated",
        };
        let why = if one.why.is_empty() { String::new() } else { format!(" ({})", one.why) };
        let over = if stands { "" } else { "; restated since" };
        let figures = in_short(configuration, &one.figures);
        text.push_str(&format!("{}  {what} {on} by {}{why}: {figures}{over}\n", one.month, one.by));
        for (month, by) in &one.carried {
            text.push_str(&format!("         late data of {month}: {}\n", changed(configuration, by)));
        }
        text.extend(one.grounds.iter().map(|ground| format!("         {ground}\n")));
    }
    text.push_str("kWh and money are final, carbon is provisional until its year is trued up\n");
    Ok(text)
}
