//! `inkwatt close --true-up`: once a year the carbon of its closed months is stated anew under the factors that became final.

use super::{ToClose, chain, documents, kept, kept_texts, progress, refused, whole};
use crate::agent::{Books, certificates, seen};
use crate::attribute::{DaySums, RULES};
use crate::carbon::{FactorSet, Method, Status};
use crate::cli::Failure;
use crate::closing::{Closing, Figures, all_facts, carried, difference, in_force, is_final, sum};
use crate::config::{ConfigText, Configuration, load_kept};
use crate::report::words;
use crate::store::{Access, Store};
use crate::time::{At, Month};
use anyhow::anyhow;
use chrono::{Datelike, NaiveDate};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// Hashes of texts by path, and of certificates by name.
type Hashes = BTreeMap<String, String>;

/// States the carbon of every closed month of a year anew and writes that down; kWh and money stay as they were closed. Gives
/// the closings that were added.
///
/// # Errors
/// A year that is not closed to its end, factors that are missing or provisional, months of which data came late, a year that
/// was trued up and comes out the same, a store that cannot be read or written.
pub fn true_up(
    plant: &Path,
    configuration: &Configuration,
    year: i32,
    asked: &ToClose,
) -> Result<Vec<Closing>, Failure> {
    let mut store = Store::open(plant, configuration.plant.zone, Access::Command).map_err(Failure::unreachable)?;
    let all = chain(&store)?;
    let closed: BTreeMap<Month, &Closing> =
        in_force(&all).into_iter().filter(|(month, _)| month.year == year).collect();
    let books = Books::open(plant, configuration, asked.now).map_err(Failure::unreachable)?;
    is_over(&books, configuration, year, &closed, asked.now)?;
    are_final(configuration, year, &closed)?;
    let again = closed.values().find(|one| one.true_up).map(|one| configuration.plant.zone.date(At(one.at)));
    let texts = documents(&mut store, configuration)?;
    let elsewhere = of_other_years(&books, year);
    let mut certificates = certificates(&books);
    certificates.retain(|name, _| !elsewhere.contains(name));
    let mut added = Vec::new();
    for (month, former) in closed {
        let documents: Hashes = former
            .documents
            .iter()
            .filter(|(path, _)| !is_factor(path) && !is_paper(path))
            .chain(texts.iter().filter(|(path, _)| is_factor(path)))
            .chain(&certificates)
            .map(|(path, hash)| (path.clone(), hash.clone()))
            .collect();
        if let Some(closing) = trued_up(plant, configuration, (&all, former), (documents, &elsewhere), (month, asked))?
        {
            added.push(closing);
        }
    }
    match (again, added.is_empty()) {
        (Some(on), true) => return Err(refused(format!("{year} was trued up on {on}, and nothing changed since"))),
        (Some(on), false) if asked.why.is_empty() => {
            return Err(refused(format!("{year} was trued up on {on}; to do so again takes a reason: --why TEXT")));
        }
        _ => {}
    }
    for closing in &mut added {
        let chain = store.closings().map_err(Failure::unreachable)?;
        closing.previous = chain.last().map_or_else(String::new, |last| last.hash.clone());
        if !store.close(closing).map_err(Failure::unreachable)? {
            return Err(refused(
                "another month was closed in the meantime; try again: what is trued up stays so".into(),
            ));
        }
    }
    Ok(added)
}

/// Refuses a year that is not over, and one with a month that has readings and is not closed.
fn is_over(
    books: &Books,
    configuration: &Configuration,
    year: i32,
    closed: &BTreeMap<Month, &Closing>,
    now: At,
) -> Result<(), Failure> {
    let Some(first) = closed.keys().next() else { return Err(refused(format!("no month of {year} is closed"))) };
    if configuration.plant.zone.date(now).year() <= year {
        return Err(refused(format!("{year} is not over; its factors become final after it")));
    }
    for month in (first.month..=12).map(|month| Month { year, month }).filter(|month| !closed.contains_key(month)) {
        let dates: Vec<NaiveDate> = month.days().collect();
        if books.sums(&dates).map_err(Failure::unreachable)?.iter().any(DaySums::is_known) {
            return Err(refused(format!("{month} has readings and is not closed\nhelp: inkwatt close {month}")));
        }
    }
    Ok(())
}

/// Refuses factors that are missing or may still change.
fn are_final(configuration: &Configuration, year: i32, closed: &BTreeMap<Month, &Closing>) -> Result<(), Failure> {
    let (sets, grid) = (&configuration.factors, &configuration.plant.grid);
    let mut provisional = BTreeSet::new();
    for day in closed.keys().flat_map(|month| month.days()) {
        match FactorSet::on(sets, Method::Location, grid, day) {
            None => return Err(refused(format!("no factor set of grid \"{grid}\" holds on {day}"))),
            Some(k) if sets[k].status == Status::Provisional => {
                provisional.insert(format!("{}, {}", sets[k].publication, sets[k].version));
            }
            Some(_) => {}
        }
    }
    if provisional.is_empty() {
        return Ok(());
    }
    let named = provisional.into_iter().collect::<Vec<_>>().join("; ");
    Err(refused(format!(
        "the factors of {year} are provisional: {named}\nhelp: a file in config/factors/ with status = \"final\" takes the place of a \
         shipped set"
    )))
}

