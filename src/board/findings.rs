//! Findings: what goes on, what is over, and one of them with all that is known.

use super::access::Visitor;
use super::page::Page;
use super::present::short;
use super::shown::Shown;
use crate::agent::Now;
use crate::time::{At, HOUR, Zone};
use crate::units::{fixed, places, significant};
use crate::watch::{Above, Kept, Standing};
use axum::extract::{Extension, Path, Query, State};
use axum::response::Response;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// What ended so recently stands with what goes on.
const RECENT: i64 = 28 * 24 * HOUR;
/// Older ones on a page.
const ON_A_PAGE: usize = 50;

/// A finding in a list.
#[derive(Serialize)]
pub(super) struct Line {
    pub(super) href: String,
    pub(super) name: String,
    pub(super) what: &'static str,
    pub(super) since: String,
    pub(super) amounts: String,
    /// The class of its standing.
    pub(super) standing: &'static str,
    /// Its standing in words.
    pub(super) stands: String,
}

#[derive(Serialize)]
struct Lists {
    looked: Option<String>,
    going: Vec<Line>,
    recent: Vec<Line>,
    older: Vec<Line>,
    /// Where older ones yet are.
    next: Option<String>,
    charted: Option<String>,
}

#[derive(Deserialize)]
pub(super) struct Asked {
    #[serde(default)]
    from: usize,
}

#[derive(Serialize)]
struct One {
    line: Line,
    id: String,
    raised: String,
    until: Option<String>,
    about: Option<String>,
    evidence: Vec<String>,
    questions: &'static [&'static str],
    answer: Option<String>,
    station: Option<String>,
    /// Whether an answer makes sense.
    asks: bool,
    week: String,
}

/// `GET /findings`.
pub(super) async fn page(
    State(shown): State<Arc<Shown>>,
    Extension(visitor): Extension<Visitor>,
    Query(asked): Query<Asked>,
) -> Response {
    let (now, at) = (shown.of.live.now(), shown.of.clock.now());
    let (mut going, mut recent, mut older) = (Vec::new(), Vec::new(), Vec::new());
    for kept in now.findings() {
        let ended = kept.finding.until;
        match kept.standing(at) {
            Standing::Closed | Standing::Over if ended.is_none_or(|ended| at - ended > RECENT) => older.push(kept),
            Standing::Closed | Standing::Over => recent.push(kept),
            _ => going.push(kept),
        }
    }
    let (older, rest) = {
        let mut all = lines(&now, older, at);
        let rest = all.len().saturating_sub(asked.from + ON_A_PAGE);
        (all.drain(asked.from.min(all.len())..).take(ON_A_PAGE).collect::<Vec<_>>(), rest)
    };
    let lists = Lists {
        looked: now.watched.as_ref().map(|looked| clock(now.plant.zone, looked.at)),
        going: lines(&now, going, at),
        recent: lines(&now, recent, at),
        older,
        next: (rest > 0).then(|| format!("/findings?from={}", asked.from + ON_A_PAGE)),
        charted: now.watched.as_ref().map(|looked| looked.watched.trust()),
    };
    let page = Page { template: "findings.html", title: "Findings", under: "/findings", reload: Some(60) };
    shown.page(&visitor, &page, &lists)
}

/// `GET /finding/...`.
pub(super) async fn one(
    State(shown): State<Arc<Shown>>,
    Extension(visitor): Extension<Visitor>,
    Path(id): Path<String>,
) -> Response {
    let (now, at) = (shown.of.live.now(), shown.of.clock.now());
    let Some(kept) = now.findings().into_iter().find(|kept| kept.id == id) else {
        return shown.missing(&visitor, "such finding; it may have been withdrawn when late data came");
    };
    let zone = now.plant.zone;
    let one = One {
        id: kept.id.clone(),
        raised: clock(zone, kept.finding.raised),
        until: kept.finding.until.map(|until| clock(zone, until)),
        about: kept.finding.above.map(|above| told(&now, &above)),
        evidence: kept.finding.evidence.clone(),
        questions: kept.finding.rule.questions(),
        answer: kept
            .answer
            .as_ref()
            .map(|answered| format!("{} on {} ({})", answered.answer.word(), clock(zone, answered.at), answered.note)),
        station: kept.finding.station.as_ref().map(ToString::to_string),
        asks: kept.standing(at) != Standing::Closed,
        week: zone.date(at + 7 * 24 * HOUR).to_string(),
        line: line(&now, &kept, at),
    };
    let title = format!("{}: {}", one.line.name, one.line.what);
    let page = Page { template: "finding.html", title: &title, under: "/findings", reload: None };
    shown.page(&visitor, &page, &one)
}

