//! The bytes of a packed block of readings. Two kinds: a clock holds instants, a block of values refers to one clock.
//!
//! ```text
//! clock    "IWKC" version codec  n  first last               length pco       crc32c
//! values   "IWKV" version codec  n  first last  first last   standings  presence  length pco  crc32c
//!          4      1       1         instants    counts
//! ```
//! Whole numbers are LEB128, signed ones in zigzag; the checksum is 4 bytes, little-endian, over all before it. A
//! standing is (how many values, rank, epoch); presence is how many instants of the clock have a value, how many have
//! none, and so on in turn. Codec 0 is the standalone format of pco 1.

use super::bytes::{Body, put, put_signed};
use super::error::Breach;
use crate::readings::Rank;
use pco::standalone::{simple_compress, simple_decompress_into};
use pco::{ChunkConfig, DeltaSpec, ModeSpec};

/// The most values that a block may hold: more than a day at one a second.
pub(super) const MOST: usize = 131_072;

const CLOCK: [u8; 4] = *b"IWKC";
const VALUES: [u8; 4] = *b"IWKV";
const VERSION: u8 = 1;
const PCO: u8 = 0;

/// Who said a stretch of values, and in which clock epoch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Standing {
    /// How many values.
    pub n: usize,
    /// Who says so.
    pub rank: Rank,
    /// The clock epoch.
    pub epoch: u32,
}

/// A block of values.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Values {
    /// The counts.
    pub counts: Vec<i64>,
    /// Who said them, stretch by stretch; together as many as there are counts.
    pub standings: Vec<Standing>,
    /// Instants of the clock with a value, without one, with one, ... Empty where all have one.
    pub presence: Vec<usize>,
}

/// Packs instants, in order, at least one and at most [`MOST`].
pub(super) fn pack_clock(times: &[i64]) -> Vec<u8> {
    let mut out = begin(CLOCK, times.len());
    for end in ends(times) {
        put_signed(&mut out, end);
    }
    // Polls are evenly spaced but for jitter: the first difference is nearly constant.
    finish(out, times, DeltaSpec::TryConsecutive(1))
}

/// Packs the values of a series whose first and last instant are given.
pub(super) fn pack_values(span: (i64, i64), values: &Values) -> Vec<u8> {
    let mut out = begin(VALUES, values.counts.len());
    for end in [span.0, span.1].into_iter().chain(ends(&values.counts)) {
        put_signed(&mut out, end);
    }
    put(&mut out, values.standings.len() as u64);
    for standing in &values.standings {
        put(&mut out, standing.n as u64);
        put(&mut out, standing.rank as u64);
        put(&mut out, u64::from(standing.epoch));
    }
    put(&mut out, values.presence.len() as u64);
    for n in &values.presence {
        put(&mut out, *n as u64);
    }
    finish(out, &values.counts, DeltaSpec::Auto)
}

/// The instants of a clock.
pub(super) fn unpack_clock(bytes: &[u8]) -> Result<Vec<i64>, Breach> {
    let (mut body, n) = open(CLOCK, bytes)?;
    let (first, last) = (body.signed()?, body.signed()?);
    let times = numbers(&mut body, n)?;
    if ends(&times) != [first, last] || !times.is_sorted_by(|a, b| a < b) {
        return Err(Breach::Parts);
    }
    Ok(times)
}

/// The values of a block whose clock has so many instants.
pub(super) fn unpack_values(bytes: &[u8], clock: usize) -> Result<Values, Breach> {
    let (mut body, n) = open(VALUES, bytes)?;
    body.signed()?;
    body.signed()?;
    let (first, last) = (body.signed()?, body.signed()?);
    let standings = body.list(n, |body| {
        let rank = |code| [Rank::Live, Rank::Import, Rank::Correction].into_iter().find(|r| *r as u64 == code);
        let n = body.below(MOST)?;
        let rank = rank(body.unsigned()?).ok_or(Breach::Parts)?;
        let epoch = u32::try_from(body.unsigned()?).map_err(|_| Breach::Parts)?;
        Ok(Standing { n, rank, epoch })
    })?;
    let presence = body.list(clock + 1, |body| body.below(MOST))?;
    let counts = numbers(&mut body, n)?;
    let present: usize = presence.iter().step_by(2).sum();
    let whole = if presence.is_empty() { n == clock } else { presence.iter().sum::<usize>() == clock && present == n };
    if !whole || standings.iter().map(|s| s.n).sum::<usize>() != n || ends(&counts) != [first, last] {
        return Err(Breach::Parts);
    }
    Ok(Values { counts, standings, presence })
}

fn begin(magic: [u8; 4], n: usize) -> Vec<u8> {
    debug_assert!((1..=MOST).contains(&n));
    let mut out = magic.to_vec();
    out.extend([VERSION, PCO]);
    put(&mut out, n as u64);
    out
}

fn finish(mut out: Vec<u8>, numbers: &[i64], delta: DeltaSpec) -> Vec<u8> {
    let config = ChunkConfig::default().with_mode_spec(ModeSpec::Auto).with_delta_spec(delta);
    let packed = simple_compress(numbers, &config).expect("the configuration is a legal one");
    put(&mut out, packed.len() as u64);
    out.extend(packed);
    out.extend(crc32c::crc32c(&out).to_le_bytes());
    out
}

