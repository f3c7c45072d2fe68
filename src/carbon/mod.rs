//! Grid factors, and the carbon of the electricity drawn.

mod factor;

pub use factor::{FactorSet, Gas, Status};
