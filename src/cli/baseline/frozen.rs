//! Frozen baselines as texts of the store: written once, read back to the same numbers.

use super::asked::{Asked, Ground};
use super::rated::RatingsText;
use super::table;
use crate::acquire::files::sha256;
use crate::attribute::RULES;
use crate::cli::Failure;
use crate::cli::columns::hanging;
use crate::names::StationId;
use crate::stats::changepoint::Form as Bend;
use crate::stats::savings_uncertainty::Interval;
use crate::stats::{Column, Model, Term};
use crate::store::{Access, Store};
use crate::time::At;
use crate::verify::baseline::{Fitted, Form, Frozen, Kind, Outdoor, Points, Provenance, facts, lamps_alone};
use crate::verify::{Aside, Conditions, Day, Driver, Judged, Ratings, Scope};
use anyhow::{Context, anyhow};
use chrono::NaiveDate;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use serde_json::value::RawValue;
use std::collections::BTreeMap;
use std::path::Path;

/// The kind under which frozen baselines are kept.
const KIND: &str = "baseline";
/// The form of the text below.
const FORMAT: u32 = 1;

/// A number that comes back to the last bit: serde_json's own reader may be off by one of them.
#[derive(Clone, Copy, Debug)]
pub(super) struct Exact(pub f64);

impl Serialize for Exact {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_f64(self.0)
    }
}

impl<'de> Deserialize<'de> for Exact {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let raw = Box::<RawValue>::deserialize(deserializer)?;
        raw.get().parse().map(Self).map_err(serde::de::Error::custom)
    }
}

/// A day as `2026-03-01`.
#[derive(Clone, Copy, Debug)]
struct Date(NaiveDate);

impl Serialize for Date {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(&self.0)
    }
}

impl<'de> Deserialize<'de> for Date {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map(Self).map_err(serde::de::Error::custom)
    }
}

#[derive(Serialize, Deserialize)]
struct Text {
    format: u32,
    /// Empty where a load is judged.
    press: String,
    /// Absent where a press is judged.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    load: Option<String>,
    stations: Vec<String>,
    kind: String,
    other: Option<String>,
    is_measured: bool,
    first: Date,
    last: Date,
    interval: String,
    drivers: Vec<String>,
    outdoor: Option<(String, Vec<Exact>)>,
    terms: Vec<(String, Exact, Exact)>,
    constant: bool,
    inverse: Vec<Vec<Exact>>,
    rmse_kwh: Exact,
    mean_kwh: Exact,
    rho: Exact,
    cross: Vec<Vec<Exact>>,
    largest_leverage: Exact,
    boundary: BTreeMap<String, String>,
    conditions: BTreeMap<String, Exact>,
    frozen_at: String,
    author: String,
    reason: String,
    data_sha256: String,
    program: String,
    rules: u32,
    aside: BTreeMap<String, usize>,
    months: Exact,
    points: Vec<(Date, Exact, Exact, Vec<Exact>)>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    ratings: Option<RatingsText>,
}

/// Freezes a model: keeps it in the store and tells it.
pub fn freeze(
    plant: &Path,
    ground: &Ground,
    known: &Asked,
    fitted: &Fitted,
    by: Option<String>,
    why: &str,
) -> Result<(String, String), Failure> {
    let provenance = provenance(ground, by, why, hash(&known.days)?)?;
    let conditions = Conditions::of(ground.books.plant(), &known.days);
    let boundary = known.boundary.clone();
    let frozen = Frozen::new(&ground.scope, known.kind.clone(), known.period, fitted, boundary, conditions, provenance)
        .map_err(Failure::unusable)?;
    keep(plant, ground, &frozen, &table::one(fitted))
}

/// Keeps ratings in the place of a model and tells them.
pub fn freeze_rated(
    plant: &Path,
    ground: &Ground,
    ratings: Ratings,
    by: Option<String>,
    why: &str,
) -> Result<(String, String), Failure> {
    let data = sha256(ratings.rule().join("\n").as_bytes()).map_err(Failure::unreachable)?;
    let provenance = provenance(ground, by, why, data)?;
    // That there was a conversion was asked for by the ratings.
    let fitted = ground.scope.implementation.map_or(ground.now, |conversion| conversion.start - 1);
    let plant_now = ground.books.plant();
    let boundary = lamps_alone(plant_now, &ground.scope, ground.now).map_err(Failure::unusable)?;
    let frozen = Frozen::rated(&ground.scope, ratings, plant_now.zone.date(fitted), boundary, provenance);
    keep(plant, ground, &frozen, &terms(&frozen))
}

