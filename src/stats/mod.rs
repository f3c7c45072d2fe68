//! Statistics: plain functions on numbers, each with the source of its formula.
//!
//! Floating point throughout, because nothing here has to add up to the unit: what a caller shares out afterwards goes
//! through `units::split`. What cannot be computed is `None` or a [`Refusal`].

pub mod ar1;
pub mod arl;
mod beta;
pub mod changepoint;
pub mod cusum;
mod design;
pub mod diagnose;
pub mod drift;
pub mod drift_rates;
pub mod durbin_watson;
mod factors;
pub mod fisher;
pub mod gum;
mod least_squares;
mod model;
pub mod normal;
pub mod robust;
pub mod savings_uncertainty;
pub mod shapley;
pub mod student;

pub use design::{Column, Design, Refusal};
pub use least_squares::{FTest, Fit, fit};
pub use model::{Model, Term};
