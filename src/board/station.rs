//! A station: what it draws now, what it drew at full level day by day, what it used, which lamps it had.

use super::access::Visitor;
use super::findings::{Line, clock, lines};
use super::history::{energy_by_day, from_books, last_days};
use super::page::Page;
use super::present::{self, short};
use super::shown::Shown;
use crate::agent::Now;
use crate::names::StationId;
use crate::report::chart::{Anchor, Frame};
use crate::time::At;
use crate::units::fixed;
use crate::watch::{Drawn, Kept, Rule};
use axum::extract::{Extension, Path, State};
use axum::response::Response;
use chrono::{Datelike, NaiveDate};
use serde::Serialize;
use std::sync::Arc;

/// Days of energy that are shown.
const DAYS: u64 = 56;
const HEIGHT: f64 = 250.0;

#[derive(Serialize)]
struct Shows {
    id: String,
    name: String,
    press: (String, String),
    state: &'static str,
    words: &'static str,
    draw: String,
    of: String,
    facts: Vec<(&'static str, String)>,
    findings: Vec<Line>,
    chart: Option<String>,
    reference: Option<String>,
    history: Option<(String, Vec<(&'static str, String)>)>,
    lamps: Vec<(String, String)>,
}

/// `GET /station/{press}/{station}`.
pub(super) async fn page(
    State(shown): State<Arc<Shown>>,
    Extension(visitor): Extension<Visitor>,
    Path((press, station)): Path<(String, String)>,
) -> Response {
    let (now, at) = (shown.of.live.now(), shown.of.clock.now());
    let id = StationId::of(&press.as_str().into(), &station);
    let Some((press, station)) = now.plant.station(&id) else { return shown.missing(&visitor, "such station") };
    let wanted = id.clone();
    let history = from_books(shown.clone(), format!("station {id}"), move |books, _, now| {
        let ledgers = last_days(books, now, DAYS)?;
        Ok(energy_by_day("Energy of the station by day", &ledgers, |slice| {
            slice.owner.station.as_ref() == Some(&wanted)
        }))
    });
    let history = history.await;
    let own: Vec<Kept> = now.findings().into_iter().filter(|kept| kept.finding.station.as_ref() == Some(&id)).collect();
    let drawn = now.watched.as_ref().and_then(|looked| looked.watched.drawn.get(&id));
    let state = present::state(&now, station, at);
    let told = |watts: f64| format!("{:.2}", watts / 1e3);
    let shows = Shows {
        id: id.to_string(),
        name: short(&station.name),
        press: (press.id.to_string(), short(&press.name)),
        state: state.map_or("unknown", present::class),
        words: state.map_or("state not known", present::words),
        draw: present::draw(&now, station, at).map_or("–".into(), told),
        of: present::expected(&now, station, at).map_or_else(String::new, |of| format!("expected {}", told(of))),
        facts: facts(&now, station, at),
        chart: drawn.filter(|drawn| !drawn.days.is_empty()).map(|drawn| chart(drawn, &since(&now, &own))),
        reference: drawn.map(reference),
        findings: lines(&now, own, at),
        history,
        lamps: lamps(&now, station),
    };
    let title = format!("{}, {}", shows.name, shows.press.1);
    let page = Page { template: "station.html", title: &title, under: "/", reload: Some(60) };
    shown.page(&visitor, &page, &shows)
}

fn facts(now: &Now, station: &crate::plant::Station, at: At) -> Vec<(&'static str, String)> {
    let mut facts = vec![("Does", station.does.word().to_owned())];
    match present::lamp(now, station, at) {
        Some(lamp) => {
            facts.push(("Lamp", format!("{}, {}", short(&lamp.id.to_string()), lamp.kind.word())));
            facts.push(("Rating", format!("{:.2} kW", lamp.rated_watts() / 1e3)));
        }
        None => facts.push(("Lamp", "none, or not known".into())),
    }
    let meter = now.plant.meters.iter().find(|m| m.covers == crate::plant::Covers::Station(station.id.clone()));
    facts.push(("Meter", meter.map_or_else(|| "none of its own".into(), |meter| short(meter.id.as_str()))));
    facts
}

/// Since when it is found to draw more.
fn since(now: &Now, own: &[Kept]) -> Vec<NaiveDate> {
    let higher = own.iter().filter(|kept| kept.finding.rule == Rule::HigherDraw);
    higher.map(|kept| now.plant.zone.date(kept.finding.since)).collect()
}

fn reference(drawn: &Drawn) -> String {
    let level = if drawn.has_level { "at full level" } else { "while curing, its level not being signalled" };
    format!(
        "It drew {} W {level} on its first {} days of curing under this lamp; days differ by {} W as a rule.",
        whole(drawn.watts),
        drawn.reference_days,
        whole(drawn.scale)
    )
}

fn whole(watts: f64) -> String {
    fixed((watts * 1e6).round() as i128, 6, 0)
}

/// A point for each day of curing, against the reference.
fn chart(drawn: &Drawn, since: &[NaiveDate]) -> String {
    let kilowatts: Vec<f64> = drawn.days.iter().map(|(_, watts)| watts / 1e3).collect();
    let frame = Frame::new(HEIGHT, kilowatts.iter().copied().fold(drawn.watts / 1e3, f64::max));
    let (first, last) = (drawn.days[0].0, drawn.days[drawn.days.len() - 1].0);
    let span = (last - first).num_days().max(1) as f64;
    let x = |date: NaiveDate| frame.x((date - first).num_days() as f64 / span);
    let description = format!(
        "{} days of curing from {first} to {last}; the dashed line is the reference of {} W.",
        drawn.days.len(),
        whole(drawn.watts)
    );
    let mut svg = frame.drawing("Draw while curing, a point for each day", &description);
    frame.axis(&mut svg, "kW at full level");
    let mut months: Vec<NaiveDate> = drawn.days.iter().filter_map(|(date, _)| date.with_day(1)).collect();
    months.dedup();
    let every = months.len().div_ceil(9).max(1);
    for (k, month) in months.iter().enumerate().filter(|(_, month)| **month >= first) {
        svg.line("tick", (x(*month), frame.ground()), (x(*month), frame.ground() + 4.0));
        if k % every == 0 {
            frame.label(&mut svg, Anchor::Middle, x(*month), k % (2 * every) != 0, &month.format("%b %y").to_string());
        }
    }
    let y = frame.y(drawn.watts / 1e3);
    svg.line("middle", (frame.x(0.0), y), (frame.x(1.0), y));
    for date in since.iter().filter(|date| **date >= first) {
        svg.line("since", (x(*date), frame.y(0.0)), (x(*date), 26.0));
        svg.text("label", Anchor::End, (x(*date) - 5.0, 38.0), &format!("since {}", date.format("%-d %b")));
    }
    for ((date, _), kw) in drawn.days.iter().zip(&kilowatts) {
        svg.rect(
            "point",
            (x(*date) - 1.6, frame.y(*kw) - 1.6),
            (3.2, 3.2),
            &format!("{}: {kw:.2} kW", date.format("%a %-d %b %Y")),
        );
    }
    svg.finish()
}

/// Which lamp was fitted since when.
fn lamps(now: &Now, station: &crate::plant::Station) -> Vec<(String, String)> {
    let zone = now.plant.zone;
    let since = |at: At| if at == At(i64::MIN) { "from the beginning".into() } else { clock(zone, at) };
    let lamp = |id: &Option<crate::names::LampId>| match id {
        None => "no lamp".to_owned(),
        Some(id) => match now.plant.lamp(id) {
            Some(lamp) => format!("{}, {}", short(id.as_str()), lamp.kind.word()),
            None => short(id.as_str()),
        },
    };
    station.fitted.iter().map(|(at, id)| (since(*at), lamp(id))).collect()
}
