//! Contractual instruments as they are written.

use crate::readings::{Fate, Instrument, InstrumentKind};
use crate::units::{Decimal, Energy};
use chrono::NaiveDate;
use serde::{Deserialize, Deserializer, Serialize, Serializer, de};
use std::fmt::Display;

/// An instrument; energy in milliwatt-hours, the factor as a decimal text in kg for a kWh.
#[derive(Serialize, Deserialize)]
pub(super) struct Paper {
    id: String,
    kind: Kind,
    mwh: i64,
    #[serde(serialize_with = "text", deserialize_with = "day")]
    from: NaiveDate,
    #[serde(serialize_with = "text", deserialize_with = "day")]
    to: NaiveDate,
    market: String,
    source: String,
    #[serde(serialize_with = "text", deserialize_with = "exact")]
    factor: Decimal,
    fate: Became,
    own_site: bool,
    bundled: Option<bool>,
    carries_rate: Option<bool>,
    only_claim: Option<bool>,
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Kind {
    Certificate,
    Contract,
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Became {
    Cancelled {
        #[serde(serialize_with = "text", deserialize_with = "day")]
        on: NaiveDate,
        beneficiary: String,
    },
    Held,
    Sold,
}

pub(super) fn text<S: Serializer>(value: &impl Display, to: S) -> Result<S::Ok, S::Error> {
    to.collect_str(value)
}

pub(super) fn day<'de, D: Deserializer<'de>>(from: D) -> Result<NaiveDate, D::Error> {
    String::deserialize(from)?.parse().map_err(de::Error::custom)
}

fn exact<'de, D: Deserializer<'de>>(from: D) -> Result<Decimal, D::Error> {
    let text = String::deserialize(from)?;
    Decimal::parse(&text).ok_or_else(|| de::Error::custom("a decimal number is expected"))
}

impl From<Instrument> for Paper {
    fn from(one: Instrument) -> Self {
        Self {
            id: one.id,
            kind: match one.kind {
                InstrumentKind::Certificate => Kind::Certificate,
                InstrumentKind::Contract => Kind::Contract,
            },
            mwh: one.energy.mwh(),
            from: one.from,
            to: one.to,
            market: one.market,
            source: one.source,
            factor: one.factor,
            fate: match one.fate {
                Fate::Cancelled { on, beneficiary } => Became::Cancelled { on, beneficiary },
                Fate::Held => Became::Held,
                Fate::Sold => Became::Sold,
            },
            own_site: one.own_site,
            bundled: one.bundled,
            carries_rate: one.carries_rate,
            only_claim: one.only_claim,
        }
    }
}

impl From<Paper> for Instrument {
    fn from(paper: Paper) -> Self {
        Self {
            id: paper.id,
            kind: match paper.kind {
                Kind::Certificate => InstrumentKind::Certificate,
                Kind::Contract => InstrumentKind::Contract,
            },
            energy: Energy::from_mwh(paper.mwh),
            from: paper.from,
            to: paper.to,
            market: paper.market,
            source: paper.source,
            factor: paper.factor,
            fate: match paper.fate {
                Became::Cancelled { on, beneficiary } => Fate::Cancelled { on, beneficiary },
                Became::Held => Fate::Held,
                Became::Sold => Fate::Sold,
            },
            own_site: paper.own_site,
            bundled: paper.bundled,
            carries_rate: paper.carries_rate,
            only_claim: paper.only_claim,
        }
    }
}
