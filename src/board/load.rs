//! The load of today as a drawing: each quarter hour, the band that is usual, and what is agreed with the supplier.

use crate::agent::{Overview, SLOTS};
use crate::report::chart::{Anchor, Frame, Svg};
use serde::Serialize;

const HEIGHT: f64 = 250.0;

/// The drawing with its key.
#[derive(Serialize)]
pub(super) struct Drawn {
    drawing: String,
    keys: Vec<Key>,
}

#[derive(Serialize)]
struct Key {
    swatch: &'static str,
    words: String,
}

const LOAD: &str = r#"<svg viewBox="0 0 22 16" aria-hidden="true"><path class="curve" d="M0 8L22 8"/></svg>"#;
const USUAL: &str = r#"<svg viewBox="0 0 22 16" aria-hidden="true"><rect class="usual" width="22" height="16"/></svg>"#;
const AGREED: &str =
    r#"<svg viewBox="0 0 22 16" aria-hidden="true"><line class="agreed" x1="0" x2="22" y1="8" y2="8"/></svg>"#;

/// Draws the load of today.
pub(super) fn drawn(overview: &Overview) -> Drawn {
    let agreed = overview.agreed.filter(|(_, unit)| *unit == "kW").map(|(agreed, _)| agreed);
    let highs = overview.usual.iter().flatten().map(|(_, high)| *high);
    let largest = overview.load.iter().flatten().copied().chain(highs).chain(agreed).fold(0.0, f64::max);
    let frame = Frame::new(HEIGHT, largest);
    let mut svg = frame.drawing("Mean power of the plant in each quarter hour of today", &spoken(overview, agreed));
    let x = |slot: usize| frame.x(slot as f64 / SLOTS as f64);
    for (slot, (low, high)) in overview.usual.iter().enumerate().filter_map(|(slot, band)| Some((slot, (*band)?))) {
        // A hair wider than its quarter hour, so that no seam shows.
        let size = (x(slot + 1) - x(slot) + 0.3, (frame.y(low) - frame.y(high)).max(0.5));
        svg.rect("usual", (x(slot), frame.y(high)), size, "");
    }
    frame.axis(&mut svg, "kW");
    hours(&mut svg, frame);
    if let Some(agreed) = agreed {
        svg.line("agreed", (x(0), frame.y(agreed)), (x(SLOTS), frame.y(agreed)));
    }
    let mut first = 0;
    for known in overview.load.split(Option::is_none) {
        let steps = known.iter().flatten().zip(first..);
        let points: Vec<(f64, f64)> =
            steps.flat_map(|(kw, slot)| [x(slot), x(slot + 1)].map(|x| (x, frame.y(kw.max(0.0))))).collect();
        if !points.is_empty() {
            svg.path("curve", &points);
        }
        first += known.len() + 1;
    }
    Drawn { drawing: svg.finish(), keys: keys(overview, agreed) }
}

fn hours(svg: &mut Svg, frame: Frame) {
    for hour in (0..=24).step_by(3) {
        let x = frame.x(f64::from(hour) / 24.0);
        let anchor = if hour == 24 { Anchor::End } else { Anchor::Middle };
        svg.line("tick", (x, frame.ground()), (x, frame.ground() + 4.0));
        frame.label(svg, anchor, x, hour % 6 != 0, &format!("{hour:02}:00"));
    }
}

fn keys(overview: &Overview, agreed: Option<f64>) -> Vec<Key> {
    let mut keys = Vec::new();
    if overview.load.iter().any(Option::is_some) {
        keys.push(Key { swatch: LOAD, words: "today, mean of each quarter hour".into() });
    }
    if overview.usual.iter().any(Option::is_some) {
        let words = "usual: six of the last eight same days of the week lie within".into();
        keys.push(Key { swatch: USUAL, words });
    }
    match (agreed, overview.agreed) {
        (Some(agreed), _) => keys.push(Key { swatch: AGREED, words: format!("agreed capacity {agreed} kW") }),
        (None, Some((agreed, unit))) => {
            keys.push(Key {
                swatch: "",
                words: format!("agreed capacity {agreed} {unit}, not drawn: it is apparent power"),
            });
        }
        (None, None) => {}
    }
    keys
}

/// The drawing for those who do not see it.
fn spoken(overview: &Overview, agreed: Option<f64>) -> String {
    let last = overview.load.iter().enumerate().filter_map(|(slot, kw)| Some((slot, (*kw)?))).next_back();
    let Some((slot, kw)) = last else { return "No quarter hour of today is known yet.".into() };
    let usual = match overview.usual[slot] {
        Some((low, high)) if kw > high => format!(", above the usual {low:.0} to {high:.0} kW"),
        Some((low, high)) if kw < low => format!(", below the usual {low:.0} to {high:.0} kW"),
        Some((low, high)) => format!(", within the usual {low:.0} to {high:.0} kW"),
        None => String::new(),
    };
    let most = overview.load.iter().flatten().copied().fold(0.0, f64::max);
    let agreed = agreed.map_or_else(String::new, |agreed| format!(" Agreed are {agreed} kW."));
    let (hour, minute) = (slot / 4, slot % 4 * 15);
    format!(
        "The last quarter hour, from {hour:02}:{minute:02}, had {kw:.1} kW{usual}; the highest of today {most:.1} kW.{agreed}"
    )
}
