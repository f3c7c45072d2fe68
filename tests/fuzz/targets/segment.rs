//! Packed clocks and values behind a right magic and checksum. What unpacks is packed again and must come back.

#![no_main]
#![allow(dead_code, unreachable_pub)]

use libfuzzer_sys::fuzz_target;

/// The types that the packing is written against.
mod readings {
    pub use inkwatt::readings::Rank;
}

#[path = "../store/mod.rs"]
mod store;

fuzz_target!(|bytes: &[u8]| {
    match bytes {
        [0, rest @ ..] => store::clock(rest),
        [clock, rest @ ..] => store::values(usize::from(*clock), rest),
        [] => {}
    }
});
