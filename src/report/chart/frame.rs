//! The frame of a chart: its margins, its axis of values, and the ground on which it stands.

use super::scale::Scale;
use super::svg::{Anchor, Svg};

const WIDTH: f64 = 760.0;
const LEFT: f64 = 70.0;
const RIGHT: f64 = 6.0;
const TOP: f64 = 26.0;
const BOTTOM: f64 = 34.0;

/// A frame as wide as the page and of some height, with an axis of values from zero up, or to both sides of zero.
#[derive(Clone, Copy, Debug)]
pub struct Frame {
    height: f64,
    scale: Scale,
    is_signed: bool,
}

impl Frame {
    /// The frame for values up to `largest`.
    pub fn new(height: f64, largest: f64) -> Self {
        Self { height, scale: Scale::up_to(largest), is_signed: false }
    }

    /// The frame for values up to `largest` on either side of zero.
    pub fn signed(height: f64, largest: f64) -> Self {
        Self { is_signed: true, ..Self::new(height, largest) }
    }

    /// An empty drawing of its size.
    pub fn drawing(self, title: &str, description: &str) -> Svg {
        Svg::new("chart", WIDTH, self.height, title, description)
    }

    /// Width of the field inside.
    pub const fn width(self) -> f64 {
        WIDTH - LEFT - RIGHT
    }

    /// Where a part of the width lies, between 0 and 1.
    pub fn x(self, part: f64) -> f64 {
        LEFT + self.width() * part
    }

    /// Where a value lies.
    pub fn y(self, value: f64) -> f64 {
        let field = self.ground() - TOP;
        match self.is_signed {
            true => self.scale.at(value, TOP + field / 2.0, field / 2.0),
            false => self.scale.at(value, self.ground(), field),
        }
    }

    /// Where the field ends below.
    pub const fn ground(self) -> f64 {
        self.height - BOTTOM
    }

    /// Draws the name of the unit and the marks of the axis.
    pub fn axis(self, svg: &mut Svg, unit: &str) {
        svg.text("unit", Anchor::Start, (LEFT, 17.0), unit);
        let marks = self.scale.marks();
        let below = marks.iter().skip(1).filter(|_| self.is_signed);
        let below: Vec<_> = below.map(|(value, label)| (-value, format!("−{label}"))).collect();
        for (k, (value, label)) in marks.into_iter().enumerate().chain((1..).zip(below)) {
            let y = self.y(value);
            svg.line(if value == 0.0 { "axis" } else { "mark" }, (LEFT, y), (WIDTH - RIGHT, y));
            svg.text(if k % 2 == 0 { "label" } else { "label minor" }, Anchor::End, (LEFT - 8.0, y + 4.0), &label);
        }
    }

    /// Writes a label below the ground; a minor one is left out where the page is narrow.
    pub fn label(self, svg: &mut Svg, anchor: Anchor, x: f64, minor: bool, text: &str) {
        svg.text(if minor { "label minor" } else { "label" }, anchor, (x, self.height - 9.0), text);
    }

    /// The whole height of the field at a place, as position and size.
    pub fn band(self, x: f64, width: f64) -> ((f64, f64), (f64, f64)) {
        ((x, TOP), (width, self.ground() - TOP))
    }
}
