//! What came of the promise: a baseline of what the old lamps drew, the saving against it with its uncertainty, the
//! promise held against both, and the bridge from one to the other.
//!
//! Everything starts from [`Day`]: what one local day says about a [`Scope`], taken from the ledger's own slices. Figures
//! here are estimates and leave as such; whole numbers return where a bridge has to close.

mod day;
mod estimate;
mod promise;
mod scope;

pub use day::{Aside, Day, DayType, Driver, Worked};
pub use estimate::{Confidence, Estimate};
pub use promise::{Basis, Contract, Equipment, Group, Hours, Promise, SharedChange, Side, Stated};
pub use scope::Scope;
