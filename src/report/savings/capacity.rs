//! Apparent power before and after, in a table, in words and as a picture.

use super::figures::plain;
use super::name;
use crate::plant::Plant;
use crate::report::chart::{Pair, pairs};
use crate::report::month::grid::{Cell, Grid, Table};
use crate::report::number::UNKNOWN;
use crate::verify::statement::Statements;
use crate::verify::{Capacity, CapacityUnknown, Matched, Supply, freed_kva};
use serde::Serialize;

/// What the conversion frees on the supply.
#[derive(Clone, Debug, Serialize)]
pub struct CapacityPart {
    /// Press by press, and together.
    pub table: Table,
    /// The highest apparent powers by stations lit as a picture.
    pub picture: String,
    /// Whose they are.
    pub about: String,
}

/// A finding with whose it is.
type Found<'a> = (String, &'a Result<Capacity, CapacityUnknown>);

/// That of each press.
fn each<'a>(plant: &Plant, statements: &'a Statements) -> Vec<Found<'a>> {
    statements.presses.iter().map(|one| (name(plant, &one.press), &one.capacity)).collect()
}

/// That of all presses, where there are several and it is known of all.
fn all(statements: &Statements) -> Option<Found<'_>> {
    let together = statements.together.as_ref().filter(|_| statements.presses.len() > 1)?;
    together.capacity.is_ok().then(|| ("All presses".into(), &together.capacity))
}

/// kVA that the promise states as freed.
pub fn promised(statements: &Statements) -> Option<f64> {
    statements.promise.as_ref()?.stated.kva
}

/// The finding in words, with what must be known before anybody acts on it. Empty where no press has a statement.
pub fn words(plant: &Plant, statements: &Statements) -> Vec<String> {
    let presses = each(plant, statements);
    let told = all(statements).map_or_else(|| presses.clone(), |all| vec![all]);
    let several = presses.len() > 1;
    let line = |name: &str, text: &str| {
        let text = text.trim_end_matches('.');
        if several { format!("{name}: {text}") } else { text.to_owned() }
    };
    let mut texts: Vec<String> = known(&told).map(|(name, found)| line(name, &found.found())).collect();
    if !presses.is_empty() {
        texts.extend(promised(statements).map(|kva| format!("the promise states {} kVA freed", plain(kva, 1))));
    }
    texts.extend(known(&presses).filter_map(|(name, found)| Some(line(name, &found.leads()?))));
    let warning = known(&told).find_map(|(_, found)| found.warns());
    texts.extend(warning.map(|text| text.trim_end_matches('.').to_owned()));
    texts.extend(unknown(&presses));
    texts
}

/// Those that are known.
fn known<'a>(found: &'a [Found<'a>]) -> impl Iterator<Item = (&'a str, &'a Capacity)> {
    found.iter().filter_map(|(name, found)| Some((name.as_str(), found.as_ref().ok()?)))
}

/// Each reason once, with the presses that it holds for.
fn unknown(presses: &[Found<'_>]) -> Vec<String> {
    let mut reasons: Vec<(CapacityUnknown, Vec<&str>)> = Vec::new();
    for (name, found) in presses {
        let Err(why) = found else { continue };
        match reasons.iter_mut().find(|(reason, _)| reason == why) {
            Some((_, names)) => names.push(name),
            None => reasons.push((*why, vec![name])),
        }
    }
    reasons.into_iter().map(|(why, names)| format!("{}: {why}", names.join(", "))).collect()
}

/// The finding as a table with its picture; `None` where it is known of no press.
pub fn part(plant: &Plant, statements: &Statements) -> Option<CapacityPart> {
    let presses = each(plant, statements);
    let whole = all(statements);
    let shown = whole.clone().or_else(|| presses.iter().find(|(_, found)| found.is_ok()).cloned())?;
    let (about, capacity) = (shown.0, shown.1.as_ref().ok()?);
    let ids = statements.presses.iter().map(|one| Some(&one.press));
    let plain_rows = ids.zip(&presses).map(|(press, found)| ("plain", press, found));
    let rows = plain_rows.chain(whole.iter().map(|found| ("sum", None, found)));
    let mut grid = Grid::new("Highest apparent power at as many stations lit")
        .words("Press")
        .words("Taken at")
        .numbers("Intervals on each side", "")
        .numbers("Before", "kVA")
        .numbers("After", "kVA")
        .numbers("Freed", "kVA")
        .numbers("Promised by its lamps", "kVA")
        .numbers("Leading after", "%");
    for (kind, press, (name, found)) in rows {
        let found = found.as_ref().ok();
        let number = |of: &dyn Fn(&Capacity) -> String| Cell::from(found.map_or(UNKNOWN.into(), of));
        let promised = statements.promise.as_ref().and_then(|promise| freed_kva(promise, press));
        let place = found.and_then(|found| found.supply).map_or(UNKNOWN, Supply::place);
        grid.row(
            kind,
            vec![
                name.clone().into(),
                place.into(),
                number(&|found| plain(found.intervals as f64, 0)),
                number(&|found| plain(found.before, 1)),
                number(&|found| plain(found.after, 1)),
                number(&|found| plain(found.freed(), 1)),
                Cell::from(promised.map_or(UNKNOWN.into(), |kva| plain(kva, 1))),
                number(&|found| plain(found.leading * 100.0, 1)),
            ],
        );
    }
    Some(CapacityPart { table: grid.finish(), picture: picture(&about, capacity), about })
}

fn picture(about: &str, capacity: &Capacity) -> String {
    let pair = |one: &Matched| Pair {
        label: one.lit.to_string(),
        values: [one.before, one.after],
        tip: format!(
            "{} stations lit, {} intervals on each side: {} kVA before, {} kVA after",
            one.lit,
            plain(one.intervals as f64, 0),
            plain(one.before, 1),
            plain(one.after, 1)
        ),
    };
    let columns: Vec<Pair> = capacity.matched.iter().map(pair).collect();
    pairs(
        &format!("{about}: highest apparent power by stations lit"),
        "Two columns for each number of stations lit: before the conversion, and after it.",
        "kVA",
        ["warming", "curing"],
        &columns,
    )
}

/// A figure of capacity with three decimals, as files state it.
pub fn exact(kva: f64) -> String {
    format!("{kva:.3}")
}
