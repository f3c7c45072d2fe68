//! Baselines: models of what a scope drew with its old lamps, over drivers that the conversion does not move.
//!
//! Candidates are fitted and compared; which one is taken is a person's choice. A frozen one is kept whole and never
//! refitted in silence.

mod boundary;
mod caution;
mod criteria;
mod fitted;
mod form;
mod frozen;
mod kind;
mod refused;

pub use boundary::{Bounds, boundaries, lamps_alone, measured, shown};
pub use caution::{Caution, Least};
pub use criteria::Criterion;
pub use fitted::{Fitted, candidates, fit, fit_with_outdoor, over};
pub use form::{DAYS, Form, Outdoor, Points};
pub use frozen::{Frozen, Provenance, facts};
pub use kind::Kind;
pub use refused::Refused;
