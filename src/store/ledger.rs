//! A computed day as bytes, and back. Names and owners stand once, in the order in which they are met; a slice says
//! which by number and how far it begins after the one before has ended.

use super::bytes::{Body, put, put_maybe, put_signed, put_text, sealed, unsealed};
use super::error::Breach;
use crate::attribute::{Amount, Claim, DayLedger, LampState, Owner, Placed, PressState, Slice, Usage};
use crate::found::{Found, Issue, Remark};
use crate::plant::LampKind;
use crate::time::{At, Period};
use crate::units::Energy;
use chrono::{Datelike, NaiveDate};
use std::collections::HashMap;
use std::hash::Hash;

/// More than any day has of anything.
pub(super) const MOST: usize = 10_000_000;

const AMOUNTS: [Amount; 4] = [Amount::Metered, Amount::Integrated, Amount::Estimated, Amount::Missing];
const PLACES: [Placed; 4] = [Placed::Measured, Placed::Within, Placed::Interpolated, Placed::Estimated];
const CLAIMS: [Claim; 4] = [Claim::Own, Claim::Shared, Claim::Rest, Claim::Unassigned];
const LAMPS: [LampKind; 2] = LampKind::ALL;
const PRESS_STATES: [PressState; 5] =
    [PressState::Idle, PressState::MakeReady, PressState::Running, PressState::Stopped, PressState::NoJob];
const LAMP_STATES: [LampState; 4] = [LampState::Off, LampState::WarmingUp, LampState::Standby, LampState::Curing];
const REMARKS: [Remark; 14] = [
    Remark::EnergyLost,
    Remark::RolledOver,
    Remark::Reset,
    Remark::Implausible,
    Remark::Contested,
    Remark::Gap,
    Remark::CoarseSteps,
    Remark::NegativeRest,
    Remark::RunConflict,
    Remark::JobCoverage,
    Remark::StateUnknown,
    Remark::Clock,
    Remark::Basis,
    Remark::LargeRest,
];

/// The bytes of a computed day.
pub(super) fn write(found: &Found<DayLedger>) -> Vec<u8> {
    let ledger = &found.value;
    let mut out = Vec::with_capacity(64 + 12 * (ledger.usage.len() + ledger.slices.len()));
    put_date(&mut out, ledger.date);
    let usage = ledger.usage.iter().chain(ledger.slices.iter().map(|slice| &slice.usage));
    let meters = Table::of(usage.map(|usage| usage.meter.clone()));
    let owners = Table::of(ledger.slices.iter().map(|slice| slice.owner.clone()));
    meters.write(&mut out, |out, meter| put_text(out, meter.as_str()));
    owners.write(&mut out, put_owner);
    put(&mut out, ledger.usage.len() as u64);
    let mut end = 0;
    for usage in &ledger.usage {
        put_usage(&mut out, usage, meters.number(&usage.meter), &mut end);
    }
    put(&mut out, ledger.slices.len() as u64);
    for slice in &ledger.slices {
        put(&mut out, owners.number(&slice.owner));
        put_usage(&mut out, &slice.usage, meters.number(&slice.usage.meter), &mut end);
    }
    put(&mut out, found.issues.len() as u64);
    for issue in &found.issues {
        put_issue(&mut out, issue);
    }
    sealed(out)
}

/// A computed day from its bytes.
pub(super) fn read(bytes: &[u8]) -> Result<Found<DayLedger>, Breach> {
    let body = &mut unsealed(bytes)?;
    let date = date(body)?;
    let meters = body.list(MOST, |body| Ok(body.text()?.into()))?;
    let owners = body.list(MOST, owner)?;
    let mut end = 0;
    let used = body.list(MOST, |body| usage(body, &meters, &mut end))?;
    let slices = body.list(MOST, |body| {
        let owner = one_of(&owners, body.unsigned()?)?;
        Ok(Slice { usage: usage(body, &meters, &mut end)?, owner })
    })?;
    let issues = body.list(MOST, issue)?;
    Ok(Found { value: DayLedger { date, usage: used, slices }, issues })
}

