//! The manifest: the hash of every file and input, and the versions of what computed them.

use super::accounts::Account;
use super::input::MonthInput;
use super::lines::Ledger;
use super::render::ReportFile;
use super::words;
use crate::attribute::{Slice, Usage};
use crate::closing::sha256;
use crate::units::hex;
use serde::Serialize;
use sha2::{Digest, Sha256};

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
    /// Texts of frozen baselines, by press.
    baselines: Vec<Hashed>,
    /// Of the slices and runs of the month and, where compared, of the days of the year before.
    facts: Vec<Hashed>,
}

/// Gathers what the report of a month is made from.
pub fn sources(input: &MonthInput, ledger: &Ledger) -> Sources {
    let sets = ledger.footprint.sets.iter().map(|line| &line.set);
    let before = input.year_before.map(|days| (input.month.year_before(), sha256(format!("{days:?}").as_bytes())));
    let facts = [(input.month, facts(input, ledger))].into_iter().chain(before);
    Sources {
        program: format!("inkwatt {}", input.versions.program),
        rules: input.versions.rules,
        time_zones: input.versions.zones.to_owned(),
        configuration: input
            .texts
            .iter()
            .map(|text| Hashed { name: text.path.clone(), sha256: sha256(text.text.as_bytes()) })
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
        baselines: input
            .savings
            .iter()
            .flat_map(|statements| &statements.presses)
            .map(|one| Hashed { name: one.press.to_string(), sha256: one.sha256.clone() })
            .collect(),
        facts: facts.map(|(month, sha256)| Hashed { name: format!("facts of {month}"), sha256 }).collect(),
    }
}

/// The hash of a month's facts: the accounts in words, the lines in numbers, then runs and sums of the days.
fn facts(input: &MonthInput, ledger: &Ledger) -> String {
    let mut digest = Sha256::new();
    for Account { slice: Slice { usage, owner }, .. } in &ledger.accounts {
        digest.update(format!("{} {:?} {:?} {owner:?}\n", usage.meter, usage.amount, usage.placed));
    }
    for line in &ledger.lines {
        let Usage { period, energy, .. } = &line.slice.usage;
        let numbers = [line.account as i64, period.start.0, period.end.0, energy.unwrap_or_default().mwh()];
        numbers.iter().for_each(|number| digest.update(number.to_le_bytes()));
    }
    digest.update(format!("{:?}{:?}", input.facts.runs, input.facts.sums));
    hex(&digest.finalize())
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
    let files = files.iter().map(|f| Hashed { name: f.name.clone(), sha256: sha256(&f.bytes) }).collect();
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
        assert_eq!(super::sha256(b"abc"), expected);
    }
}
