//! The cookie of a visitor: which token, until when, signed. Nothing of it is kept here, so that a screen in the hall stays
//! admitted when the agent is started anew.

use super::{Access, Key};
use crate::config::{Role, Token};
use crate::time::{At, HOUR};
use crate::units::hex;

/// How long a screen that only shows stays admitted, and how long somebody who may act.
const DAYS: i64 = 30 * 24 * HOUR;
const SHIFT: i64 = 12 * HOUR;
/// What cookies are signed for, and forms.
const COOKIE: &str = "cookie";
const FORM: &str = "form";

/// Which token, until when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Session {
    /// The first digits of the token's hash.
    token: String,
    until: At,
}

impl Session {
    /// A new one.
    pub fn of(token: &Token, now: At) -> Self {
        let lasts = match token.role {
            Role::View => DAYS,
            Role::Act => SHIFT,
        };
        Self { token: hex(&token.sha256[..8]), until: now + lasts }
    }

    /// What the cookie holds.
    pub fn sealed(&self, key: &Key) -> String {
        let text = format!("{}.{}", self.token, self.until.0);
        let code = hex(&key.code(COOKIE, &text));
        format!("{text}.{code}")
    }

    /// The session of a cookie that this plant signed and that is not over.
    pub fn opened(sealed: &str, key: &Key, now: At) -> Option<Self> {
        let (text, code) = sealed.rsplit_once('.')?;
        if !key.signed(COOKIE, text, &bytes(code)?) {
            return None;
        }
        let (token, until) = text.split_once('.')?;
        let until = At(until.parse().ok()?);
        (now < until).then(|| Self { token: token.into(), until })
    }

    /// How long it still lasts.
    pub(super) fn lasts(&self, now: At) -> i64 {
        self.until - now
    }

    /// Its token, as long as the plant has it.
    pub(super) fn token<'a>(&self, access: &'a Access) -> Option<&'a Token> {
        access.tokens.iter().find(|token| hex(&token.sha256[..8]) == self.token)
    }
}

/// What the forms of a session carry; of no session where everybody may act.
pub(super) fn form(key: &Key, sealed: &str) -> String {
    hex(&key.code(FORM, sealed)[..16])
}

/// The bytes of hexadecimal digits.
fn bytes(digits: &str) -> Option<Vec<u8>> {
    let pair = |pair: &[u8]| u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok();
    digits.as_bytes().chunks(2).map(pair).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use tempfile::TempDir;

    #[test]
    fn a_cookie_holds_until_its_time_is_over_and_only_as_it_was_signed() {
        let folder = TempDir::new().expect("a folder");
        std::fs::create_dir(folder.path().join("store")).expect("a folder");
        let key = Key::of(folder.path()).expect("a key");
        let token = Token { name: "anna".into(), role: Role::Act, sha256: [7; 32] };
        let now = At(1_780_000_000_000);
        let session = Session::of(&token, now);
        let sealed = session.sealed(&key);
        assert_eq!(Session::opened(&sealed, &key, now + SHIFT - 1), Some(session));
        assert_eq!(Session::opened(&sealed, &key, now + SHIFT), None);
        let longer = sealed.replacen(&(now + SHIFT).0.to_string(), &(now + 2 * SHIFT).0.to_string(), 1);
        assert_ne!(longer, sealed);
        for forged in [longer.as_str(), &sealed[1..], "", "..", "a.b.c", &sealed[..sealed.len() - 2]] {
            assert_eq!(Session::opened(forged, &key, now), None, "{forged}");
        }
    }
}
