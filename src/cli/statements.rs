//! The one path from the store to the statements of a plant: what a report, the terminal and a board show.

use super::Failure;
use super::baseline::{differs, in_force};
use crate::agent::{self, Books};
use crate::config::{Configuration, Use};
use crate::names::PressId;
use crate::store::{Access, Store};
use crate::time::{At, Period};
use crate::verify::baseline::{Frozen, Kind};
use crate::verify::statement::{Basis, Evidence, Statement, Statements, statement};
use crate::verify::{Day, Scope};
use chrono::NaiveDate;
use std::path::Path;

/// What is asked for.
#[derive(Clone, Debug, Default)]
pub struct Asked {
    /// One press; all converted ones where none is named.
    pub press: Option<PressId>,
    /// The first day; the acceptance where none is named.
    pub first: Option<NaiveDate>,
    /// The last day.
    pub last: Option<NaiveDate>,
}

/// The statements of the presses that were converted by the last day, at `now`; `None` where there are none.
///
/// # Errors
/// Where the store cannot be read.
pub fn statements(
    folder: &Path,
    configuration: &Configuration,
    books: &Books,
    asked: &Asked,
    now: At,
) -> Result<Option<Statements>, Failure> {
    let (plant, zone) = (books.plant(), books.plant().zone);
    let store = Store::open(folder, zone, Access::Read).map_err(Failure::unreachable)?;
    let last = asked.last.unwrap_or_else(|| zone.date(now)).min(zone.date(now));
    let basis = Basis {
        plant,
        promise: configuration.promise.as_ref().ok_or_else(|| unpromised(configuration)),
        events: books.events(),
        tariffs: &configuration.tariffs,
        factors: &configuration.factors,
    };
    let named = |scope: &Scope| asked.press.as_ref().is_none_or(|press| scope.press == *press);
    let scopes: Vec<(Scope, Period)> = plant
        .presses
        .iter()
        .filter_map(|press| Scope::of(plant, &press.id))
        .filter(named)
        .filter_map(|scope| Some((scope.clone(), scope.implementation?)))
        .filter(|(_, conversion)| zone.date(conversion.end) <= last)
        .collect();
    let mut found = Vec::new();
    let mut missing = Vec::new();
    for (scope, conversion) in &scopes {
        let Some(frozen) = in_force(&store, &scope.press)? else {
            missing.push((scope.press.clone(), not_frozen(&scope.press)));
            continue;
        };
        let first = asked.first.unwrap_or_else(|| zone.date(conversion.end)).max(zone.date(conversion.end));
        // Beyond its last whole day nothing is known, which is no day that was lost.
        let known = agent::extent(books, &store, scope).map_err(Failure::unreachable)?;
        let last = known.map_or(last, |known| last.min(zone.date(known.end).pred_opt().unwrap_or(last)));
        match one(&store, books, &basis, (scope, &frozen), (first, last), now)? {
            Ok(statement) => found.push(statement),
            Err(why) => missing.push((scope.press.clone(), why)),
        }
    }
    Ok((!scopes.is_empty()).then(|| Statements::new(&basis, found, missing)))
}

fn unpromised(configuration: &Configuration) -> &'static str {
    match configuration.is_without(Use::Promise) {
        true => "config/promise.toml cannot be used; inkwatt check names why",
        false => "there is no promise; write it into config/promise.toml",
    }
}

fn not_frozen(press: &PressId) -> String {
    format!(
        "no baseline is frozen, so that nothing can be said of its saving; compare models with inkwatt baseline fit {press}, \
         then keep one with inkwatt baseline freeze {press}"
    )
}

/// The statement on one press with a frozen baseline, or what is missing for it.
fn one(
    store: &Store,
    books: &Books,
    basis: &Basis<'_>,
    (scope, frozen): (&Scope, &Frozen),
    (first, last): (NaiveDate, NaiveDate),
    now: At,
) -> Result<Result<Statement, String>, Failure> {
    let press = &scope.press;
    let hash = store.document_in_force("baseline", press.as_str()).map_err(Failure::unreachable)?.unwrap_or_default();
    let observe = |scope: &Scope, days: (NaiveDate, NaiveDate)| -> Result<Vec<Day>, Failure> {
        let days = agent::observe(books, store, std::slice::from_ref(scope), days, now, |_| ());
        Ok(days.map_err(Failure::unreachable)?.pop().unwrap_or_default())
    };
    let before = match before(books, scope, frozen) {
        Some(scope) => observe(&scope, frozen.period)?,
        None => Vec::new(),
    };
    let is_changed = differs(frozen, &before)?;
    let after = observe(scope, (first, last))?;
    let zone = basis.plant.zone;
    let span = zone.days(first, last);
    let runs: Vec<_> = books.runs(span).into_iter().filter(|run| run.press == *press).collect();
    let evidence = Evidence { scope, frozen, sha256: &hash, is_changed, before: &before, after: &after, runs: &runs };
    Ok(statement(basis, &evidence).map_err(|why| why.to_string()))
}

/// Whose days the baseline's are; `None` where they are not in the ledger.
fn before(books: &Books, scope: &Scope, frozen: &Frozen) -> Option<Scope> {
    let is_in_ledger = !matches!(frozen.kind, Kind::Billed | Kind::Rated);
    frozen.kind.scope(books.plant(), scope).filter(|_| is_in_ledger)
}
