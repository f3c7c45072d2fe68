//! Energy by day, press, station, lamp and state.

use super::asked::{Asked, days};
use super::problem::{Problem, problem};
use crate::attribute::{Amount, PressState};
use crate::board::history::from_books;
use crate::board::present;
use crate::board::shown::Shown;
use crate::plant::LampKind;
use crate::time;
use crate::units::Energy;
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::Arc;
use utoipa::{IntoParams, ToSchema};

/// Days of one answer.
const MOST: i64 = 31;

/// Which days.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(super) struct Days {
    /// The first local day; that of `to` where it is left out.
    #[param(value_type = Option<String>, format = "date", example = "2026-03-01")]
    from: Option<String>,
    /// The last local day, included; today where it is left out. At most 31 days at a time.
    #[param(value_type = Option<String>, format = "date", example = "2026-03-02")]
    to: Option<String>,
}

/// Energy of some days. All items of a day together are what the meters at the top show.
#[derive(Serialize, ToSchema)]
pub(super) struct EnergyOfDays {
    /// The first local day.
    from: String,
    /// The last local day.
    to: String,
    items: Vec<Item>,
}

/// Energy of one kind on a day.
#[derive(Clone, Serialize, ToSchema)]
struct Item {
    /// The local day.
    day: String,
    /// The press; null where no press is charged.
    press: Option<String>,
    station: Option<String>,
    /// `arc` or `led`.
    lamp: Option<&'static str>,
    /// State of the press.
    press_state: Option<&'static str>,
    /// State of the lamp.
    lamp_state: Option<&'static str>,
    /// Energy, exact.
    energy_kwh: String,
    /// The part of it that is metered, not integrated or estimated, exact.
    metered_kwh: String,
}

/// Energy by day, press, station, lamp and state.
#[utoipa::path(get, path = "/api/v1/energy", tag = "energy", params(Days), responses(
    (status = 200, description = "Energy", body = EnergyOfDays, headers(("etag" = String, description = "Tag of the content"))),
    (status = 400, description = "The query cannot be used", body = Problem, content_type = "application/problem+json"),
    (status = 503, description = "The store cannot be read", body = Problem, content_type = "application/problem+json")
))]
pub(super) async fn energy(State(shown): State<Arc<Shown>>, Asked(asked): Asked<Days>) -> Result<Response, Response> {
    let today = shown.of.configuration.plant.zone.date(shown.of.clock.now());
    let (from, to) = days(asked.from.as_deref(), asked.to.as_deref(), today, MOST)?;
    let items = from_books(shown, format!("energy {from} {to}"), move |books, _, _| {
        let ledgers = books.ledgers(&time::days(from, to).collect::<Vec<_>>())?;
        Ok(ledgers.iter().flat_map(|day| items(&day.value)).collect::<Vec<_>>())
    });
    let items = items
        .await
        .ok_or_else(|| problem(StatusCode::SERVICE_UNAVAILABLE, "The store cannot be read; the log says why."))?;
    Ok(Json(EnergyOfDays { from: from.to_string(), to: to.to_string(), items }).into_response())
}

fn items(day: &crate::attribute::DayLedger) -> Vec<Item> {
    let mut sums = BTreeMap::new();
    for slice in &day.slices {
        let (Some(energy), owner) = (slice.usage.energy, &slice.owner) else { continue };
        let key = (&owner.press, &owner.station, owner.lamp, owner.press_state, owner.lamp_state);
        let (all, metered) = sums.entry(key).or_insert((Energy::ZERO, Energy::ZERO));
        *all += energy;
        if slice.usage.amount == Amount::Metered {
            *metered += energy;
        }
    }
    let mut items = Vec::with_capacity(sums.len());
    for ((press, station, lamp, press_state, lamp_state), (all, metered)) in sums {
        items.push(Item {
            day: day.date.to_string(),
            press: press.as_ref().map(ToString::to_string),
            station: station.as_ref().map(ToString::to_string),
            lamp: lamp.map(LampKind::word),
            press_state: press_state.map(press_word),
            lamp_state: lamp_state.map(present::class),
            energy_kwh: all.to_string(),
            metered_kwh: metered.to_string(),
        });
    }
    items
}

const fn press_word(state: PressState) -> &'static str {
    match state {
        PressState::Idle => "idle",
        PressState::MakeReady => "make-ready",
        PressState::Running => "running",
        PressState::Stopped => "stopped",
        PressState::NoJob => "no-job",
    }
}