fn provenance(ground: &Ground, by: Option<String>, why: &str, data: String) -> Result<Provenance, Failure> {
    let author = crate::cli::record::author(by).map_err(Failure::Unusable)?;
    if why.trim().is_empty() {
        return Err(Failure::unusable(anyhow!("--why is empty; a frozen baseline needs its reason")));
    }
    let program = env!("CARGO_PKG_VERSION").into();
    Ok(Provenance { at: ground.now, author, reason: why.trim().into(), data, program, rules: RULES })
}

fn keep(plant: &Path, ground: &Ground, frozen: &Frozen, more: &str) -> Result<(String, String), Failure> {
    let text = serde_json::to_string_pretty(&Text::of(frozen)).map_err(Failure::unusable)?;
    let mut store = Store::open(plant, ground.books.plant().zone, Access::Command).map_err(Failure::unreachable)?;
    let key = ground.scope.judged.key();
    let before = store.document_in_force(KIND, &key).map_err(Failure::unreachable)?;
    store.keep_document(KIND, &key, &text).map_err(Failure::unreachable)?;
    let mut told = told(frozen, ground) + more;
    if before.is_some() {
        told.push_str("\nthe former baseline is kept beside it\n");
    }
    Ok((text, told))
}

/// The SHA-256 of the facts of days.
fn hash(days: &[Day]) -> Result<String, Failure> {
    sha256(facts(days).as_bytes()).map_err(Failure::unreachable)
}

/// The baseline in force of a press or load, with the hash of its text; `None` where none was frozen.
///
/// # Errors
/// Where the store cannot be read, or another program wrote what this one does not know.
pub fn in_force(store: &Store, judged: &Judged) -> Result<Option<(Frozen, String)>, Failure> {
    let Some(hash) = store.document_in_force(KIND, &judged.key()).map_err(Failure::unreachable)? else {
        return Ok(None);
    };
    let text = store.document(&hash).map_err(Failure::unreachable)?;
    let text = text
        .with_context(|| format!("the text of baseline {hash} is not in the store"))
        .map_err(Failure::Unreachable)?;
    let read: Text = serde_json::from_str(&text)
        .with_context(|| format!("the frozen baseline of {judged} cannot be read"))
        .map_err(Failure::Unreachable)?;
    let frozen = read.frozen().map_err(Failure::Unreachable)?;
    Ok(Some((frozen, hash)))
}

/// A baseline as it is shown.
pub struct Shown {
    pub told: String,
    pub json: String,
    /// Whether its facts are no longer those that it was frozen from.
    pub changed: bool,
}

/// Shows the baseline in force, and whether its facts still are what they were.
pub fn show(ground: &Ground) -> Result<Shown, Failure> {
    let judged = &ground.scope.judged;
    let (frozen, _) = in_force(&ground.store, judged)?.ok_or_else(|| {
        let name = judged.name();
        Failure::unusable(anyhow!("{judged} has no frozen baseline\nhelp: inkwatt baseline fit {name}, then freeze"))
    })?;
    let changed = has_changed(&frozen, ground)?;
    let json = serde_json::to_string_pretty(&Text::of(&frozen)).map_err(Failure::unusable)?;
    let mut told = told(&frozen, ground);
    told.push_str(&terms(&frozen));
    if changed {
        told.push_str(&format!(
            "\nits days have been corrected since: these numbers rest on what was known then\nhelp: inkwatt baseline fit {}, and freeze anew\n",
            judged.name()
        ));
    }
    Ok(Shown { told, json, changed })
}

/// Whether the facts of a metered baseline differ from those that it was frozen from.
fn has_changed(frozen: &Frozen, ground: &Ground) -> Result<bool, Failure> {
    if !frozen.kind.is_stored_whole() {
        return Ok(false);
    }
    let days = ground.days(&ground.scope_of(&frozen.kind)?, frozen.period)?;
    differs(frozen, &days)
}

