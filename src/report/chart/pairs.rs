//! Pairs of columns side by side: before and after, at one value of something else.

use super::frame::Frame;
use super::svg::Anchor;

/// Two columns that compare.
#[derive(Clone, Debug)]
pub struct Pair {
    /// What both have in common, below them.
    pub label: String,
    /// Their heights.
    pub values: [f64; 2],
    /// What they are, for a pointer that rests on them.
    pub tip: String,
}

const HEIGHT: f64 = 230.0;

/// Draws pairs; `unit` names the axis, `classes` the left and the right columns.
pub fn pairs(title: &str, description: &str, unit: &str, classes: [&str; 2], pairs: &[Pair]) -> String {
    let frame = Frame::new(HEIGHT, pairs.iter().flat_map(|pair| pair.values).fold(0.0, f64::max));
    let pitch = frame.width() / pairs.len().max(1) as f64;
    let width = (pitch * 0.36).min(34.0);
    let mut svg = frame.drawing(title, description);
    frame.axis(&mut svg, unit);
    for (k, pair) in pairs.iter().enumerate() {
        let middle = frame.x(k as f64 / pairs.len() as f64) + pitch / 2.0;
        for ((class, value), left) in classes.into_iter().zip(pair.values).zip([middle - width - 0.5, middle + 0.5]) {
            let top = frame.y(value.max(0.0));
            svg.rect(&format!("u-{class}"), (left, top), (width, frame.ground() - top), &pair.tip);
        }
        frame.label(&mut svg, Anchor::Middle, middle, k % 2 != 0, &pair.label);
    }
    svg.finish()
}
