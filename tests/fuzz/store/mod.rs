//! The packing of the store, which is private to it: its sources are built into the target.

#[path = "../../../src/store/bytes.rs"]
mod bytes;
mod error {
    pub use inkwatt::store::Breach;
}
#[path = "../../../src/store/segment.rs"]
mod segment;

fn sealed(magic: [u8; 4], bytes: &[u8]) -> Vec<u8> {
    let mut all = [&magic[..], &[1, 0], bytes].concat();
    all.extend(crc32c::crc32c(&all).to_le_bytes());
    all
}

pub fn clock(bytes: &[u8]) {
    let _ = segment::unpack_clock(bytes);
    if let Ok(times) = segment::unpack_clock(&sealed(*b"IWKC", bytes)) {
        assert_eq!(segment::unpack_clock(&segment::pack_clock(&times)), Ok(times));
    }
}

pub fn values(clock: usize, bytes: &[u8]) {
    if let Ok(values) = segment::unpack_values(&sealed(*b"IWKV", bytes), clock) {
        assert_eq!(segment::unpack_values(&segment::pack_values((0, 9), &values), clock), Ok(values));
    }
}
