//! The hall at a glance: each press as a row of stations in web direction, with what each draws and is expected to draw.

use super::access::Visitor;
use super::findings::{Line, lines};
use super::load::{Drawn, drawn};
use super::meters::{MeterSummary, meter_summary, silent};
use super::page::Page;
use super::present::{self, tenths, watts};
use super::shown::Shown;
use super::total::{Total, total};
use crate::agent::{Now, Overview, Used};
use crate::plant::{Covers, Press, Station};
use crate::time::At;
use crate::units::{counted, fixed};
use crate::watch::{Rule, Standing};
use axum::extract::{Extension, State};
use axum::response::Response;
use serde::Serialize;
use std::sync::Arc;

/// Findings that are shown here; the others stand on their own page.
const FIRST: usize = 4;

/// The whole page.
#[derive(Serialize)]
struct Hall {
    total: Option<Total>,
    load: Option<Drawn>,
    findings: Findings,
    month: Option<MonthSoFar>,
    presses: Vec<PressRow>,
    meters: MeterSummary,
}

#[derive(Serialize)]
struct Findings {
    first: Vec<Line>,
    /// How many go on.
    goes_on: Option<String>,
    /// What is said where there is none.
    none: &'static str,
}

#[derive(Serialize)]
struct MonthSoFar {
    name: String,
    energy: String,
    cost: Option<String>,
    before: String,
}

/// A press as a row.
#[derive(Serialize)]
pub(super) struct PressRow {
    pub(super) id: String,
    pub(super) name: String,
    pub(super) doing: String,
    pub(super) draw: String,
    pub(super) today: String,
    pub(super) stations: Vec<Tile>,
}

/// A station.
#[derive(Serialize)]
pub(super) struct Tile {
    pub(super) id: String,
    pub(super) name: String,
    pub(super) lamp: &'static str,
    pub(super) state: &'static str,
    pub(super) words: &'static str,
    pub(super) draw: String,
    /// What it is expected to draw.
    pub(super) of: String,
    /// Whether its draw is charted, so that there is an expectation while it cures.
    pub(super) charted: bool,
    /// Draw over expectation, on a bar whose mark at two thirds is the expectation.
    pub(super) width: String,
    /// Whether it is found to draw too much.
    pub(super) finding: bool,
}

/// The page `/`.
pub(super) async fn page(State(shown): State<Arc<Shown>>, Extension(visitor): Extension<Visitor>) -> Response {
    let page = Page { template: "hall.html", title: "The hall now", under: "/", reload: Some(10) };
    shown.page(&visitor, &page, &hall(&shown))
}

fn hall(shown: &Shown) -> Hall {
    let (now, at) = (shown.of.live.now(), shown.of.clock.now());
    Hall {
        total: total(&now, &silent(shown), at),
        load: now.overview.as_deref().map(drawn),
        findings: findings(&now, at),
        month: now.overview.as_deref().map(|overview| month(&now, overview)),
        presses: now.plant.presses.iter().map(|press| press_row(shown, &now, press, at)).collect(),
        meters: meter_summary(shown, now.plant.zone),
    }
}

fn findings(now: &Now, at: At) -> Findings {
    let mut going: Vec<_> = now.findings().into_iter().filter(|kept| kept.finding.until.is_none()).collect();
    going.retain(|kept| !matches!(kept.standing(at), Standing::Closed));
    let all = going.len();
    let mut first = lines(now, going, at);
    first.truncate(FIRST);
    Findings {
        first,
        goes_on: (all > 0).then(|| format!("{} go{} on", counted(all, "finding"), if all == 1 { "es" } else { "" })),
        none: match now.watched {
            Some(_) => "Nothing: no finding goes on.",
            None => "The watch is looking through the history of this plant; what it finds appears here.",
        },
    }
}

fn month(now: &Now, overview: &Overview) -> MonthSoFar {
    let (so_far, before) = overview.month;
    let local = now.plant.zone.local(overview.until);
    let currency = &now.plant.currency;
    let kwh = |used: &Used| fixed(used.energy.mwh().into(), 6, 0);
    let cost = |used: &Used| used.cost.map(|cost| format!("{} {currency}", fixed(cost.micros().into(), 6, 0)));
    let before = match before {
        None => "The month before is not known whole until this day and hour.".into(),
        Some(before) => {
            let cost = cost(&before).map_or_else(String::new, |cost| format!(", {cost}"));
            let share = (before.energy.mwh() > 0).then(|| {
                let change = so_far.energy.mwh() as f64 / before.energy.mwh() as f64 - 1.0;
                format!(" That is {} now.", present::change(change))
            });
            format!(
                "The month before, until the same day and hour: {} kWh{cost}.{}",
                kwh(&before),
                share.unwrap_or_default()
            )
        }
    };
    MonthSoFar { name: local.format("%B").to_string(), energy: kwh(&so_far), cost: cost(&so_far), before }
}

