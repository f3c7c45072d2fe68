//! The hall at a glance: each press as a row of stations in web direction, with what each draws right now.

use crate::acquire::modbus::{Condition, LineState};
use crate::acquire::mqtt::BrokerLink;
use crate::agent::Now;
use crate::board::total::{Total, total};
use crate::board::{Shown, reports};
use crate::names::MeterId;
use crate::plant::{Covers, LampKind, Meter, Press, Station};
use crate::readings::{Quantity, Series, Subject};
use crate::time::{At, MINUTE, Month, Zone};
use crate::units::counted;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Html;
use serde::Serialize;
use std::collections::BTreeSet;
use std::sync::Arc;
use tera::{Context, Tera};

/// A value older than this is no longer what happens now.
const FRESH: i64 = 5 * MINUTE;

/// The whole page.
#[derive(Serialize)]
struct Hall {
    plant: String,
    clock: String,
    fault: Option<String>,
    total: Option<Total>,
    presses: Vec<PressRow>,
    meters: MeterSummary,
    reports: Vec<ReportLink>,
}

#[derive(Serialize)]
struct PressRow {
    name: String,
    doing: String,
    draw: String,
    today: Option<String>,
    stations: Vec<StationTile>,
}

#[derive(Serialize)]
struct StationTile {
    name: String,
    lamp: &'static str,
    state: &'static str,
    class: &'static str,
    draw: String,
}

#[derive(Serialize)]
struct ReportLink {
    id: String,
    name: String,
}

#[derive(Serialize)]
struct MeterSummary {
    summary: String,
    troubles: Vec<String>,
}

/// The page `/`.
pub(super) async fn page(State(shown): State<Arc<Shown>>) -> Result<Html<String>, (StatusCode, String)> {
    let hall = hall(&shown);
    render(&hall).map(Html).map_err(|fault| (StatusCode::INTERNAL_SERVER_ERROR, format!("the page: {fault}\n")))
}

/// The page as HTML.
fn render(hall: &Hall) -> Result<String, tera::Error> {
    let mut tera = Tera::default();
    tera.add_raw_template("hall.html", include_str!("../../templates/board/hall.html"))?;
    tera.render("hall.html", &Context::from_serialize(hall)?)
}

fn hall(shown: &Shown) -> Hall {
    let now = shown.live.now();
    let at = shown.clock.now();
    let plant = &now.plant;
    Hall {
        plant: plant.name.clone(),
        clock: plant.zone.local(at).format("%A %-d %B %Y, %H:%M:%S").to_string(),
        fault: now.store.fault.clone(),
        total: total(&now, &silent(shown), at),
        presses: plant.presses.iter().map(|press| press_row(&now, press, at)).collect(),
        meters: meter_summary(shown, plant.zone),
        reports: reports::months(&shown.reports).into_iter().map(report_link).collect(),
    }
}

fn report_link(month: Month) -> ReportLink {
    ReportLink { id: month.to_string(), name: month.first().format("%B %Y").to_string() }
}

fn press_row(now: &Now, press: &Press, at: At) -> PressRow {
    let main = now.plant.meters.iter().find(|m| m.covers == Covers::Press(press.id.clone()));
    let draw = main.and_then(|meter| watts(now, meter, at));
    PressRow {
        name: press.name.clone(),
        doing: doing(now, press, at),
        draw: draw.map_or("– kW".into(), |watts| format!("{:.1} kW", watts / 1e3)),
        today: now.today.as_ref().and_then(|today| today.presses.get(&press.id)).map(|e| format!("{:.0} kWh", e.kwh())),
        stations: press.stations.iter().map(|station| tile(now, station, at)).collect(),
    }
}

