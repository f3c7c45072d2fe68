//! How the meters fare.

use super::shown::Shown;
use crate::acquire::modbus::{Condition, LineState};
use crate::acquire::mqtt::BrokerLink;
use crate::names::MeterId;
use crate::time::Zone;
use crate::units::counted;
use serde::Serialize;
use std::collections::BTreeSet;

/// How many meters answer, and in words which do not.
#[derive(Serialize)]
pub(super) struct MeterSummary {
    pub(super) summary: String,
    pub(super) troubles: Vec<String>,
}

/// The polled meters that do not answer.
pub(super) fn silent(shown: &Shown) -> BTreeSet<MeterId> {
    let mut silent = BTreeSet::new();
    for line in &shown.of.sources.lines {
        let line = line.borrow();
        let meters = line.meters.iter().filter(|meter| !matches!(meter.condition, Condition::Answering(_)));
        silent.extend(meters.map(|meter| meter.meter.clone()));
    }
    silent
}

/// How many meters answer, and which do not.
pub(super) fn meter_summary(shown: &Shown, zone: Zone) -> MeterSummary {
    let (mut all, mut troubles) = (0_usize, Vec::new());
    for line in &shown.of.sources.lines {
        for meter in &line.borrow().meters {
            all += 1;
            if !matches!(meter.condition, Condition::Answering(_)) {
                troubles.push(format!("{}: {} since {}", meter.meter, meter.condition, zone.stamp(meter.since)));
            }
        }
    }
    if let Some(broker) = &shown.of.sources.broker
        && let BrokerLink::Disconnected { since, reason } = &broker.borrow().link
    {
        troubles.push(format!("the broker is not connected since {}: {reason}", zone.stamp(*since)));
    }
    let answering = shown.of.sources.lines.iter().map(|line| answering(&line.borrow())).sum::<usize>();
    MeterSummary { summary: format!("{answering} of {} answer.", counted(all, "polled meter")), troubles }
}

fn answering(line: &LineState) -> usize {
    line.meters.iter().filter(|meter| matches!(meter.condition, Condition::Answering(_))).count()
}
