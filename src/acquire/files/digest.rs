//! The content hash of a file.

use crate::units::hex;
use sha2::{Digest, Sha256};
use std::io::{self, BufRead};

/// SHA-256 of everything that is read, in hexadecimal.
///
/// # Errors
/// Where it cannot be read.
pub fn sha256(mut input: impl BufRead) -> io::Result<String> {
    let mut hash = Sha256::new();
    loop {
        let part = input.fill_buf()?;
        if part.is_empty() {
            break;
        }
        hash.update(part);
        let read = part.len();
        input.consume(read);
    }
    Ok(hex(&hash.finalize()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-2, appendix B.1: the message `abc`.
    #[test]
    fn the_hash_is_that_of_the_standard() {
        let hash = sha256(b"abc".as_slice()).expect("read");
        assert_eq!(hash, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }
}
