//! Tariffs, and what energy costs under them.

mod clock;
mod price;
mod tariff;

pub use price::{BandLine, Bill, Share, Standing, price};
pub use tariff::{Band, Tariff, Window};
