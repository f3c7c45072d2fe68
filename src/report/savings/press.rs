//! The part of one press: its bridge, its days, and everything a doubter may ask.

use super::first::{Bridges, banded, steps};
use super::{RowIds, name, pictures, proof};
use crate::plant::Plant;
use crate::report::month::grid::Table;
use crate::verify::savings::MadeAlike;
use crate::verify::statement::Statement;
use serde::Serialize;

/// The part of one press.
#[derive(Clone, Debug, Serialize)]
pub struct PressPart {
    /// Its anchor.
    pub id: String,
    /// What people call it.
    pub name: String,
    /// What the baseline is and who chose it, in words.
    pub baseline: Vec<String>,
    /// How its saving was found.
    pub found: &'static str,
    /// The bridge as a picture; `None` without a promise.
    pub bridge: Option<String>,
    /// The bridge in numbers.
    pub steps: Option<Table>,
    /// Why nothing is held against a promise, where that is so.
    pub unpromised: Option<String>,
    /// What operation and equipment were, promised and measured.
    pub factors: Option<Table>,
    /// Which of these could not be told apart, and why.
    pub merged: Vec<String>,
    /// Expected and actual energy over the days.
    pub expected: String,
    /// Residuals over the days.
    pub residuals: String,
    /// Avoided energy, normalised savings.
    pub saved: Table,
    /// Coefficients of the baseline.
    pub terms: Table,
    /// Limits of protocols, with their sources.
    pub criteria: Table,
    /// What must be known about the model.
    pub cautions: Vec<String>,
    /// Uncertainty by formula and confidence.
    pub uncertainty: Table,
    /// What it is made of.
    pub parts: Vec<String>,
    /// What the meters may be wrong by.
    pub meters: Table,
    /// Adjustments.
    pub adjustments: Table,
    /// Meters made alike by a measured correction of their boundary.
    pub alike: Vec<String>,
    /// Static factors, before and now.
    pub conditions: Table,
    /// Questions, open and answered.
    pub questions: Vec<(bool, String)>,
    /// Days that count on neither side.
    pub aside: Table,
    /// Days beyond what the baseline has seen.
    pub beyond: Vec<String>,
    /// Avoided energy by band.
    pub banded: Table,
    /// The year at other prices and hours.
    pub sensitivity: Option<Table>,
}

/// Lays out one press.
pub fn part(plant: &Plant, one: &Statement, ids: RowIds) -> PressPart {
    let against = one.against.as_ref();
    let (about, found) = (name(plant, &one.press), one.frozen.kind.found());
    let is_measured = one.frozen.kind.is_measured();
    PressPart {
        id: format!("savings-{}", one.press),
        baseline: proof::baseline(plant, one),
        found,
        bridge: against.ok().map(|against| pictures::bridge(&about, &against.energy, found)),
        steps: Bridges::of(one).map(|bridges| steps("The bridge in numbers", plant, &bridges, ids)),
        unpromised: against.err().cloned(),
        factors: against.ok().map(|against| proof::factors(against, is_measured)),
        merged: against.ok().map(proof::merged).unwrap_or_default(),
        expected: pictures::expected(one),
        residuals: pictures::residuals(one),
        saved: proof::saved(one),
        terms: proof::terms(one),
        criteria: proof::criteria(one),
        cautions: proof::cautions(one),
        uncertainty: proof::uncertainty(one),
        parts: proof::parts(one),
        meters: proof::meters(one),
        adjustments: proof::adjustments(one),
        alike: one.savings.alike.iter().map(MadeAlike::words).collect(),
        conditions: proof::conditions(one),
        questions: proof::questions(one),
        aside: proof::aside(one),
        beyond: proof::beyond(one),
        banded: banded(one, &plant.currency),
        sensitivity: against.ok().map(|against| proof::sensitivity(against, &plant.currency, is_measured)),
        name: about,
    }
}
