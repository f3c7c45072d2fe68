//! What people see: the facts of a month become view structs, and those become HTML, CSV and a manifest, as bytes.
//!
//! [`month::view`] decides what is said, with units and rounding; [`render`] only lays it out. The same input gives
//! the same bytes.

mod accounts;
mod billed;
pub mod chart;
mod csv;
mod figures;
pub mod filing;
mod html;
mod input;
mod jobs;
pub mod jobs_of;
mod known;
mod lines;
mod manifest;
pub mod month;
mod number;
pub mod origin;
mod peak;
mod render;
pub mod savings;
mod scope2;
mod sums;
pub mod words;

pub use billed::{Billed, Checked};
pub use csv::tame;
pub use figures::figures;
pub use html::TemplateError;
pub use input::{Basis, Facts, MonthInput, Noticed, Text, Versions};
pub use number::Figure;
pub use render::{ReportFile, render};
