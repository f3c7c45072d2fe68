//! What a line is reached by: a TCP connection, or a serial device for itself alone.

use super::connection::{Open, Stream};
use crate::sources::{Framing, Line, Parity, Serial};
use std::io;
use tokio::net::TcpStream;
use tokio_serial::{DataBits, SerialPortBuilderExt, SerialStream, StopBits};

/// What a line names, to be opened.
pub(super) enum Endpoint {
    /// `host:port`.
    Tcp(String),
    /// A device, such as `/dev/ttyUSB0`.
    Serial(String, Serial),
}

impl Endpoint {
    /// What a line is reached by.
    pub(super) fn of(line: &Line) -> Self {
        match line.framing {
            Framing::Tcp | Framing::RtuOverTcp => Self::Tcp(line.endpoint.clone()),
            Framing::Rtu(serial) => Self::Serial(line.endpoint.clone(), serial),
        }
    }
}

impl Open for Endpoint {
    type Stream = Box<dyn Stream>;

    async fn open(&mut self) -> io::Result<Box<dyn Stream>> {
        Ok(match self {
            Self::Tcp(place) => Box::new(connected(place).await?),
            Self::Serial(device, serial) => Box::new(opened(device, *serial)?),
        })
    }
}

async fn connected(place: &str) -> io::Result<TcpStream> {
    let stream = TcpStream::connect(place).await?;
    stream.set_nodelay(true)?;
    Ok(stream)
}

fn opened(device: &str, serial: Serial) -> io::Result<SerialStream> {
    let parity = match serial.parity {
        Parity::None => tokio_serial::Parity::None,
        Parity::Even => tokio_serial::Parity::Even,
        Parity::Odd => tokio_serial::Parity::Odd,
    };
    let stop_bits = if serial.stop_bits == 2 { StopBits::Two } else { StopBits::One };
    let port = tokio_serial::new(device, serial.baud);
    let port = port.data_bits(DataBits::Eight).parity(parity).stop_bits(stop_bits);
    port.open_native_async().map_err(io::Error::from)
}
