//! How far the data can be trusted: each meter with its newest reading, what is out of order, and the commissioning record.

use super::access::Visitor;
use super::findings::{Line, clock, lines};
use super::history::from_books;
use super::meters::{MeterSummary, meter_summary, silent};
use super::page::Page;
use super::present::{self, short};
use super::shown::Shown;
use crate::agent::{ChannelLine, Forwarded, Now, channel_lines};
use crate::readings::{Quantity, Series, Subject};
use crate::store::{Access, Store};
use crate::time::At;
use crate::units::{counted, fixed};
use crate::watch::Kept;
use axum::extract::{Extension, State};
use axum::response::Response;
use serde::Serialize;
use std::sync::Arc;

/// The kind of document that a commissioning record is kept as.
const COMMISSIONING: &str = "commissioning";

#[derive(Serialize)]
struct Shows {
    store: String,
    summary: MeterSummary,
    meters: Vec<MeterLine>,
    findings: Vec<Line>,
    missing: Vec<String>,
    records: Option<Vec<Record>>,
    channels: Vec<Told>,
    database: Option<Told>,
}

/// A channel of alerts, or the database.
#[derive(Clone, Serialize)]
struct Told {
    name: String,
    summary: String,
    waits: Vec<String>,
}

#[derive(Serialize)]
struct MeterLine {
    id: String,
    covers: String,
    serial: String,
    class: String,
    interval: String,
    draw: String,
    newest: String,
    is_silent: bool,
}

/// A check of the wiring.
#[derive(Clone, Serialize)]
struct Record {
    when: String,
    tests: String,
    failed: Vec<String>,
}

/// `GET /data`.
pub(super) async fn page(State(shown): State<Arc<Shown>>, Extension(visitor): Extension<Visitor>) -> Response {
    let records = from_books(shown.clone(), "records".into(), |_, shown, _| {
        let store = Store::open(&shown.of.folder, shown.of.configuration.plant.zone, Access::Read)?;
        Ok(store.documents(COMMISSIONING)?.into_iter().rev().filter_map(|(_, text)| record(&text)).collect())
    });
    let records = records.await;
    let (now, at) = (shown.of.live.now(), shown.of.clock.now());
    let of = shown.clone();
    let channels = tokio::task::spawn_blocking(move || channels(&of, at)).await.unwrap_or_default();
    let quality = |kept: &Kept| kept.finding.station.is_none() && kept.finding.until.is_none();
    let silent = silent(&shown);
    let health = &now.store;
    let shows = Shows {
        store: match &health.fault {
            Some(fault) => {
                format!("{fault}; {} held in memory, {} dropped", counted(health.held, "reading"), health.dropped)
            }
            None => format!("{} stored since the start", counted(health.readings, "reading")),
        },
        summary: meter_summary(&shown, now.plant.zone),
        meters: now.plant.meters.iter().map(|meter| line(&now, meter, silent.contains(&meter.id), at)).collect(),
        findings: lines(&now, now.findings().into_iter().filter(quality).collect(), at),
        missing: crate::config::missing(&shown.of.configuration, now.plant.zone.date(at)),
        records,
        channels,
        database: now.forwarded.as_ref().map(|forwarded| database(&shown, forwarded)),
    };
    let page = Page { template: "data.html", title: "Data and meters", under: "/data", reload: Some(60) };
    shown.page(&visitor, &page, &shows)
}

/// What each channel was told and waits for; what cannot be read is left out, for the log tells of it.
fn channels(shown: &Shown, at: At) -> Vec<Told> {
    let (zone, states) =
        (shown.of.configuration.plant.zone, shown.of.live.now().findings.wordings().collect::<Vec<_>>());
    let lines = channel_lines(&shown.of.folder, &shown.of.configuration, &states, at).unwrap_or_default();
    let told =
        |line: &ChannelLine| Told { name: short(&line.name), summary: line.summary(zone), waits: line.waits(zone) };
    lines.iter().map(told).collect()
}

/// How forwarding stands.
fn database(shown: &Shown, forwarded: &Forwarded) -> Told {
    let configuration = &shown.of.configuration;
    let name = configuration.influx.as_ref().map_or_else(String::new, |influx| short(&influx.bucket));
    let zone = configuration.plant.zone;
    Told { name, summary: forwarded.summary(zone), waits: forwarded.waits(zone) }
}

fn line(now: &Now, meter: &crate::plant::Meter, is_silent: bool, at: At) -> MeterLine {
    let zone = now.plant.zone;
    let of = Subject::Meter(meter.id.clone());
    let newest = now.latest.iter().filter(|(series, _)| series.subject == of).map(|(_, reading)| reading.at).max();
    let draw = now.latest.contains_key(&Series::new(of.clone(), Quantity::Power));
    let device = meter.device.at(at);
    MeterLine {
        id: short(meter.id.as_str()),
        covers: short(&meter.name),
        serial: device.map_or_else(|| "no device".into(), |device| short(&device.serial)),
        class: meter.class.clone().unwrap_or_else(|| "–".into()),
        interval: format!("{} s", fixed(i128::from(meter.native), 3, 0)),
        draw: match present::watts(now, meter, at) {
            Some(watts) => format!("{:.2}", watts / 1e3),
            None if draw => "–".into(),
            None => "not read".into(),
        },
        newest: newest.map_or_else(|| "none since the start".into(), |at| clock(zone, at)),
        is_silent,
    }
}

/// A record as it was kept; `None` where it is of a form that is not known.
fn record(text: &str) -> Option<Record> {
    let json: serde_json::Value = serde_json::from_str(text).ok()?;
    let mut counts = [0_usize; 3];
    let mut failed = Vec::new();
    for meter in json["meters"].as_array()? {
        for test in meter["tests"].as_array().into_iter().flatten() {
            let found = |key: &str| test[key].as_str().unwrap_or_default().to_owned();
            match test["verdict"].as_str() {
                Some("passed") => counts[0] += 1,
                Some("failed") => {
                    counts[1] += 1;
                    let name = meter["meter"].as_str().unwrap_or_default();
                    failed.push(format!("{}: {}: {} {}", short(name), found("test"), found("found"), found("look_at")));
                }
                _ => counts[2] += 1,
            }
        }
    }
    let [passed, wrong, untested] = counts;
    Some(Record {
        when: format!("{} to {}", json["from"].as_str()?, json["to"].as_str()?),
        tests: format!("{passed} tests passed, {wrong} failed, {untested} could not be made"),
        failed,
    })
}
