//! Contractual instruments: certificates and contracts that say with which emissions energy was generated.

use crate::units::{Decimal, Energy};
use chrono::NaiveDate;

/// A certificate, a range of them, or the energy of a contract in a period.
#[derive(Clone, Debug, PartialEq)]
pub struct Instrument {
    /// Number of the certificate or range, or name of the contract with its period.
    pub id: String,
    /// What it is.
    pub kind: InstrumentKind,
    /// Energy that it stands for.
    pub energy: Energy,
    /// First day of generation: its vintage begins.
    pub from: NaiveDate,
    /// Last day of generation.
    pub to: NaiveDate,
    /// Market in which it was issued, such as `GB`.
    pub market: String,
    /// What the energy was generated from, such as `wind`.
    pub source: String,
    /// kgCO2e for a kWh that it claims.
    pub factor: Decimal,
    /// What became of it.
    pub fate: Fate,
    /// Whether the plant itself generated the energy.
    pub own_site: bool,
    /// Whether it came with the electricity; `None` where nobody said.
    pub bundled: Option<bool>,
    /// Whether it carries the claim to the emission rate of the generation.
    pub carries_rate: Option<bool>,
    /// Whether no other instrument carries the same claim.
    pub only_claim: Option<bool>,
}

/// What an instrument is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum InstrumentKind {
    /// A tracked certificate: guarantee of origin, renewable energy certificate.
    Certificate,
    /// A contract with a generator or supplier about certain energy.
    Contract,
}

impl InstrumentKind {
    /// All kinds, best first in the hierarchy of the market-based method.
    pub const ALL: [Self; 2] = [Self::Certificate, Self::Contract];

    /// Its word in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Certificate => "certificate",
            Self::Contract => "contract",
        }
    }
}

/// What became of an instrument.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fate {
    /// Taken out of the market for somebody: cancelled, retired, surrendered.
    Cancelled {
        /// When.
        on: NaiveDate,
        /// For whom, as the registry says; empty where it does not.
        beneficiary: String,
    },
    /// Not used yet.
    Held,
    /// Sold on: its claim is somebody else's.
    Sold,
}

impl Fate {
    /// Its word in files.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Cancelled { .. } => "cancelled",
            Self::Held => "held",
            Self::Sold => "sold",
        }
    }
}
