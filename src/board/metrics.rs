//! Figures for a monitoring system, in OpenMetrics 1.0 text (<https://prometheus.io/docs/specs/om/open_metrics_spec/>).

use super::meters::silent;
use super::present::watts;
use super::shown::Shown;
use crate::agent::Forwarded;
use crate::watch::Standing;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use std::collections::BTreeMap;
use std::fmt::Write;
use std::sync::Arc;

const KIND: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// `GET /metrics`.
pub(super) async fn metrics(State(shown): State<Arc<Shown>>) -> Response {
    ([(header::CONTENT_TYPE, KIND)], text(&shown)).into_response()
}

/// A family of figures: name, kind, unit (empty where it has none), what it is.
struct Family(&'static str, &'static str, &'static str, &'static str);

fn text(shown: &Shown) -> String {
    let (now, at) = (shown.of.live.now(), shown.of.clock.now());
    let mut out = String::new();
    let silent = silent(shown);
    let name = |id: &str| format!("{{meter=\"{}\"}}", escaped(id));
    let power = now.plant.meters.iter().filter_map(|meter| Some((name(meter.id.as_str()), watts(&now, meter, at)?)));
    put(&mut out, Family("inkwatt_meter_power_watts", "gauge", "watts", "Draw that a meter shows now."), power);
    let polled = shown
        .of
        .sources
        .lines
        .iter()
        .flat_map(|line| line.borrow().meters.iter().map(|meter| meter.meter.clone()).collect::<Vec<_>>());
    let answering = polled.map(|id| (name(id.as_str()), f64::from(u8::from(!silent.contains(&id)))));
    put(&mut out, Family("inkwatt_meter_answering", "gauge", "", "Whether a polled meter answers."), answering);
    if let Some(today) = &now.today {
        let presses = today.presses.iter();
        let energy =
            presses.map(|(press, energy)| (format!("{{press=\"{}\"}}", escaped(press.as_str())), energy.kwh() * 3.6e6));
        let what = "Energy that a press was charged with since local midnight.";
        put(&mut out, Family("inkwatt_press_today_joules", "gauge", "joules", what), energy);
    }
    let one = |value: f64| std::iter::once((String::new(), value));
    let stored = one(now.store.readings as f64);
    put(&mut out, Family("inkwatt_readings_stored", "counter", "", "Readings stored since the start."), stored);
    let dropped = one(now.store.dropped as f64);
    put(
        &mut out,
        Family("inkwatt_readings_dropped", "counter", "", "Readings given up because the store refused."),
        dropped,
    );
    put(
        &mut out,
        Family("inkwatt_readings_held", "gauge", "", "Readings held until the store accepts them."),
        one(now.store.held as f64),
    );
    put(
        &mut out,
        Family("inkwatt_store_ready", "gauge", "", "Whether the store accepts readings."),
        one(f64::from(u8::from(now.store.fault.is_none()))),
    );
    let mut standing: BTreeMap<&str, f64> = ["open", "acknowledged", "snoozed"].map(|word| (word, 0.0)).into();
    for kept in now.findings.iter() {
        let stands = kept.standing(at);
        if matches!(stands, Standing::Open | Standing::Acknowledged | Standing::Snoozed(_)) {
            *standing.entry(stands.word()).or_default() += 1.0;
        }
    }
    let findings = standing.into_iter().map(|(word, count)| (format!("{{standing=\"{word}\"}}"), count));
    put(&mut out, Family("inkwatt_findings", "gauge", "", "Findings that go on."), findings);
    if let Some(forwarded) = &now.forwarded {
        forwarding(&mut out, forwarded);
    }
    out.push_str("# EOF\n");
    out
}

/// What is forwarded to InfluxDB.
fn forwarding(out: &mut String, forwarded: &Forwarded) {
    let one = |value: f64| std::iter::once((String::new(), value));
    let lines = one(forwarded.lines as f64);
    put(out, Family("inkwatt_forwarded_lines", "counter", "", "Lines that InfluxDB took since the start."), lines);
    let refused = one(forwarded.standing.refused as f64);
    put(out, Family("inkwatt_forward_refused_lines", "gauge", "", "Lines that InfluxDB refused for good."), refused);
    let ready = one(f64::from(u8::from(forwarded.standing.fault.is_none())));
    put(out, Family("inkwatt_forward_ready", "gauge", "", "Whether InfluxDB takes lines."), ready);
}

/// A family with its samples; nothing where there is none.
fn put(out: &mut String, Family(name, kind, unit, help): Family, samples: impl Iterator<Item = (String, f64)>) {
    let mut samples = samples.peekable();
    if samples.peek().is_none() {
        return;
    }
    // Writing to a string cannot fail.
    let _ = writeln!(out, "# TYPE {name} {kind}");
    if !unit.is_empty() {
        let _ = writeln!(out, "# UNIT {name} {unit}");
    }
    let _ = writeln!(out, "# HELP {name} {help}");
    let total = if kind == "counter" { "_total" } else { "" };
    for (labels, value) in samples {
        let _ = writeln!(out, "{name}{total}{labels} {value}");
    }
}

/// A label's value: backslash, quote and line feed are escaped (section "Escaping" of the specification).
fn escaped(value: &str) -> String {
    value.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_family_stands_together_with_its_unit_and_its_labels_are_escaped() {
        let mut out = String::new();
        let samples = [(format!("{{meter=\"{}\"}}", escaped("a\"\\\n")), 1.5)];
        put(&mut out, Family("x_watts", "gauge", "watts", "Draw."), samples.into_iter());
        put(&mut out, Family("none", "gauge", "", "Nothing."), std::iter::empty());
        put(&mut out, Family("read", "counter", "", "Read."), std::iter::once((String::new(), 2.0)));
        assert_eq!(
            out,
            "# TYPE x_watts gauge\n# UNIT x_watts watts\n# HELP x_watts Draw.\nx_watts{meter=\"a\\\"\\\\\\n\"} 1.5\n\
             # TYPE read counter\n# HELP read Read.\nread_total 2\n"
        );
    }
}
