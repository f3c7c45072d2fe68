//! Answers of meters: RTU frames as they come and with a right checksum, the registers of a map, and a SunSpec chain.

#![no_main]

use inkwatt::plant::Ratio;
use inkwatt::readings::Quantity;
use inkwatt::sources::{
    Block, ByteOrder, Encoding, Image, Register, RegisterMap, Table, WordOrder, decode, plan, rtu, sunspec,
};
use inkwatt::time::At;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let [kind, rest @ ..] = bytes else { return };
    match kind {
        b'f' => frame(rest),
        b'r' => registers(rest),
        b's' => chain(&words(rest)),
        _ => {}
    }
});

fn words(bytes: &[u8]) -> Vec<u16> {
    bytes.chunks_exact(2).map(|pair| u16::from_be_bytes([pair[0], pair[1]])).collect()
}

/// A frame by itself, and with a right checksum after it: as many registers come as were asked for, or none.
fn frame(bytes: &[u8]) {
    let [unit, count, frame @ ..] = bytes else { return };
    let block = Block { table: Table::Holding, address: 65_400, count: u16::from(*count).clamp(1, 125) };
    let sealed = [frame, &rtu::crc(frame).to_le_bytes()].concat();
    for frame in [frame, &sealed] {
        match rtu::answer(*unit, block, frame) {
            Ok(Ok(words)) => assert_eq!(words.len(), usize::from(block.count)),
            Ok(Err(exception)) => drop(exception.to_string()),
            Err(bad) => drop(bad.to_string()),
        }
    }
}

/// A register of any shape at any address, with any answer to the requests that its map asks for.
fn registers(bytes: &[u8]) {
    let [encoding, order, a, b, c, d, step, offset, rest @ ..] = bytes else { return };
    let register = Register {
        quantity: Quantity::Import,
        table: Table::Input,
        address: u16::from_be_bytes([*a, *b]).min(u16::MAX - 3),
        encoding: Encoding::ALL[usize::from(*encoding) % 8],
        words: if order & 1 == 0 { WordOrder::Big } else { WordOrder::Little },
        bytes: if order & 2 == 0 { ByteOrder::Big } else { ByteOrder::Little },
        unit: Ratio { num: 1_000_000, den: 1 },
        step: Ratio { num: i64::from(*step) + 1, den: 1 },
        offset: i64::from(*offset as i8),
        scale_register: (order & 4 != 0).then(|| u16::from_be_bytes([*c, *d])),
        unavailable: if order & 8 == 0 { Vec::new() } else { vec![0x8000, 0xFFFF_FFFF] },
    };
    let map = RegisterMap {
        name: "map".into(),
        registers: vec![register.clone()],
        max_block: u16::from(order >> 4) * 8 + 1,
        bridge: u16::from(*step),
        modulus: None,
    };
    let words = words(rest);
    let _ = decode(&register, &words, words.first().copied());
    let mut image = Image::default();
    let mut left = words.iter().copied().chain(std::iter::repeat(0));
    for block in plan(&map) {
        let _ = block.to_string();
        image.add(block, At(0), left.by_ref().take(usize::from(block.count)).collect());
    }
    if let Err(none) = image.value(&register) {
        let _ = none.to_string();
    }
}

/// Walks a chain of models as a scan does.
fn chain(words: &[u16]) {
    let mut models = Vec::new();
    let mut address = 40_000_u16;
    let mut rest = words;
    while let [id, length, ..] = rest {
        if *id == sunspec::END || models.len() == sunspec::MOST_MODELS {
            break;
        }
        let whole = (usize::from(*length) + 2).min(rest.len());
        let read = if sunspec::is_read(*id, *length) { whole } else { 2 };
        models.push(sunspec::Model { id: *id, address, words: rest[..read].to_vec() });
        let Some(next) = sunspec::next(address, *length) else { break };
        (address, rest) = (next, &rest[whole..]);
    }
    let _ = sunspec::Nameplate::of(&models).to_string();
    models.iter().for_each(|model| drop(sunspec::offers(model)));
}
