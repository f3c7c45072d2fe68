//! The sums of a computed day as bytes, and back.

use super::bytes::{put, put_maybe, put_signed, put_text, sealed, unsealed};
use super::error::Breach;
use super::ledger::{MOST, date, put_date};
use crate::attribute::DaySums;
use crate::units::Energy;

/// The bytes of a day's sums.
pub(super) fn write(sums: &DaySums) -> Vec<u8> {
    let mut out = Vec::new();
    put_date(&mut out, sums.date);
    put(&mut out, sums.quarters.len() as u64);
    for energy in &sums.quarters {
        put_maybe(&mut out, *energy, |out, energy| put_signed(out, energy.mwh()));
    }
    out.push(u8::from(sums.whole));
    put_maybe(&mut out, sums.worked, |out, worked| out.push(u8::from(worked)));
    put(&mut out, sums.web.len() as u64);
    for (press, mm) in &sums.web {
        put_text(&mut out, press.as_str());
        put_signed(&mut out, *mm);
    }
    sealed(out)
}

/// A day's sums from their bytes.
pub(super) fn read(bytes: &[u8]) -> Result<DaySums, Breach> {
    let body = &mut unsealed(bytes)?;
    Ok(DaySums {
        date: date(body)?,
        quarters: body.list(MOST, |body| body.maybe(|body| body.signed().map(Energy::from_mwh)))?,
        whole: body.flag()?,
        worked: body.maybe(|body| body.flag())?,
        web: body.list(MOST, |body| Ok((body.text()?.into(), body.signed()?)))?.into_iter().collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_come_back_as_they_were_and_damage_is_noticed() {
        let energy = |mwh| Some(Energy::from_mwh(mwh));
        let sums = DaySums {
            date: "2026-03-29".parse().expect("a date"),
            quarters: vec![energy(i64::MAX), None, energy(-1), energy(0)],
            whole: true,
            worked: Some(true),
            web: [("p1".into(), 4_711_000), ("p2".into(), 0)].into(),
        };
        let good = write(&sums);
        assert_eq!(read(&good), Ok(sums));
        for k in 0..good.len() {
            let mut bad = good.clone();
            bad[k] ^= 0x55;
            assert_eq!(read(&bad), Err(Breach::Checksum), "byte {k}");
            let end = bad.len() - 4;
            // It may read as other sums; what counts is that it ends.
            let _ = read(&sealed(bad[..end].to_vec()));
        }
    }
}
