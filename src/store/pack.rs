//! Readings of one subject become blocks: series with the same instants share a clock.

use super::read::Stated;
use super::segment::{self, MOST, Standing, Values};
use std::collections::BTreeMap;

/// The blocks of one subject within a time, packed.
#[derive(Debug, Default)]
pub(super) struct Packed {
    /// The clocks.
    pub clocks: Vec<Vec<u8>>,
    /// The blocks of values.
    pub blocks: Vec<PackedBlock>,
}

/// One packed block.
#[derive(Debug)]
pub(super) struct PackedBlock {
    /// The number of its series.
    pub series: i64,
    /// Its first and last instant.
    pub span: (i64, i64),
    /// How many values it holds.
    pub n: usize,
    /// Its clock, by its place in the list.
    pub clock: usize,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// Packs the statements of one subject's series, each in order of time without two of an instant.
pub(super) fn pack(readings: &BTreeMap<i64, Vec<Stated>>) -> Packed {
    let mut pieces: Vec<(i64, &[Stated])> =
        readings.iter().flat_map(|(series, all)| all.chunks(MOST).map(|piece| (*series, piece))).collect();
    // The fullest first: its clock serves those with gaps.
    pieces.sort_by_key(|(series, piece)| (std::cmp::Reverse(piece.len()), *series));
    let mut clocks: Vec<Vec<i64>> = Vec::new();
    let mut blocks = Vec::with_capacity(pieces.len());
    for (series, piece) in pieces {
        let shared = clocks.iter().enumerate().find_map(|(k, clock)| Some((k, presence(clock, piece)?)));
        let (clock, presence) = shared.unwrap_or_else(|| {
            clocks.push(piece.iter().map(|s| s.t).collect());
            (clocks.len() - 1, Vec::new())
        });
        let counts = piece.iter().map(|s| s.statement.count).collect();
        let span = (piece[0].t, piece[piece.len() - 1].t);
        let bytes = segment::pack_values(span, &Values { counts, standings: standings(piece), presence });
        blocks.push(PackedBlock { series, span, n: piece.len(), clock, bytes });
    }
    Packed { clocks: clocks.iter().map(|clock| segment::pack_clock(clock)).collect(), blocks }
}

/// Where a clock has values of a piece, if it has an instant for each and at least half of its instants have one.
fn presence(clock: &[i64], piece: &[Stated]) -> Option<Vec<usize>> {
    if piece.len() == clock.len() {
        return piece.iter().zip(clock).all(|(s, t)| s.t == *t).then(Vec::new);
    }
    if piece.len() * 2 < clock.len() {
        return None;
    }
    let mut left = piece.iter().peekable();
    let mut runs = vec![0];
    for t in clock {
        let has = left.next_if(|s| s.t == *t).is_some();
        // Runs at even places have values.
        if has != (runs.len() % 2 == 1) {
            runs.push(0);
        }
        *runs.last_mut()? += 1;
    }
    left.next().is_none().then_some(runs)
}

fn standings(piece: &[Stated]) -> Vec<Standing> {
    let of = |s: &Stated| (s.statement.rank, s.statement.epoch);
    let stretches = piece.chunk_by(|a, b| of(a) == of(b));
    stretches.map(|s| Standing { n: s.len(), rank: s[0].statement.rank, epoch: s[0].statement.epoch }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::Rank;
    use crate::readings::rank::Statement;

    fn series(times: &[i64]) -> Vec<Stated> {
        let statement = |count| Statement { rank: Rank::Live, epoch: 0, revision: 0, count };
        times.iter().map(|t| Stated { t: *t, statement: statement(t * 10) }).collect()
    }

    #[test]
    fn series_read_together_share_a_clock_and_a_missing_value_does_not_part_them() {
        let whole = [10, 20, 30, 40];
        let all = [(1, series(&whole)), (2, series(&[20, 30])), (3, series(&[11, 20])), (4, series(&whole))];
        let packed = pack(&BTreeMap::from(all));
        let clocks: Vec<_> = packed.clocks.iter().map(|c| segment::unpack_clock(c).expect("a clock")).collect();
        assert_eq!(clocks, [whole.to_vec(), vec![11, 20]]);
        let of: Vec<_> = packed.blocks.iter().map(|b| (b.series, b.clock)).collect();
        assert_eq!(of, [(1, 0), (4, 0), (2, 0), (3, 1)]);
        let gaps = segment::unpack_values(&packed.blocks[2].bytes, 4).expect("values");
        assert_eq!((gaps.presence, gaps.counts), (vec![0, 1, 2, 1], vec![200, 300]));
    }

    #[test]
    fn a_block_never_holds_more_than_it_may() {
        let times: Vec<i64> = (0..MOST as i64 + 5).collect();
        let packed = pack(&BTreeMap::from([(1, series(&times))]));
        assert_eq!(packed.blocks.iter().map(|b| b.n).collect::<Vec<_>>(), [MOST, 5]);
    }
}
