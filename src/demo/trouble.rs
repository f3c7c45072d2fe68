//! The planted troubles: what goes wrong in the invented plant, when, and by how much. The truth file names them all.

use super::dates::{Ymd, at};
use super::hall::{MAIN, MIXED, first_station};
use crate::time::{At, HOUR, MINUTE, Period};

/// A station that draws more than it should: its position, since when, and how many thousandths more.
pub const HIGH_DRAW: (usize, Ymd, i64) = (5, (2026, 4, 20), 160);
/// The Fridays on which the varnish lamp of the mixed press is left on until Monday.
pub const LEFT_ON: [Ymd; 4] = [(2026, 5, 8), (2026, 5, 22), (2026, 6, 12), (2026, 6, 26)];
/// A meter exchanged with both counts read: its position and the day.
pub const EXCHANGED: (usize, Ymd) = (first_station(1) + 4, (2025, 9, 16));
/// A meter exchanged without anybody reading a count.
pub const EXCHANGED_UNREAD: (usize, Ymd) = (6, (2025, 11, 11));
/// The meter whose register goes back to zero.
pub const ROLLS_OVER: usize = first_station(1) + 1;
/// Since when the transformers of a press main are 250/5, where its meter still believes in 200/5.
pub const WRONG_RATIO: (usize, Ymd) = (MAIN + 1, (2026, 3, 3));
/// The fitted ratio over the one that the meter is programmed for.
pub const RATIO: (i64, i64) = (5, 4);

/// The press at which capacitors sized for ballasts stay connected after the conversion, and their vars.
pub const CAPACITORS: (usize, i64) = (1, 5_000);

/// The wrong ratio holds from here on.
pub fn wrong_ratio_since() -> At {
    at(WRONG_RATIO.1, 13, 30)
}

/// Until when the gateway of press 1 is away: nine hours.
pub fn gateway_outage() -> Period {
    let start = at((2026, 3, 17), 20, 40);
    Period::new(start, start + 9 * HOUR)
}

/// The days whose supply readings come late, in a file.
pub fn late_supply() -> Period {
    Period::new(at((2026, 6, 16), 0, 0), at((2026, 6, 19), 0, 0))
}

/// When a meter's device is exchanged: from the last reading of the old one to the first of the new one.
pub fn exchange(position: usize) -> Option<Period> {
    let day = [EXCHANGED, EXCHANGED_UNREAD].into_iter().find(|e| e.0 == position)?.1;
    let start = at(day, 12, 10);
    Some(Period::new(start, start + 20 * MINUTE))
}

/// The weekends over which the varnish lamp of the mixed press, once lit on Friday afternoon, stays on.
pub fn left_on() -> impl Iterator<Item = Period> {
    LEFT_ON.into_iter().map(|friday| {
        let start = at(friday, 12, 0);
        // 65 h 30 min later it is Monday 05:30; no clock changes over these weekends.
        Period::new(start, start + 65 * HOUR + 30 * MINUTE)
    })
}

/// Position of the varnish station of the mixed press.
pub const fn mixed_station() -> usize {
    first_station(MIXED.0) + MIXED.1
}
