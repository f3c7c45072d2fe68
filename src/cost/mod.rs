//! Tariffs, and what energy costs under them.

mod charges;
mod check;
mod clock;
mod demand;
mod invoice;
mod price;
mod sharing;
mod supply;
mod tariff;
mod terms;
mod versions;

pub use check::{Compared, Comparison, SHIFTED, again, check};
pub use invoice::{Element, Group, Invoice, InvoiceLine, Unit, invoice, looks_back};
pub use price::{BandLine, Bill, Share, Standing, price};
pub use sharing::{Used, shares};
pub use supply::{Highest, Interval, Supply, Total};
pub use tariff::{Band, Block, BlockSize, Tariff, Window};
pub use terms::{
    AdjustBy, Adjustment, Capacity, Demand, Levied, Levy, Measure, Over, Per, Ratchet, Rounding, Tax, Terms, Wattless,
};
pub use versions::{Part, Piece, Unbilled, fault, months, pieces};
