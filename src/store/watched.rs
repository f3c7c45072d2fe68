//! What the watch takes from a day, as bytes and back.

use super::bytes::{Body, put, put_maybe, put_signed, put_text, sealed, unsealed};
use super::error::Breach;
use super::ledger::{MOST, date, issue, put_date, put_issue};
use crate::names::StationId;
use crate::plant::LampKind;
use crate::time::{At, Period};
use crate::units::{Energy, Money};
use crate::verify::Cured;
use crate::watch::{Day, Drew, Stand};

/// The bytes of a day.
pub(super) fn write(day: &Day) -> Vec<u8> {
    let mut out = Vec::new();
    put_date(&mut out, day.date);
    put(&mut out, day.drew.len() as u64);
    for ((station, fitted), drew) in &day.drew {
        put_text(&mut out, station.as_str());
        put(&mut out, *fitted as u64);
        let Cured { millis, signalled, level_millis } = drew.cured;
        let numbers = [drew.energy.mwh(), drew.cost.micros(), millis, signalled, level_millis];
        numbers.into_iter().for_each(|number| put_signed(&mut out, number));
        out.push(drew.is_lost.into());
    }
    put(&mut out, day.stands.len() as u64);
    for (station, stand) in &day.stands {
        put_text(&mut out, station.as_str());
        let lamp = stand.lamp.and_then(|lamp| LampKind::ALL.iter().position(|one| *one == lamp));
        put(&mut out, lamp.map_or(0, |place| place as u64 + 1));
        let Stand { period, energy, cost, .. } = stand;
        let numbers = [period.start.0, period.millis(), energy.mwh(), cost.micros()];
        numbers.into_iter().for_each(|number| put_signed(&mut out, number));
    }
    put(&mut out, day.troubles.len() as u64);
    day.troubles.iter().for_each(|issue| put_issue(&mut out, issue));
    put_maybe(&mut out, day.until, |out, until| put_signed(out, until.0));
    sealed(out)
}

/// A day from its bytes.
pub(super) fn read(bytes: &[u8]) -> Result<Day, Breach> {
    let body = &mut unsealed(bytes)?;
    Ok(Day {
        date: date(body)?,
        drew: body.list(MOST, drew)?.into_iter().collect(),
        stands: body.list(MOST, stand)?,
        troubles: body.list(MOST, issue)?,
        until: body.maybe(|body| body.signed().map(At))?,
    })
}

fn drew(body: &mut Body) -> Result<((StationId, usize), Drew), Breach> {
    let key = (body.text()?.into(), body.below(MOST)?);
    let (energy, cost) = (Energy::from_mwh(body.signed()?), Money::from_micros(body.signed()?));
    let cured = Cured { millis: body.signed()?, signalled: body.signed()?, level_millis: body.signed()? };
    Ok((key, Drew { energy, cost, cured, is_lost: body.flag()? }))
}

fn stand(body: &mut Body) -> Result<(StationId, Stand), Breach> {
    let station = body.text()?.into();
    let lamp = match body.below(LampKind::ALL.len())? {
        0 => None,
        place => Some(LampKind::ALL[place - 1]),
    };
    let start = At(body.signed()?);
    let period = Period::new(start, At(start.0.saturating_add(body.signed()?)));
    let (energy, cost) = (Energy::from_mwh(body.signed()?), Money::from_micros(body.signed()?));
    Ok((station, Stand { period, lamp, energy, cost }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::found::{Issue, Remark};

    #[test]
    fn a_day_is_read_back_as_it_was_and_a_damaged_one_is_none() {
        let period = Period::new(At(5), At(9));
        let (energy, cost) = (Energy::from_mwh(-3), Money::from_micros(4));
        let cured = Cured { millis: 1, signalled: 2, level_millis: 3 };
        let stand = |lamp| ("p1/s1".into(), Stand { period, lamp, energy, cost });
        let issue = Issue { remark: Remark::Clock, about: "meter m".into(), period, text: "set".into() };
        let day = Day {
            date: chrono::NaiveDate::default(),
            drew: [(("p1/s1".into(), 2), Drew { energy, cost, cured, is_lost: true })].into(),
            stands: vec![stand(None), stand(Some(LampKind::Led))],
            troubles: vec![issue],
            until: Some(At(7)),
        };
        let bytes = write(&day);
        assert_eq!(read(&bytes).expect("a day"), day);
        for cut in 0..bytes.len() {
            assert!(read(&bytes[..cut]).is_err(), "cut at {cut}");
        }
    }
}
