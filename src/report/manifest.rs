//! The manifest: the hash of every file and input, and the versions of what computed them.

use super::input::MonthInput;
use super::lines::Ledger;
use super::render::ReportFile;
use super::words;
use crate::attribute::Slice;
use serde::Serialize;
use sha2::{Digest, Sha256};
use std::fmt::Write;

/// SHA-256 in lower-case hexadecimal digits.
pub fn hash(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

fn hex(digest: &[u8]) -> String {
    digest.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// A thing with its hash.
#[derive(Clone, Debug, Serialize)]
struct Hashed {
    name: String,
    sha256: String,
}

/// What a report was made from.
#[derive(Clone, Debug, Serialize)]
pub struct Sources {
    program: String,
    rules: u32,
    time_zones: String,
    configuration: Vec<Hashed>,
    factor_sets: Vec<String>,
    tariffs: Vec<String>,
    /// Of the slices and runs of the month and, where compared, of the year before.
    facts: Vec<Hashed>,
}

/// Gathers what the report of a month is made from.
pub fn sources(input: &MonthInput, ledger: &Ledger) -> Sources {
    let sets = ledger.footprint.sets.iter().map(|line| &line.set);
    let months =
        [Some((input.month, &input.facts)), input.year_before.as_ref().map(|f| (input.month.year_before(), f))];
    let facts = months.into_iter().flatten().map(|(month, facts)| {
        let mut digest = Sha256::new();
        let mut text = String::new();
        for slice in facts.days.iter().flat_map(|day| &day.value.slices) {
            text.clear();
            tell(slice, &mut text);
            digest.update(&text);
        }
        digest.update(format!("{:?}{:?}", facts.runs, facts.web));
        Hashed { name: format!("facts of {month}"), sha256: hex(&digest.finalize()) }
    });
    Sources {
        program: format!("inkwatt {}", input.versions.program),
        rules: input.versions.rules,
        time_zones: input.versions.zones.to_owned(),
        configuration: input
            .texts
            .iter()
            .map(|text| Hashed { name: text.path.clone(), sha256: hash(text.text.as_bytes()) })
            .collect(),
        factor_sets: sets
            .map(|s| format!("{} {}, {}, {}", s.region, s.publication, s.version, words::status(s.status)))
            .collect(),
        tariffs: ledger
            .bill
            .bands
            .iter()
            .map(|b| b.tariff.clone())
            .collect::<std::collections::BTreeSet<_>>()
            .into_iter()
            .collect(),
        facts: facts.collect(),
    }
}

/// A slice as one line, by which its hash is taken.
fn tell(slice: &Slice, text: &mut String) {
    let (usage, owner) = (&slice.usage, &slice.owner);
    // Writing to a string cannot fail.
    let _ = writeln!(
        text,
        "{},{},{},{},{},{},{},{},{},{},{},{},{}",
        usage.meter,
        usage.period.start.0,
        usage.period.end.0,
        usage.energy.map_or(String::new(), |energy| energy.mwh().to_string()),
        words::amount(usage.amount),
        words::placed(usage.placed),
        owner.press.as_ref().map(|p| p.as_str()).unwrap_or("-"),
        owner.station.as_ref().map(|s| s.as_str()).unwrap_or("-"),
        owner.lamp.map(|l| l.word()).unwrap_or("-"),
        owner.press_state.map(words::press_state).unwrap_or("-"),
        owner.lamp_state.map(words::lamp_state).unwrap_or("-"),
        owner.run.as_ref().map(|r| r.as_str()).unwrap_or("-"),
        words::claim(owner.claim),
    );
}

#[derive(Serialize)]
struct Manifest<'a> {
    plant: &'a str,
    month: &'a str,
    made_from: &'a Sources,
    files: Vec<Hashed>,
}

/// The manifest of the files of a month.
pub fn manifest(plant: &str, month: &str, sources: &Sources, files: &[ReportFile]) -> Vec<u8> {
    let files = files.iter().map(|f| Hashed { name: f.name.clone(), sha256: hash(&f.bytes) }).collect();
    let manifest = Manifest { plant, month, made_from: sources, files };
    let mut bytes = serde_json::to_vec_pretty(&manifest).expect("texts and numbers are JSON");
    bytes.push(b'\n');
    bytes
}

#[cfg(test)]
mod tests {
    /// FIPS 180-2, appendix B.1: the message "abc".
    #[test]
    fn hashes_are_sha_256() {
        let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(super::hash(b"abc"), expected);
    }
}
