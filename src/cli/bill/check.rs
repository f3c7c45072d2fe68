//! Bills of the supplier beside what the fiscal meter shows and the tariffs give.

use super::{Asked, say, supplied};
use crate::cli::columns::hanging;
use crate::cli::{Ended, Failure, Outcome};
use crate::cost::{Compared, Comparison, SHIFTED, Supply, again, check, looks_back};
use crate::readings::SupplierBill;
use crate::units::{decimal, fixed};
use anyhow::anyhow;
use chrono::{Days, NaiveDate};
use serde::Serialize;
use std::fmt;

/// The bills that touch days, or all of them.
pub fn run(asked: &Asked, days: Option<(NaiveDate, NaiveDate)>, json: bool) -> Ended {
    let mut all = asked.books.bills();
    all.sort_by(|a, b| (a.from, &a.id).cmp(&(b.from, &b.id)));
    let touches = |bill: &&SupplierBill| days.is_none_or(|(first, last)| bill.from <= last && bill.to >= first);
    let meant: Vec<&SupplierBill> = all.iter().filter(touches).collect();
    let help = "`inkwatt import bills FILE` takes them in";
    let (Some(first), Some(last)) = (meant.first(), meant.iter().map(|bill| bill.to).max()) else {
        return Err(Failure::unusable(anyhow!("no bill of the supplier is on file for these days\nhelp: {help}")));
    };
    let first = looks_back(&asked.configuration.tariffs, (first.from, last));
    let beyond = Days::new(LONGEST_BEFORE);
    let (first, last) =
        (first.checked_sub_days(beyond).unwrap_or(first), last.checked_add_days(beyond).unwrap_or(last));
    let supply = supplied(asked, (first, last))?;
    let told: Vec<Told> = meant.iter().map(|bill| Told::of(bill, &all, &supply, asked)).collect();
    let text = match json {
        true => serde_json::to_string_pretty(&Bills { bills: &told }).map_err(Failure::unusable)?,
        false => told.iter().map(Told::to_string).collect::<Vec<_>>().join("\n"),
    };
    say(&text);
    let sound = told.iter().all(|bill| bill.again.is_empty() && bill.figures.iter().all(Figure::is_sound));
    Ok(if sound { Outcome::Done } else { Outcome::Finding })
}

/// How far beyond the bills the meter is looked at: for shifted periods, and for the bill before or after that makes up for
/// an estimate.
pub const LONGEST_BEFORE: u64 = 62 + SHIFTED;

#[derive(Serialize)]
struct Bills<'a> {
    bills: &'a [Told],
}

/// A bill with its comparisons.
#[derive(Serialize)]
struct Told {
    bill: String,
    meter: String,
    from: String,
    to: String,
    /// Bills that bill some of its days again.
    again: Vec<String>,
    figures: Vec<Figure>,
}

#[derive(Serialize)]
struct Figure {
    figure: &'static str,
    unit: String,
    billed: String,
    ours: Option<String>,
    difference_percent: Option<String>,
    differs: bool,
    causes: Vec<String>,
    #[serde(skip)]
    shown: [String; 3],
}

impl Figure {
    fn of(one: Comparison, currency: &str) -> Self {
        let (figure, unit) = match one.what {
            Compared::Energy => ("energy", "kWh"),
            Compared::Peak(unit) => ("peak", unit.word()),
            Compared::Amount => ("amount", currency),
        };
        let percent = one.ppm().map(|ppm| fixed(ppm.into(), 4, 2));
        let cell = |millionths: i64| fixed(millionths.into(), 6, 2);
        let (billed, ours) = (cell(one.billed), one.ours.map_or_else(|| "not known".into(), cell));
        let difference = percent.as_ref().map_or_else(String::new, |percent| format!("{percent} %"));
        Self {
            figure,
            unit: unit.into(),
            billed: decimal(one.billed, 6),
            ours: one.ours.map(|ours| decimal(ours, 6)),
            difference_percent: one.ppm().map(|ppm| decimal(ppm, 4)),
            differs: one.differs,
            causes: one.causes,
            shown: [billed, ours, difference],
        }
    }

    const fn is_sound(&self) -> bool {
        !self.differs && self.ours.is_some()
    }
}

impl Told {
    fn of(bill: &SupplierBill, all: &[SupplierBill], supply: &Supply, asked: &Asked) -> Self {
        let figures = check(bill, all, supply, &asked.configuration.tariffs);
        let currency = &asked.configuration.plant.currency;
        Self {
            bill: bill.id.clone(),
            meter: bill.meter.clone(),
            from: bill.from.to_string(),
            to: bill.to.to_string(),
            again: again(bill, all).into_iter().map(|other| other.id.clone()).collect(),
            figures: figures.into_iter().map(|one| Figure::of(one, currency)).collect(),
        }
    }
}

impl fmt::Display for Told {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "Bill {} from {} to {}, meter {}", self.bill, self.from, self.to, self.meter)?;
        writeln!(f, "  {:6}  {:>14}  {:>14}  {:4}  {:>10}", "", "billed", "ours", "", "difference")?;
        for figure in &self.figures {
            let [billed, ours, difference] = &figure.shown;
            let row = format!("  {:6}  {billed:>14}  {ours:>14}  {:4}  {difference:>10}", figure.figure, figure.unit);
            writeln!(f, "{}", row.trim_end())?;
            for cause in &figure.causes {
                writeln!(f, "      {}", hanging(cause, 6))?;
            }
            if figure.differs && figure.causes.is_empty() {
                writeln!(f, "      no likely cause was found; ask the supplier how the figure came about")?;
            }
        }
        match self.again.as_slice() {
            [] => Ok(()),
            again => writeln!(f, "  some of its days are billed again by {}", again.join(", ")),
        }
    }
}