/// What the press is doing, in words: its job and its speed.
fn doing(now: &Now, press: &Press, at: At) -> String {
    let speed = value(now, Series::new(Subject::Press(press.id.clone()), Quantity::Speed), at);
    let web = match speed {
        None => "web speed not known".into(),
        Some(speed) if speed < press.moving_mm_min => "web stands".into(),
        Some(speed) => format!("web at {} m/min", (speed + 500) / 1_000),
    };
    match now.runs.get(&press.id) {
        Some(run) => format!("job {}, {web}", run.job),
        None => format!("no job, {web}"),
    }
}

fn tile(now: &Now, station: &Station, at: At) -> StationTile {
    let meter = now.plant.meters.iter().find(|m| m.covers == Covers::Station(station.id.clone()));
    let draw = meter.and_then(|meter| watts(now, meter, at));
    let lamp = station.fitted.at(at).and_then(|fitted| now.plant.lamp(fitted.as_ref()?));
    let signal = value(now, Series::new(Subject::Station(station.id.clone()), Quantity::LampState), at);
    let by_draw = || {
        let (bands, draw) = (lamp?.bands, draw? as i64);
        Some(if draw >= bands.curing { 3 } else { i64::from(draw >= bands.standby) * 2 })
    };
    let (state, class) = match signal.or_else(by_draw) {
        Some(0) => ("off", "off"),
        Some(1) => ("warming up", "warming"),
        Some(2) => ("standby", "standby"),
        Some(3) => ("curing", "curing"),
        _ => ("state not known", "unknown"),
    };
    StationTile {
        name: station.name.clone(),
        lamp: match lamp.map(|l| l.kind) {
            Some(LampKind::Arc) => "arc",
            Some(LampKind::Led) => "LED",
            None => "no lamp",
        },
        state,
        class,
        draw: draw.map_or("–".into(), |watts| format!("{:.2}", watts / 1e3)),
    }
}

/// The polled meters that do not answer.
fn silent(shown: &Shown) -> BTreeSet<MeterId> {
    let mut silent = BTreeSet::new();
    for line in &shown.sources.lines {
        let line = line.borrow();
        let meters = line.meters.iter().filter(|meter| !matches!(meter.condition, Condition::Answering(_)));
        silent.extend(meters.map(|meter| meter.meter.clone()));
    }
    silent
}

/// The draw that a meter shows, in watts; `None` where it is not fresh.
pub(super) fn watts(now: &Now, meter: &Meter, at: At) -> Option<f64> {
    let count = value(now, Series::new(Subject::Meter(meter.id.clone()), Quantity::Power), at)?;
    let device = meter.device.at(at)?;
    Some(count as f64 * device.mw_per_count.to_f64() * device.transformers.to_f64() / 1e3)
}

/// The newest value of a series. A state holds until the next; any other value must be fresh.
fn value(now: &Now, series: Series, at: At) -> Option<i64> {
    let reading = now.latest.get(&series)?;
    let holds = matches!(series.quantity, Quantity::LampState | Quantity::LampKind) || at - reading.at <= FRESH;
    holds.then_some(reading.count)
}

/// How many meters answer, and in words which do not.
fn meter_summary(shown: &Shown, zone: Zone) -> MeterSummary {
    let (mut all, mut troubles) = (0_usize, Vec::new());
    for line in &shown.sources.lines {
        for meter in &line.borrow().meters {
            all += 1;
            if !matches!(meter.condition, Condition::Answering(_)) {
                troubles.push(format!("{}: {} since {}", meter.meter, meter.condition, zone.stamp(meter.since)));
            }
        }
    }
    if let Some(broker) = &shown.sources.broker
        && let BrokerLink::Disconnected { since, reason } = &broker.borrow().link
    {
        troubles.push(format!("the broker is not connected since {}: {reason}", zone.stamp(*since)));
    }
    let answering = shown.sources.lines.iter().map(|line| answering(&line.borrow())).sum::<usize>();
    MeterSummary { summary: format!("{answering} of {} answer.", counted(all, "polled meter")), troubles }
}

fn answering(line: &LineState) -> usize {
    line.meters.iter().filter(|meter| matches!(meter.condition, Condition::Answering(_))).count()
}
