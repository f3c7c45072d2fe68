//! Packed clocks and values behind a right magic and checksum. What unpacks is packed again and must come back.

#![no_main]
#![allow(dead_code, unreachable_pub)]

use libfuzzer_sys::fuzz_target;

/// The types that the packing is written against.
mod readings {
    pub use inkwatt::readings::Rank;
}

/// The packing is private to the store: its sources are built into this target.
mod store {
    #[path = "../../../../src/store/bytes.rs"]
    mod bytes;
    mod error {
        pub use inkwatt::store::Breach;
    }
    #[path = "../../../../src/store/segment.rs"]
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
}

fuzz_target!(|bytes: &[u8]| {
    match bytes {
        [0, rest @ ..] => store::clock(rest),
        [clock, rest @ ..] => store::values(usize::from(*clock), rest),
        [] => {}
    }
});
