//! The chain of closings: each names the hash of the one before it.

use super::Closing;
use crate::units::hex;
use sha2::{Digest, Sha256};

/// A closing as it is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kept {
    /// Its place in the chain, from 1.
    pub number: i64,
    /// Hash of its text.
    pub hash: String,
    /// The closing as JSON.
    pub text: String,
}

/// The SHA-256 of bytes in hexadecimal.
pub fn sha256(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

/// A closing as the next of a chain. The same closing gives the same bytes.
pub fn sealed(closing: &Closing, number: i64) -> Kept {
    let text = serde_json::to_string(closing).expect("texts and numbers are JSON");
    Kept { number, hash: sha256(text.as_bytes()), text }
}

/// The closings of a chain, and a sentence for each place where it is broken.
pub fn broken(chain: &[Kept]) -> (Vec<Closing>, Vec<String>) {
    let (mut closings, mut breaks) = (Vec::new(), Vec::new());
    let mut previous = String::new();
    for (place, kept) in (1..).zip(chain) {
        let closing = serde_json::from_str::<Closing>(&kept.text).ok();
        let name = closing
            .as_ref()
            .map_or_else(|| format!("closing {}", kept.number), |c| format!("the closing of {}", c.month));
        if kept.number != place && breaks.is_empty() {
            breaks.push(format!("closing {place} of the chain is missing"));
        }
        if sha256(kept.text.as_bytes()) != kept.hash {
            breaks.push(format!("{name} was changed after it was written: its hash is another"));
        }
        match closing {
            None => breaks.push(format!("{name} cannot be read")),
            Some(closing) => {
                if closing.previous != previous {
                    breaks.push(format!("{name} does not follow on the one before it: that was changed or exchanged"));
                }
                closings.push(closing);
            }
        }
        previous.clone_from(&kept.hash);
    }
    (closings, breaks)
}

#[cfg(test)]
mod tests {
    use super::super::tests::closing;
    use super::*;

    fn chain() -> Vec<Kept> {
        let first = sealed(&closing("2026-03", 0, 1), 1);
        let second = sealed(&Closing { previous: first.hash.clone(), ..closing("2026-04", 0, 2) }, 2);
        let third = sealed(&Closing { previous: second.hash.clone(), ..closing("2026-05", 0, 3) }, 3);
        vec![first, second, third]
    }

    #[test]
    fn a_chain_that_nobody_touched_is_whole() {
        let (closings, breaks) = broken(&chain());
        assert_eq!((closings.len(), breaks), (3, Vec::new()));
    }

    /// Whatever single bit of a text or hash is flipped, it is found.
    #[test]
    fn every_flipped_bit_breaks_the_chain() {
        let whole = chain();
        for (k, kept) in whole.iter().enumerate() {
            for (bit, is_text) in
                (0..kept.text.len()).map(|b| (b, true)).chain((0..kept.hash.len()).map(|b| (b, false)))
            {
                let mut changed = whole.clone();
                let field = if is_text { &mut changed[k].text } else { &mut changed[k].hash };
                let mut bytes = std::mem::take(field).into_bytes();
                bytes[bit] ^= 1;
                *field = String::from_utf8(bytes).expect("the lowest bit of ASCII");
                assert!(!broken(&changed).1.is_empty(), "bit {bit} of closing {k}");
            }
        }
    }

    /// A text that was rewritten with a hash to match is betrayed by the next one.
    #[test]
    fn a_closing_that_was_rewritten_or_left_out_breaks_the_chain() {
        let mut rewritten = chain();
        rewritten[0] = sealed(&closing("2026-03", 0, 99), 1);
        assert_eq!(
            broken(&rewritten).1,
            ["the closing of 2026-04 does not follow on the one before it: that was changed or exchanged"]
        );
        let mut shorter = chain();
        shorter.remove(1);
        assert_eq!(
            broken(&shorter).1,
            [
                "closing 2 of the chain is missing",
                "the closing of 2026-05 does not follow on the one before it: that was changed or exchanged"
            ]
        );
    }
}
