//! `inkwatt close`: freezes a month, restates it, audits closed months.

mod audit;
mod text;
mod true_up;

pub use audit::{Audit, Audited, audit_months};
pub use true_up::true_up;

use super::record::author;
use super::{Ended, Failure, Outcome, configuration, say};
use crate::acquire::Clock;
use crate::agent::{Books, Seen, certificates, seen};
use crate::attribute::{DaySums, RULES};
use crate::closing::{Closing, Figures, Late, all_facts, broken, difference, in_force, is_settled, late, sha256};
use crate::config::{ConfigText, Configuration, Use, load_kept};
use crate::store::{Access, Store};
use crate::time::{At, Month, Zone};
use anyhow::anyhow;
use std::collections::BTreeMap;
use std::io::{self, IsTerminal};
use std::path::Path;

/// Arguments of the command.
#[derive(clap::Args)]
#[command(after_help = "Examples:
  inkwatt close                                        lists the closed months
  inkwatt close 2026-03 --by anna                      freezes March: kWh and money final, carbon provisional
  inkwatt close --audit                                whether closed months still come out of the facts
  inkwatt close --restate 2026-03 --by anna --why \"meter m2 was 250/5\"
  inkwatt close --true-up 2026 --by anna               the carbon of 2026 under the factors that became final
A closed month is never altered. What comes late is a line of the next month up to 0.5 % of the month's kWh, above it the
month is to be restated; config/plant.toml sets the limit, and how long a month stays open. Once a year, when its factors are
final, the true-up states the carbon of its months anew; kWh and money stay as they were closed. The audit ends with 1 where
facts were changed or damaged, where figures come out otherwise, or where the chain of closings is broken.")]
pub struct Arguments {
    /// The month to close, to restate or to audit, such as 2026-03; none lists the closed months.
    #[arg(value_name = "YYYY-MM", value_parser = super::report::month, group = "closes")]
    month: Option<Month>,
    /// Audits the month, or every closed month where none is named.
    #[arg(long, conflicts_with_all = ["restate", "why", "by"])]
    audit: bool,
    /// Closes a closed month anew, as it is known now; the former closing is kept.
    #[arg(long, requires = "why", requires = "month")]
    restate: bool,
    /// States the carbon of the closed months of a year anew, under the factors of today.
    #[arg(long, value_name = "YYYY", group = "closes", conflicts_with_all = ["audit", "restate"])]
    true_up: Option<i32>,
    /// Why.
    #[arg(long, value_name = "TEXT", requires = "closes")]
    why: Option<String>,
    /// Who closes it; the login name if absent.
    #[arg(long, value_name = "NAME", requires = "closes")]
    by: Option<String>,
    /// Prints JSON.
    #[arg(long)]
    json: bool,
}

/// Runs the command on a plant folder.
pub fn run(plant: &Path, arguments: &Arguments) -> Ended {
    let configuration = configuration(plant, Use::Pricing)?;
    let now = Clock::start(0).now();
    if arguments.audit {
        return audit::run(plant, &configuration, arguments.month, now, arguments.json);
    }
    let why = arguments.why.as_deref().unwrap_or_default().trim();
    let by = || author(arguments.by.clone()).map_err(Failure::Unusable);
    let text = match (arguments.month, arguments.true_up) {
        (_, Some(year)) => {
            let month = Month { year, month: 12 };
            let asked = ToClose { month, restate: true, by: by()?, why: why.into(), now };
            text::trued_up(&configuration, year, &true_up(plant, &configuration, year, &asked)?, arguments.json)?
        }
        (None, None) => {
            let store = Store::open(plant, configuration.plant.zone, Access::Read).map_err(Failure::unreachable)?;
            text::list(&configuration, &chain(&store)?, arguments.json)?
        }
        (Some(month), None) => {
            if arguments.restate && why.is_empty() {
                return Err(refused("--why is empty; a restatement needs its reason".into()));
            }
            let asked = ToClose { month, restate: arguments.restate, by: by()?, why: why.into(), now };
            let closing = close_month(plant, &configuration, &asked)?;
            text::closed(&configuration, &closing, arguments.json)?
        }
    };
    say(&text);
    Ok(Outcome::Done)
}

/// What is to be closed, by whom, why and when.
#[derive(Clone, Debug)]
pub struct ToClose {
    /// The month.
    pub month: Month,
    /// Whether it is closed already and to be restated.
    pub restate: bool,
    /// Who says so.
    pub by: String,
    /// Why.
    pub why: String,
    /// When.
    pub now: At,
}

