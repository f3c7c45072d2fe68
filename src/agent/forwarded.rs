//! How forwarding stands, as people ask for it.

use crate::config::Configuration;
use crate::store::{ForwardBook, Standing, StoreError};
use crate::time::{At, Zone};
use crate::units::{counted, grouped};
use chrono::NaiveDate;
use std::path::Path;

/// How forwarding stands.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Forwarded {
    /// Lines that were taken since the start.
    pub lines: u64,
    /// The local day that is being sent; `None` before the first and in a command.
    pub day: Option<NaiveDate>,
    /// What was taken last, what keeps more from being taken, and what was refused.
    pub standing: Standing,
}

/// How forwarding stood when the agent last wrote it down; `None` where nothing is forwarded.
///
/// # Errors
/// Where the book cannot be read.
pub fn forwarded(folder: &Path, configuration: &Configuration) -> Result<Option<Forwarded>, StoreError> {
    if configuration.influx.is_none() {
        return Ok(None);
    }
    let standing = ForwardBook::look(folder)?.map(|book| book.standing()).transpose()?.unwrap_or_default();
    Ok(Some(Forwarded { standing, ..Forwarded::default() }))
}

impl Forwarded {
    /// What was taken last.
    pub fn summary(&self, zone: Zone) -> String {
        match self.standing.taken {
            Some(at) => format!("took lines last on {}", clock(zone, at)),
            None => "has taken no lines yet".into(),
        }
    }

    /// What keeps lines from being taken, and what was refused, a sentence each.
    pub fn waits(&self, zone: Zone) -> Vec<String> {
        let Standing { fault, refused, example, .. } = &self.standing;
        let day = self.day.map_or_else(String::new, |day| format!(" from {day} on"));
        let fault = fault.iter().map(|(fault, since)| {
            format!("{fault}; since {} what is due{day} waits and is sent later, oldest first", clock(zone, *since))
        });
        let why = example.iter().map(|one| format!("; the last: {} of \"{}\"", one.reason, one.part));
        let refused = (*refused > 0).then(|| {
            let lines = if *refused == 1 {
                counted(1, "line")
            } else {
                format!("{} lines", grouped(refused.unsigned_abs().into()))
            };
            let until = "sent anew only when their day changes";
            format!("{lines} refused for good and {until}{}", why.collect::<String>())
        });
        fault.chain(refused).collect()
    }
}

fn clock(zone: Zone, at: At) -> String {
    zone.local(at).format("%Y-%m-%d %H:%M").to_string()
}
