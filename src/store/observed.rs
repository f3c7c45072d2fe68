//! What a day says about a scope, as bytes and back.

use super::bytes::{Body, put, put_maybe, put_signed, put_text, sealed, unsealed};
use super::error::Breach;
use super::ledger::{MOST, date, put_date};
use crate::attribute::LampState;
use crate::names::StationId;
use crate::plant::{LampKind, Load};
use crate::time::{At, Period};
use crate::units::Energy;
use crate::verify::{Aside, Cured, Day, DayType, Driver, LoadBy, PowerInterval, Supply, Worked};

const KINDS: [DayType; 3] = [DayType::Running, DayType::Idle, DayType::Closed];
const STATES: [LampState; 4] = [LampState::Off, LampState::WarmingUp, LampState::Standby, LampState::Curing];

/// The bytes of a day.
pub(super) fn write(day: &Day) -> Vec<u8> {
    let mut out = Vec::new();
    put_date(&mut out, day.date);
    put_number(&mut out, day.hours);
    place(&mut out, &KINDS, &day.kind);
    put_signed(&mut out, day.energy.mwh());
    out.push(day.aside.map_or(0, |aside| 1 + index(&Aside::ALL, &aside)));
    put(&mut out, day.worked.len() as u64);
    for ((lamp, state), worked) in &day.worked {
        place(&mut out, &LampKind::ALL, lamp);
        place(&mut out, &STATES, state);
        put_signed(&mut out, worked.energy.mwh());
        put_signed(&mut out, worked.millis);
    }
    for known in [day.on_job_h, day.outside_h] {
        put_maybe(&mut out, known, put_number);
    }
    put(&mut out, day.curing.len() as u64);
    for ((station, lamp), cured) in &day.curing {
        put_text(&mut out, station.as_str());
        out.push(lamp.map_or(0, |lamp| 1 + index(&LampKind::ALL, &lamp)));
        [cured.millis, cured.signalled, cured.level_millis].into_iter().for_each(|number| put_signed(&mut out, number));
    }
    put(&mut out, day.loads.len() as u64);
    for ((meter, load, by), energy) in &day.loads {
        put_text(&mut out, meter.as_str());
        place(&mut out, &Load::ALL, load);
        place(&mut out, &LoadBy::ALL, by);
        put_signed(&mut out, energy.mwh());
    }
    put(&mut out, day.powers.len() as u64);
    for (supply, intervals) in &day.powers {
        place(&mut out, &Supply::ALL, supply);
        put(&mut out, intervals.len() as u64);
        for interval in intervals {
            let PowerInterval { period, curing, active, reactive } = interval;
            let numbers = [period.start.0, period.millis(), *curing, active.mwh(), reactive.mwh()];
            numbers.into_iter().for_each(|number| put_signed(&mut out, number));
        }
    }
    put(&mut out, day.drivers.len() as u64);
    for (driver, value) in &day.drivers {
        place(&mut out, &Driver::ALL, driver);
        put_number(&mut out, *value);
    }
    sealed(out)
}

/// A day from its bytes.
pub(super) fn read(bytes: &[u8]) -> Result<Day, Breach> {
    let body = &mut unsealed(bytes)?;
    Ok(Day {
        date: date(body)?,
        hours: number(body)?,
        kind: at(&KINDS, body.byte()?)?,
        energy: Energy::from_mwh(body.signed()?),
        aside: match body.byte()? {
            0 => None,
            k => Some(at(&Aside::ALL, k - 1)?),
        },
        worked: body
            .list(MOST, |body| {
                let key = (at(&LampKind::ALL, body.byte()?)?, at(&STATES, body.byte()?)?);
                Ok((key, Worked { energy: Energy::from_mwh(body.signed()?), millis: body.signed()? }))
            })?
            .into_iter()
            .collect(),
        on_job_h: body.maybe(number)?,
        outside_h: body.maybe(number)?,
        curing: body.list(MOST, cured)?.into_iter().collect(),
        loads: body
            .list(MOST, |body| {
                let key = (body.text()?.into(), at(&Load::ALL, body.byte()?)?, at(&LoadBy::ALL, body.byte()?)?);
                Ok((key, Energy::from_mwh(body.signed()?)))
            })?
            .into_iter()
            .collect(),
        powers: body
            .list(MOST, |body| Ok((at(&Supply::ALL, body.byte()?)?, body.list(MOST, interval)?)))?
            .into_iter()
            .collect(),
        drivers: body.list(MOST, |body| Ok((at(&Driver::ALL, body.byte()?)?, number(body)?)))?.into_iter().collect(),
    })
}

