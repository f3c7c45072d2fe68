//! A line under test: the real task, its streams in memory, a device that does as it is told.

use crate::acquire::modbus::connection::Open;
use crate::acquire::modbus::line::{Ask, Task};
use crate::acquire::modbus::{Condition, LineState};
use crate::acquire::{Batch, Clock};
use crate::names::MeterId;
use crate::plant::Ratio;
use crate::readings::Quantity;
use crate::sources::{Block, ByteOrder, Encoding, Framing, Line, Polled, Register, RegisterMap, Table, WordOrder, rtu};
use crate::time::At;
use std::io;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt, DuplexStream};
use tokio::sync::{mpsc, watch};

/// What the device on the other end does with a request.
pub(super) enum Reply {
    /// Answers after so many milliseconds.
    After(u64, Vec<u16>),
    /// Refuses at once.
    Refuse(u8),
    /// Says nothing.
    Nothing,
    /// Sends these bytes as the body of a frame (after the unit).
    Raw(Vec<u8>),
    /// Answers after so many milliseconds, but only so many bytes of the frame come.
    Cut(u64, Vec<u16>, usize),
    /// Answers at once, and once more.
    Twice(Vec<u16>),
    /// Closes the connection.
    Close,
}

/// A request as the device sees it: how many came before it on all connections, and of how many connections.
pub(super) struct Seen {
    pub(super) ordinal: usize,
    pub(super) unit: u8,
    pub(super) block: Block,
    pub(super) at: At,
    pub(super) connection: usize,
}

pub(super) type Device = Arc<dyn Fn(&Seen) -> Reply + Send + Sync>;

/// Opens pipes with a device on the other end.
pub(super) struct Pipes {
    pub(super) framing: Framing,
    pub(super) clock: Clock,
    pub(super) device: Device,
    pub(super) requests: Arc<Mutex<Vec<(u8, At)>>>,
    pub(super) opened: usize,
    /// How often opening is refused at first.
    pub(super) refusals: usize,
    /// Bytes that lie on the line when it is opened.
    pub(super) stray: Vec<u8>,
}

impl Open for Pipes {
    type Stream = DuplexStream;

    async fn open(&mut self) -> io::Result<DuplexStream> {
        if self.refusals > 0 {
            self.refusals -= 1;
            return Err(io::ErrorKind::ConnectionRefused.into());
        }
        self.opened += 1;
        let (ours, mut theirs) = tokio::io::duplex(1_024);
        let (framing, device, clock, connection) = (self.framing, self.device.clone(), self.clock.clone(), self.opened);
        let (requests, stray) = (self.requests.clone(), self.stray.clone());
        tokio::spawn(async move {
            theirs.write_all(&stray).await?;
            loop {
                let mut head = vec![0; if framing == Framing::Tcp { 6 } else { 0 }];
                theirs.read_exact(&mut head).await?;
                let mut body = [0; 8];
                let length = if framing == Framing::Tcp { 6 } else { 8 };
                theirs.read_exact(&mut body[..length]).await?;
                let table = if body[1] == 3 { Table::Holding } else { Table::Input };
                let word = |k: usize| u16::from_be_bytes([body[k], body[k + 1]]);
                let block = Block { table, address: word(2), count: word(4) };
                let ordinal = {
                    let mut seen = requests.lock().expect("no test panics while it holds the list");
                    seen.push((body[0], clock.now()));
                    seen.len() - 1
                };
                let seen = Seen { ordinal, unit: body[0], block, at: clock.now(), connection };
                let words = |words: Vec<u16>| -> Vec<u8> {
                    let registers = words.iter().flat_map(|word| word.to_be_bytes());
                    [body[1], 2 * words.len() as u8].into_iter().chain(registers).collect()
                };
                let (mut most, mut times) = (usize::MAX, 1);
                let answer = match device(&seen) {
                    Reply::Nothing => continue,
                    Reply::Close => return Ok(()),
                    Reply::Refuse(code) => vec![body[1] | 0x80, code],
                    Reply::Raw(bytes) => bytes,
                    Reply::After(millis, registers) => {
                        tokio::time::sleep(Duration::from_millis(millis)).await;
                        words(registers)
                    }
                    Reply::Cut(millis, registers, bytes) => {
                        tokio::time::sleep(Duration::from_millis(millis)).await;
                        most = bytes;
                        words(registers)
                    }
                    Reply::Twice(registers) => {
                        times = 2;
                        words(registers)
                    }
                };
                let mut frame = vec![body[0]];
                frame.extend(answer);
                let whole = if framing == Framing::Tcp {
                    let length = (frame.len() as u16).to_be_bytes();
                    [&head[..4], &length[..], &frame[..]].concat()
                } else {
                    let sum = rtu::crc(&frame).to_le_bytes();
                    [&frame[..], &sum[..]].concat()
                };
                for _ in 0..times {
                    theirs.write_all(&whole[..whole.len().min(most)]).await?;
                }
            }
            #[allow(unreachable_code, reason = "names the error type of the task")]
            io::Result::Ok(())
        });
        Ok(ours)
    }
}

