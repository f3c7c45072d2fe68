//! Modbus RTU frames: a request to read, and what an answer must look like (Modbus over serial line V1.02, section 2.5).

use crate::sources::Block;
use std::fmt;

/// The refusal of a device or gateway: an exception code of the Modbus application protocol, section 7.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Exception(pub u8);

impl Exception {
    /// The device does not know the function: the map names the wrong table.
    pub const ILLEGAL_FUNCTION: Self = Self(0x01);
    /// The device has no such register, or the request spans a hole in its map.
    pub const ILLEGAL_ADDRESS: Self = Self(0x02);
    /// The device does not answer that many registers at once.
    pub const ILLEGAL_VALUE: Self = Self(0x03);
    /// The gateway has no way to the line.
    pub const GATEWAY_PATH: Self = Self(0x0A);
    /// The gateway got no answer from the unit.
    pub const GATEWAY_TARGET: Self = Self(0x0B);

    /// Whether it comes from a gateway, not from the device.
    pub const fn is_of_gateway(self) -> bool {
        matches!(self, Self::GATEWAY_PATH | Self::GATEWAY_TARGET)
    }

    /// Whether the device asks to be left alone for a while: acknowledge (5) or busy (6).
    pub const fn means_later(self) -> bool {
        matches!(self.0, 0x05 | 0x06)
    }
}

impl fmt::Display for Exception {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = match self.0 {
            0x01 => "illegal function",
            0x02 => "illegal data address",
            0x03 => "illegal data value",
            0x04 => "device failure",
            0x05 => "acknowledge",
            0x06 => "device busy",
            0x07 => "negative acknowledge",
            0x08 => "memory parity error",
            0x0A => "gateway path unavailable",
            0x0B => "gateway target failed to respond",
            _ => "not in the standard",
        };
        write!(f, "exception 0x{:02X} ({name})", self.0)
    }
}

/// What is wrong with an answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BadFrame {
    /// It comes from another unit.
    Unit(u8),
    /// It answers another function.
    Function(u8),
    /// It brings another number of bytes than asked for.
    Bytes(u8),
    /// Its check sum is wrong.
    CheckSum,
    /// It is shorter or longer than such an answer is.
    Length(usize),
}

impl fmt::Display for BadFrame {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unit(unit) => write!(f, "an answer of unit {unit}"),
            Self::Function(function) => write!(f, "an answer to function {function}"),
            Self::Bytes(bytes) => write!(f, "an answer of {bytes} bytes"),
            Self::CheckSum => f.write_str("an answer with a wrong check sum"),
            Self::Length(length) => write!(f, "a frame of {length} bytes"),
        }
    }
}

/// The length of a refusal: unit, function, code, check sum.
pub const REFUSAL: usize = 5;

/// CRC-16/MODBUS: polynomial 0x8005 reflected, start 0xFFFF; sent low byte first.
pub fn crc(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |crc, byte| {
        (0..8).fold(crc ^ u16::from(*byte), |crc, _| if crc & 1 == 1 { crc >> 1 ^ 0xA001 } else { crc >> 1 })
    })
}

/// The frame that asks a unit for a block.
pub fn request(unit: u8, block: Block) -> [u8; 8] {
    let ([a, b], [c, d]) = (block.address.to_be_bytes(), block.count.to_be_bytes());
    let body = [unit, block.table.function(), a, b, c, d];
    let [low, high] = crc(&body).to_le_bytes();
    [unit, block.table.function(), a, b, c, d, low, high]
}

/// How long the whole answer to a block is, seen from its first two bytes: a refusal, or the registers. An error where
/// these bytes cannot begin an answer of that unit and block.
pub fn answer_length(unit: u8, block: Block, start: [u8; 2]) -> Result<usize, BadFrame> {
    let function = block.table.function();
    match start {
        [other, _] if other != unit => Err(BadFrame::Unit(other)),
        [_, code] if code == function | 0x80 => Ok(REFUSAL),
        [_, code] if code == function => Ok(REFUSAL + 2 * usize::from(block.count)),
        [_, other] => Err(BadFrame::Function(other)),
    }
}

