//! Lines, and the meters on each.

use super::legal;
use super::meters::ReadMeter;
use super::section::Section;
use super::value::Value;
use crate::sources::{Framing, Line, Polled};

const LINE: [&str; 5] = ["id", "endpoint", "framing", "timeout", "gateway_timeout"];

/// The lines with their meters, in the order of the file.
pub fn read<'a>(root: &Section<'a>, meters: &[ReadMeter<'a>]) -> Option<Vec<Line>> {
    let sections = root.each("line", "line", "id", &LINE);
    root.unique("line", &sections);
    let mut taken: Vec<(&str, usize)> = Vec::new();
    let mut lines = Vec::new();
    for section in &sections {
        let endpoint = section.need("endpoint").and_then(|v| endpoint(&v));
        if let Some((_, line)) = taken.iter().find(|(other, _)| Some(*other) == endpoint) {
            section.say_help(
                "endpoint",
                &format!("the endpoint is that of the line on line {line} of the file"),
                "a connection carries one request at a time: put all its meters on one line",
            );
        }
        taken.extend(endpoint.map(|endpoint| (endpoint, section.line())));
        lines.push(line(section, endpoint, meters));
    }
    lines.into_iter().collect()
}

fn line(section: &Section<'_>, endpoint: Option<&str>, meters: &[ReadMeter<'_>]) -> Option<Line> {
    let id = section.need("id").and_then(|v| v.name());
    let framing =
        section.need("framing").and_then(|v| v.one_of(&[("tcp", Framing::Tcp), ("rtu-over-tcp", Framing::RtuOverTcp)]));
    let timeout = section.get("timeout").map_or(Some(1_000), |v| v.duration(legal::TIMEOUT));
    let gateway_timeout = section.get("gateway_timeout").map(|v| v.duration(legal::TIMEOUT));
    let (id, framing) = (id?, framing?);
    Some(Line {
        endpoint: endpoint?.into(),
        framing,
        timeout: timeout? as u64,
        gateway_timeout: match gateway_timeout {
            Some(timeout) => Some(timeout? as u64),
            None => None,
        },
        meters: polled(id, framing, meters),
    })
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

/// `host:port`.
fn endpoint<'a>(value: &Value<'a>) -> Option<&'a str> {
    let text = value.text()?;
    let sound = text.rsplit_once(':').is_some_and(|(host, port)| {
        let named = !host.is_empty() && !host.contains(['/', ' ']);
        named && port.parse::<i64>().is_ok_and(|port| legal::PORT.allows_whole(port))
    });
    if sound { Some(text) } else { value.wrong("host:port, such as \"192.168.10.20:502\"") }
}