/// A line under test.
pub(super) struct Bench {
    pub(super) line: Line,
    pub(super) pipes: Pipes,
}

/// What is seen of a running line.
pub(super) struct Running {
    pub(super) clock: Clock,
    pub(super) batches: mpsc::Receiver<Batch>,
    pub(super) asks: mpsc::Sender<Ask>,
    pub(super) state: watch::Receiver<LineState>,
    pub(super) stop: watch::Sender<bool>,
    pub(super) task: tokio::task::JoinHandle<()>,
    pub(super) requests: Arc<Mutex<Vec<(u8, At)>>>,
}

fn register(address: u16) -> Register {
    Register {
        quantity: if address == 0 { Quantity::Import } else { Quantity::Power },
        table: Table::Input,
        address,
        encoding: Encoding::U16,
        words: WordOrder::Big,
        bytes: ByteOrder::Big,
        unit: Ratio::ONE,
        step: Ratio::ONE,
        offset: 0,
        scale_register: None,
        unavailable: Vec::new(),
    }
}

/// A line with a meter for each unit, polled once a second, whose map has the registers 0 and 5, read in one request.
pub(super) fn bench(units: &[u8], device: impl Fn(&Seen) -> Reply + Send + Sync + 'static) -> Bench {
    let registers = vec![register(0), register(5)];
    let map = Arc::new(RegisterMap { name: "m".into(), registers, max_block: 125, bridge: 8, modulus: None });
    let meter = |&unit: &u8| Polled {
        meter: MeterId::from(format!("m{unit}").as_str()),
        unit,
        map: map.clone(),
        interval: 1_000,
    };
    let line = Line {
        id: "gateway".into(),
        endpoint: "gateway:502".into(),
        framing: Framing::Tcp,
        timeout: 200,
        gateway_timeout: None,
        meters: units.iter().map(meter).collect(),
    };
    let pipes = Pipes {
        framing: Framing::Tcp,
        clock: Clock::starting_at(At(500)),
        device: Arc::new(device),
        requests: Arc::default(),
        opened: 0,
        refusals: 0,
        stray: Vec::new(),
    };
    Bench { line, pipes }
}

impl Bench {
    pub(super) fn rtu(mut self) -> Self {
        self.line.framing = Framing::RtuOverTcp;
        self.pipes.framing = Framing::RtuOverTcp;
        self
    }

    pub(super) fn start(self) -> Running {
        let (out, batches) = mpsc::channel(10_000);
        let (asks, asked) = mpsc::channel(4);
        let clock = self.pipes.clock.clone();
        let (told, state) = watch::channel(LineState::unasked(&self.line, clock.now()));
        let (stop, stopped) = watch::channel(false);
        let requests = self.pipes.requests.clone();
        let task = Task::new(self.line, self.pipes, clock.clone(), told);
        let task = tokio::spawn(task.run(out, asked, stopped));
        Running { clock, batches, asks, state, stop, task, requests }
    }
}

impl Running {
    pub(super) async fn batch(&mut self) -> Batch {
        self.batches.recv().await.expect("the line runs")
    }

    pub(super) fn condition(&self, meter: usize) -> Condition {
        self.state.borrow().meters[meter].condition.clone()
    }

    pub(super) fn asked(&self, unit: u8) -> Vec<At> {
        let seen = self.requests.lock().expect("no test panics while it holds the list");
        seen.iter().filter(|(u, _)| *u == unit).map(|(_, at)| *at).collect()
    }

    /// Lets the line run until the clock shows `at`; its batches.
    pub(super) async fn until(&mut self, at: At) -> Vec<Batch> {
        self.clock.until(at).await;
        let mut batches = Vec::new();
        while let Ok(batch) = self.batches.try_recv() {
            batches.push(batch);
        }
        batches
    }
}

/// Answers every request at once with registers that hold `value`.
pub(super) fn all(block: Block, value: u16) -> Reply {
    Reply::After(0, vec![value; block.count.into()])
}
