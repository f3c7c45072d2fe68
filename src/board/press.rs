//! A press: what it does now, what it used day by day, its jobs.

use super::access::Visitor;
use super::findings::{Line, lines};
use super::hall::{PressRow, press_row};
use super::history::{energy_by_day, from_books, last_days};
use super::page::Page;
use super::present::short;
use super::shown::Shown;
use crate::agent::{Books, BooksError};
use crate::names::PressId;
use crate::time::{At, HOUR, Period};
use crate::units::{Energy, fixed};
use axum::extract::{Extension, Path, State};
use axum::response::Response;
use serde::Serialize;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Days that are shown.
const DAYS: u64 = 28;
/// Jobs that are listed.
const JOBS: usize = 20;

#[derive(Serialize)]
struct Shows {
    press: PressRow,
    findings: Vec<Line>,
    history: Option<History>,
}

/// What a press or a station used.
#[derive(Clone, Serialize)]
pub(super) struct History {
    pub(super) days: String,
    pub(super) key: Vec<(&'static str, String)>,
    pub(super) jobs: Vec<JobLine>,
}

/// A run in a list.
#[derive(Clone, Serialize)]
pub(super) struct JobLine {
    href: String,
    name: String,
    product: Option<String>,
    start: String,
    end: String,
    length: String,
    kwh: String,
}

/// `GET /press/{press}`.
pub(super) async fn page(
    State(shown): State<Arc<Shown>>,
    Extension(visitor): Extension<Visitor>,
    Path(id): Path<String>,
) -> Response {
    let (now, at) = (shown.of.live.now(), shown.of.clock.now());
    let id = PressId::from(id.as_str());
    let Some(press) = now.plant.press(&id) else { return shown.missing(&visitor, "such press") };
    let of_press = |kept: &crate::watch::Kept| {
        kept.finding.until.is_none()
            && kept.finding.station.as_ref().is_some_and(|s| press.stations.iter().any(|p| p.id == *s))
    };
    let wanted = id.clone();
    let history =
        from_books(shown.clone(), format!("press {id}"), move |books, shown, now| history(books, shown, now, &wanted))
            .await;
    let shows = Shows {
        press: press_row(&shown, &now, press, at),
        findings: lines(&now, now.findings().into_iter().filter(of_press).collect(), at),
        history,
    };
    let title = short(&press.name);
    let page = Page { template: "press.html", title: &title, under: "/", reload: Some(60) };
    shown.page(&visitor, &page, &shows)
}

fn history(books: &Books, shown: &Shown, now: At, press: &PressId) -> Result<History, BooksError> {
    let ledgers = last_days(books, now, DAYS)?;
    let wanted = |slice: &crate::attribute::Slice| slice.owner.press.as_ref() == Some(press);
    let (days, key) = energy_by_day("Energy of the press by day", &ledgers, wanted);
    let mut energy: BTreeMap<&str, Energy> = BTreeMap::new();
    for slice in ledgers.iter().flat_map(|day| &day.value.slices).filter(|slice| wanted(slice)) {
        if let (Some(run), Some(used)) = (&slice.owner.run, slice.usage.energy) {
            *energy.entry(run.as_str()).or_default() += used;
        }
    }
    let zone = books.plant().zone;
    let mut runs = books.runs(Period::new(now - DAYS as i64 * 24 * HOUR, now));
    runs.retain(|run| run.press == *press);
    runs.sort_by_key(|run| std::cmp::Reverse(run.start));
    let line = |run: &crate::readings::Run| {
        let called = shown.jobs.called(&run.job);
        let shown_at = |at: At| zone.local(at).format("%a %-d %b, %H:%M").to_string();
        let kwh = energy.get(run.id.as_str());
        JobLine {
            href: format!("/job/{}", super::findings::segments(&called).replace('/', "%2F")),
            name: short(&called),
            // What was printed may name the customer as well.
            product: run.product.as_deref().filter(|_| !shown.jobs.are_coded()).map(short),
            start: shown_at(run.start),
            end: run.end.map_or_else(|| "runs".into(), shown_at),
            length: run.good_mm.map_or_else(|| "–".into(), |mm| fixed(i128::from(mm), 3, 0)),
            kwh: kwh.map_or_else(|| "–".into(), |kwh| fixed(kwh.mwh().into(), 6, 1)),
        }
    };
    Ok(History { days, key, jobs: runs.iter().take(JOBS).map(line).collect() })
}
