//! Lines, and the meters on each.

use super::legal;
use super::meters::ReadMeter;
use super::section::Section;
use super::value::Value;
use crate::sources::{Framing, Line, Parity, Polled, Serial, least_load};

const LINE: [&str; 8] = ["id", "endpoint", "framing", "timeout", "gateway_timeout", "baud", "parity", "stop_bits"];
/// What only a serial line has.
const SERIAL: [&str; 3] = ["baud", "parity", "stop_bits"];

/// The lines with their meters, in the order of the file.
pub fn read<'a>(root: &Section<'a>, meters: &[ReadMeter<'a>]) -> Option<Vec<Line>> {
    let sections = root.each("line", "line", "id", &LINE);
    root.unique("line", &sections);
    let mut taken: Vec<(&str, usize)> = Vec::new();
    let mut lines = Vec::new();
    for section in &sections {
        let framing = section.need("framing").and_then(|v| framing(section, &v));
        let endpoint = section.need("endpoint").zip(framing).and_then(|(v, framing)| match framing {
            Framing::Rtu(_) => device(&v),
            Framing::Tcp | Framing::RtuOverTcp => endpoint(&v),
        });
        if let Some((_, line)) = taken.iter().find(|(other, _)| Some(*other) == endpoint) {
            section.say_help(
                "endpoint",
                &format!("the endpoint is that of the line on line {line} of the file"),
                "a connection carries one request at a time: put all its meters on one line",
            );
        }
        taken.extend(endpoint.map(|endpoint| (endpoint, section.line())));
        lines.push(line(section, endpoint, framing, meters));
    }
    lines.into_iter().collect()
}

fn line(
    section: &Section<'_>,
    endpoint: Option<&str>,
    framing: Option<Framing>,
    meters: &[ReadMeter<'_>],
) -> Option<Line> {
    let id = section.need("id").and_then(|v| v.name());
    let timeout = section.get("timeout").map_or(Some(1_000), |v| v.duration(legal::TIMEOUT));
    let gateway_timeout = section.get("gateway_timeout").map(|v| v.duration(legal::TIMEOUT));
    let (id, framing) = (id?, framing?);
    let line = Line {
        id: id.into(),
        endpoint: endpoint?.into(),
        framing,
        timeout: timeout? as u64,
        gateway_timeout: match gateway_timeout {
            Some(timeout) => Some(timeout? as u64),
            None => None,
        },
        meters: polled(id, framing, meters),
    };
    carries(section, &line);
    Some(line)
}

/// How a line is framed, with the characters of a serial one.
fn framing(section: &Section<'_>, value: &Value<'_>) -> Option<Framing> {
    // Which serial settings are meant is read below.
    let any = Serial { baud: 0, parity: Parity::Even, stop_bits: 1 };
    let words = [Framing::Tcp, Framing::RtuOverTcp, Framing::Rtu(any)].map(|framing| (framing.word(), framing));
    let framing = value.one_of(&words)?;
    if let Framing::Rtu(_) = framing {
        return serial(section).map(Framing::Rtu);
    }
    for key in SERIAL.iter().filter(|key| section.get(key).is_some()) {
        let text = format!("{key} belongs to a serial line, found framing \"{}\"", framing.word());
        section.say_help(key, &text, "the gateway has its own settings: leave it out, or write framing = \"rtu\"");
    }
    Some(framing)
}

/// The characters of a serial line; 19,200 Bd with even parity where nothing is said (Modbus over serial line V1.02, 3.2).
fn serial(section: &Section<'_>) -> Option<Serial> {
    let baud = section.get("baud").map_or(Some(19_200), |v| v.whole(legal::BAUD));
    let parities = [("none", Parity::None), ("even", Parity::Even), ("odd", Parity::Odd)];
    let parity = section.get("parity").map_or(Some(Parity::Even), |v| v.one_of(&parities));
    let stop_bits = section.get("stop_bits").map_or(Some(1), |v| v.whole(legal::STOP_BITS));
    Some(Serial { baud: baud? as u32, parity: parity?, stop_bits: stop_bits? as u8 })
}

/// Refuses intervals that a serial line cannot carry even if every device answers at once.
fn carries(section: &Section<'_>, line: &Line) {
    let Framing::Rtu(serial) = line.framing else { return };
    let load = least_load(line, serial);
    if load > 1.0 {
        let text = format!(
            "the meters ask for {:.0} % of what the line can carry at {serial}, even if every device answered at once",
            100.0 * load
        );
        section.say_help(
            "baud",
            &text,
            "poll less often, read fewer registers, or set line and meters to a higher rate",
        );
    }
}

/// The meters on a line, sorted by id.
fn polled(line: &str, framing: Framing, meters: &[ReadMeter<'_>]) -> Vec<Polled> {
    let mut here: Vec<Polled> = Vec::new();
    for (meter, modbus) in meters.iter().filter_map(|m| Some((&m.meter, m.modbus.as_ref()?))) {
        if modbus.line != line {
            continue;
        }
        if modbus.unit > 247 && (framing != Framing::Tcp || modbus.unit != 255) {
            modbus.section.say("unit", &format!("unit must be {}, found {}", legal::UNIT.word, modbus.unit));
        }
        // A device with several inputs has one unit id and a map for each input.
        let twin = here.iter().find(|other| other.unit == modbus.unit && other.map.name == modbus.map.name);
        if let Some(other) = twin {
            modbus.section.say_help(
                "unit",
                &format!("unit {} on line \"{line}\" is meter \"{}\" already", modbus.unit, other.meter),
                "each meter on a line has its own unit id; inputs of one device have a register map each",
            );
        }
        here.push(Polled {
            meter: meter.id.clone(),
            unit: modbus.unit,
            map: modbus.map.clone(),
            interval: modbus.poll as u64,
        });
    }
    here.sort_by(|a, b| a.meter.cmp(&b.meter));
    here
}

/// The device of a serial line.
fn device<'a>(value: &Value<'a>) -> Option<&'a str> {
    let text = value.text()?;
    let sound = text.starts_with('/') && !text.ends_with('/') && !text.contains('\0');
    if sound { Some(text) } else { value.wrong("the device of the serial line, such as \"/dev/ttyUSB0\"") }
}

/// `host:port`.
fn endpoint<'a>(value: &Value<'a>) -> Option<&'a str> {
    let text = value.text()?;
    let sound = text.rsplit_once(':').is_some_and(|(host, port)| {
        let named = !host.is_empty() && !host.contains(['/', ' ']);
        named && port.parse::<i64>().is_ok_and(|port| legal::PORT.allows_whole(port))
    });
    if sound { Some(text) } else { value.wrong("host:port, such as \"192.168.10.20:502\"") }
}