/// Closes or restates a month and writes that down.
///
/// # Errors
/// A month that is not to be closed, facts that are damaged, a store that cannot be read or written.
pub fn close_month(plant: &Path, configuration: &Configuration, asked: &ToClose) -> Result<Closing, Failure> {
    let mut store = Store::open(plant, configuration.plant.zone, Access::Command).map_err(Failure::unreachable)?;
    let all = chain(&store)?;
    let books = Books::open(plant, configuration, asked.now).map_err(Failure::unreachable)?;
    let former = in_force(&all).get(&asked.month).copied();
    match (former, asked.restate) {
        (Some(former), false) => {
            let on = configuration.plant.zone.date(At(former.at));
            return Err(refused(format!(
                "{0} was closed on {on} and is not altered\nhelp: `inkwatt close --restate {0} --why TEXT` closes it anew and keeps both",
                asked.month
            )));
        }
        (None, true) => {
            return Err(refused(format!("{} is not closed, so that there is nothing to restate", asked.month)));
        }
        (None, false) => in_turn(&books, configuration, &all, asked)?,
        (Some(_), true) => {}
    }
    progress(asked.month);
    let certificates = certificates(&books);
    let found = whole(seen(books, configuration, asked.month).map_err(Failure::unreachable)?, asked.month)?;
    let figures = found
        .figures
        .ok_or_else(|| refused(format!("no energy is known in {}, so that there is nothing to close", asked.month)))?;
    let (carried, seen_late) = match former {
        Some(former) => (former.carried.clone(), former.late.clone()),
        None => carry(plant, configuration, &all, asked.now)?,
    };
    let changed = former.map_or_else(Figures::new, |former| difference(&figures, &former.figures));
    if former.is_some_and(|former| changed.is_empty() && former.facts == found.facts) {
        return Err(refused(format!("{} comes out as it was closed; there is nothing to restate", asked.month)));
    }
    let closing = Closing {
        month: asked.month.to_string(),
        sequence: former.map_or(0, |former| former.sequence + 1),
        previous: store
            .closings()
            .map_err(Failure::unreachable)?
            .last()
            .map_or_else(String::new, |last| last.hash.clone()),
        at: asked.now.0,
        by: asked.by.clone(),
        why: asked.why.clone(),
        program: env!("CARGO_PKG_VERSION").into(),
        rules: RULES,
        zones: crate::time::ZONES.into(),
        facts: found.facts,
        documents: documents(&mut store, configuration)?.into_iter().chain(certificates).collect(),
        figures,
        carried,
        late: seen_late,
        difference: changed,
        true_up: false,
        grounds: Vec::new(),
    };
    match store.close(&closing).map_err(Failure::unreachable)? {
        true => Ok(closing),
        false => Err(refused("another month was closed in the meantime; nothing was stored; try again".into())),
    }
}

fn refused(text: String) -> Failure {
    Failure::unusable(anyhow!(text))
}

fn progress(month: Month) {
    if io::stderr().is_terminal() {
        eprintln!("reading the facts of {month} ...");
    }
}

/// The closings, of a chain that is whole.
pub(super) fn chain(store: &Store) -> Result<Vec<Closing>, Failure> {
    let (closings, breaks) = broken(&store.closings().map_err(Failure::unreachable)?);
    match breaks.first() {
        None => Ok(closings),
        Some(first) => Err(Failure::unreachable(anyhow!(
            "{first}\nhelp: `inkwatt close --audit` names every break; a backup of store/facts.db has the chain as it was"
        ))),
    }
}

/// Refuses a month that is open still, and one before which another is to be closed.
fn in_turn(books: &Books, configuration: &Configuration, all: &[Closing], asked: &ToClose) -> Result<(), Failure> {
    let zone = configuration.plant.zone;
    let days = u64::from(configuration.closing.after_days);
    let earliest = asked.month.next().first() + chrono::Days::new(days);
    if zone.date(asked.now) < earliest {
        return Err(refused(format!(
            "{} can be closed from {earliest} on\nhelp: after_days under [closing] in config/plant.toml says how long a month stays open",
            asked.month
        )));
    }
    let Some(last) = in_force(all).keys().next_back().copied() else { return Ok(()) };
    if asked.month < last {
        return Err(refused(format!(
            "{last} is closed already: months are closed in their order, so {} cannot be",
            asked.month
        )));
    }
    let mut between = last.next();
    while between < asked.month {
        let dates: Vec<_> = between.days().collect();
        if books.sums(&dates).map_err(Failure::unreachable)?.iter().any(DaySums::is_known) {
            return Err(refused(format!("{between} comes first: it has readings and is not closed")));
        }
        between = between.next();
    }
    Ok(())
}

