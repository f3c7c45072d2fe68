//! Stacked columns: one for each day.

use super::scale::Scale;
use super::svg::{Anchor, Svg};

/// One layer of every column.
#[derive(Clone, Debug)]
pub struct Layer {
    /// Its class.
    pub class: &'static str,
    /// Its name.
    pub name: &'static str,
}

/// One column.
#[derive(Clone, Debug)]
pub struct Column {
    /// Its label on the axis.
    pub label: String,
    /// What it is, for a pointer that rests on it.
    pub name: String,
    /// Whether it is set apart, as days without work are.
    pub apart: bool,
    /// Its value in each layer; `None` where the column has no data at all.
    pub values: Option<Vec<f64>>,
}

const WIDTH: f64 = 760.0;
const HEIGHT: f64 = 270.0;
const LEFT: f64 = 70.0;
const RIGHT: f64 = 6.0;
const TOP: f64 = 26.0;
const BOTTOM: f64 = 34.0;

/// Draws columns; `unit` names the axis. Values below zero are drawn as nothing.
pub fn stacked(title: &str, description: &str, unit: &str, layers: &[Layer], columns: &[Column]) -> String {
    let heights = columns.iter().flat_map(|c| &c.values).map(|v| v.iter().map(|x| x.max(0.0)).sum::<f64>());
    let scale = Scale::up_to(heights.fold(0.0, f64::max));
    let (ground, height) = (HEIGHT - BOTTOM, HEIGHT - BOTTOM - TOP);
    let pitch = (WIDTH - LEFT - RIGHT) / columns.len().max(1) as f64;
    let mut svg = Svg::new("chart", WIDTH, HEIGHT, title, description);

    svg.text("unit", Anchor::Start, (LEFT, 17.0), unit);
    for (k, column) in columns.iter().enumerate().filter(|(_, column)| column.apart) {
        svg.rect("apart", (LEFT + k as f64 * pitch, TOP), (pitch, height), &format!("{}: no work", column.name));
    }
    for (k, (value, label)) in scale.marks().into_iter().enumerate() {
        let y = scale.at(value, ground, height);
        svg.line(if value == 0.0 { "axis" } else { "mark" }, (LEFT, y), (WIDTH - RIGHT, y));
        svg.text(if k % 2 == 0 { "label" } else { "label minor" }, Anchor::End, (LEFT - 8.0, y + 4.0), &label);
    }
    for (k, column) in columns.iter().enumerate() {
        let x = LEFT + k as f64 * pitch;
        draw(&mut svg, layers, column, x, pitch, |value| scale.at(value, ground, height));
        let class = if k % 7 == 0 { "label" } else { "label minor" };
        svg.text(class, Anchor::Middle, (x + pitch / 2.0, HEIGHT - 9.0), &column.label);
    }
    svg.finish()
}

fn draw(svg: &mut Svg, layers: &[Layer], column: &Column, x: f64, pitch: f64, y: impl Fn(f64) -> f64) {
    let gap = (pitch * 0.18).min(4.0);
    let Some(values) = &column.values else {
        svg.text("label", Anchor::Middle, (x + pitch / 2.0, y(0.0) - 5.0), "?");
        return;
    };
    let mut base = 0.0;
    for (layer, value) in layers.iter().zip(values).filter(|(_, value)| **value > 0.0) {
        let (low, high) = (y(base), y(base + value));
        // A hairline of ground between layers parts them without colour.
        let size = (pitch - gap, (low - high - 0.6).max(0.4));
        let tip = format!("{}: {} {:.0} kWh", column.name, layer.name.to_lowercase(), value);
        svg.rect(&format!("u-{}", layer.class), (x + gap / 2.0, high), size, &tip);
        base += value;
    }
}