fn is_factor(path: &str) -> bool {
    path.contains("factors/")
}

fn is_paper(name: &str) -> bool {
    name.starts_with("certificate ")
}

/// The names of certificates and contracts on file that are of other years.
fn of_other_years(books: &Books, year: i32) -> BTreeSet<String> {
    let papers = books.instruments().into_iter().filter(|one| one.to.year() < year || one.from.year() > year);
    papers.map(|one| format!("certificate {}", one.id)).collect()
}

/// The factor sets of a month's days.
fn sets_of(configuration: &Configuration, month: Month) -> Vec<FactorSet> {
    let (sets, grid) = (&configuration.factors, &configuration.plant.grid);
    let places: BTreeSet<usize> =
        month.days().filter_map(|day| FactorSet::on(sets, Method::Location, grid, day)).collect();
    places.into_iter().map(|k| sets[k].clone()).collect()
}

/// Factor sets in words.
fn told(sets: &[FactorSet]) -> String {
    let of = |set: &FactorSet| {
        let FactorSet { publication, version, generation, status, .. } = set;
        format!("{publication}, version {version}, {generation} kg/kWh, {}", words::status(*status))
    };
    if sets.is_empty() { "no factor set".into() } else { sets.iter().map(of).collect::<Vec<_>>().join("; ") }
}

/// What the carbon of a month rests on otherwise than before: its factor sets, and certificates and contracts of the year.
fn grounds(before: (&[FactorSet], &Hashes), after: (&[FactorSet], &Hashes)) -> Vec<String> {
    let mut grounds = Vec::new();
    match (told(before.0), told(after.0)) {
        (then, now) if then != now => grounds.push(format!("{now} in the place of {then}")),
        (_, now) if before.0 != after.0 => grounds.push(format!("{now}, with other gases, losses or source")),
        _ => {}
    }
    let names: BTreeSet<&String> = before.1.keys().chain(after.1.keys()).filter(|name| is_paper(name)).collect();
    for name in names {
        grounds.extend(match (before.1.get(name), after.1.get(name)) {
            (None, Some(_)) => Some(format!("{name} is new")),
            (Some(_), None) => Some(format!("{name} is withdrawn")),
            (then, now) => (then != now).then(|| format!("{name} reads otherwise")),
        });
    }
    grounds
}

/// A month under the factors of today; `None` where it is trued up and comes out the same.
fn trued_up(
    plant: &Path,
    configuration: &Configuration,
    (all, former): (&[Closing], &Closing),
    (documents, elsewhere): (Hashes, &BTreeSet<String>),
    (month, asked): (Month, &ToClose),
) -> Result<Option<Closing>, Failure> {
    progress(month);
    let others = kept_texts(plant, former)?.into_iter().filter(|text| !is_factor(&text.path));
    let factors = configuration.texts.iter().filter(|text| is_factor(&text.path)).cloned();
    let texts: Vec<ConfigText> = others.chain(factors).collect();
    let under = load_kept(&texts, plant).map_err(|problems| {
        Failure::unusable(anyhow!("the texts with which {month} was closed cannot be used: {problems}"))
    })?;
    let books = Books::open(plant, &under, asked.now).map_err(Failure::unreachable)?;
    let found = whole(seen(books, &under, month).map_err(Failure::unreachable)?, month)?;
    // What later months carry of it is a line of theirs and no part of its own figures.
    let carried: Figures = carried(all, month).into_iter().map(|(id, by)| (id, -by)).collect();
    let figures = sum(&found.figures.unwrap_or_default(), &carried);
    let changed = difference(&figures, &former.figures);
    if let Some(id) = changed.keys().find(|id| is_final(id)) {
        return Err(refused(format!(
            "data of {month} came late and move {month}/{id}, which is final\nhelp: `inkwatt close --audit {month}` says what came; \
             a restatement or the next month takes account of it first"
        )));
    }
    let before = sets_of(&kept(plant, former)?, month);
    let former_papers = former.documents.iter().filter(|(name, _)| !elsewhere.contains(*name));
    let papers = former_papers.map(|(name, hash)| (name.clone(), hash.clone())).collect();
    let grounds = grounds((&before, &papers), (&sets_of(&under, month), &documents));
    if former.true_up && changed.is_empty() && grounds.is_empty() {
        return Ok(None);
    }
    let mut late = former.late.clone();
    if found.facts != former.facts {
        late.insert(former.month.clone(), all_facts(&found.facts));
    }
    let figures: Figures = former
        .figures
        .iter()
        .filter(|(id, _)| is_final(id))
        .chain(figures.iter().filter(|(id, _)| !is_final(id)))
        .map(|(id, count)| (id.clone(), *count))
        .collect();
    Ok(Some(Closing {
        sequence: former.sequence + 1,
        previous: String::new(),
        at: asked.now.0,
        by: asked.by.clone(),
        why: if asked.why.is_empty() { format!("true-up of {}", month.year) } else { asked.why.clone() },
        program: env!("CARGO_PKG_VERSION").into(),
        rules: RULES,
        zones: crate::time::ZONES.into(),
        documents,
        figures,
        late,
        difference: changed,
        true_up: true,
        grounds,
        ..former.clone()
    }))
}
