//! What the watch takes from a day, as bytes and back.

use super::bytes::{Body, put, put_maybe, put_signed, put_text, sealed, unsealed};
use super::error::Breach;
use super::ledger::{MOST, date, issue, put_date, put_issue};
use crate::names::StationId;
use crate::plant::LampKind;
use crate::time::{At, Period};
use crate::units::{Energy, Money};
use crate::verify::Cured;
use crate::watch::{Day, Drew, Fitted, Peak, Piece, Stand};

/// The bytes of a day.
pub(super) fn write(day: &Day) -> Vec<u8> {
    let mut out = Vec::new();
    put_date(&mut out, day.date);
    put(&mut out, day.drew.len() as u64);
    for (fitted, drew) in &day.drew {
        put_fitted(&mut out, fitted);
        put_numbers(&mut out, &[drew.energy.mwh(), drew.cost.micros()]);
        put_cured(&mut out, drew.cured);
        out.push(drew.is_lost.into());
    }
    // Those of one lamp follow each other, and each begins where the one before ended or later.
    let lines: Vec<&[(Fitted, Piece)]> = day.pieces.chunk_by(|(a, _), (b, _)| a == b).collect();
    put(&mut out, lines.len() as u64);
    for line in lines {
        put_fitted(&mut out, &line[0].0);
        put(&mut out, line.len() as u64);
        let mut last = 0;
        for (_, Piece { period, energy, cost, cured }) in line {
            put_numbers(&mut out, &[period.start.0 - last, period.millis(), energy.mwh(), cost.micros()]);
            put_cured(&mut out, *cured);
            last = period.end.0;
        }
    }
    put_stands(&mut out, &day.stands);
    put_stands(&mut out, &day.waits);
    put(&mut out, day.peaks.len() as u64);
    for Peak { interval, known, mean, agreed, unit } in &day.peaks {
        put_numbers(&mut out, &[interval.start.0, interval.millis(), known.0, *mean, *agreed]);
        put_text(&mut out, unit);
    }
    put(&mut out, day.troubles.len() as u64);
    day.troubles.iter().for_each(|issue| put_issue(&mut out, issue));
    put_maybe(&mut out, day.until, |out, until| put_signed(out, until.0));
    sealed(out)
}

fn put_numbers(out: &mut Vec<u8>, numbers: &[i64]) {
    numbers.iter().for_each(|number| put_signed(out, *number));
}

fn put_fitted(out: &mut Vec<u8>, (station, fitted): &Fitted) {
    put_text(out, station.as_str());
    put(out, *fitted as u64);
}

fn put_cured(out: &mut Vec<u8>, Cured { millis, signalled, level_millis }: Cured) {
    put_numbers(out, &[millis, signalled, level_millis]);
}

fn put_stands(out: &mut Vec<u8>, stands: &[(StationId, Stand)]) {
    put(out, stands.len() as u64);
    for (station, Stand { period, lamp, energy, cost }) in stands {
        put_text(out, station.as_str());
        let lamp = lamp.and_then(|lamp| LampKind::ALL.iter().position(|one| *one == lamp));
        put(out, lamp.map_or(0, |place| place as u64 + 1));
        put_numbers(out, &[period.start.0, period.millis(), energy.mwh(), cost.micros()]);
    }
}

/// A day from its bytes.
pub(super) fn read(bytes: &[u8]) -> Result<Day, Breach> {
    let body = &mut unsealed(bytes)?;
    Ok(Day {
        date: date(body)?,
        drew: body.list(MOST, drew)?.into_iter().collect(),
        pieces: body.list(MOST, line)?.into_iter().flatten().collect(),
        stands: body.list(MOST, stand)?,
        waits: body.list(MOST, stand)?,
        peaks: body.list(MOST, peak)?,
        troubles: body.list(MOST, issue)?,
        until: body.maybe(|body| body.signed().map(At))?,
    })
}

fn fitted(body: &mut Body) -> Result<Fitted, Breach> {
    Ok((body.text()?.into(), body.below(MOST)?))
}

fn priced(body: &mut Body) -> Result<(Energy, Money), Breach> {
    Ok((Energy::from_mwh(body.signed()?), Money::from_micros(body.signed()?)))
}

fn cured(body: &mut Body) -> Result<Cured, Breach> {
    Ok(Cured { millis: body.signed()?, signalled: body.signed()?, level_millis: body.signed()? })
}

fn period(body: &mut Body, after: i64) -> Result<Period, Breach> {
    let start = At(after.saturating_add(body.signed()?));
    Ok(Period::new(start, At(start.0.saturating_add(body.signed()?))))
}

fn drew(body: &mut Body) -> Result<(Fitted, Drew), Breach> {
    let key = fitted(body)?;
    let (energy, cost) = priced(body)?;
    Ok((key, Drew { energy, cost, cured: cured(body)?, is_lost: body.flag()? }))
}

/// The pieces of one lamp.
fn line(body: &mut Body) -> Result<Vec<(Fitted, Piece)>, Breach> {
    let fitted = fitted(body)?;
    let mut last = 0;
    body.list(MOST, |body| {
        let period = period(body, last)?;
        last = period.end.0;
        let (energy, cost) = priced(body)?;
        Ok((fitted.clone(), Piece { period, energy, cost, cured: cured(body)? }))
    })
}

fn peak(body: &mut Body) -> Result<Peak, Breach> {
    let interval = period(body, 0)?;
    let (known, mean, agreed) = (At(body.signed()?), body.signed()?, body.signed()?);
    Ok(Peak { interval, known, mean, agreed, unit: body.text()?.to_owned() })
}

fn stand(body: &mut Body) -> Result<(StationId, Stand), Breach> {
    let station = body.text()?.into();
    let lamp = match body.below(LampKind::ALL.len())? {
        0 => None,
        place => Some(LampKind::ALL[place - 1]),
    };
    let period = period(body, 0)?;
    let (energy, cost) = priced(body)?;
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
            pieces: vec![(("p1/s1".into(), 2), Piece { period, energy, cost, cured }); 2],
            stands: vec![stand(None), stand(Some(LampKind::Led))],
            waits: vec![stand(Some(LampKind::Arc))],
            peaks: vec![Peak { interval: period, known: At(6), mean: 7, agreed: 8, unit: "kVA".into() }],
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
