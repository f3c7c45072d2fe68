//! Values over the days: curves or single points, with spans set apart.

use super::frame::Frame;
use super::svg::{Anchor, Svg};
use crate::time::Month;
use chrono::NaiveDate;

/// Values of some days, drawn alike.
#[derive(Clone, Debug)]
pub struct Days {
    /// Its class.
    pub class: &'static str,
    /// The values by day, in order; a curve is broken where more than `gap` days are between two.
    pub values: Vec<(NaiveDate, f64)>,
    /// Days between two values beyond which a curve is broken; `None` for single points.
    pub gap: Option<i64>,
}

const HEIGHT: f64 = 230.0;
/// As many months lie between two labels that a narrow page shows too.
const EVERY: usize = 4;

/// Draws values from zero up, or to both sides of zero where some lie below it.
pub fn calendar(
    title: &str,
    description: &str,
    unit: &str,
    (first, last): (NaiveDate, NaiveDate),
    apart: &[(NaiveDate, NaiveDate)],
    drawn: &[Days],
) -> String {
    let values = || drawn.iter().flat_map(|days| &days.values).map(|(_, value)| *value);
    let largest = values().map(f64::abs).fold(0.0, f64::max);
    let is_signed = values().any(|value| value < 0.0);
    let frame = if is_signed { Frame::signed(HEIGHT, largest) } else { Frame::new(HEIGHT, largest) };
    let all = (last - first).num_days().max(1) as f64 + 1.0;
    let part = |day: NaiveDate| (day - first).num_days() as f64 / all;
    let at = |(day, value): &(NaiveDate, f64)| (frame.x(part(*day)), frame.y(*value));
    let mut svg = frame.drawing(title, description);
    for (from, to) in apart {
        let (from, to) = (frame.x(part(*from)), frame.x(part(*to)));
        let (place, size) = frame.band(from, (to - from).max(1.0));
        svg.rect("apart", place, size, "");
    }
    frame.axis(&mut svg, unit);
    months(&mut svg, frame, (first, last), part);
    for days in drawn {
        let Some(gap) = days.gap else {
            for (x, y) in days.values.iter().map(at) {
                svg.rect(&format!("dot {}", days.class), (x - 1.2, y - 1.2), (2.4, 2.4), "");
            }
            continue;
        };
        for piece in days.values.chunk_by(|a, b| (b.0 - a.0).num_days() <= gap) {
            svg.path(&format!("curve {}", days.class), &piece.iter().map(at).collect::<Vec<_>>());
        }
    }
    svg.finish()
}

/// A tick where each month begins, and a label at every second.
fn months(svg: &mut Svg, frame: Frame, (first, last): (NaiveDate, NaiveDate), part: impl Fn(NaiveDate) -> f64) {
    let months = std::iter::successors(Some(Month::of(first).next()), |month| Some(month.next()));
    for (k, month) in months.take_while(|month| month.first() <= last).enumerate() {
        let (part, ground) = (part(month.first()), frame.ground());
        svg.line("tick", (frame.x(part), ground), (frame.x(part), ground + 4.0));
        // A label at the right edge would be cut off.
        if k % 2 == 0 && part < 0.93 {
            frame.label(svg, Anchor::Start, frame.x(part), k % EVERY != 0, &month.first().format("%b %y").to_string());
        }
    }
}
