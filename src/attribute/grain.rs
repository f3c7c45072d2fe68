//! How finely a day is kept: what is read every second is joined to stretches of ten, so that a day needs the same room
//! however often its meters are read.

use crate::time::{MINUTE, Period};

/// Neighbours that begin within the same ten seconds are joined.
pub const GRAIN: i64 = 10_000;

/// Whether two neighbouring stretches are kept as one. None crosses a full minute for that, so that quarter hours,
/// shifts and jobs keyed to the minute are cut as finely as they were read; and none grows much beyond the grain. It
/// depends on the two alone, never on when they were taken up.
pub fn joins(one: Period, next: Period) -> bool {
    let cell = one.start.floor(GRAIN);
    one.end == next.start
        && next.start.floor(GRAIN) == cell
        && next.end <= cell.floor(MINUTE) + MINUTE
        && next.end - one.start <= GRAIN + GRAIN / 2
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::attribute::{Amount, Curve, Piece, Placed};
    use crate::time::{At, HOUR};
    use crate::units::Energy;

    /// Pieces of an hour, each as long as the meter takes to be read, each with another energy.
    fn pieces(interval: i64, offset: i64) -> Vec<Piece> {
        let piece = |k: i64| {
            let start = At(offset + k * interval);
            let (amount, placed) = (Amount::Metered, Placed::Measured);
            Piece { period: Period::new(start, start + interval), energy: Energy::from_mwh(k % 7), amount, placed }
        };
        (0..HOUR / interval).map(piece).collect()
    }

    fn kept(pieces: &[Piece]) -> Curve {
        let mut curve = Curve::default();
        pieces.iter().for_each(|piece| curve.push(*piece));
        curve
    }

    #[test]
    fn an_hour_takes_the_same_room_however_often_it_is_read() {
        let room = |interval, offset| kept(&pieces(interval, offset)).pieces().len();
        assert_eq!([room(1_000, 0), room(500, 0), room(1_000, 300), room(250, 100)], [360, 360, 420, 420]);
    }

    #[test]
    fn what_is_read_every_ten_seconds_or_more_rarely_is_kept_as_it_is() {
        for interval in [8_000, 9_990, 10_000, 10_010, 60_000] {
            assert_eq!(kept(&pieces(interval, 300)).pieces(), pieces(interval, 300), "{interval}");
        }
    }

    #[test]
    fn full_minutes_are_cut_as_finely_as_they_were_read() {
        let minutes: Vec<At> = (1..60).map(|k| At(k * MINUTE)).collect();
        for (interval, offset) in [(1_000, 300), (700, 0), (3_000, 1_999)] {
            let fine = pieces(interval, offset);
            assert_eq!(kept(&fine).parts(&minutes), Curve::new(fine).parts(&minutes), "{interval}");
        }
    }
}