/// The registers of a whole answer, or the refusal in it. It counts only if unit, function, number of bytes and check
/// sum are those of an answer to this very block.
pub fn answer(unit: u8, block: Block, frame: &[u8]) -> Result<Result<Vec<u16>, Exception>, BadFrame> {
    let &[from, function, third, ..] = frame else { return Err(BadFrame::Length(frame.len())) };
    if frame.len() != answer_length(unit, block, [from, function])? {
        return Err(BadFrame::Length(frame.len()));
    }
    // Over a whole good frame, its check sum included, the CRC is 0.
    if crc(frame) != 0 {
        return Err(BadFrame::CheckSum);
    }
    if function & 0x80 != 0 {
        return Ok(Err(Exception(third)));
    }
    if u16::from(third) != 2 * block.count {
        return Err(BadFrame::Bytes(third));
    }
    let registers = frame[3..frame.len() - 2].chunks_exact(2);
    Ok(Ok(registers.map(|pair| u16::from_be_bytes([pair[0], pair[1]])).collect()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sources::Table;
    use proptest::prelude::*;

    fn block(table: Table, address: u16, count: u16) -> Block {
        Block { table, address, count }
    }

    fn bytes(hex: &str) -> Vec<u8> {
        hex.split(' ').map(|b| u8::from_str_radix(b, 16).expect("hex")).collect()
    }

    /// "123456789" gives 0x4B37 (check value of CRC-16/MODBUS in the catalogue of parametrised CRC algorithms).
    #[test]
    fn the_check_sum_has_its_published_check_value() {
        assert_eq!(crc(b"123456789"), 0x4B37);
    }

    /// PDUs: the examples of functions 3 and 4 in the Modbus application protocol V1.1b3, sections 6.3 and 6.4, and
    /// further reads; check sums by pymodbus 3.16.1.
    #[test]
    fn requests_are_framed_as_other_masters_frame_them() {
        let cases = [
            (1, block(Table::Holding, 0x6B, 3), "01 03 00 6B 00 03 74 17"),
            (17, block(Table::Holding, 0x6B, 3), "11 03 00 6B 00 03 76 87"),
            (1, block(Table::Input, 8, 1), "01 04 00 08 00 01 B0 08"),
            (1, block(Table::Holding, 0, 125), "01 03 00 00 00 7D 85 EB"),
            (1, block(Table::Input, 0, 60), "01 04 00 00 00 3C F0 1B"),
            (247, block(Table::Holding, 0, 1), "F7 03 00 00 00 01 90 9C"),
            (1, block(Table::Holding, 40_000, 2), "01 03 9C 40 00 02 EB 8F"),
        ];
        for (unit, block, frame) in cases {
            assert_eq!(request(unit, block).to_vec(), bytes(frame));
        }
    }

    /// Sources as above.
    #[test]
    fn answers_are_read_as_the_standard_prints_them() {
        let three = block(Table::Holding, 0x6B, 3);
        let one = block(Table::Input, 8, 1);
        let two = block(Table::Input, 0, 2);
        let cases = [
            (1, three, "01 03 06 02 2B 00 00 00 64 05 7A", Ok(vec![555, 0, 100])),
            (17, three, "11 03 06 02 2B 00 00 00 64 C8 BA", Ok(vec![555, 0, 100])),
            (1, one, "01 04 02 00 0A 39 37", Ok(vec![10])),
            (1, two, "01 04 04 43 66 33 33 5A FA", Ok(vec![0x4366, 0x3333])),
            (1, three, "01 83 02 C0 F1", Err(Exception::ILLEGAL_ADDRESS)),
            (1, one, "01 84 02 C2 C1", Err(Exception::ILLEGAL_ADDRESS)),
            (1, three, "01 83 0B 00 F7", Err(Exception::GATEWAY_TARGET)),
        ];
        for (unit, block, frame, expected) in cases {
            assert_eq!(answer(unit, block, &bytes(frame)), Ok(expected), "{frame}");
        }
    }

    #[test]
    fn an_answer_to_something_else_is_refused() {
        let frame = bytes("01 03 06 02 2B 00 00 00 64 05 7A");
        let three = block(Table::Holding, 0x6B, 3);
        assert_eq!(answer(2, three, &frame), Err(BadFrame::Unit(1)));
        assert_eq!(answer(1, block(Table::Input, 0x6B, 3), &frame), Err(BadFrame::Function(3)));
        assert_eq!(answer(1, block(Table::Holding, 0x6B, 2), &frame), Err(BadFrame::Length(11)));
        assert_eq!(answer(1, three, &frame[..10]), Err(BadFrame::Length(10)));
        let mut damaged = frame.clone();
        damaged[4] ^= 1;
        assert_eq!(answer(1, three, &damaged), Err(BadFrame::CheckSum));
        // A frame of the right length whose own byte count says otherwise, with a check sum that fits.
        let mut lying = bytes("01 03 04 02 2B 00 00 00 64");
        lying.extend(crc(&lying).to_le_bytes());
        assert_eq!(answer(1, three, &lying), Err(BadFrame::Bytes(4)));
    }

    proptest! {
        #[test]
        fn no_bytes_make_the_frame_reader_panic(
            frame in prop::collection::vec(any::<u8>(), 0..300),
            unit in any::<u8>(),
            count in 1_u16..=125,
            whole in any::<bool>(),
        ) {
            let asked = block(Table::Holding, 0, count);
            let mut frame = frame;
            if whole && frame.len() > 3 {
                let [low, high] = crc(&frame).to_le_bytes();
                frame.extend([low, high]);
            }
            let _ = answer(unit, asked, &frame);
        }
    }
}
