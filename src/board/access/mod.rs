//! Who may see and do what.
//!
//! A token is sent by scripts with every request (RFC 6750, 2.1) and by people once, in a form; a browser then carries a cookie
//! that is signed with the plant's key and names the token, so that it ends with the token. Where the plant has no token,
//! whoever reaches the board may do all: that is only on this machine, by the names of this machine.

mod admit;
mod enter;
mod failures;
mod key;
mod session;

pub(super) use admit::{admit, is_from_here};
pub(super) use enter::{enter, form, leave};
pub(super) use key::Key;

use super::shown::BoardError;
use crate::config::{Board, Role, Token};
use failures::Failures;
use sha2::{Digest, Sha256};
use std::sync::Mutex;
use subtle::ConstantTimeEq;

/// The access to a board.
pub struct Access {
    tokens: Vec<Token>,
    pub(super) key: Key,
    failures: Mutex<Failures>,
    /// Whether browsers reach the board over TLS, so that cookies need not travel in the clear.
    is_secure: bool,
}

impl Access {
    pub(super) fn new(board: &Board, key: Key) -> Self {
        let (tokens, is_secure) = (board.tokens.clone(), board.is_over_tls());
        Self { tokens, key, failures: Mutex::default(), is_secure }
    }

    /// Whether everybody who reaches the board may do all.
    pub(super) fn is_open(&self) -> bool {
        self.tokens.is_empty()
    }

    /// The token of a text. All are compared, and their hashes at that, so that the time taken says nothing about any.
    fn token(&self, sent: &str) -> Option<&Token> {
        let hash: [u8; 32] = Sha256::digest(sent.as_bytes()).into();
        let same = self.tokens.iter().map(|token| bool::from(token.sha256.ct_eq(&hash)));
        same.collect::<Vec<_>>().into_iter().zip(&self.tokens).find_map(|(same, token)| same.then_some(token))
    }
}

/// Random bytes from the system.
///
/// # Errors
/// Where the system has none.
pub fn random<const N: usize>() -> Result<[u8; N], BoardError> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(|error| BoardError::Random(error.to_string()))?;
    Ok(bytes)
}

/// Whoever asks for a page.
#[derive(Clone, Debug)]
pub(super) struct Visitor {
    /// What the token is called.
    name: String,
    /// What it allows; `None` for whoever has sent no token yet.
    role: Option<Role>,
    /// Whether it came in by a cookie.
    by_cookie: bool,
    /// What forms of this visitor carry.
    form: String,
}

impl Visitor {
    pub(super) const fn may_see(&self) -> bool {
        self.role.is_some()
    }

    pub(super) fn may_act(&self) -> bool {
        self.role == Some(Role::Act)
    }

    pub(super) const fn has_session(&self) -> bool {
        self.by_cookie
    }

    pub(super) fn name(&self) -> &str {
        &self.name
    }

    /// What a form of this visitor carries, which no other site can know.
    pub(super) fn form(&self) -> String {
        self.form.clone()
    }
}
