//! The plant's own key: it signs cookies and forms, and codes jobs. It never leaves the store's folder.

use super::random;
use crate::board::shown::BoardError;
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;
use std::fs::{self, OpenOptions};
use std::io::{self, ErrorKind, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;

/// The file, in the folder of the store: what it signs stays good over restarts.
const FILE: &str = "board.key";

/// A key.
#[derive(Clone)]
pub struct Key([u8; 32]);

impl Key {
    /// The key of a plant folder, made where there is none.
    ///
    /// # Errors
    /// Where it cannot be read or made.
    pub fn of(folder: &Path) -> Result<Self, BoardError> {
        let path = folder.join("store").join(FILE);
        let fault = |error| BoardError::File(path.clone(), error);
        let key = match fs::read(&path) {
            Err(error) if error.kind() == ErrorKind::NotFound => {
                let key = random::<32>()?;
                let mut file =
                    OpenOptions::new().write(true).create_new(true).mode(0o600).open(&path).map_err(fault)?;
                file.write_all(&key).and_then(|()| file.sync_all()).map_err(fault)?;
                return Ok(Self(key));
            }
            read => read.map_err(fault)?,
        };
        let whole = "is not a key of 32 bytes; remove it, and a new one is made";
        Ok(Self(key.try_into().map_err(|_| fault(io::Error::other(whole)))?))
    }

    /// The code of a text for a purpose (RFC 2104, HMAC-SHA-256). Codes of different purposes have nothing in common.
    pub fn code(&self, purpose: &str, text: &str) -> [u8; 32] {
        self.mac(purpose, text).finalize().into_bytes().into()
    }

    /// Whether a code is that of a text, in a time that says nothing about either.
    pub fn signed(&self, purpose: &str, text: &str, code: &[u8]) -> bool {
        self.mac(purpose, text).verify_slice(code).is_ok()
    }

    fn mac(&self, purpose: &str, text: &str) -> Hmac<Sha256> {
        // The construction takes keys of any length.
        let mac = <Hmac<Sha256> as KeyInit>::new_from_slice(&self.0).unwrap_or_else(|_| unreachable!("any length"));
        mac.chain_update((purpose.len() as u64).to_le_bytes()).chain_update(purpose).chain_update(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tempfile::TempDir;

    #[test]
    fn a_key_is_made_once_and_only_its_owner_may_read_it() {
        use std::os::unix::fs::PermissionsExt;
        let folder = TempDir::new().expect("a folder");
        fs::create_dir(folder.path().join("store")).expect("a folder");
        let key = Key::of(folder.path()).expect("a key");
        let code = key.code("form", "a");
        assert_eq!(Key::of(folder.path()).expect("the same").code("form", "a"), code);
        let path = folder.path().join("store").join(FILE);
        assert_eq!(fs::metadata(&path).expect("a file").permissions().mode() & 0o777, 0o600);
        assert!(key.signed("form", "a", &code));
        for (purpose, text) in [("form", "b"), ("cookie", "a"), ("for", "ma")] {
            assert!(!key.signed(purpose, text, &code), "{purpose} {text}");
        }
        fs::write(&path, "short").expect("written");
        assert!(Key::of(folder.path()).is_err());
    }
}
