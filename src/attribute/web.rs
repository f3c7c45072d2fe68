//! Whether the web of a press moves.

use crate::attribute::DayFacts;
use crate::attribute::track::steady;
use crate::plant::{Dated, Press};
use crate::readings::{Quantity, Reading, Series, Subject};
use crate::time::{At, MINUTE};

/// A moving web is believed for so long without a further value; a standing one until something else is said, since
/// many sources publish changes only.
const BELIEVED: i64 = 30 * MINUTE;
/// The web starts or stops only if it does so for as long as this.
const FLICKER: i64 = MINUTE / 2;

/// Whether the web moves, from its speed, else from its length; `None` inside where neither tells.
pub fn moving(press: &Press, facts: &DayFacts) -> Dated<Option<bool>> {
    let of = |quantity| facts.of(&Series::new(Subject::Press(press.id.clone()), quantity));
    let speed = of(Quantity::Speed);
    let moves = match speed.is_empty() {
        false => by_speed(&speed, press.moving_mm_min),
        true => by_length(&of(Quantity::WebLength), press.moving_mm_min),
    };
    steady(moves, FLICKER)
}

fn by_speed(speed: &[Reading], least: i64) -> Vec<(At, Option<bool>)> {
    let mut moves = Vec::with_capacity(speed.len());
    for (k, reading) in speed.iter().enumerate() {
        let moving = reading.count >= least;
        moves.push((reading.at, Some(moving)));
        let believed = reading.at + BELIEVED;
        if moving && speed.get(k + 1).is_none_or(|next| next.at > believed) {
            moves.push((believed, None));
        }
    }
    moves
}

fn by_length(length: &[Reading], least: i64) -> Vec<(At, Option<bool>)> {
    let between = |pair: &[Reading]| {
        let (run, millis) = (pair[1].count.checked_sub(pair[0].count)?, pair[1].at - pair[0].at);
        match run {
            0 => Some(false),
            1.. if millis <= BELIEVED => {
                Some(i128::from(run) * i128::from(MINUTE) >= i128::from(least) * i128::from(millis))
            }
            _ => None,
        }
    };
    let mut moves: Vec<_> = length.windows(2).map(|pair| (pair[0].at, between(pair))).collect();
    moves.extend(length.last().map(|last| (last.at, None)));
    moves
}