pub(super) fn put_date(out: &mut Vec<u8>, date: NaiveDate) {
    put_signed(out, i64::from(date.num_days_from_ce()));
}

pub(super) fn date(body: &mut Body) -> Result<NaiveDate, Breach> {
    i32::try_from(body.signed()?).ok().and_then(NaiveDate::from_num_days_from_ce_opt).ok_or(Breach::Parts)
}

/// Things that stand once, numbered.
struct Table<T> {
    all: Vec<T>,
    numbers: HashMap<T, u64>,
}

impl<T: Clone + Eq + Hash> Table<T> {
    fn of(things: impl Iterator<Item = T>) -> Self {
        let mut table = Self { all: Vec::new(), numbers: HashMap::new() };
        for thing in things {
            if !table.numbers.contains_key(&thing) {
                table.numbers.insert(thing.clone(), table.all.len() as u64);
                table.all.push(thing);
            }
        }
        table
    }

    fn number(&self, thing: &T) -> u64 {
        self.numbers[thing]
    }

    fn write(&self, out: &mut Vec<u8>, one: impl Fn(&mut Vec<u8>, &T)) {
        put(out, self.all.len() as u64);
        self.all.iter().for_each(|thing| one(out, thing));
    }
}

/// The thing of a number.
fn one_of<T: Clone>(things: &[T], number: u64) -> Result<T, Breach> {
    usize::try_from(number).ok().and_then(|k| things.get(k)).cloned().ok_or(Breach::Parts)
}

fn put_usage(out: &mut Vec<u8>, usage: &Usage, meter: u64, end: &mut i64) {
    put(out, meter);
    put_signed(out, usage.period.start.0 - *end);
    put_signed(out, usage.period.end - usage.period.start);
    *end = usage.period.end.0;
    out.push(usage.amount as u8 | (usage.placed as u8) << 2 | u8::from(usage.energy.is_some()) << 4);
    if let Some(energy) = usage.energy {
        put_signed(out, energy.mwh());
    }
}

fn usage(body: &mut Body, meters: &[crate::names::MeterId], end: &mut i64) -> Result<Usage, Breach> {
    let meter = one_of(meters, body.unsigned()?)?;
    let start = end.checked_add(body.signed()?).ok_or(Breach::Parts)?;
    *end = start.checked_add(body.signed()?).ok_or(Breach::Parts)?;
    let how = body.byte()?;
    let energy = if how & 16 == 0 { None } else { Some(Energy::from_mwh(body.signed()?)) };
    Ok(Usage {
        meter,
        period: Period::new(At(start), At(*end)),
        energy,
        amount: one_of(&AMOUNTS, u64::from(how & 3))?,
        placed: one_of(&PLACES, u64::from(how >> 2 & 3))?,
    })
}

fn put_owner(out: &mut Vec<u8>, owner: &Owner) {
    let names = [
        owner.press.as_ref().map(|id| id.as_str()),
        owner.station.as_ref().map(|id| id.as_str()),
        owner.run.as_ref().map(|id| id.as_str()),
    ];
    for name in names {
        put_maybe(out, name, put_text);
    }
    let code = |code: Option<u8>| code.map_or(0, |code| code + 1);
    out.extend([
        code(owner.lamp.map(|kind| kind as u8)),
        code(owner.press_state.map(|state| state as u8)),
        code(owner.lamp_state.map(|state| state as u8)),
        owner.claim as u8,
    ]);
}

fn owner(body: &mut Body) -> Result<Owner, Breach> {
    let (press, station, run) = (name(body)?, name(body)?, name(body)?);
    Ok(Owner {
        press: press.map(Into::into),
        station: station.map(Into::into),
        run: run.map(Into::into),
        lamp: perhaps(&LAMPS, body)?,
        press_state: perhaps(&PRESS_STATES, body)?,
        lamp_state: perhaps(&LAMP_STATES, body)?,
        claim: one_of(&CLAIMS, body.unsigned()?)?,
    })
}

