//! The eight quality criteria that the market-based method asks of contractual instruments: checked where the facts say,
//! asked where only people know.
//!
//! GHG Protocol Scope 2 Guidance (2015), table 7.1, in our own words.

use crate::readings::{Fate, Instrument, InstrumentKind};
use chrono::NaiveDate;

/// A criterion.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Criterion {
    /// 1: the instrument carries the claim to the emission rate.
    CarriesRate,
    /// 2: no other instrument carries it too.
    OnlyClaim,
    /// 3: it was tracked, and cancelled for who reports.
    Cancelled,
    /// 4: its vintage is that of the consumption.
    Vintage,
    /// 5: it is of the market in which the energy was consumed.
    Market,
    /// 6: a supplier's rate covers what was delivered and allows for certificates sold or kept.
    SupplierRate,
    /// 7: of energy bought from a generator the claim is the buyer's alone.
    Direct,
    /// 8: what no instrument covers has a residual mix, or its absence is disclosed.
    Residual,
}

impl Criterion {
    /// Its number in the table.
    pub const fn number(self) -> usize {
        self as usize + 1
    }
}

/// What came of a criterion.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// Met, and by what.
    Met(String),
    /// Nobody has said.
    Asked(String),
    /// Not met: the instrument cannot be used.
    Failed(String),
}

/// A criterion with what came of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Check {
    /// The criterion.
    pub criterion: Criterion,
    /// What came of it.
    pub answer: Answer,
}

/// The criteria of one instrument for consumption from `first` to `last` in the markets named.
pub fn checks(one: &Instrument, markets: &[String], (first, last): (NaiveDate, NaiveDate)) -> Vec<Check> {
    let check = |criterion, answer| Check { criterion, answer };
    let stated = |known: Option<bool>, met: &str, asked: &str, failed: &str| match known {
        Some(true) => Answer::Met(met.into()),
        None => Answer::Asked(asked.into()),
        Some(false) => Answer::Failed(failed.into()),
    };
    let only = stated(
        one.only_claim,
        "no other instrument carries the same claim",
        "is it the only instrument with that claim? (only_claim)",
        "another instrument carries the same claim",
    );
    let used_on_site = "its energy was used on the site and never drawn from the grid: it covers nothing that was";
    let mut all = vec![
        check(
            Criterion::CarriesRate,
            stated(
                one.carries_rate,
                "the claim to the emission rate goes with it",
                "does it carry the claim to the emission rate? (carries_rate)",
                "it does not carry the claim to the emission rate",
            ),
        ),
        check(Criterion::OnlyClaim, if one.own_site { Answer::Failed(used_on_site.into()) } else { only }),
        check(Criterion::Cancelled, cancelled(one)),
        check(Criterion::Vintage, vintage(one, first, last)),
        check(Criterion::Market, market(one, markets)),
    ];
    if one.kind == InstrumentKind::Contract {
        let answer = stated(
            one.only_claim,
            "the generator passes the claim to this buyer only",
            "does the generator pass the claim to this buyer only? (only_claim)",
            "the generator has passed the claim to somebody else",
        );
        all.push(check(Criterion::Direct, answer));
    }
    all
}

fn cancelled(one: &Instrument) -> Answer {
    match (&one.fate, one.kind) {
        (Fate::Cancelled { on, beneficiary }, _) if beneficiary.is_empty() => {
            Answer::Asked(format!("cancelled on {on}: for whom? (beneficiary)"))
        }
        (Fate::Cancelled { on, beneficiary }, _) => Answer::Met(format!("cancelled on {on} for {beneficiary}")),
        (Fate::Held, InstrumentKind::Contract) => Answer::Asked("are its certificates cancelled? (fate)".into()),
        (Fate::Held, InstrumentKind::Certificate) => Answer::Failed("it is held and not cancelled yet".into()),
        (Fate::Sold, _) => Answer::Failed("it was sold: the claim is somebody else's".into()),
    }
}

fn vintage(one: &Instrument, first: NaiveDate, last: NaiveDate) -> Answer {
    let Instrument { from, to, .. } = one;
    match first <= *to && *from <= last {
        true => Answer::Met(format!("generated {from} to {to}")),
        false => Answer::Failed(format!("generated {from} to {to}, and the consumption is of {first} to {last}")),
    }
}

fn market(one: &Instrument, markets: &[String]) -> Answer {
    match markets.contains(&one.market) {
        true => Answer::Met(format!("issued in {}", one.market)),
        false => Answer::Failed(format!(
            "issued in {}, and the energy was consumed in {}; other markets are named by markets in plant.toml",
            one.market,
            markets.join(" or ")
        )),
    }
}
