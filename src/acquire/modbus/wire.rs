//! One open connection: Modbus TCP, or RTU frames inside it. Only reading can be expressed here.

use super::Fault;
use super::master::{Master, SHORTEST};
use crate::sources::{Block, Exception, Framing, Table};
use crate::units::counted;
use std::fmt::Debug;
use std::io::ErrorKind;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::time::{Instant, timeout, timeout_at};
use tokio_modbus::client::{Client, Context, tcp};
use tokio_modbus::{Error, Request, Response, Slave, slave::SlaveContext};

/// A connection to an endpoint.
pub(super) enum Wire<S> {
    /// Answers carry the number of their request.
    Tcp(Context),
    /// They do not.
    Rtu(Master<S>),
}

/// How long an answer is waited for.
#[derive(Clone, Copy, Debug)]
pub(super) struct Patience {
    /// It is used only if it comes within this time.
    pub(super) timeout: Duration,
    /// From then on it is awaited up to this time since the request, only so that it is not taken for the next one.
    pub(super) longer: Option<Duration>,
}

impl<S: AsyncRead + AsyncWrite + Debug + Send + Unpin + 'static> Wire<S> {
    /// Takes an open stream.
    pub(super) fn new(framing: Framing, stream: S) -> Self {
        match framing {
            Framing::Tcp => Self::Tcp(tcp::attach(stream)),
            Framing::RtuOverTcp => Self::Rtu(Master::new(stream, SHORTEST)),
            Framing::Rtu(serial) => Self::Rtu(Master::new(stream, serial.silence())),
        }
    }

    /// Asks a unit for a block: exactly as many registers as asked for and when the request was sent, or what is wrong.
    pub(super) async fn read(
        &mut self,
        unit: u8,
        block: Block,
        patience: Patience,
    ) -> Result<(Vec<u16>, Instant), Fault> {
        if let Self::Rtu(master) = self {
            master.settle().await?;
        }
        let sent = Instant::now();
        let answer = async {
            match self {
                Self::Tcp(context) => ask(context, unit, block).await,
                Self::Rtu(master) => master.ask(unit, block).await,
            }
        };
        tokio::pin!(answer);
        if let Ok(in_time) = timeout(patience.timeout, &mut answer).await {
            return in_time.map(|words| (words, sent));
        }
        let Some(longer) = patience.longer else { return Err(Fault::Silent) };
        match timeout_at(sent + longer, answer).await {
            Ok(Ok(_)) => Err(Fault::Late(sent.elapsed().as_millis() as u64)),
            Ok(Err(fault)) => Err(fault),
            Err(_) => Err(Fault::Silent),
        }
    }
}

/// The registers of a block by Modbus TCP.
async fn ask(context: &mut Context, unit: u8, block: Block) -> Result<Vec<u16>, Fault> {
    context.set_slave(Slave(unit));
    let request = match block.table {
        Table::Holding => Request::ReadHoldingRegisters(block.address, block.count),
        Table::Input => Request::ReadInputRegisters(block.address, block.count),
    };
    // The client checks transaction, unit and function, but neither the number of registers nor why it ended.
    match context.call(request).await {
        Ok(Ok(Response::ReadHoldingRegisters(words) | Response::ReadInputRegisters(words))) => {
            if words.len() == usize::from(block.count) {
                Ok(words)
            } else {
                Err(Fault::Garbled(format!("{} instead of {}", counted(words.len(), "register"), block.count)))
            }
        }
        Ok(Ok(other)) => Err(Fault::Garbled(format!("an answer to {}", other.function_code()))),
        Ok(Err(code)) => Err(Fault::Refused(block, Exception(code.into()))),
        Err(Error::Protocol(_)) => Err(Fault::Garbled("the answer to another request or of another unit".into())),
        Err(Error::Transport(error)) => match error.kind() {
            ErrorKind::InvalidData | ErrorKind::UnexpectedEof => {
                Err(Fault::Garbled("bytes that are not Modbus".into()))
            }
            _ => Err(Fault::Closed),
        },
    }
}