fn name<'a>(body: &mut Body<'a>) -> Result<Option<&'a str>, Breach> {
    body.maybe(Body::text)
}

fn perhaps<T: Copy>(things: &[T], body: &mut Body) -> Result<Option<T>, Breach> {
    match body.byte()? {
        0 => Ok(None),
        code => one_of(things, u64::from(code) - 1).map(Some),
    }
}

pub(super) fn put_issue(out: &mut Vec<u8>, issue: &Issue) {
    out.push(issue.remark as u8);
    put_text(out, &issue.about);
    put_signed(out, issue.period.start.0);
    put_signed(out, issue.period.end.0);
    put_text(out, &issue.text);
}

pub(super) fn issue(body: &mut Body) -> Result<Issue, Breach> {
    Ok(Issue {
        remark: one_of(&REMARKS, body.unsigned()?)?,
        about: body.text()?.to_owned(),
        period: Period::new(At(body.signed()?), At(body.signed()?)),
        text: body.text()?.to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn owned(press: Option<&str>, lamp: Option<LampKind>) -> Owner {
        Owner {
            press: press.map(Into::into),
            station: press.map(|press| format!("{press}/s1").as_str().into()),
            lamp,
            press_state: lamp.map(|_| PressState::Stopped),
            lamp_state: lamp.map(|_| LampState::Curing),
            run: lamp.map(|_| "run 1".into()),
            claim: Claim::Shared,
        }
    }

    fn day() -> Found<DayLedger> {
        let usage = |k: i64, energy: Option<i64>| Usage {
            meter: if k % 2 == 0 { "m1" } else { "m2" }.into(),
            period: Period::new(At(k * 900_000), At(k * 900_000 + 900_000)),
            energy: energy.map(Energy::from_mwh),
            amount: AMOUNTS[k as usize % 4],
            placed: PLACES[k as usize % 4],
        };
        let slices = (0..8).map(|k| Slice {
            usage: usage(k, (k != 3).then_some(-k * k * 1_000_000)),
            owner: [owned(Some("p1"), Some(LampKind::Led)), owned(None, None)][k as usize % 2].clone(),
        });
        let issue = |remark| Issue {
            remark,
            about: "meter m1".into(),
            period: Period::new(At(-5), At(i64::MAX)),
            text: "Näheres".into(),
        };
        Found {
            value: DayLedger {
                date: NaiveDate::from_ymd_opt(2026, 3, 29).expect("a date"),
                usage: vec![usage(0, Some(i64::MAX)), usage(1, None)],
                slices: slices.collect(),
            },
            issues: REMARKS.into_iter().map(issue).collect(),
        }
    }

    #[test]
    fn a_day_comes_back_as_it_was() {
        assert_eq!(read(&write(&day())), Ok(day()));
    }

    #[test]
    fn damage_is_noticed_and_never_a_panic() {
        let good = write(&day());
        for k in 0..good.len() {
            let mut bad = good.clone();
            bad[k] ^= 0x55;
            assert!(read(&bad).is_err(), "byte {k}");
            let end = bad.len() - 4;
            let sum = crc32c::crc32c(&bad[..end]).to_le_bytes();
            bad[end..].copy_from_slice(&sum);
            // It may read as another day; what counts is that it ends.
            let _ = read(&bad);
        }
    }

    #[test]
    fn a_code_is_the_place_in_its_list() {
        assert!(AMOUNTS.iter().enumerate().all(|(k, x)| *x as usize == k));
        assert!(PLACES.iter().enumerate().all(|(k, x)| *x as usize == k));
        assert!(CLAIMS.iter().enumerate().all(|(k, x)| *x as usize == k));
        assert!(LAMPS.iter().enumerate().all(|(k, x)| *x as usize == k));
        assert!(PRESS_STATES.iter().enumerate().all(|(k, x)| *x as usize == k));
        assert!(LAMP_STATES.iter().enumerate().all(|(k, x)| *x as usize == k));
        assert!(REMARKS.iter().enumerate().all(|(k, x)| *x as usize == k));
    }
}
