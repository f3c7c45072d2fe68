//! Grid factors, and the carbon of the electricity drawn.

mod factor;
mod footprint;
mod gwp;

pub use factor::{Basis, Beside, FactorSet, Gas, Status};
pub use footprint::{Footprint, SetLine, Share, of};
pub use gwp::{WARMING, warming};
