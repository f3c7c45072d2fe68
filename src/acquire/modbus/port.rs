//! Serial ports.

use super::connection::Open;
use crate::sources::{Parity, Serial};
use std::io;
use tokio_serial::{DataBits, SerialPortBuilderExt, SerialStream, StopBits};

/// Opens the device of a serial line, such as `/dev/ttyUSB0`, for itself alone.
pub(super) struct Port {
    pub(super) device: String,
    pub(super) serial: Serial,
}

impl Open for Port {
    type Stream = SerialStream;

    async fn open(&mut self) -> io::Result<SerialStream> {
        let parity = match self.serial.parity {
            Parity::None => tokio_serial::Parity::None,
            Parity::Even => tokio_serial::Parity::Even,
            Parity::Odd => tokio_serial::Parity::Odd,
        };
        let stop_bits = if self.serial.stop_bits == 2 { StopBits::Two } else { StopBits::One };
        let port = tokio_serial::new(self.device.as_str(), self.serial.baud);
        let port = port.data_bits(DataBits::Eight).parity(parity).stop_bits(stop_bits);
        port.open_native_async().map_err(io::Error::from)
    }
}
