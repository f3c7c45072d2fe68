//! A job: its runs with energy, cost and carbon.

use super::access::Visitor;
use super::history::from_books;
use super::page::Page;
use super::present::short;
use super::shown::Shown;
use crate::agent::with_basis;
use crate::report::jobs_of::{JobStatement, statement};
use crate::time::{At, Month, Period};
use axum::extract::{Extension, Path, State};
use axum::response::Response;
use serde::Serialize;
use std::sync::Arc;

#[derive(Serialize)]
struct Shows {
    name: String,
    product: Option<String>,
    figures: Vec<(&'static str, String, String)>,
    runs: Vec<String>,
    notes: Vec<String>,
}

/// `GET /job/{job}`.
pub(super) async fn page(
    State(shown): State<Arc<Shown>>,
    Extension(visitor): Extension<Visitor>,
    Path(called): Path<String>,
) -> Response {
    let wanted = called.clone();
    let found = from_books(shown.clone(), format!("job {called}"), move |books, shown, _| {
        let zone = books.plant().zone;
        let all = books.runs(Period::new(At(0), At(i64::MAX)));
        let runs: Vec<_> = all.iter().filter(|run| shown.jobs.called(&run.job) == wanted).collect();
        let Some(job) = runs.first().map(|run| run.job.clone()) else { return Ok(None) };
        let first = runs.iter().map(|run| zone.date(run.start)).min().unwrap_or_default();
        let last = runs.iter().map(|run| zone.date(run.end.unwrap_or(run.start))).max().unwrap_or_default();
        let months = (Month::of(first).first(), Month::of(last).last());
        with_basis(books, &shown.of.configuration, months, |basis| statement(basis, &job))
    });
    let Some(found) = found.await.flatten() else {
        return shown.missing(&visitor, "such job that was charged with energy");
    };
    let page = Page { template: "job.html", title: "Job", under: "/", reload: None };
    shown.page(&visitor, &page, &shows(&shown, &found))
}

fn shows(shown: &Shown, found: &JobStatement) -> Shows {
    let (name, coded) = (shown.jobs.called(&found.job), shown.jobs.are_coded());
    let figure =
        |(label, figure): &(&'static str, crate::report::Figure)| (*label, figure.text.clone(), figure.unit.clone());
    Shows {
        name: short(&name),
        product: found.product.as_deref().filter(|_| !coded).map(short),
        figures: found.figures.iter().map(figure).collect(),
        // A run tells its press and times; of a job that has a code it would tell the name as well.
        runs: if coded { Vec::new() } else { found.runs.clone() },
        notes: found.inside.iter().chain(&found.outside).chain(&found.trust).cloned().collect(),
    }
}
