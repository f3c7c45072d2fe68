//! Power over the hours of a mean day.

use super::frame::Frame;
use super::svg::Anchor;

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

const HEIGHT: f64 = 230.0;

/// Draws the curves as steps, since each value is a mean over its part of the day.
pub fn profile(title: &str, description: &str, unit: &str, curves: &[Curve]) -> String {
    let largest = curves.iter().flat_map(|c| c.values.iter().flatten()).fold(0.0, |most: f64, v| v.max(most));
    let frame = Frame::new(HEIGHT, largest);
    let mut svg = frame.drawing(title, description);
    frame.axis(&mut svg, unit);
    for hour in (0..=24).step_by(3) {
        let x = frame.x(f64::from(hour) / 24.0);
        let anchor = if hour == 24 { Anchor::End } else { Anchor::Middle };
        svg.line("tick", (x, frame.ground()), (x, frame.ground() + 4.0));
        frame.label(&mut svg, anchor, x, hour % 6 != 0, &format!("{hour:02}:00"));
    }
    for curve in curves {
        let x = |k: usize| frame.x(k as f64 / curve.values.len().max(1) as f64);
        let mut first = 0;
        for known in curve.values.split(Option::is_none) {
            let steps = known.iter().flatten().zip(first..).flat_map(|(value, k)| {
                let y = frame.y(value.max(0.0));
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
