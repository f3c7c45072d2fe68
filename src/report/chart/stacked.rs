//! Stacked columns: one for each day, or each hour.

use super::frame::Frame;
use super::svg::{Anchor, Svg};

/// One layer of every column.
#[derive(Clone, Debug)]
pub struct Layer {
    /// Its class.
    pub class: &'static str,
    /// Its name.
    pub name: String,
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
    /// Whether only a part of it is known.
    pub part: bool,
    /// Its value in each layer; `None` where the column has no data at all.
    pub values: Option<Vec<f64>>,
}

const HEIGHT: f64 = 270.0;

/// What is written around the columns.
#[derive(Clone, Copy, Debug)]
pub struct Words<'a> {
    /// Title of the drawing.
    pub title: &'a str,
    /// What it shows, for those who do not see it.
    pub description: &'a str,
    /// The unit at the axis.
    pub unit: &'a str,
    /// How many columns a label that stays on a narrow page is for.
    pub every: usize,
}

/// Draws columns. Values below zero are drawn as nothing.
pub fn stacked(words: Words, layers: &[Layer], columns: &[Column]) -> String {
    let heights = columns.iter().flat_map(|c| &c.values).map(|v| v.iter().map(|x| x.max(0.0)).sum::<f64>());
    let frame = Frame::new(HEIGHT, heights.fold(0.0, f64::max));
    let pitch = frame.width() / columns.len().max(1) as f64;
    let left = |k: usize| frame.x(k as f64 / columns.len() as f64);
    let mut svg = frame.drawing(words.title, words.description);
    for (k, column) in columns.iter().enumerate().filter(|(_, column)| column.apart) {
        let (at, size) = frame.band(left(k), pitch);
        svg.rect("apart", at, size, &format!("{}: no work", column.name));
    }
    frame.axis(&mut svg, words.unit);
    for (k, column) in columns.iter().enumerate() {
        draw(&mut svg, layers, column, left(k), pitch, |value| frame.y(value));
        frame.label(&mut svg, Anchor::Middle, left(k) + pitch / 2.0, k % words.every != 0, &column.label);
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
    if column.part {
        svg.text("label", Anchor::Middle, (x + pitch / 2.0, y(base) - 5.0), "?");
    }
}
