//! A small horizontal bar inside a table.

use super::svg::Svg;

const WIDTH: f64 = 120.0;
const HEIGHT: f64 = 12.0;

/// Draws parts side by side, each as long as its value, where `whole` fills the width.
pub fn bar(title: &str, parts: &[(&'static str, f64)], whole: f64) -> String {
    let mut svg = Svg::new("bar", WIDTH, HEIGHT, title, "");
    let mut x = 0.0;
    for (class, value) in parts.iter().filter(|(_, value)| *value > 0.0 && whole > 0.0) {
        let width = value / whole * WIDTH;
        svg.rect(&format!("u-{class}"), (x, 0.0), ((width - 0.6).max(0.3), HEIGHT), "");
        x += width;
    }
    svg.finish()
}