/// Findings as lines, the most pressing first: by standing, then by what they cost a month, then the newest.
pub(super) fn lines(now: &Now, mut all: Vec<Kept>, at: At) -> Vec<Line> {
    let cost =
        |kept: &Kept| kept.finding.above.map_or(0, |above| above.ahead.map_or(above.cost, |(_, cost)| cost).micros());
    all.sort_by(|a, b| {
        let key = |kept: &Kept| (kept.standing(at) >= Standing::Over, kept.standing(at) != Standing::Open);
        key(a).cmp(&key(b)).then_with(|| cost(b).cmp(&cost(a))).then_with(|| b.finding.since.cmp(&a.finding.since))
    });
    all.iter().map(|kept| line(now, kept, at)).collect()
}

fn line(now: &Now, kept: &Kept, at: At) -> Line {
    let zone = now.plant.zone;
    let standing = kept.standing(at);
    let about = if kept.finding.is_about { "since about" } else { "since" };
    let until = kept.finding.until.map_or_else(String::new, |until| format!(" until {}", clock(zone, until)));
    Line {
        href: format!("/finding/{}", segments(&kept.id)),
        name: called(now, kept),
        what: kept.finding.rule.what(),
        since: format!("{about} {}{until}", clock(zone, kept.finding.since)),
        amounts: kept.finding.above.map(|above| above.brief(&now.plant.currency)).unwrap_or_default(),
        standing: standing.word(),
        stands: match standing {
            Standing::Snoozed(until) => format!("rests until {}", clock(zone, until)),
            other => other.word().into(),
        },
    }
}

/// What a finding is about, as people call it.
fn called(now: &Now, kept: &Kept) -> String {
    match kept.finding.station.as_ref().and_then(|id| now.plant.station(id)) {
        Some((press, station)) => format!("{}, {}", short(&press.name), short(&station.name)),
        None => short(&kept.finding.about),
    }
}

/// Energy and money with their uncertainty.
fn told(now: &Now, above: &Above) -> String {
    let currency = &now.plant.currency;
    let energy = i128::from(above.energy.mwh());
    let decimals = places(energy, 6);
    let half =
        above.energy_half.map_or_else(String::new, |half| format!(" ± {}", fixed(half.mwh().into(), 6, decimals)));
    let cost = |micros: i64| fixed(micros.into(), 6, 2);
    let mut text = format!(
        "{}. So far {}{half} kWh, {} {currency} by the bands of its time; demand, levies and tax are not in it.",
        above.watts_told(),
        fixed(energy, 6, decimals),
        cost(above.cost.micros())
    );
    if let Some((energy, money)) = above.ahead {
        let kwh = significant(energy.mwh().into(), 6);
        text.push_str(&format!(
            " If it goes on, {kwh} kWh and {} {currency} in the 28 days ahead.",
            cost(money.micros())
        ));
    }
    if above.watts_half.is_some() {
        text.push_str(" The true value lies within ± in nine cases of ten.");
    }
    text
}

/// An instant by the plant's clock, to the minute.
pub(super) fn clock(zone: Zone, at: At) -> String {
    zone.local(at).format("%a %-d %b %Y, %H:%M").to_string()
}

/// An identity as a path: whatever may not stand in a segment is escaped (RFC 3986, 2.1).
pub(super) fn segments(id: &str) -> String {
    let mut path = String::with_capacity(id.len());
    for byte in id.bytes() {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' | b':' => path.push(byte.into()),
            _ => path.push_str(&format!("%{byte:02X}")),
        }
    }
    path
}