/// Whether a baseline that rests on stored facts was frozen from others than these days have by now.
pub fn differs(frozen: &Frozen, days: &[Day]) -> Result<bool, Failure> {
    Ok(frozen.kind.is_stored_whole() && hash(days)? != frozen.provenance.data)
}

fn told(frozen: &Frozen, ground: &Ground) -> String {
    let from = &frozen.provenance;
    let days = match frozen.ratings {
        Some(_) => format!("lamps as fitted on {}", frozen.period.0),
        None => format!("{} to {}", frozen.period.0, frozen.period.1),
    };
    format!(
        "Baseline of {}, {}\n{days}, frozen {} by {}: {}\n",
        frozen.scope.judged,
        frozen.kind,
        ground.books.plant().zone.stamp(from.at),
        from.author,
        from.reason
    )
}

fn terms(frozen: &Frozen) -> String {
    if let Some(ratings) = &frozen.ratings {
        let lines = ratings.rule().iter().map(|rule| format!("- {}", hanging(rule, 2))).collect::<Vec<_>>().join("\n");
        return format!("\n{lines}\n");
    }
    let unit = frozen.form.interval.unit();
    let mut text =
        format!("\nkWh a {unit} = {}\n\n{:<22}{:>14}{:>14}\n", frozen.form, "term", "kWh a unit", "std error");
    for term in &frozen.model.terms {
        text.push_str(&format!("{:<22}{:>14.4}{:>14.4}\n", term.name, term.coefficient, term.se));
    }
    text.push_str(&format!(
        "\n{} points, RMSE {:.1} kWh, carry from one {unit} to the next {:.3}\nfacts {}\n",
        frozen.model.points, frozen.model.rmse, frozen.rho, frozen.provenance.data
    ));
    text
}

fn exact(values: &[f64]) -> Vec<Exact> {
    values.iter().copied().map(Exact).collect()
}

fn plain(values: Vec<Exact>) -> Vec<f64> {
    values.into_iter().map(|value| value.0).collect()
}

const CONDITIONS: [&str; 5] = ["km_per_hour", "hours_per_job", "stations_lit", "outside_h_week", "white_varnish"];

impl Text {
    fn of(frozen: &Frozen) -> Self {
        let (model, points) = (&frozen.model, &frozen.points);
        let c = &frozen.conditions;
        let conditions = [c.km_per_hour, c.hours_per_job, c.stations_lit, c.outside_h_week, c.white_varnish];
        let row = |k: usize| {
            let values = points.columns.iter().map(|column| Exact(column.values[k])).collect();
            (Date(points.dates[k]), Exact(points.days[k]), Exact(points.kwh[k]), values)
        };
        Self {
            format: FORMAT,
            press: frozen.scope.judged.press().map(ToString::to_string).unwrap_or_default(),
            load: frozen.scope.judged.press().is_none().then(|| frozen.scope.judged.name().to_owned()),
            stations: frozen.scope.stations.iter().map(ToString::to_string).collect(),
            kind: frozen.kind.word().into(),
            other: frozen.kind.other().map(String::from),
            is_measured: frozen.kind.is_measured(),
            first: Date(frozen.period.0),
            last: Date(frozen.period.1),
            interval: frozen.form.interval.word().into(),
            drivers: frozen.form.drivers.iter().map(|driver| driver.word().into()).collect(),
            outdoor: frozen.form.outdoor.as_ref().map(|outdoor| (outdoor.form.name().into(), exact(&outdoor.knots))),
            terms: model.terms.iter().map(|t| (t.name.clone(), Exact(t.coefficient), Exact(t.se))).collect(),
            constant: model.constant,
            inverse: model.inverse.iter().map(|row| exact(row)).collect(),
            rmse_kwh: Exact(model.rmse),
            mean_kwh: Exact(model.mean),
            rho: Exact(frozen.rho),
            cross: frozen.cross.iter().map(|row| exact(row)).collect(),
            largest_leverage: Exact(frozen.leverage),
            boundary: frozen.boundary.clone(),
            conditions: CONDITIONS
                .into_iter()
                .zip(conditions)
                .filter_map(|(name, value)| Some((name.to_owned(), Exact(value?))))
                .collect(),
            frozen_at: frozen.provenance.at.to_string(),
            author: frozen.provenance.author.clone(),
            reason: frozen.provenance.reason.clone(),
            data_sha256: frozen.provenance.data.clone(),
            program: frozen.provenance.program.clone(),
            rules: frozen.provenance.rules,
            aside: points.aside.iter().map(|(reason, days)| (reason.word().into(), *days)).collect(),
            months: Exact(points.months),
            points: (0..points.len()).map(row).collect(),
            ratings: frozen.ratings.as_ref().map(RatingsText::of),
        }
    }