fn cured(body: &mut Body) -> Result<((StationId, Option<LampKind>), Cured), Breach> {
    let station = body.text()?.into();
    let lamp = match body.byte()? {
        0 => None,
        k => Some(at(&LampKind::ALL, k - 1)?),
    };
    let [millis, signalled, level_millis] = [body.signed()?, body.signed()?, body.signed()?];
    Ok(((station, lamp), Cured { millis, signalled, level_millis }))
}

fn interval(body: &mut Body) -> Result<PowerInterval, Breach> {
    let start = At(body.signed()?);
    Ok(PowerInterval {
        period: Period::new(start, At(start.0.saturating_add(body.signed()?))),
        curing: body.signed()?,
        active: Energy::from_mwh(body.signed()?),
        reactive: Energy::from_mwh(body.signed()?),
    })
}

/// A number to the last bit.
fn put_number(out: &mut Vec<u8>, number: f64) {
    put(out, number.to_bits());
}

fn number(body: &mut Body) -> Result<f64, Breach> {
    body.unsigned().map(f64::from_bits)
}

fn index<T: PartialEq>(all: &[T], one: &T) -> u8 {
    all.iter().position(|each| each == one).unwrap_or(all.len()) as u8
}

fn place<T: PartialEq>(out: &mut Vec<u8>, all: &[T], one: &T) {
    out.push(index(all, one));
}

fn at<T: Copy>(all: &[T], index: u8) -> Result<T, Breach> {
    all.get(usize::from(index)).copied().ok_or(Breach::Parts)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day() -> Day {
        let worked = Worked { energy: Energy::from_mwh(-5), millis: 900_000 };
        let interval = PowerInterval {
            period: Period::new(At(1_000), At(901_000)),
            curing: 7,
            active: Energy::from_mwh(3),
            reactive: Energy::from_mwh(-4),
        };
        Day {
            date: "2026-03-29".parse().expect("a date"),
            hours: 23.0,
            kind: DayType::Closed,
            energy: Energy::from_mwh(i64::MAX),
            aside: Some(Aside::OtherLamp),
            worked: [((LampKind::Led, LampState::Curing), worked)].into(),
            on_job_h: Some(1.0 / 3.0),
            outside_h: None,
            curing: [
                (("p1/s1".into(), Some(LampKind::Led)), Cured { millis: 4_711, signalled: 9, level_millis: 9_000 }),
                (("p1/s1".into(), None), Cured::default()),
            ]
            .into(),
            loads: [(("m1".into(), Load::From1, LoadBy::PowerFactor), Energy::from_mwh(7))].into(),
            powers: [(Supply::Main, vec![interval])].into(),
            drivers: Driver::ALL.into_iter().map(|driver| (driver, 0.1)).collect(),
        }
    }

    #[test]
    fn a_day_comes_back_to_the_last_bit_and_damage_is_noticed() {
        let good = write(&day());
        assert_eq!(read(&good), Ok(day()));
        let bare = Day { aside: None, ..day() };
        assert_eq!(read(&write(&bare)), Ok(bare));
        for k in 0..good.len() {
            let mut bad = good.clone();
            bad[k] ^= 0x55;
            assert_eq!(read(&bad), Err(Breach::Checksum), "byte {k}");
            let end = bad.len() - 4;
            // It may read as another day; what counts is that it ends.
            let _ = read(&sealed(bad[..end].to_vec()));
        }
    }
}
