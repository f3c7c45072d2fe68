//! Whole numbers and texts as bytes, for what is packed and what is cached.

use super::error::Breach;

/// Writes a number as LEB128 (DWARF 5, section 7.6).
pub(super) fn put(out: &mut Vec<u8>, mut n: u64) {
    while n >= 0x80 {
        out.push(n as u8 | 0x80);
        n >>= 7;
    }
    out.push(n as u8);
}

/// Writes a signed number, small ones of either sign in few bytes (zigzag).
pub(super) fn put_signed(out: &mut Vec<u8>, n: i64) {
    put(out, ((n << 1) ^ (n >> 63)) as u64);
}

/// Writes a text with its length.
pub(super) fn put_text(out: &mut Vec<u8>, text: &str) {
    put(out, text.len() as u64);
    out.extend(text.as_bytes());
}

/// Writes whether there is a thing, and the thing.
pub(super) fn put_maybe<T>(out: &mut Vec<u8>, thing: Option<T>, put: impl FnOnce(&mut Vec<u8>, T)) {
    out.push(u8::from(thing.is_some()));
    if let Some(thing) = thing {
        put(out, thing);
    }
}

/// Ends bytes with their checksum.
pub(super) fn sealed(mut out: Vec<u8>) -> Vec<u8> {
    out.extend(crc32c::crc32c(&out).to_le_bytes());
    out
}

/// What stands before the checksum, which must be right.
pub(super) fn unsealed(bytes: &[u8]) -> Result<Body<'_>, Breach> {
    let (bytes, sum) = bytes.split_last_chunk::<4>().ok_or(Breach::Short)?;
    if crc32c::crc32c(bytes) != u32::from_le_bytes(*sum) {
        return Err(Breach::Checksum);
    }
    Ok(Body::new(bytes))
}

/// What is left to read.
pub(super) struct Body<'a>(&'a [u8]);

impl<'a> Body<'a> {
    pub(super) const fn new(bytes: &'a [u8]) -> Self {
        Self(bytes)
    }

    pub(super) fn byte(&mut self) -> Result<u8, Breach> {
        let (byte, rest) = self.0.split_first().ok_or(Breach::Short)?;
        self.0 = rest;
        Ok(*byte)
    }

    pub(super) fn unsigned(&mut self) -> Result<u64, Breach> {
        let mut n = 0;
        for shift in (0..64).step_by(7) {
            let byte = self.byte()?;
            n |= u64::from(byte & 0x7f) << shift;
            if byte & 0x80 == 0 {
                return Ok(n);
            }
        }
        Err(Breach::Parts)
    }

    pub(super) fn signed(&mut self) -> Result<i64, Breach> {
        let n = self.unsigned()?;
        Ok((n >> 1) as i64 ^ -((n & 1) as i64))
    }

    pub(super) fn flag(&mut self) -> Result<bool, Breach> {
        match self.byte()? {
            0 => Ok(false),
            1 => Ok(true),
            _ => Err(Breach::Parts),
        }
    }

    /// A thing that may be absent.
    pub(super) fn maybe<T>(&mut self, thing: impl FnOnce(&mut Self) -> Result<T, Breach>) -> Result<Option<T>, Breach> {
        self.flag()?.then(|| thing(self)).transpose()
    }

    /// A count of at most `most`.
    pub(super) fn below(&mut self, most: usize) -> Result<usize, Breach> {
        let n = self.unsigned()?;
        usize::try_from(n).ok().filter(|n| *n <= most).ok_or(Breach::Parts)
    }

    /// A list of at most `most` items, of which each takes at least a byte.
    pub(super) fn list<T>(
        &mut self,
        most: usize,
        mut item: impl FnMut(&mut Self) -> Result<T, Breach>,
    ) -> Result<Vec<T>, Breach> {
        let n = self.below(most.min(self.0.len()))?;
        (0..n).map(|_| item(self)).collect()
    }

    pub(super) fn text(&mut self) -> Result<&'a str, Breach> {
        let n = self.below(self.0.len())?;
        let (text, rest) = self.0.split_at(n);
        self.0 = rest;
        std::str::from_utf8(text).map_err(|_| Breach::Parts)
    }

    /// All that is left, whose length stands before it.
    pub(super) fn rest(&mut self) -> Result<&'a [u8], Breach> {
        let n = self.unsigned()?;
        if n == self.0.len() as u64 { Ok(self.0) } else { Err(Breach::Parts) }
    }
}
