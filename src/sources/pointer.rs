//! JSON Pointer (RFC 6901) over the raw text of a document, so that a number keeps the digits it was sent with.

use serde_json::value::RawValue;
use std::collections::BTreeMap;

/// Whether a text is a JSON Pointer: empty, or tokens that each begin with `/`, with `~` only in `~0` and `~1`.
pub fn is_pointer(text: &str) -> bool {
    let escapes = text.split('~').skip(1).all(|rest| rest.starts_with(['0', '1']));
    escapes && (text.is_empty() || text.starts_with('/'))
}

/// The raw JSON text of the value that a pointer names; `None` where the document has none, or is no JSON.
pub fn find<'a>(document: &'a str, pointer: &str) -> Option<&'a str> {
    let whole: &RawValue = serde_json::from_str(document).ok()?;
    let mut value = whole.get();
    for token in pointer.split('/').skip(1) {
        value = step(value, &token.replace("~1", "/").replace("~0", "~"))?;
    }
    Some(value)
}

/// One token further: a member of an object, or an element of an array.
fn step<'a>(value: &'a str, token: &str) -> Option<&'a str> {
    if value.starts_with('{') {
        let members: BTreeMap<String, &RawValue> = serde_json::from_str(value).ok()?;
        return members.get(token).map(|v| v.get());
    }
    let is_index = token == "0" || !token.starts_with('0') && token.bytes().all(|b| b.is_ascii_digit());
    let index: usize = is_index.then(|| token.parse().ok())??;
    let elements: Vec<&RawValue> = serde_json::from_str(value).ok()?;
    elements.get(index).map(|v| v.get())
}

/// The text of a JSON string or number; `None` for anything else.
pub fn scalar(raw: &str) -> Option<String> {
    match raw.as_bytes().first()? {
        b'"' => serde_json::from_str(raw).ok(),
        b'-' | b'0'..=b'9' => Some(raw.to_owned()),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The document and the pointers of RFC 6901, section 5.
    #[test]
    fn pointers_of_the_standard_find_their_values() {
        let document = r#"{
            "foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4,
            "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8
        }"#;
        let cases = [
            ("/foo", r#"["bar", "baz"]"#),
            ("/foo/0", r#""bar""#),
            ("/", "0"),
            ("/a~1b", "1"),
            ("/c%d", "2"),
            ("/e^f", "3"),
            ("/g|h", "4"),
            ("/i\\j", "5"),
            ("/k\"l", "6"),
            ("/ ", "7"),
            ("/m~0n", "8"),
            ("", document),
        ];
        for (pointer, value) in cases {
            assert!(is_pointer(pointer), "{pointer}");
            assert_eq!(find(document, pointer), Some(value), "{pointer}");
        }
        for absent in ["/foo/2", "/foo/-", "/foo/00", "/foo/+0", "/foo/0/x", "/bar"] {
            assert_eq!(find(document, absent), None, "{absent}");
        }
    }

    #[test]
    fn the_order_of_unescaping_is_that_of_the_standard() {
        // Section 4: `~01` is `~1`, not `/`.
        assert_eq!(find(r#"{"~1": 1, "/": 2}"#, "/~01"), Some("1"));
        for bad in ["a", "/~", "/~2", "/a~"] {
            assert!(!is_pointer(bad), "{bad}");
        }
    }

    #[test]
    fn numbers_keep_their_digits() {
        let raw = find(r#"{"e": 12345678901234567890.10}"#, "/e").and_then(scalar);
        assert_eq!(raw.as_deref(), Some("12345678901234567890.10"));
        assert_eq!(scalar("true"), None);
        assert_eq!(scalar(r#""12.5""#).as_deref(), Some("12.5"));
    }

    proptest! {
        #[test]
        fn no_document_and_no_pointer_makes_it_panic(document in "\\PC*", pointer in "(/\\PC{0,5}){0,4}") {
            let _ = find(&document, &pointer).and_then(scalar);
        }
    }
}
