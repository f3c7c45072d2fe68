//! An explanation as a person reads it.

use super::Explained;
use crate::cli::columns::hanging;
use crate::units::counted;
use std::fmt::Write;

/// The explanation; with what to ask next where the slices are not shown yet.
pub fn told(found: &Explained, is_whole: bool) -> String {
    let mut text = String::new();
    head(&mut text, found);
    let origin = &found.origin;
    let unit = origin.unit.as_str();
    table(
        &mut text,
        "Meters",
        &["meter", "", "slices", "kWh", unit, ""],
        "<<>>><",
        origin.meters.iter().map(|of| {
            let amount = if of.amount == of.energy_kwh { String::new() } else { of.amount.clone() };
            vec![
                of.meter.clone(),
                of.claim.into(),
                of.slices.to_string(),
                of.energy_kwh.clone(),
                amount,
                of.how.clone(),
            ]
        }),
    );
    table(
        &mut text,
        "Prices",
        &["tariff", "", "price", "kWh", unit, "text", "source"],
        "<<>>><<",
        origin.prices.iter().map(|of| {
            let path = of.text.as_ref().map_or_else(String::new, |text| text.path.clone());
            let (price, energy) = (of.price.clone(), of.energy_kwh.clone());
            vec![of.tariff.clone(), of.line.clone(), price, energy, of.amount.clone(), path, of.source.clone()]
        }),
    );
    table(
        &mut text,
        "Factors",
        &["set", "kg/kWh", "kWh", "kg", "", "text"],
        "<>>><<",
        origin.factors.iter().map(|of| {
            let path = of.text.as_ref().map_or_else(String::new, |text| text.path.clone());
            vec![of.set.clone(), of.factor.clone(), of.energy_kwh.clone(), of.amount.clone(), of.terms.clone(), path]
        }),
    );
    table(
        &mut text,
        "Months",
        &["month", unit, "id"],
        "<><",
        origin.months.iter().map(|of| {
            let amount = if of.amount.is_empty() { "not known" } else { &of.amount };
            vec![of.month.clone(), amount.to_owned(), of.id.clone().unwrap_or_default()]
        }),
    );
    if is_whole {
        table(
            &mut text,
            "Days",
            &["day", unit, ""],
            "<><",
            origin.days.iter().map(|of| vec![of.day.clone(), of.amount.clone(), of.from.clone()]),
        );
        next(&mut text, found);
    } else {
        slices(&mut text, found);
        readings(&mut text, found);
    }
    text
}

fn head(text: &mut String, found: &Explained) {
    let origin = &found.origin;
    let exact = match &origin.exact {
        Some(exact) => format!("{exact} {}", origin.unit),
        None => "not known".into(),
    };
    let _ = writeln!(text, "{}\n{}: {exact}", origin.id, origin.about);
    for of_file in origin.shown.chunk_by(|a, b| a.file == b.file) {
        let texts: Vec<&str> = of_file.iter().map(|shown| shown.text.as_str()).collect();
        let file = &of_file[0].file;
        let _ = writeln!(text, "  {file}: {}", hanging(&texts.join("; "), file.chars().count() + 4));
    }
    if let Some(closed) = &found.closed {
        let figure = match (&closed.exact, closed.same) {
            (Some(exact), Some(true)) => format!(" as {exact} {}; it comes out the same", origin.unit),
            (Some(exact), _) => {
                format!(" as {exact} {}; it comes out otherwise: inkwatt close --audit says why", origin.unit)
            }
            _ => "; this figure is not among those that a closing freezes".into(),
        };
        let _ = writeln!(text, "  closed on {} by {}{figure}", closed.on, closed.by);
    }
    for rule in &origin.rules {
        let _ = writeln!(text, "  {}", hanging(rule, 2));
    }
}

