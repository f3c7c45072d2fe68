//! A small Modbus RTU master for lines without transaction numbers: serial, or RTU inside TCP.
//!
//! A general-purpose client takes whatever arrives next for the answer. This one sends only into a silent line, reads
//! exactly the bytes that the answer must have, and checks unit, function, number of bytes and check sum.

use super::Fault;
use crate::sources::{Block, rtu};
use std::io;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::time::timeout;

/// Silence before a request where nothing is known of the line behind a gateway: 1.75 ms are the least (Modbus over serial line
/// V1.02, section 2.5.1.1).
pub(super) const SHORTEST: Duration = Duration::from_millis(2);
/// Silence before a request where the last one was not answered well: what is under way may still arrive.
const LONG_SILENCE: Duration = Duration::from_millis(50);
/// A line that chatters longer than this many bytes is not a line of ours.
const MOST_STRAY: usize = 4_096;

/// The master of one line.
pub(super) struct Master<S> {
    stream: S,
    /// What parts two frames.
    silence: Duration,
    /// Whether the last request got its own whole answer.
    in_step: bool,
}

impl<S: AsyncRead + AsyncWrite + Unpin> Master<S> {
    /// A master that knows nothing yet about what is under way on the line.
    pub(super) const fn new(stream: S, silence: Duration) -> Self {
        Self { stream, silence, in_step: false }
    }

    /// Waits until the line is silent, so that what arrives next is the answer to what is sent next.
    pub(super) async fn settle(&mut self) -> Result<(), Fault> {
        let silence = if self.in_step { self.silence } else { LONG_SILENCE };
        self.in_step = false;
        self.drain(silence).await
    }

    /// Asks a unit for a block on a settled line. It waits for the answer without limit: the caller limits it, and may
    /// go on waiting.
    pub(super) async fn ask(&mut self, unit: u8, block: Block) -> Result<Vec<u16>, Fault> {
        self.stream.write_all(&rtu::request(unit, block)).await.map_err(|_| Fault::Closed)?;
        self.stream.flush().await.map_err(|_| Fault::Closed)?;
        let frame = self.frame(unit, block).await?;
        let answer = rtu::answer(unit, block, &frame).map_err(garbled)?;
        self.in_step = true;
        answer.map_err(|exception| Fault::Refused(block, exception))
    }

    /// Throws away what arrives until nothing has come for a while.
    async fn drain(&mut self, silence: Duration) -> Result<(), Fault> {
        let (mut stray, mut bytes) = (0, [0; 256]);
        while let Ok(read) = timeout(silence, self.stream.read(&mut bytes)).await {
            match read {
                Ok(0) | Err(_) => return Err(Fault::Closed),
                Ok(n) => stray += n,
            }
            if stray > MOST_STRAY {
                return Err(Fault::Garbled("a line that does not fall silent".into()));
            }
        }
        if stray > 0 {
            tracing::debug!(stray, "bytes that no request asked for were thrown away");
        }
        Ok(())
    }

    /// The bytes of an answer, as many as its first two say.
    async fn frame(&mut self, unit: u8, block: Block) -> Result<Vec<u8>, Fault> {
        let mut start = [0; 2];
        self.stream.read_exact(&mut start).await.map_err(closed)?;
        let mut frame = vec![0; rtu::answer_length(unit, block, start).map_err(garbled)?];
        frame[..2].copy_from_slice(&start);
        self.stream.read_exact(&mut frame[2..]).await.map_err(closed)?;
        Ok(frame)
    }
}

fn garbled(what: rtu::BadFrame) -> Fault {
    Fault::Garbled(what.to_string())
}

fn closed(_: io::Error) -> Fault {
    Fault::Closed
}