/// Checks magic, version and checksum; gives the rest and the bounded count.
fn open(magic: [u8; 4], bytes: &[u8]) -> Result<(Body<'_>, usize), Breach> {
    let (bytes, sum) = bytes.split_last_chunk::<4>().ok_or(Breach::Short)?;
    let (head, rest) = bytes.split_first_chunk::<6>().ok_or(Breach::Short)?;
    if head[..4] != magic {
        return Err(Breach::Magic);
    }
    if head[4] != VERSION || head[5] != PCO {
        return Err(Breach::Version(head[4]));
    }
    if crc32c::crc32c(bytes) != u32::from_le_bytes(*sum) {
        return Err(Breach::Checksum);
    }
    let mut body = Body::new(rest);
    match body.unsigned()? {
        n @ 1..=131_072 => Ok((body, n as usize)),
        n => Err(Breach::Count(n)),
    }
}

/// First and last.
fn ends(numbers: &[i64]) -> [i64; 2] {
    [numbers.first().copied().unwrap_or_default(), numbers.last().copied().unwrap_or_default()]
}

/// The packed numbers, which are all that is left.
fn numbers(body: &mut Body, n: usize) -> Result<Vec<i64>, Breach> {
    let packed = body.rest()?;
    let mut numbers = vec![0; n];
    let progress = simple_decompress_into(packed, &mut numbers).map_err(|_| Breach::Parts)?;
    if progress.finished && progress.n_processed == n { Ok(numbers) } else { Err(Breach::Parts) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn live(counts: Vec<i64>) -> Values {
        let standings = vec![Standing { n: counts.len(), rank: Rank::Live, epoch: 0 }];
        Values { counts, standings, presence: Vec::new() }
    }

    /// The same bytes with a fresh checksum: damage that the checksum does not see.
    fn resealed(mut bytes: Vec<u8>) -> Vec<u8> {
        bytes.truncate(bytes.len() - 4);
        bytes.extend(crc32c::crc32c(&bytes).to_le_bytes());
        bytes
    }

    #[test]
    fn every_kind_of_damage_has_its_own_name() {
        let good = pack_clock(&[1_000, 2_000, 3_500]);
        let with = |k: usize, byte: u8| {
            let mut bytes = good.clone();
            bytes[k] = byte;
            bytes
        };
        assert_eq!(unpack_clock(&good), Ok(vec![1_000, 2_000, 3_500]));
        assert_eq!(unpack_clock(&good[..9]), Err(Breach::Short));
        assert_eq!(unpack_clock(&with(3, b'V')), Err(Breach::Magic));
        assert_eq!(unpack_clock(&with(4, 2)), Err(Breach::Version(2)));
        assert_eq!(unpack_clock(&with(8, 9)), Err(Breach::Checksum));
        assert_eq!(unpack_clock(&resealed(with(8, 9))), Err(Breach::Parts));
        assert_eq!(unpack_clock(&resealed(with(6, 0))), Err(Breach::Count(0)));
    }

    #[test]
    fn a_count_beyond_the_bound_is_refused_before_anything_is_allocated() {
        let mut bytes = b"IWKC\x01\x00".to_vec();
        put(&mut bytes, u64::MAX);
        bytes.extend([0; 4]);
        assert_eq!(unpack_clock(&resealed(bytes)), Err(Breach::Count(u64::MAX)));
    }

    #[test]
    fn values_that_do_not_fit_their_clock_are_refused() {
        let bytes = pack_values((0, 9), &live(vec![1, 2, 3]));
        assert_eq!(unpack_values(&bytes, 3), Ok(live(vec![1, 2, 3])));
        assert_eq!(unpack_values(&bytes, 4), Err(Breach::Parts));
        let gaps = Values { presence: vec![1, 2, 2], ..live(vec![1, 2, 3]) };
        let bytes = pack_values((0, 9), &gaps);
        assert_eq!(unpack_values(&bytes, 5), Ok(gaps));
    }

    proptest! {
        #[test]
        fn numbers_come_back_whatever_they_are(counts in prop::collection::vec(any::<i64>(), 1..600)) {
            let bytes = pack_values((i64::MIN, i64::MAX), &live(counts.clone()));
            prop_assert_eq!(unpack_values(&bytes, counts.len()), Ok(live(counts)));
        }

        #[test]
        fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..80), clock in 0_usize..9) {
            let framed = |magic: &[u8]| resealed([magic, &[1, 0], &bytes, &[0; 4]].concat());
            let _ = unpack_clock(&framed(b"IWKC"));
            let _ = unpack_values(&framed(b"IWKV"), clock);
            let _ = unpack_clock(&bytes);
        }

        #[test]
        fn no_changed_byte_makes_it_panic(at in 6_usize..200, byte in any::<u8>(), seed in 1_i64..1_000) {
            let mut bytes = pack_clock(&(0..40).map(|k| k * k * seed).collect::<Vec<_>>()[1..]);
            let at = 6 + at % (bytes.len() - 6);
            bytes[at] = byte;
            let _ = unpack_clock(&resealed(bytes));
        }
    }
}