fn next(text: &mut String, found: &Explained) {
    let origin = &found.origin;
    if let Some(id) = origin.months.iter().find_map(|of| of.id.as_ref()) {
        let _ = writeln!(text, "\nA month of it, with its meters and days: inkwatt explain \"{id}\"");
    }
    let first = origin.days.first().filter(|_| !origin.meters.is_empty());
    if let Some(day) = first {
        let _ = writeln!(
            text,
            "\nThe slices of a day, with the registers behind them: inkwatt explain \"{}\" --day {}",
            origin.id, day.day
        );
    }
}

fn slices(text: &mut String, found: &Explained) {
    let unit = found.origin.unit.as_str();
    let clock = |stamp: &str| stamp.get(11..19).unwrap_or(stamp).to_owned();
    table(
        text,
        "Slices",
        &["from", "to", "meter", "kWh", unit, "", "press", "", "lamp", "", "job", "known"],
        "<<<>><<<<<<<",
        found.origin.slices.iter().map(|of| {
            let amount = if of.amount == of.energy_kwh { String::new() } else { of.amount.clone() };
            let energy = if of.energy_kwh.is_empty() { "–".into() } else { of.energy_kwh.clone() };
            let place = [of.press.as_str(), of.station.as_str()].into_iter().filter(|part| !part.is_empty());
            vec![
                clock(&of.start),
                clock(&of.end),
                of.meter.clone(),
                energy,
                amount,
                of.claim.into(),
                place.collect::<Vec<_>>().join("/"),
                of.press_state.into(),
                of.lamp.into(),
                of.lamp_state.into(),
                of.run.clone(),
                format!("{}, {}", of.how_known, of.how_placed),
            ]
        }),
    );
    if found.origin.slices.is_empty() {
        text.push_str("\nNo slice of that time is in the figure.\n");
    }
}

fn readings(text: &mut String, found: &Explained) {
    for of in &found.readings {
        let device = of.device.as_ref().map_or_else(String::new, |device| format!("; {device}"));
        let within = counted(of.within, "reading");
        let _ = writeln!(text, "\nReadings: {}, {within} within{device}", of.series);
        let rows = of.told.iter().map(|read| {
            let corrected = read.corrected.as_ref().map_or_else(String::new, |note| format!("corrected: {note}"));
            vec![read.at.clone(), read.count.to_string(), read.value.clone(), corrected]
        });
        rows_of(text, &["", "count", "", ""], "<>><", rows.collect());
        if let Some(rose) = &of.rose {
            let _ = writeln!(text, "  from {} to {} it rose by {} kWh", rose.from, rose.to, rose.kwh);
        }
    }
}

/// A table under a head; nothing where it has no rows. `align` has `<` or `>` for each column.
fn table(text: &mut String, title: &str, heads: &[&str], align: &str, rows: impl Iterator<Item = Vec<String>>) {
    let rows: Vec<Vec<String>> = rows.collect();
    if !rows.is_empty() {
        let _ = writeln!(text, "\n{title}");
        rows_of(text, heads, align, rows);
    }
}

/// Rows in columns as wide as their widest cell; columns without a cell are left out.
fn rows_of(text: &mut String, heads: &[&str], align: &str, rows: Vec<Vec<String>>) {
    let used: Vec<usize> = (0..heads.len()).filter(|k| rows.iter().any(|row| !row[*k].is_empty())).collect();
    let head: Vec<String> = heads.iter().map(|head| (*head).to_owned()).collect();
    let all: Vec<Vec<String>> =
        if used.iter().any(|k| !heads[*k].is_empty()) { [vec![head], rows].concat() } else { rows };
    let width = |k: usize| all.iter().map(|row| row[k].chars().count()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..heads.len()).map(width).collect();
    let align: Vec<char> = align.chars().collect();
    for row in &all {
        let cells = used.iter().map(|k| match align[*k] {
            '>' => format!("{:>w$}", row[*k], w = widths[*k]),
            _ => format!("{:<w$}", row[*k], w = widths[*k]),
        });
        let line = cells.collect::<Vec<_>>().join("  ");
        let _ = writeln!(text, "  {}", line.trim_end());
    }
}
