//! What takes too long for every run: `cargo test --release --locked --test long -- --nocapture`. Bounded in count and time; last
//! figures stand in DEVELOPERS.md.

mod load;
mod serial;
