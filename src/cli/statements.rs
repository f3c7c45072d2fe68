//! The one path from the store to the statements of a plant: what a report, the terminal and a board show.

use super::Failure;
use super::baseline::{differs, in_force};
use crate::agent::{self, Books};
use crate::config::{Configuration, Use};
use crate::names::{LoadId, PressId};
use crate::plant::Press;
use crate::store::{Access, Store};
use crate::time::{At, Period};
use crate::verify::baseline::{Frozen, Kind, Refused};
use crate::verify::statement::{Basis, Evidence, SharedSaving, Statements, statement};
use crate::verify::{Day, Judged, Scope};
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
    let scopes = |all: Vec<Judged>| -> Vec<(Scope, Period)> {
        let scopes = all.iter().filter_map(|judged| Scope::judging(plant, judged));
        let converted = scopes.filter_map(|scope| Some((scope.clone(), scope.implementation?)));
        converted.filter(|(_, conversion)| zone.date(conversion.end) <= last).collect()
    };
    let named = |press: &&Press| asked.press.as_ref().is_none_or(|named| press.id == *named);
    let presses = scopes(plant.presses.iter().filter(named).map(|press| Judged::Press(press.id.clone())).collect());
    let loads = scopes(plant.loads.iter().map(|load| Judged::Load(load.id.clone())).collect());
    let from_store = FromStore { store: &store, books, basis: &basis, asked: (asked.first, last), now };
    let (mut found, mut missing) = (Vec::new(), Vec::new());
    for (scope, conversion) in &presses {
        match from_store.judge(scope, *conversion, statement)? {
            Ok(statement) => found.push(statement),
            Err(why) => missing.extend(scope.judged.press().map(|press| (press.clone(), why))),
        }
    }
    let (mut shared, mut open) = (Vec::new(), Vec::new());
    // Who asks for one press asks for none of what serves several.
    for (scope, conversion) in loads.iter().filter(|_| asked.press.is_none()) {
        let is_promised =
            |load: &LoadId| basis.promise.is_ok_and(|p| p.shared.iter().any(|change| change.load == *load));
        match (from_store.judge(scope, *conversion, SharedSaving::of)?, &scope.judged) {
            (Ok(saving), _) => shared.push(saving),
            (Err(why), Judged::Load(load)) if is_promised(load) => open.push((load.clone(), why)),
            _ => {}
        }
    }
    Ok((!presses.is_empty()).then(|| Statements::new(&basis, (found, missing), (shared, open))))
}

fn unpromised(configuration: &Configuration) -> &'static str {
    match configuration.is_without(Use::Promise) {
        true => "config/promise.toml cannot be used; inkwatt check names why",
        false => "there is no promise; write it into config/promise.toml",
    }
}

fn not_frozen(judged: &Judged) -> String {
    let name = judged.name();
    format!(
        "no baseline is frozen, so that nothing can be said of its saving; compare models with inkwatt baseline fit {name}, \
         then keep one with inkwatt baseline freeze {name}"
    )
}

/// Where the days of a statement come from.
struct FromStore<'a> {
    store: &'a Store,
    books: &'a Books,
    basis: &'a Basis<'a>,
    /// The first day asked for, and the last.
    asked: (Option<NaiveDate>, NaiveDate),
    now: At,
}

impl FromStore<'_> {
    /// The statement on one press or load with a frozen baseline, or what is missing for it.
    fn judge<T>(
        &self,
        scope: &Scope,
        conversion: Period,
        state: fn(&Basis<'_>, &Evidence<'_>) -> Result<T, Refused>,
    ) -> Result<Result<T, String>, Failure> {
        let (plant, zone) = (self.basis.plant, self.basis.plant.zone);
        let Some((frozen, hash)) = in_force(self.store, &scope.judged)? else {
            return Ok(Err(not_frozen(&scope.judged)));
        };
        let accepted = zone.date(conversion.end);
        let first = self.asked.0.unwrap_or(accepted).max(accepted);
        // Beyond its last whole day nothing is known, which is no day that was lost.
        let known = agent::extent(self.books, self.store, scope).map_err(Failure::unreachable)?;
        let last = self.asked.1;
        let last = known.map_or(last, |known| last.min(zone.date(known.end).pred_opt().unwrap_or(last)));
        let before = match before(self.books, scope, &frozen) {
            Some(scope) => self.observe(&scope, frozen.period)?,
            None => Vec::new(),
        };
        let is_changed = differs(&frozen, &before)?;
        let after = self.observe(scope, (first, last))?;
        let presses = scope.presses(plant);
        let runs = self.books.runs(zone.days(first, last)).into_iter().filter(|run| presses.contains(&run.press));
        let runs: Vec<_> = runs.collect();
        let evidence =
            Evidence { scope, frozen: &frozen, sha256: &hash, is_changed, before: &before, after: &after, runs: &runs };
        Ok(state(self.basis, &evidence).map_err(|why| why.to_string()))
    }

    fn observe(&self, scope: &Scope, days: (NaiveDate, NaiveDate)) -> Result<Vec<Day>, Failure> {
        let days = agent::observe(self.books, self.store, std::slice::from_ref(scope), days, self.now, |_| ());
        Ok(days.map_err(Failure::unreachable)?.pop().unwrap_or_default())
    }
}

/// Whose days the baseline's are; `None` where they are not in the ledger.
fn before(books: &Books, scope: &Scope, frozen: &Frozen) -> Option<Scope> {
    let is_in_ledger = !matches!(frozen.kind, Kind::Billed | Kind::Rated);
    frozen.kind.scope(books.plant(), scope).filter(|_| is_in_ledger)
}
