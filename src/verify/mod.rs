//! What came of the promise: a baseline of what the old lamps drew, the saving against it with its uncertainty, the
//! promise held against both, and the bridge from one to the other.
//!
//! Everything starts from [`Day`]: what one local day says about a [`Scope`], taken from the ledger's own slices. Figures
//! here are estimates and leave as such; whole numbers return where a bridge has to close.

pub mod baseline;
mod bridge;
mod capacity;
mod check;
mod conditions;
mod contract;
mod current;
mod day;
mod estimate;
mod factors;
mod heat;
mod money;
mod observe;
mod operation;
mod powers;
mod promise;
mod rated;
mod reconcile;
pub mod savings;
mod scope;
pub mod statement;
mod told;
mod verdict;
mod words;

pub use crate::names::Judged;
pub use bridge::{Bridge, Cause, Step, Whole};
pub use capacity::{BothSides, Capacity, CapacityUnknown, Matched};
pub use check::{check, freed_kva};
pub use conditions::Conditions;
pub use contract::{Due, UnderContract, looks};
pub use current::{Currents, LoadBy};
pub use day::{Aside, Cured, Day, DayType, Driver, Worked};
pub use estimate::{Confidence, Estimate};
pub use factors::{Draw, Factors, Levels, YEAR};
pub use heat::{Heat, HeatDay, HeatStated, MakeUpAir, Seasons};
pub use money::{Payback, YearlySaving, payback, yearly_savings};
pub use observe::{Beside, observe};
pub use operation::{Operation, Untold, levels, operation};
pub use powers::{PowerInterval, Powers, Supply, powers};
pub use promise::{Basis, Contract, Equipment, Group, Hours, Promise, SharedChange, Side, Stated};
pub use rated::{RatedLamp, Ratings, RatingsStated};
pub use reconcile::{Reconciled, reconcile};
pub use scope::Scope;
pub use told::{Signals, Told, job_days, told};
pub use verdict::{Judgement, Rate, Verdict, judge};
pub use words::listed;