    fn frozen(self) -> anyhow::Result<Frozen> {
        let judged = match &self.load {
            Some(load) => Judged::Load(load.as_str().into()),
            None => Judged::Press(self.press.as_str().into()),
        };
        let unknown =
            |what: &str| anyhow!("the frozen baseline of {judged} has an unknown {what}; a newer program wrote it");
        if self.format != FORMAT {
            return Err(unknown("format"));
        }
        let interval = Interval::parse(&self.interval).ok_or_else(|| unknown("interval"))?;
        let drivers: Option<Vec<Driver>> = self.drivers.iter().map(|word| Driver::parse(word)).collect();
        let drivers = drivers.ok_or_else(|| unknown("driver"))?;
        let kind = Kind::of(&self.kind, self.other.as_deref()).ok_or_else(|| unknown("kind"))?;
        let aside: Option<BTreeMap<Aside, usize>> =
            self.aside.iter().map(|(word, days)| Some((Aside::parse(word)?, *days))).collect();
        let aside = aside.ok_or_else(|| unknown("reason"))?;
        let at = At::parse(&self.frozen_at).ok_or_else(|| unknown("time"))?;
        let outdoor = match self.outdoor {
            None => None,
            Some((name, knots)) => {
                let form = Bend::ALL.into_iter().find(|form| form.name() == name);
                let form =
                    form.ok_or_else(|| anyhow!("the frozen baseline has an unknown form of temperature, {name}"))?;
                Some(Outdoor { form, knots: plain(knots) })
            }
        };
        let form = Form { interval, drivers, outdoor };
        let mut points = Points {
            dates: Vec::new(),
            days: Vec::new(),
            months: self.months.0,
            kwh: Vec::new(),
            columns: form.names().into_iter().map(|name| Column::new(name, Vec::new())).collect(),
            aside,
            interval,
        };
        for (date, days, kwh, values) in self.points {
            points.dates.push(date.0);
            points.days.push(days.0);
            points.kwh.push(kwh.0);
            points.columns.iter_mut().zip(values).for_each(|(column, value)| column.values.push(value.0));
        }
        let condition = |k: usize| self.conditions.get(CONDITIONS[k]).map(|value| value.0);
        let terms =
            self.terms.into_iter().map(|(name, coefficient, se)| Term { name, coefficient: coefficient.0, se: se.0 });
        Ok(Frozen {
            scope: Scope {
                judged,
                stations: self.stations.iter().map(|station| StationId::from(station.as_str())).collect(),
                implementation: None,
            },
            kind,
            period: (self.first.0, self.last.0),
            form,
            model: Model {
                terms: terms.collect(),
                constant: self.constant,
                inverse: self.inverse.into_iter().map(plain).collect(),
                points: points.len(),
                rmse: self.rmse_kwh.0,
                mean: self.mean_kwh.0,
            },
            rho: self.rho.0,
            cross: self.cross.into_iter().map(plain).collect(),
            leverage: self.largest_leverage.0,
            ratings: self.ratings.map(RatingsText::ratings),
            points,
            boundary: self.boundary,
            conditions: Conditions {
                km_per_hour: condition(0),
                hours_per_job: condition(1),
                stations_lit: condition(2),
                outside_h_week: condition(3),
                white_varnish: condition(4),
            },
            provenance: Provenance {
                at,
                author: self.author,
                reason: self.reason,
                data: self.data_sha256,
                program: self.program,
                rules: self.rules,
            },
        })
    }
}
