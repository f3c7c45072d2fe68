//! The recorded events of the invented plant besides its jobs: lamps and meters exchanged, a ratio put right.

use super::fitting::exchanges;
use super::hall::{METERS, meter_name, station_name};
use super::model::Model;
use super::register::first_count;
use super::trouble;
use crate::names::{LampId, MeterId, StationId};
use crate::readings::{Event, Happening, Rank};
use crate::time::{At, Period};

/// Lamp exchanges and the corrected ratio that begin to hold in a period.
pub fn recorded(period: Period) -> Vec<Event> {
    let fitted = exchanges().into_iter().map(|fitting| Event {
        id: format!("{}-{}", fitting.lamp, fitting.at.0),
        at: fitting.at,
        rank: Rank::Live,
        revision: 0,
        what: Happening::LampFitted {
            station: StationId::from(station_name(fitting.station).as_str()),
            lamp: Some(LampId::from(fitting.lamp.as_str())),
        },
        note: None,
    });
    let ratio = Event {
        id: format!("ratio-{}", meter_name(trouble::WRONG_RATIO.0)),
        at: trouble::wrong_ratio_since(),
        rank: Rank::Correction,
        revision: 0,
        what: Happening::RatioCorrected {
            meter: MeterId::from(meter_name(trouble::WRONG_RATIO.0).as_str()),
            num: trouble::RATIO.0,
            den: trouble::RATIO.1,
        },
        note: Some("transformers 250/5 fitted, meter programmed for 200/5; seen at the check of 2026-05-12".into()),
    };
    fitted.chain([ratio]).filter(|event| period.contains(event.at)).collect()
}

/// The exchange of the device at a meter, if it is due at an instant; the model stands just before it.
pub fn device_exchange(model: &Model, meter: usize, at: At) -> Event {
    let read = meter == trouble::EXCHANGED.0;
    let name = meter_name(meter);
    Event {
        id: format!("exchange-{name}"),
        at,
        rank: Rank::Live,
        revision: 0,
        what: Happening::DeviceExchanged {
            meter: MeterId::from(name.as_str()),
            serial: format!("TB-{:04}-B", 2_000 + meter),
            end_count: read.then(|| model.import(meter, at)),
            start_count: read.then(|| first_count(meter)),
        },
        note: None,
    }
}

/// The meters whose devices are exchanged, each with the minute.
pub fn device_exchanges() -> Vec<(usize, i64)> {
    (0..METERS).filter_map(|meter| super::register::exchange_minute(meter).map(|minute| (meter, minute))).collect()
}
