//! Grid factors, and the carbon of the electricity drawn.

mod factor;
pub mod filing;
mod footprint;
mod gwp;
mod market;
mod quality;

pub use factor::{Basis, Beside, FactorSet, Gas, Method, Status};
pub use footprint::{Footprint, SetLine, Share, of};
pub use gwp::{WARMING, warming};
pub use market::{Market, MarketLine, Supplied, market};
pub use quality::{Answer, Check, Criterion, checks};
