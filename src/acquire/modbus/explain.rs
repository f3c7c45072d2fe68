//! What each fault means, and what to look at.

use super::{Answer, Fault, Problem};
use crate::sources::{Block, Exception, Framing, Line, Register};

/// What a fault means, and what to look at.
pub(super) fn explain(line: &Line, answer: &Answer, fault: &Fault, all_silent: bool) -> Problem {
    let unit = answer.polled.unit;
    match fault {
        Fault::Unreachable(why) => {
            Problem::new(format!("no connection to {}: {why}", line.endpoint), look_at_connection(line.framing))
        }
        Fault::Silent if all_silent => Problem::new(
            format!("unit {unit} does not answer, nor does any other on {}", line.endpoint),
            match line.framing {
                Framing::Rtu(serial) => format!(
                    "baud rate and parity of the meters (configured: {serial}); A and B of the bus, which may be exchanged; its ends"
                ),
                framing => format!(
                    "framing of the line (configured: {}); baud rate and parity behind the gateway; the bus wiring",
                    framing.word()
                ),
            },
        ),
        Fault::Silent => Problem::new(format!("unit {unit} does not answer"), look_at_unit(unit)),
        Fault::Late(millis) => Problem::new(
            format!(
                "answers only after {millis} ms; the time-out is {} ms, so its readings are not used",
                line.timeout
            ),
            "raise `timeout` of the line above that; baud rate and number of meters behind the gateway",
        ),
        Fault::Refused(block, exception) => refused(answer, *block, *exception),
        Fault::Garbled(what) => Problem::new(
            format!("expected an answer of unit {unit}, found {what}"),
            format!("framing of the line (configured: {}); a second master on the same bus", line.framing.word()),
        ),
        Fault::Closed => Problem::new(
            "the connection was closed instead of an answer",
            "whether the port speaks Modbus; a gateway that allows one connection only",
        ),
    }
}

/// What a refusal means, and what to look at.
fn refused(answer: &Answer, block: Block, exception: Exception) -> Problem {
    let map = &answer.polled.map;
    let inside = |r: &&Register| {
        let place = (r.table, u32::from(r.address));
        place.0 == block.table
            && (u32::from(block.address)..u32::from(block.address) + u32::from(block.count)).contains(&place.1)
    };
    let names: Vec<String> = map.registers.iter().filter(inside).map(|r| r.quantity.to_string()).collect();
    let names = if names.is_empty() { "a scale register".to_owned() } else { names.join(", ") };
    let what = format!("{block} ({names}) refused with {exception}");
    let file = format!("registers/{}.toml", map.name);
    match exception {
        Exception::ILLEGAL_FUNCTION => Problem::new(
            what,
            format!("`table` in {file}: the device may keep its values in the other of \"holding\" and \"input\""),
        ),
        Exception::ILLEGAL_ADDRESS => Problem::new(
            what,
            format!(
                "the address in {file} against the device's register list: addresses on the wire count from 0, \
                 while lists that write 30001 or 40001 count from 1; `table`; `bridge = 0` where it refuses gaps"
            ),
        ),
        Exception::ILLEGAL_VALUE => {
            Problem::new(what, format!("`max_block` in {file}: the device may answer fewer registers at once"))
        }
        Exception::GATEWAY_TARGET => Problem::new(
            format!("the gateway got no answer from unit {} ({exception})", answer.polled.unit),
            look_at_unit(answer.polled.unit),
        ),
        Exception::GATEWAY_PATH => {
            Problem::new(what, "the gateway's own configuration: which serial port serves this unit; its load")
        }
        _ => Problem::new(what, "the device's own display or manual; whether it is the same in a minute"),
    }
}

/// What to look at where there is no connection to a line.
pub const fn look_at_connection(framing: Framing) -> &'static str {
    match framing {
        Framing::Rtu(_) => {
            "whether the adapter is plugged in and has that name; the right to open it (on Debian the group dialout); another \
             program that holds it"
        }
        Framing::Tcp | Framing::RtuOverTcp => {
            "host and port of the line; whether the gateway is on and reachable from here; a firewall; a gateway that allows one \
             connection only and has given it away"
        }
    }
}

fn look_at_unit(unit: u8) -> String {
    format!(
        "the unit id set at the device (configured: {unit}), each only once on a bus; its supply and bus wiring; its baud rate and parity"
    )
}
