//! The plant: presses with their stations, and meters.

use crate::board::shown::Shown;
use crate::plant::Covers;
use crate::time::At;
use axum::Json;
use axum::extract::State;
use serde::Serialize;
use std::sync::Arc;
use utoipa::ToSchema;

/// The plant as it is now.
#[derive(Serialize, ToSchema)]
pub(super) struct Plant {
    /// Its name.
    name: String,
    /// Its time zone, as the IANA database names it.
    zone: String,
    /// ISO 4217 code of its money.
    currency: String,
    /// Region of its grid.
    grid: String,
    /// The presses.
    presses: Vec<Press>,
    /// The measuring points.
    meters: Vec<Meter>,
}

/// A press.
#[derive(Serialize, ToSchema)]
struct Press {
    id: String,
    name: String,
    /// Its stations in web direction.
    stations: Vec<Station>,
}

/// A station.
#[derive(Serialize, ToSchema)]
struct Station {
    id: String,
    name: String,
    /// What it does.
    does: String,
    /// The lamp that is fitted; null where there is none, or it is not known.
    lamp: Option<Lamp>,
}

/// A lamp.
#[derive(Serialize, ToSchema)]
struct Lamp {
    id: String,
    /// `arc` or `led`.
    kind: String,
    rated_w: f64,
}

/// A measuring point.
#[derive(Serialize, ToSchema)]
struct Meter {
    id: String,
    name: String,
    /// What it measures: `site`, or the id of a press, a station or a load.
    covers: String,
    /// The meter above it; null at the top.
    below: Option<String>,
    /// Serial number of the device; null where there is none.
    serial: Option<String>,
}

/// The plant: presses, stations, lamps, meters.
#[utoipa::path(get, path = "/api/v1/plant", tag = "plant", responses(
    (status = 200, description = "The plant", body = Plant, headers(("etag" = String, description = "Tag of the content")))
))]
pub(super) async fn plant(State(shown): State<Arc<Shown>>) -> Json<Plant> {
    let (now, at) = (shown.of.live.now(), shown.of.clock.now());
    let plant = &now.plant;
    Json(Plant {
        name: plant.name.clone(),
        zone: plant.zone.0.name().into(),
        currency: plant.currency.clone(),
        grid: plant.grid.clone(),
        presses: plant.presses.iter().map(|press| of_press(plant, press, at)).collect(),
        meters: plant.meters.iter().map(|meter| of_meter(meter, at)).collect(),
    })
}

fn of_press(plant: &crate::plant::Plant, press: &crate::plant::Press, at: At) -> Press {
    let lamp = |station: &crate::plant::Station| {
        let lamp = plant.lamp(station.fitted.at(at)?.as_ref()?)?;
        Some(Lamp { id: lamp.id.to_string(), kind: lamp.kind.word().to_lowercase(), rated_w: lamp.rated_watts() })
    };
    let station = |station: &crate::plant::Station| Station {
        id: station.id.to_string(),
        name: station.name.clone(),
        does: station.does.word().into(),
        lamp: lamp(station),
    };
    Press { id: press.id.to_string(), name: press.name.clone(), stations: press.stations.iter().map(station).collect() }
}

fn of_meter(meter: &crate::plant::Meter, at: At) -> Meter {
    Meter {
        id: meter.id.to_string(),
        name: meter.name.clone(),
        covers: match &meter.covers {
            Covers::Site => "site".into(),
            Covers::Press(id) => id.to_string(),
            Covers::Station(id) => id.to_string(),
            Covers::Load(id) => id.to_string(),
        },
        below: meter.below.as_ref().map(ToString::to_string),
        serial: meter.device.at(at).map(|device| device.serial.clone()),
    }
}
