//! Tariffs, and what energy costs under them.

mod tariff;

pub use tariff::{Band, Tariff, Window};
