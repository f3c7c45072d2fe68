//! What a sound configuration still lacks for the job.

use super::{Broker, Configuration, nearest};
use crate::carbon::{Basis, Beside};
use crate::cost::Tariff;
use crate::plant::{Covers, Flow, Meter};
use crate::readings::{Quantity, Subject};
use crate::sources::{CsvRows, TopicTarget};
use chrono::{Datelike, NaiveDate};
use std::net::IpAddr;

/// What is missing on a day, one sentence each: first what is not measured, then what is not priced or weighed.
pub fn missing(configuration: &Configuration, day: NaiveDate) -> Vec<String> {
    let mut found = Vec::new();
    unmeasured(configuration, day, &mut found);
    unsourced(configuration, &mut found);
    unsignalled(configuration, day, &mut found);
    unpriced(configuration, day, &mut found);
    unweighed(configuration, day, &mut found);
    found
}

fn unmeasured(configuration: &Configuration, day: NaiveDate, found: &mut Vec<String>) {
    let plant = &configuration.plant;
    let covered = |what: &Covers| plant.meters.iter().any(|meter| meter.covers == *what);
    let start = plant.zone.day(day).start;
    let supply = plant.meters.iter().filter(|m| m.covers == Covers::Site && m.flow == Flow::Import);
    if supply.clone().count() == 0 {
        found.push("no meter covers the site: the rest of the plant and the supplier's bill cannot be compared".into());
    } else if !supply.clone().any(|meter| meter.fiscal) {
        found.push("no meter is fiscal: nothing can be compared with the supplier's bill".into());
    }
    for press in &plant.presses {
        let main = covered(&Covers::Press(press.id.clone()));
        let bare = press.stations.iter().filter(|station| !covered(&Covers::Station(station.id.clone())));
        // An empty place draws nothing.
        for station in bare.filter(|station| station.fitted.at(start) != Some(&None)) {
            let where_to =
                if main { format!("shows only in the rest of press {}", press.id) } else { "is not measured".into() };
            found.push(format!("station {} has no meter: its energy {where_to}", station.id));
        }
        if !main {
            found.push(format!("press {} has no meter of its own: drives and dryers are not measured", press.id));
        }
    }
    for load in plant.loads.iter().filter(|load| !covered(&Covers::Load(load.id.clone()))) {
        found.push(format!("load {} has no meter: nothing can be charged for it", load.id));
    }
}

fn unsourced(configuration: &Configuration, found: &mut Vec<String>) {
    let password = configuration.broker.iter().filter_map(|broker| broker.password.as_ref());
    found.extend(password.filter_map(|secret| secret.reveal().err()).map(|absent| absent.to_string()));
    found.extend(configuration.broker.iter().filter(|broker| shouts(broker)).map(|broker| {
        format!("mqtt: the password goes to {} in the clear; name authority_file, and it goes over TLS", broker.host)
    }));
    for meter in configuration.plant.meters.iter().filter(|meter| !has_source(configuration, meter)) {
        found.push(format!("meter {} has no source: neither Modbus nor a topic nor a column of a file", meter.id));
    }
    for line in configuration.lines.iter().filter(|line| line.meters.is_empty()) {
        found.push(format!("line {} has no meters", line.endpoint));
    }
}

/// Whether a password goes over the network for everybody to read.
fn shouts(broker: &Broker) -> bool {
    let is_home = broker.host == "localhost" || broker.host.parse().is_ok_and(|address: IpAddr| address.is_loopback());
    broker.password.is_some() && broker.tls.is_none() && !is_home
}

/// Whether anything gives readings of a meter. A topic with `{meter}` may be of any.
fn has_source(configuration: &Configuration, wanted: &Meter) -> bool {
    let polled = configuration.lines.iter().flat_map(|line| &line.meters).any(|polled| polled.meter == wanted.id);
    let topics = configuration.broker.iter().flat_map(|broker| &broker.topics);
    let told = topics.into_iter().any(|topic| match &topic.target {
        TopicTarget::Meter { meter, .. } => meter.as_ref().is_none_or(|meter| *meter == wanted.id),
        TopicTarget::Sparkplug { metrics } => metrics.iter().any(|(_, meter, ..)| *meter == wanted.id),
        _ => false,
    });
    let subject = Subject::Meter(wanted.id.clone());
    let imported = configuration.csv.iter().any(|mapping| match &mapping.rows {
        CsvRows::Readings { columns, .. } => columns.iter().any(|column| column.series.subject == subject),
        CsvRows::Jobs { .. } | CsvRows::Instruments | CsvRows::Bills => false,
    });
    polled || told || imported
}

fn unsignalled(configuration: &Configuration, day: NaiveDate, found: &mut Vec<String>) {
    let plant = &configuration.plant;
    let targets = || configuration.broker.iter().flat_map(|broker| &broker.topics).map(|topic| &topic.target);
    let web = |target: &TopicTarget| {
        matches!(target, TopicTarget::Press { quantity: Quantity::Speed | Quantity::WebLength, .. })
    };
    if !targets().any(web) {
        found.push("no topic gives speed or web length: whether a web moves is not known".into());
    }
    let jobs = configuration.csv.iter().any(|mapping| matches!(mapping.rows, CsvRows::Jobs { .. }));
    if !jobs && !targets().any(|target| *target == TopicTarget::Job) {
        found.push("neither a topic nor a file gives jobs: energy cannot be charged to them".into());
    }
    let kind = |target: &TopicTarget| matches!(target, TopicTarget::Station { quantity: Quantity::LampKind, .. });
    let signalled = targets().any(kind);
    let start = plant.zone.day(day).start;
    for station in plant.presses.iter().flat_map(|press| &press.stations) {
        if station.fitted.at(start).is_none() && !signalled {
            found.push(format!(
                "station {}: nobody states which lamp is fitted, so that its state is unknown",
                station.id
            ));
        }
    }
}

fn unpriced(configuration: &Configuration, day: NaiveDate, found: &mut Vec<String>) {
    if Tariff::on(&configuration.tariffs, day).is_none() {
        found.push(format!("no tariff is in force on {day}: energy has no cost; see config/tariffs/"));
    }
}

fn unweighed(configuration: &Configuration, day: NaiveDate, found: &mut Vec<String>) {
    let grid = configuration.plant.grid.as_str();
    let regions = configuration.factors.iter().map(|set| set.region.as_str());
    if !regions.clone().any(|region| region == grid) {
        let hint = nearest(grid, regions).map_or(String::new(), |near| format!("; did you mean \"{near}\"?"));
        found.push(format!("no factor set is for grid \"{grid}\": energy has no carbon{hint}"));
        return;
    }
    let set =
        configuration.factors.iter().find(|set| set.region == grid && set.valid_from <= day && day <= set.valid_to);
    match set {
        None => found.push(format!("no factor set of grid {grid} is for {}: energy has no carbon", day.year())),
        Some(set) if set.beside(Beside::Losses).is_none() && set.boundary == Basis::Generated => found.push(format!(
            "\"{}\" has no factor for losses: scope 3 category 3 of {} is unknown",
            set.publication,
            day.year()
        )),
        Some(_) => {}
    }
}
