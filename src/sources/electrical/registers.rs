//! Tests of the energy registers of one meter.

use super::means::total;
use super::{Check, Of, Sample, TOLERANCE, Test, Watched, hint};
use crate::plant::Flow;

/// A register must have moved by this many of its steps before its pace says something.
const LEAST_STEPS: f64 = 20.0;

/// By how many watt-hours a register moved while it was watched.
fn moved(watched: &Watched, register: impl Fn(&Sample) -> Option<f64>) -> Option<f64> {
    let mut values = watched.samples.iter().filter_map(register);
    let first = values.next()?;
    Some(values.next_back()? - first)
}

/// Whether the register that runs is the one for this way of flow.
pub(super) fn import_against_export(watched: &Watched) -> Option<Check> {
    let of = Of(&watched.meter.id, Test::Register);
    let (import, export) = (moved(watched, |s| s.import)?, moved(watched, |s| s.export)?);
    let (right, wrong) = if watched.meter.flow == Flow::Import { (import, export) } else { (export, import) };
    let words = format!("import moved by {import:.1} Wh, export by {export:.1} Wh");
    Some(match (right, wrong) {
        _ if watched.meter.flow == Flow::Generation => of.untested(words),
        (right, wrong) if wrong > right && wrong >= 2.0 * watched.step_wh => of.failed(
            words,
            "energy counted as flowing the other way: transformers reversed, or the device fed from the other side",
        ),
        (right, wrong) if right <= 0.0 && wrong <= 0.0 => of.untested(format!("{words}: watch longer, or under load")),
        (_, wrong) if wrong >= 2.0 * watched.step_wh => of.failed(
            words,
            "both registers run: one phase reversed in a device that counts each phase by itself, or energy really fed back",
        ),
        _ => of.passed(words),
    })
}

/// Whether the register runs as fast as the power says.
pub(super) fn against_power(watched: &Watched) -> Option<Check> {
    let of = Of(&watched.meter.id, Test::Energy);
    let registers = |s: &Sample| s.import.map(|import| import - s.export.unwrap_or(0.0));
    let both: Vec<&Sample> = watched.samples.iter().filter(|s| registers(s).is_some() && total(s).is_some()).collect();
    let (first, last) = (both.first()?, both.last()?);
    let counted = registers(last)? - registers(first)?;
    let integrated: f64 = both.windows(2).filter_map(|pair| between(pair[0], pair[1])).sum();
    let words = format!("register {counted:.1} Wh, power over the same time {integrated:.1} Wh");
    let enough = LEAST_STEPS * watched.step_wh;
    if integrated.abs().max(counted.abs()) < enough {
        return Some(
            of.untested(format!("{words}: less than {enough:.0} Wh; watch longer (--minutes), or under load")),
        );
    }
    if (counted - integrated).abs() <= TOLERANCE * integrated.abs() + 2.0 * watched.step_wh {
        return Some(of.passed(words));
    }
    if counted == 0.0 {
        return Some(of.failed(words, "address and `type` of the register in the map: it does not move"));
    }
    let ratio = counted / integrated;
    let look =
        if ratio < 0.0 { "the sign of the power in the register map; reversed transformers" } else { hint(ratio) };
    Some(of.failed(format!("{words}: {ratio:.2} times as much"), look))
}

/// Energy between two samples in watt-hours, by the mean of their powers.
fn between(a: &Sample, b: &Sample) -> Option<f64> {
    Some((total(a)? + total(b)?) / 2.0 * (b.at - a.at) as f64 / 3.6e6)
}
