//! What came of the promise: a baseline of what the old lamps drew, the saving against it with its uncertainty, the
//! promise held against both, and the bridge from one to the other.
//!
//! Everything starts from [`Day`]: what one local day says about a [`Scope`], taken from the ledger's own slices. Figures
//! here are estimates and leave as such; whole numbers return where a bridge has to close.

mod check;
mod day;
mod estimate;
mod factors;
mod heat;
mod observe;
mod promise;
mod scope;
mod told;
mod words;

pub use check::check;
pub use day::{Aside, Day, DayType, Driver, Worked};
pub use estimate::{Confidence, Estimate};
pub use factors::{Draw, Factors, Levels, YEAR};
pub use heat::{HeatStated, MakeUpAir, Seasons};
pub use observe::observe;
pub use promise::{Basis, Contract, Equipment, Group, Hours, Promise, SharedChange, Side, Stated};
pub use scope::Scope;
pub use told::{Signals, Told, told};