/// What was found of a month, none of whose facts is damaged.
fn whole(found: Seen, month: Month) -> Result<Seen, Failure> {
    match found.damaged.iter().next() {
        None => Ok(found),
        Some((about, fault)) => {
            Err(Failure::unreachable(anyhow!("{month} cannot be computed: {about} is damaged: {fault}")))
        }
    }
}

/// Lines of late data by month, and the hashes of the facts that they come out of.
type Lines = (BTreeMap<String, Figures>, BTreeMap<String, String>);

/// What came late of closed months and is little enough for a line of the next one.
fn carry(plant: &Path, configuration: &Configuration, all: &[Closing], now: At) -> Result<Lines, Failure> {
    let (mut lines, mut facts) = Lines::default();
    for (month, closed) in in_force(all) {
        progress(month);
        let found = whole(as_closed(plant, closed, now)?, month)?;
        let is_same = found.facts == closed.facts;
        let figures = if is_same { closed.figures.clone() } else { found.figures.unwrap_or_default() };
        match late(all, closed, &figures, configuration.closing) {
            Late::Restate(by) => {
                return Err(refused(format!(
                    "{month} comes first: {} more than {} % of its kWh\nhelp: inkwatt close --restate {month} --why TEXT",
                    text::came(&by),
                    configuration.closing.de_minimis_percent
                )));
            }
            Late::Line(by) => drop(lines.insert(month.to_string(), by)),
            Late::Nothing => {}
        }
        if !is_same && !is_settled(all, closed, &found.facts) {
            facts.insert(month.to_string(), all_facts(&found.facts));
        }
    }
    Ok((lines, facts))
}

/// What is found of a closed month today under the texts with which it was closed.
fn as_closed(plant: &Path, closed: &Closing, now: At) -> Result<Seen, Failure> {
    let month = closed.month().ok_or_else(|| refused(format!("the closing of {:?} is of no month", closed.month)))?;
    let configuration = kept(plant, closed)?;
    let books = Books::open(plant, &configuration, now).map_err(Failure::unreachable)?;
    seen(books, &configuration, month).map_err(Failure::unreachable)
}

/// The configuration with which a month was closed.
pub(super) fn kept(plant: &Path, closed: &Closing) -> Result<Configuration, Failure> {
    load_kept(&kept_texts(plant, closed)?, plant).map_err(|problems| {
        Failure::unusable(anyhow!("the texts with which {} was closed cannot be used: {problems}", closed.month))
    })
}

/// The texts with which a month was closed.
fn kept_texts(plant: &Path, closed: &Closing) -> Result<Vec<ConfigText>, Failure> {
    // Texts are found whatever the zone.
    let store = Store::open(plant, Zone::UTC, Access::Read).map_err(Failure::unreachable)?;
    let mut texts = Vec::new();
    for (path, hash) in closed.documents.iter().filter(|(path, _)| !path.starts_with("certificate ")) {
        let text = store.document(hash).map_err(Failure::unreachable)?;
        let Some(text) = text.filter(|text| sha256(text.as_bytes()) == *hash) else {
            let month = &closed.month;
            return Err(Failure::unreachable(anyhow!(
                "the text of {path} with which {month} was closed is damaged or gone; a backup of store/facts.db has it"
            )));
        };
        texts.push(ConfigText { path: path.clone(), text });
    }
    Ok(texts)
}

/// Keeps the texts in force to meter and to price, and gives their hashes by path.
fn documents(store: &mut Store, configuration: &Configuration) -> Result<BTreeMap<String, String>, Failure> {
    let mut all = BTreeMap::new();
    for ConfigText { path, text } in configuration.texts.iter().filter(|text| is_used(&text.path)) {
        let hash = store.keep_document("configuration", path, text).map_err(Failure::unreachable)?;
        all.insert(path.clone(), hash);
    }
    Ok(all)
}

/// What is promised and filed changes no figure of a month.
fn is_used(path: &str) -> bool {
    !path.ends_with("promise.toml") && !path.ends_with("filing.toml")
}