/// A press as it is now.
pub(super) fn press_row(shown: &Shown, now: &Now, press: &Press, at: At) -> PressRow {
    let main = now.plant.meters.iter().find(|m| m.covers == Covers::Press(press.id.clone()));
    let today = now.today.as_ref().and_then(|today| today.presses.get(&press.id));
    PressRow {
        id: press.id.to_string(),
        name: present::short(&press.name),
        doing: doing(shown, now, press, at),
        draw: main.and_then(|meter| watts(now, meter, at)).map_or("–".into(), |watts| tenths(watts / 1e3)),
        today: today.map_or_else(String::new, |e| format!("{} kWh since midnight", fixed(e.mwh().into(), 6, 0))),
        stations: press.stations.iter().map(|station| tile(now, station, at)).collect(),
    }
}

/// What the press is doing, in words: its job and its speed.
fn doing(shown: &Shown, now: &Now, press: &Press, at: At) -> String {
    let web = match present::speed(now, press, at) {
        None => "web speed not known".into(),
        Some(speed) if speed < press.moving_mm_min => "web stands".into(),
        Some(speed) => format!("web at {} m/min", (speed + 500) / 1_000),
    };
    match now.runs.get(&press.id) {
        Some(run) => format!("job {}, {web}", present::short(&shown.jobs.called(&run.job))),
        None => format!("no job, {web}"),
    }
}

fn tile(now: &Now, station: &Station, at: At) -> Tile {
    let (draw, state) = (present::draw(now, station, at), present::state(now, station, at));
    let expected = present::expected(now, station, at);
    let bar =
        draw.zip(expected.filter(|expected| *expected > 0.0)).map(|(draw, expected)| draw / expected / 1.5 * 100.0);
    let told = |watts: f64| format!("{:.2}", watts / 1e3);
    let is_high = |kept: &crate::watch::Kept| {
        kept.finding.station.as_ref() == Some(&station.id)
            && matches!(kept.finding.rule, Rule::HigherDraw)
            && kept.finding.until.is_none()
            && kept.standing(at) != Standing::Closed
    };
    Tile {
        id: station.id.to_string(),
        name: present::short(&station.name),
        lamp: present::lamp_words(now, station, at),
        state: state.map_or("unknown", present::class),
        words: state.map_or("state not known", present::words),
        draw: draw.map_or("–".into(), told),
        of: expected.map_or_else(String::new, |expected| format!("expected {}", told(expected))),
        charted: present::is_charted(now, station),
        width: format!("{:.1}", bar.unwrap_or(0.0).clamp(0.0, 100.0)),
        finding: now.findings.iter().any(|kept| is_high(&kept)),
    }
}

/// Every figure of the page that changes while it is open, by the key under which the page shows it.
pub(super) fn values(shown: &Shown) -> Vec<(String, String)> {
    let (now, at) = (shown.of.live.now(), shown.of.clock.now());
    let mut values = vec![
        ("clock".to_owned(), super::page::clock(&now, at)),
        ("findings.open".to_owned(), super::page::open(&now, at)),
    ];
    if let Some(total) = total(&now, &silent(shown), at) {
        values.push(("plant.draw".into(), total.draw));
        values.push(("plant.note".into(), total.note));
    }
    for row in now.plant.presses.iter().map(|press| press_row(shown, &now, press, at)) {
        let of_press = [("doing", row.doing), ("today", row.today), ("draw", row.draw)];
        values.extend(of_press.map(|(what, value)| (format!("{}.{what}", row.id), value)));
        for tile in row.stations {
            let of_station = [
                ("state", tile.state.to_owned()),
                ("words", tile.words.to_owned()),
                ("draw", tile.draw),
                ("of", tile.of),
                ("width", tile.width),
            ];
            values.extend(of_station.map(|(what, value)| (format!("{}.{what}", tile.id), value)));
        }
    }
    values
}
