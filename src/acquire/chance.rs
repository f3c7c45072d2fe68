//! Chance, where many must not do the same at the same time.

use std::hash::{BuildHasher, Hasher, RandomState};

/// A number that nobody foresees: the standard library's one source of chance. For no secrets.
pub fn chance() -> u64 {
    RandomState::new().build_hasher().finish()
}
