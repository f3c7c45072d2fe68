//! The connection of a line over its life: opened when needed, dropped when out of step.

use super::owed::{Owed, is_own};
use super::wire::{Patience, Wire};
use super::{Answer, Fault};
use crate::acquire::Clock;
use crate::sources::{Block, Framing, Image, Line, Polled};
use std::fmt::Debug;
use std::future::Future;
use std::io;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::time::{Instant, timeout};

/// An open stream to an endpoint.
pub(super) trait Stream: AsyncRead + AsyncWrite + Debug + Send + Unpin + 'static {}
impl<S: AsyncRead + AsyncWrite + Debug + Send + Unpin + 'static> Stream for S {}

/// How a line gets its stream: a socket in the plant, a pipe in memory in tests.
pub(super) trait Open: Send {
    /// What it opens.
    type Stream: Stream;
    /// Opens a new stream.
    fn open(&mut self) -> impl Future<Output = io::Result<Self::Stream>> + Send;
}

/// The connection of a line.
pub(super) struct Connection<O: Open> {
    opener: O,
    framing: Framing,
    patience: Patience,
    wire: Option<Wire<O::Stream>>,
    owed: Owed,
}

impl<O: Open> Connection<O> {
    /// A connection that is opened with the first request.
    pub(super) fn new(opener: O, line: &Line) -> Self {
        let timeout = Duration::from_millis(line.timeout);
        let longer = line.gateway_timeout.map(Duration::from_millis);
        Self {
            opener,
            framing: line.framing,
            patience: Patience { timeout, longer },
            wire: None,
            owed: Owed::default(),
        }
    }

    /// Waits longer for late answers, to tell a slow device from a dead one.
    pub(super) fn patiently(mut self, longer: Duration) -> Self {
        self.patience.longer = Some(self.patience.longer.map_or(longer, |own| own.max(longer)));
        self
    }

    /// Asks a meter for its blocks once. After a fault that concerns more than its block, the rest is not asked for.
    pub(super) async fn poll(&mut self, polled: &Polled, blocks: &[Block], clock: &Clock) -> Answer {
        let mut answer = Answer::begun(polled, clock.now());
        let mut image = Image::default();
        for &block in blocks {
            match self.read(polled.unit, block).await {
                Ok((words, sent, took)) => {
                    answer.round_trip = answer.round_trip.max(Some(took.as_millis() as u64));
                    // The device read its registers at some instant between request and response.
                    image.add(block, clock.at(sent + took / 2), words);
                }
                Err(fault) => {
                    let go_on = fault.concerns_block();
                    answer.faults.push(fault);
                    if !go_on {
                        break;
                    }
                }
            }
        }
        answer.image = image;
        answer
    }

    /// The registers of a block, when the request was sent, and how long the answer took.
    pub(super) async fn read(&mut self, unit: u8, block: Block) -> Result<(Vec<u16>, Instant, Duration), Fault> {
        if self.framing == Framing::Tcp {
            return self.exchange(unit, block).await;
        }
        if let Some(proof) = self.owed.proof(unit, block) {
            match self.settling(unit, proof).await {
                Err(fault) if !matches!(fault, Fault::Refused(..)) => return Err(fault),
                // A device that answers nothing shorter has answered all the same.
                _ => {}
            }
        }
        self.settling(unit, block).await
    }

    /// As [`Self::exchange`], noting what the unit owes afterwards.
    async fn settling(&mut self, unit: u8, block: Block) -> Result<(Vec<u16>, Instant, Duration), Fault> {
        let answer = self.exchange(unit, block).await;
        match &answer {
            Ok(_) | Err(Fault::Late(_)) => self.owed.settle(unit),
            Err(Fault::Refused(_, refusal)) if is_own(*refusal) => self.owed.settle(unit),
            Err(Fault::Unreachable(_)) => {}
            Err(_) => self.owed.add(unit, block),
        }
        answer
    }

    async fn exchange(&mut self, unit: u8, block: Block) -> Result<(Vec<u16>, Instant, Duration), Fault> {
        let used = self.wire.is_some();
        match self.once(unit, block).await {
            // A gateway closes a connection that was idle. Nobody was asked, so asking on a new one is no retry.
            Err(Fault::Closed) if used => self.once(unit, block).await,
            other => other,
        }
    }

    async fn once(&mut self, unit: u8, block: Block) -> Result<(Vec<u16>, Instant, Duration), Fault> {
        let wire = match &mut self.wire {
            Some(wire) => wire,
            closed => closed.insert(Wire::new(self.framing, open(&mut self.opener, self.patience.timeout).await?)),
        };
        let answer = wire.read(unit, block, self.patience).await;
        // A serial line has nothing to connect anew; its master waits until the line is silent.
        let is_serial = matches!(self.framing, Framing::Rtu(_));
        if answer.as_ref().is_err_and(|fault| !fault.in_step() && (!is_serial || *fault == Fault::Closed)) {
            self.wire = None;
        }
        answer.map(|(words, sent)| (words, sent, sent.elapsed()))
    }
}

/// Opens a stream within the time-out, or within a second where that is longer.
async fn open<O: Open>(opener: &mut O, limit: Duration) -> Result<O::Stream, Fault> {
    let limit = limit.max(Duration::from_secs(1));
    match timeout(limit, opener.open()).await {
        Ok(Ok(stream)) => Ok(stream),
        Ok(Err(error)) => Err(Fault::Unreachable(error.to_string())),
        Err(_) => Err(Fault::Unreachable(format!("nothing answered within {} ms", limit.as_millis()))),
    }
}
