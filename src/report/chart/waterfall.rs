//! A bridge from one total to another, one step below the other.
//!
//! Name and value of each step stand above its bar, so that the drawing is read on paper and on a telephone alike.

use super::svg::{Anchor, Svg};

/// A row of the drawing.
#[derive(Clone, Debug)]
pub struct Step {
    /// Its class: `total`, `operation`, `equipment` or `rest`.
    pub class: &'static str,
    /// What it is due to.
    pub name: String,
    /// What is written beside the name.
    pub value: String,
    /// Where its bar begins and ends.
    pub span: (f64, f64),
    /// How far its end may lie on either side.
    pub interval: Option<f64>,
}

const WIDTH: f64 = 760.0;
const ROW: f64 = 46.0;
const BAR: f64 = 14.0;
const EDGE: f64 = 8.0;

/// Draws the steps from the first total to the last, on one scale that holds zero.
pub fn waterfall(title: &str, description: &str, steps: &[Step]) -> String {
    let ends = |step: &Step| {
        let half = step.interval.unwrap_or(0.0);
        [step.span.0, step.span.1, step.span.1 - half, step.span.1 + half]
    };
    let all: Vec<f64> = steps.iter().flat_map(ends).chain([0.0]).collect();
    let (low, high) = (all.iter().copied().fold(0.0, f64::min), all.iter().copied().fold(0.0, f64::max));
    let range = if high > low { high - low } else { 1.0 };
    let x = |value: f64| EDGE + (value - low) / range * (WIDTH - 2.0 * EDGE);
    let height = ROW * steps.len() as f64 + 6.0;
    let mut svg = Svg::new("chart waterfall", WIDTH, height, title, description);
    svg.line("axis", (x(0.0), 0.0), (x(0.0), height));
    for (k, step) in steps.iter().enumerate() {
        let top = ROW * k as f64;
        let (bar, bottom) = (top + ROW - BAR - 4.0, top + ROW - 4.0);
        svg.text("name", Anchor::Start, (EDGE + 6.0, bar - 6.0), &step.name);
        svg.text("value", Anchor::End, (WIDTH - EDGE, bar - 6.0), &step.value);
        let (left, right) = (x(step.span.0.min(step.span.1)), x(step.span.0.max(step.span.1)));
        let tip = format!("{}: {}", step.name, step.value);
        svg.rect(&format!("w-{}", step.class), (left, bar), ((right - left).max(1.0), BAR), &tip);
        if let Some(half) = step.interval {
            let (from, to, middle) = (x(step.span.1 - half), x(step.span.1 + half), bar + BAR / 2.0);
            svg.line("whisker", (from, middle), (to, middle));
            for end in [from, to] {
                svg.line("whisker", (end, bar + 2.0), (end, bottom - 2.0));
            }
        }
        // Where this step ends the next one begins.
        if k + 1 < steps.len() {
            svg.line("join", (x(step.span.1), bottom), (x(step.span.1), bottom + ROW - BAR));
        }
    }
    svg.finish()
}
