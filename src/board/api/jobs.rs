//! Jobs with energy, cost and carbon.

use super::asked::{Asked, days};
use super::paging::{self, Paging, escaped};
use super::problem::{Problem, problem};
use crate::agent::with_basis;
use crate::board::history::from_books;
use crate::board::shown::Shown;
use crate::report::jobs_of::{JobRow, jobs_of};
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use utoipa::{IntoParams, ToSchema};

/// Days of one answer.
const MOST: i64 = 31;

/// Which jobs.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(super) struct Which {
    /// The first local day; that of `to` where it is left out.
    #[param(value_type = Option<String>, format = "date", example = "2026-03-01")]
    from: Option<String>,
    /// The last local day, included; today where it is left out. At most 31 days at a time.
    #[param(value_type = Option<String>, format = "date", example = "2026-03-02")]
    to: Option<String>,
    /// How many items; 100 where it is left out.
    #[param(value_type = Option<u32>, minimum = 1, maximum = 500)]
    limit: Option<String>,
    /// The items after the one with this `id`.
    after: Option<String>,
}

/// A run of a job.
#[derive(Serialize, ToSchema)]
pub(super) struct Run {
    /// Identity of the run.
    id: String,
    /// The job; a code where the plant shows no names.
    job: String,
    press: String,
    /// When it began, with its make-ready, ISO 8601 with offset.
    start: String,
    /// When it ended; null while it runs.
    end: Option<String>,
    /// Energy, exact.
    energy_kwh: String,
    /// Its cost by the bands of its time, in the plant's currency, exact; null without a tariff.
    cost: Option<String>,
    /// Location-based, exact; null without a factor.
    carbon_kg: Option<String>,
}

/// A page of runs.
#[derive(Serialize, ToSchema)]
#[allow(dead_code, reason = "the document describes the page by it")]
pub(super) struct RunPage {
    items: Vec<Run>,
    /// The address of the next page; null on the last.
    next: Option<String>,
}

/// Runs of jobs with energy, cost and carbon, by press and start.
#[utoipa::path(get, path = "/api/v1/jobs", tag = "energy", params(Which), responses(
    (status = 200, description = "A page of runs", body = RunPage, headers(("etag" = String, description = "Tag of the content"))),
    (status = 400, description = "The query cannot be used", body = Problem, content_type = "application/problem+json"),
    (status = 503, description = "The store cannot be read", body = Problem, content_type = "application/problem+json")
))]
pub(super) async fn jobs(State(shown): State<Arc<Shown>>, Asked(which): Asked<Which>) -> Result<Response, Response> {
    let today = shown.of.configuration.plant.zone.date(shown.of.clock.now());
    let (from, to) = days(which.from.as_deref(), which.to.as_deref(), today, MOST)?;
    let rows = from_books(shown.clone(), format!("jobs {from} {to}"), move |books, shown, _| {
        with_basis(books, &shown.of.configuration, (from, to), |basis| jobs_of(basis).jobs)
    });
    let rows = rows
        .await
        .ok_or_else(|| problem(StatusCode::SERVICE_UNAVAILABLE, "The store cannot be read; the log says why."))?;
    let items: Vec<Run> = rows.into_iter().map(|row| run(&shown, row)).collect();
    let query = format!("from={}&to={}&", escaped(&from.to_string()), escaped(&to.to_string()));
    let paging = Paging { limit: which.limit, after: which.after };
    paging::page(items, |item| &item.id, &paging, "/api/v1/jobs", &query)
}

fn run(shown: &Shown, row: JobRow) -> Run {
    // An identity may hold the name of the job.
    let id = if shown.jobs.are_coded() { shown.jobs.called(&row.run).into_owned() } else { row.run };
    Run {
        id,
        job: shown.jobs.called(&row.job).into_owned(),
        press: row.press,
        start: row.start,
        end: row.end,
        energy_kwh: row.energy_kwh,
        cost: row.cost,
        carbon_kg: row.co2e_kg,
    }
}
