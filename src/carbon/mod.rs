//! Grid factors, and the carbon of the electricity drawn.

mod factor;
mod footprint;

pub use factor::{FactorSet, Gas, Status};
pub use footprint::{Footprint, SetLine, Share, of};
