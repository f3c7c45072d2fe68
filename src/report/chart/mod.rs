//! Drawings as inline SVG. Shapes carry classes only: colours, patterns and type come from the style sheet, so that
//! one drawing serves light, dark and print.

mod bar;
mod calendar;
mod frame;
mod pairs;
mod profile;
mod scale;
mod stacked;
mod svg;
mod waterfall;

pub use bar::bar;
pub use calendar::{Days, calendar};
pub use frame::Frame;
pub use pairs::{Pair, pairs};
pub use profile::{Curve, profile};
pub use stacked::{Column, Layer, Words, stacked};
pub use svg::{Anchor, Svg};
pub use waterfall::{Step, waterfall};
