//! Signatures of requests after RFC 9421 (HTTP Message Signatures) by HMAC-SHA256, with the digest of RFC 9530 over the content, so
//! that whoever receives an alert knows that it is from this plant and whole.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use hmac::{Hmac, KeyInit, Mac};
use sha2::{Digest, Sha256};

/// Headers that sign a request.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Signed {
    /// `Content-Digest`.
    pub digest: String,
    /// `Signature-Input`.
    pub input: String,
    /// `Signature`.
    pub signature: String,
}

/// Signs a POST of JSON to a target, made at a Unix time, with the key of a name.
pub fn sign(key: &[u8], name: &str, target: &str, body: &[u8], created: i64) -> Signed {
    let digest = format!("sha-256=:{}:", STANDARD.encode(Sha256::digest(body)));
    let covered = [
        ("\"@method\"", "POST"),
        ("\"@target-uri\"", target),
        ("\"content-type\"", "application/json"),
        ("\"content-digest\"", &digest),
    ];
    let params = format!(
        "({});created={created};keyid=\"{}\";alg=\"hmac-sha256\"",
        covered.map(|(name, _)| name).join(" "),
        quoted(name)
    );
    let signature = mac(key, &base(&covered, &params));
    Signed { digest, input: format!("plant={params}"), signature: format!("plant=:{signature}:") }
}

/// A name as a string of RFC 8941: printable ASCII, quotes and strokes escaped.
fn quoted(name: &str) -> String {
    let plain = name.chars().map(|c| if (' '..='~').contains(&c) { c } else { '?' });
    plain.flat_map(|c| if c == '"' || c == '\\' { vec!['\\', c] } else { vec![c] }).collect()
}

/// The signature base (RFC 9421, 2.5).
fn base(covered: &[(&str, &str)], params: &str) -> String {
    let lines: Vec<String> = covered.iter().map(|(name, value)| format!("{name}: {value}\n")).collect();
    format!("{}\"@signature-params\": {params}", lines.concat())
}

fn mac(key: &[u8], base: &str) -> String {
    let mut mac = Hmac::<Sha256>::new_from_slice(key).expect("a key of any length");
    mac.update(base.as_bytes());
    STANDARD.encode(mac.finalize().into_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 9421, B.2.5, signing a request using hmac-sha256 with the test key of B.1.5.
    #[test]
    fn the_example_of_the_standard_is_signed_as_it_is_there() {
        let key = "uzvJfB4u3N0Jy4T7NZ75MDVcr8zSTInedJtkgcu46YW4XByzNJjxBdtjUkdJPBtbmHhIDi6pcl8jsasjlTMtDQ==";
        let covered = [
            ("\"date\"", "Tue, 20 Apr 2021 02:07:55 GMT"),
            ("\"@authority\"", "example.com"),
            ("\"content-type\"", "application/json"),
        ];
        let params = "(\"date\" \"@authority\" \"content-type\");created=1618884473;keyid=\"test-shared-secret\"";
        let signature = mac(&STANDARD.decode(key).expect("a key"), &base(&covered, params));
        assert_eq!(signature, "pxcQw6G3AjtMBQjwo8XzkZf/bws5LelbaMk5rGIGtE8=");
    }

    /// RFC 9530, appendix D: the digest of `{"hello": "world"}` and a line feed.
    #[test]
    fn the_digest_is_that_of_the_standard() {
        let signed = sign(b"key", "k", "https://example.com/", b"{\"hello\": \"world\"}\n", 0);
        assert_eq!(signed.digest, "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:");
    }

    #[test]
    fn a_name_cannot_leave_its_quotes() {
        let signed = sign(b"key", "a\"b\\c\u{e9}", "https://example.com/", b"", 7);
        assert!(signed.input.ends_with("created=7;keyid=\"a\\\"b\\\\c?\";alg=\"hmac-sha256\""), "{}", signed.input);
    }
}
