//! Power over the hours of a mean day.

use super::scale::Scale;
use super::svg::{Anchor, Svg};

/// One curve: a value for each equal part of the day, from midnight to midnight.
#[derive(Clone, Debug)]
pub struct Curve {
    /// Its class.
    pub class: &'static str,
    /// Its name, written beside it.
    pub name: String,
    /// Its values; none where nothing is known, and the curve is broken there.
    pub values: Vec<Option<f64>>,
}

const WIDTH: f64 = 760.0;
const HEIGHT: f64 = 230.0;
const LEFT: f64 = 70.0;
const RIGHT: f64 = 6.0;
const TOP: f64 = 26.0;
const BOTTOM: f64 = 34.0;

/// Draws the curves as steps, since each value is a mean over its part of the day.
pub fn profile(title: &str, description: &str, unit: &str, curves: &[Curve]) -> String {
    let scale = Scale::up_to(curves.iter().flat_map(|c| c.values.iter().flatten()).fold(0.0, |most, v| v.max(most)));
    let (ground, height, width) = (HEIGHT - BOTTOM, HEIGHT - BOTTOM - TOP, WIDTH - LEFT - RIGHT);
    let mut svg = Svg::new("chart", WIDTH, HEIGHT, title, description);

    svg.text("unit", Anchor::Start, (LEFT, 17.0), unit);
    for (k, (value, label)) in scale.marks().into_iter().enumerate() {
        let y = scale.at(value, ground, height);
        svg.line(if value == 0.0 { "axis" } else { "mark" }, (LEFT, y), (WIDTH - RIGHT, y));
        svg.text(if k % 2 == 0 { "label" } else { "label minor" }, Anchor::End, (LEFT - 8.0, y + 4.0), &label);
    }
    for hour in (0..=24).step_by(3) {
        let x = LEFT + width * f64::from(hour) / 24.0;
        let anchor = if hour == 24 { Anchor::End } else { Anchor::Middle };
        let class = if hour % 6 == 0 { "label" } else { "label minor" };
        svg.line("tick", (x, ground), (x, ground + 4.0));
        svg.text(class, anchor, (x, HEIGHT - 9.0), &format!("{hour:02}:00"));
    }
    for curve in curves {
        let part = width / curve.values.len().max(1) as f64;
        let x = |k: usize| LEFT + part * k as f64;
        let mut first = 0;
        for known in curve.values.split(Option::is_none) {
            let steps = known.iter().flatten().zip(first..).flat_map(|(value, k)| {
                let y = scale.at(value.max(0.0), ground, height);
                [(x(k), y), (x(k + 1), y)]
            });
            let steps: Vec<_> = steps.collect();
            if !steps.is_empty() {
                svg.path(&format!("curve {}", curve.class), &steps);
            }
            first += known.len() + 1;
        }
    }
    svg.finish()
}
