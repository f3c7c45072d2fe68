//! Events that change the plant itself: lamps fitted, devices exchanged, ratios corrected.

use crate::found::{Found, Issue, Remark};
use crate::names::StationId;
use crate::plant::{Clash, Device, Plant, Ratio, clashes};
use crate::readings::{Event, Happening};
use crate::time::{At, Period, Zone};

/// The plant with its events in force, whatever their order, folded into its dated facts. An event about something
/// that the plant does not have is remarked and changes nothing; a lamp that events put in two places is remarked.
pub fn with_events(plant: &Plant, events: &[Event]) -> Found<Plant> {
    let mut found = Found::clean(plant.clone());
    let mut events: Vec<&Event> = events.iter().collect();
    events.sort_by(|a, b| (a.at, &a.id).cmp(&(b.at, &b.id)));
    for event in events {
        if let Err(unknown) = apply(&mut found.value, event) {
            let period = Period::new(event.at, event.at + 1);
            let text = format!(
                "Event {} names {unknown}, which the configuration does not have; it is passed over.",
                event.id
            );
            found.issues.push(Issue { remark: Remark::StateUnknown, about: unknown, period, text });
        }
    }
    let stations = found.value.presses.iter().flat_map(|press| &press.stations);
    let twice = clashes(stations).into_iter().map(|clash| in_two_places(plant.zone, &clash));
    found.issues.extend(twice);
    found
}

/// The configuration has no lamp in two places; events may say so.
fn in_two_places(zone: Zone, clash: &Clash) -> Issue {
    let place = |(station, since): (&StationId, At)| match since {
        At(i64::MIN) => format!("{station}, where it has been from the start,"),
        since => format!("{station} since {}", zone.stamp(since)),
    };
    Issue {
        remark: Remark::StateUnknown,
        about: format!("lamp {}", clash.lamp),
        period: clash.period,
        text: format!(
            "Lamp {} is recorded in station {} and in station {}. It is one lamp: both stations are taken to have its \
             kind until `inkwatt record lamp` says where it was.",
            clash.lamp,
            place(clash.first),
            place(clash.second)
        ),
    }
}

fn apply(plant: &mut Plant, event: &Event) -> Result<(), String> {
    match &event.what {
        Happening::LampFitted { station, lamp } => {
            if let Some(id) = lamp.as_ref().filter(|id| plant.lamp(id).is_none()) {
                return Err(format!("lamp {id}"));
            }
            let mut stations = plant.presses.iter_mut().flat_map(|press| &mut press.stations);
            let found = stations.find(|s| s.id == *station).ok_or_else(|| format!("station {station}"))?;
            found.fitted.set(event.at, lamp.clone());
        }
        Happening::DeviceExchanged { meter, serial, end_count, start_count } => {
            change(plant, meter.as_str(), event, |old, _| Device {
                serial: serial.clone(),
                start_count: *start_count,
                end_count_before: *end_count,
                ..old.clone()
            })?
        }
        Happening::RatioCorrected { meter, num, den } => change(plant, meter.as_str(), event, |old, since| {
            // A device that was put in at this very instant keeps the counts of its exchange.
            let put_in = since == event.at;
            Device {
                transformers: Ratio { num: *num, den: *den },
                start_count: old.start_count.filter(|_| put_in),
                end_count_before: old.end_count_before.filter(|_| put_in),
                ..old.clone()
            }
        })?,
        _ => {}
    }
    Ok(())
}

/// Sets a new value of a meter's device, made from the one in force and the instant since which that holds.
fn change(plant: &mut Plant, meter: &str, event: &Event, new: impl Fn(&Device, At) -> Device) -> Result<(), String> {
    let found = plant.meters.iter_mut().find(|m| m.id.as_str() == meter).ok_or_else(|| format!("meter {meter}"))?;
    let old = found.device.iter().rfind(|(since, _)| *since <= event.at);
    let device =
        old.map(|(since, old)| new(old, *since)).ok_or_else(|| format!("meter {meter} before it was there"))?;
    found.device.set(event.at, device);
    Ok(())
}
