//! The hall as it is now.

use crate::agent;
use crate::attribute::LampState;
use crate::board::meters::silent;
use crate::board::present;
use crate::board::shown::Shown;
use crate::board::total::summed;
use crate::plant::Covers;
use crate::time::At;
use axum::Json;
use axum::extract::State;
use serde::Serialize;
use std::sync::Arc;
use utoipa::ToSchema;

/// The hall as it is now. What is not known, or not fresh, is null.
#[derive(Serialize, ToSchema)]
pub(super) struct Now {
    /// The plant's clock, ISO 8601 with offset.
    at: String,
    /// Draw of the plant; null unless every meter that should give it does.
    draw_w: Option<f64>,
    presses: Vec<Press>,
}

/// A press.
#[derive(Serialize, ToSchema)]
struct Press {
    id: String,
    draw_w: Option<f64>,
    /// Speed of the web.
    web_m_min: Option<f64>,
    /// The job that is on; a code where the plant shows no names.
    job: Option<String>,
    /// Energy that it was charged with since local midnight.
    today_kwh: Option<f64>,
    /// Its stations in web direction.
    stations: Vec<Station>,
}

/// A station.
#[derive(Serialize, ToSchema)]
struct Station {
    id: String,
    /// `off`, `warming`, `standby` or `curing`.
    state: Option<&'static str>,
    draw_w: Option<f64>,
    /// What it is expected to draw, while it cures.
    expected_w: Option<f64>,
}

/// The hall as it is now: draws, speeds, jobs, states.
#[utoipa::path(get, path = "/api/v1/now", tag = "plant", responses(
    (status = 200, description = "The hall", body = Now, headers(("etag" = String, description = "Tag of the content")))
))]
pub(super) async fn now(State(shown): State<Arc<Shown>>) -> Json<Now> {
    let (now, at) = (shown.of.live.now(), shown.of.clock.now());
    Json(Now {
        at: now.plant.zone.stamp(at),
        draw_w: summed(&now, &silent(&shown), at),
        presses: now.plant.presses.iter().map(|press| of_press(&shown, &now, press, at)).collect(),
    })
}

fn of_press(shown: &Shown, now: &agent::Now, press: &crate::plant::Press, at: At) -> Press {
    let main = now.plant.meters.iter().find(|meter| meter.covers == Covers::Press(press.id.clone()));
    let station = |station: &crate::plant::Station| Station {
        id: station.id.to_string(),
        state: present::state(now, station, at).map(word),
        draw_w: present::draw(now, station, at),
        expected_w: present::expected(now, station, at),
    };
    Press {
        id: press.id.to_string(),
        draw_w: main.and_then(|meter| present::watts(now, meter, at)),
        web_m_min: present::speed(now, press, at).map(|speed| speed as f64 / 1e3),
        job: now.runs.get(&press.id).map(|run| shown.jobs.called(&run.job).into_owned()),
        today_kwh: now.today.as_ref().and_then(|today| today.presses.get(&press.id)).map(|energy| energy.kwh()),
        stations: press.stations.iter().map(station).collect(),
    }
}

const fn word(state: LampState) -> &'static str {
    present::class(state)
}
