//! A plain meter, its device and a plant without anything, for the tests of other modules; each names what it changes.

use super::{Calendar, Covers, Dated, Device, Flow, Meter, Plant, Press, Ratio, Station, StationUse};
use crate::time::{QUARTER, Zone};

/// A meter at the supply, read every quarter hour, of a load of up to 100 kW.
pub fn meter(id: &str) -> Meter {
    Meter {
        id: id.into(),
        name: id.into(),
        covers: Covers::Site,
        flow: Flow::Import,
        below: None,
        fiscal: false,
        boundary: Dated::default(),
        device: Dated::default(),
        max_watts: 100_000,
        native: QUARTER,
        class: None,
        circuit: None,
    }
}

/// A device that counts Wh and W and never starts anew.
pub fn device(serial: &str) -> Device {
    let thousand = Ratio { num: 1_000, den: 1 };
    Device {
        serial: serial.into(),
        mwh_per_count: thousand,
        mw_per_count: thousand,
        transformers: Ratio::ONE,
        step: 1,
        modulus: None,
        start_count: None,
        end_count_before: None,
    }
}

/// A plant of that time zone.
pub fn plant(zone: Zone) -> Plant {
    Plant {
        name: "Hall".into(),
        zone,
        currency: "GBP".into(),
        grid: "GB".into(),
        markets: vec!["GB".into()],
        calendar: Calendar::default(),
        presses: Vec::new(),
        loads: Vec::new(),
        lamps: Vec::new(),
        meters: Vec::new(),
    }
}

/// A press with stations of these ids, in which nobody said what is fitted.
pub fn press(id: &str, stations: &[&str]) -> Press {
    let station = |own: &&str| Station {
        id: format!("{id}/{own}").as_str().into(),
        name: (*own).into(),
        does: StationUse::Ink,
        fitted: Dated::default(),
        implementation: Vec::new(),
    };
    Press { id: id.into(), name: id.into(), stations: stations.iter().map(station).collect(), moving_mm_min: 3_000 }
}
