//! The commissioning record: what was examined when, and what came of it.

use super::{Check, Verdict};
use crate::plant::Meter;
use crate::time::{Period, Zone};
use serde_json::{Value, json};
use std::fmt;

/// The caution that stands above every record and before every check.
pub const CAUTION: &str = "\
Caution: this check only reads; nothing has to be opened for it. Never open the secondary circuit of a current
transformer while current flows: its voltage kills. Cabinets are opened, and transformers, leads and phases changed, by
licensed people only, switched off and locked out, by the rules of your country. Lamps are switched with guards closed
and extraction running: UV light and ozone injure.
";

/// A dated record of an electrical check.
#[derive(Clone, Debug, PartialEq)]
pub struct Commissioning {
    /// The plant's name.
    pub plant: String,
    /// The plant's zone.
    pub zone: Zone,
    /// Over which time the meters were watched.
    pub period: Period,
    /// The meters with the number of their samples.
    pub meters: Vec<(Meter, usize)>,
    /// The tests, by meter.
    pub checks: Vec<Check>,
}

impl Commissioning {
    /// The tests that ended so.
    pub fn count(&self, verdict: Verdict) -> usize {
        self.checks.iter().filter(|check| check.verdict == verdict).count()
    }

    /// The record as JSON: what the plant keeps and reports cite.
    pub fn json(&self) -> Value {
        let check = |check: &Check| {
            json!({ "test": check.test.words(), "verdict": check.verdict.word().to_lowercase(), "found": check.what,
                    "look_at": check.look })
        };
        let meter = |(meter, samples): &(Meter, usize)| {
            let device = meter.device.at(self.period.end);
            json!({
                "meter": meter.id.as_str(),
                "serial": device.map(|device| device.serial.as_str()),
                "transformers": device.map(|device| [device.transformers.num, device.transformers.den]),
                "samples": samples,
                "tests": self.checks.iter().filter(|c| c.meter == meter.id).map(check).collect::<Vec<_>>(),
            })
        };
        json!({
            "plant": self.plant,
            "from": self.zone.stamp(self.period.start),
            "to": self.zone.stamp(self.period.end),
            "meters": self.meters.iter().map(meter).collect::<Vec<_>>(),
        })
    }
}

impl fmt::Display for Commissioning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (from, to) = (self.zone.stamp(self.period.start), self.zone.stamp(self.period.end));
        writeln!(f, "Electrical check of {}\n{from} to {to}\n", self.plant)?;
        for (meter, samples) in &self.meters {
            write!(f, "{}", meter.id)?;
            if let Some(device) = meter.device.at(self.period.end) {
                let ratio = device.transformers;
                write!(f, "  device {}, values times {}/{} are primary", device.serial, ratio.num, ratio.den)?;
            }
            writeln!(f, ", {samples} samples")?;
            for check in self.checks.iter().filter(|check| check.meter == meter.id) {
                writeln!(f, "  {:<9} {}: {}", check.verdict.word(), check.test.words(), check.what)?;
                if let Some(look) = &check.look {
                    writeln!(f, "            look at: {look}")?;
                }
            }
        }
        let [passed, failed, untested] = [Verdict::Passed, Verdict::Failed, Verdict::Untested].map(|v| self.count(v));
        writeln!(f, "\n{passed} tests passed, {failed} failed, {untested} could not be made.")
    }
}
