//! A certificate and its key, as files that a section names.

use super::section::Section;
use std::path::{Path, PathBuf};

/// The files of a certificate, both PEM.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tls {
    /// The certificate and those between it and its authority, in this order.
    pub certificate: PathBuf,
    /// Its private key.
    pub key: PathBuf,
}

/// The files, sought from the plant folder; `Some(None)` where none are named, `None` after a problem.
pub fn read(section: &Section<'_>, folder: &Path) -> Option<Option<Tls>> {
    match (section.file("certificate_file", folder)?, section.file("key_file", folder)?) {
        (None, None) => Some(None),
        (Some(certificate), Some(key)) => Some(Some(Tls { certificate, key })),
        (Some(_), None) | (None, Some(_)) => {
            section.say("certificate_file", "certificate_file and key_file go together; one of them is missing");
            None
        }
    }
}
