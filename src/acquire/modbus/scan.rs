//! What answers on a line: unit by unit, with the SunSpec models that a device states.

use super::connection::Connection;
use super::endpoint::Endpoint;
use super::{Fault, owed};
use crate::sources::sunspec::{self, Model};
use crate::sources::{Block, Line, MOST_REGISTERS, Table};
use std::time::Duration;

/// A unit that answered.
#[derive(Clone, Debug, PartialEq)]
pub struct Answered {
    /// Its id.
    pub unit: u8,
    /// How long its first answer took, in milliseconds.
    pub millis: u64,
    /// The models that it states; none where it does not speak SunSpec.
    pub models: Vec<Model>,
    /// Why its chain of models ended early, where it did.
    pub broken: Option<String>,
}

/// Asks each of the units whether it is there, one after the other, with one time-out for each that is not. `progress` hears which
/// is asked. Only holding registers are read.
///
/// # Errors
/// Where there is no connection to the line.
pub async fn scan(line: &Line, units: &[u8], progress: impl Fn(u8)) -> Result<Vec<Answered>, Fault> {
    let mut connection = Connection::new(Endpoint::of(line), line);
    let mut answered = Vec::new();
    for &unit in units {
        progress(unit);
        answered.extend(look(&mut connection, unit).await?);
    }
    Ok(answered)
}

/// Asks one unit; `None` where it is not there.
async fn look(connection: &mut Connection<Endpoint>, unit: u8) -> Result<Option<Answered>, Fault> {
    let mut answered: Option<Answered> = None;
    for base in sunspec::BASES {
        let came = connection.read(unit, holding(base, 2)).await;
        let millis = match &came {
            Ok((.., took)) => *took,
            // It is there and says that it has no such registers.
            Err(Fault::Refused(_, refusal)) if owed::is_own(*refusal) => Duration::ZERO,
            Err(Fault::Unreachable(_)) => return came.map(|_| None),
            Err(_) if answered.is_none() => return Ok(None),
            Err(_) => continue,
        };
        let unit = answered.get_or_insert(Answered {
            unit,
            millis: millis.as_millis() as u64,
            models: Vec::new(),
            broken: None,
        });
        if came.is_ok_and(|(words, ..)| words == sunspec::MARKER) {
            chain(connection, unit, base).await;
            break;
        }
    }
    Ok(answered)
}

/// Follows the chain of models from its marker on.
async fn chain(connection: &mut Connection<Endpoint>, answered: &mut Answered, base: u16) {
    let mut next = base.checked_add(2);
    while let Some(address) = next {
        let head = match registers(connection, answered.unit, address, 2).await {
            Ok(head) => head,
            Err(fault) => return answered.broken = Some(format!("at address {address}: {fault}")),
        };
        let (id, length) = (head[0], head[1]);
        if id == sunspec::END {
            return;
        }
        if answered.models.len() == sunspec::MOST_MODELS {
            return answered.broken = Some(format!("at address {address}: more than {} models", sunspec::MOST_MODELS));
        }
        next = sunspec::next(address, length);
        let mut words = head;
        // One that does not end within the addresses is not read.
        if sunspec::is_read(id, length) && next.is_some() {
            match registers(connection, answered.unit, address + 2, length).await {
                Ok(body) => words.extend(body),
                Err(fault) => answered.broken = Some(format!("model {id}: {fault}")),
            }
        }
        answered.models.push(Model { id, address, words });
    }
    answered.broken = Some("its chain runs beyond the last address without an end".into());
}

/// Any number of registers that end within the addresses, in requests of as many as are allowed.
async fn registers(
    connection: &mut Connection<Endpoint>,
    unit: u8,
    address: u16,
    count: u16,
) -> Result<Vec<u16>, Fault> {
    let mut words = Vec::new();
    while words.len() < usize::from(count) {
        let done = words.len() as u16;
        let part = holding(address + done, (count - done).min(MOST_REGISTERS));
        words.extend(connection.read(unit, part).await?.0);
    }
    Ok(words)
}

const fn holding(address: u16, count: u16) -> Block {
    Block { table: Table::Holding, address, count }
}
