//! Tests of the phases of one meter: reversed transformers, exchanged phases, power that does not fit its factors.

use super::means::{mean, of_phase, total};
use super::{Check, Of, TOLERANCE, Test, Verdict, Watched, hint};
use crate::plant::Flow;

/// Below this current, as the device shows it, a phase says nothing.
const LEAST_AMPS: f64 = 0.1;
/// From this power factor on a phase is taken to be right: arc supplies without capacitors reach 0.5 and more.
const GOOD: f64 = 0.3;

/// The sum of squares of three power factors beyond which no simple fault explains them.
const WORST_FIT: f64 = 0.3;

/// Angles of a load in degrees, current behind voltage: from an over-compensated one to a bare ballast. Without such
/// bounds one exchange could be read as another.
const MOST_LEADING: i32 = -30;
const MOST_LAGGING: i32 = 75;

/// One phase under load.
struct Load {
    phase: usize,
    watts: f64,
    volts: f64,
    amps: f64,
    /// Power over voltage times current: the power factor with its sign, whatever the device says about it.
    cosine: f64,
}

impl Load {
    fn words(&self) -> String {
        let Self { phase, watts, volts, amps, cosine } = self;
        format!("L{phase} {watts:.0} W at {volts:.1} V, {amps:.2} A: power factor {cosine:.2}")
    }
}

/// The phases under load, and why others say nothing.
fn loads(watched: &Watched) -> (Vec<Load>, Vec<String>) {
    let (mut loads, mut idle) = (Vec::new(), Vec::new());
    for k in 0..3 {
        let phase = k + 1;
        let figures =
            (of_phase(watched, k, |p| p.volts), of_phase(watched, k, |p| p.amps), of_phase(watched, k, |p| p.watts));
        match figures {
            (Some(volts), Some(amps), Some(watts)) if amps.abs() >= LEAST_AMPS && volts > 1.0 => {
                loads.push(Load { phase, watts, volts, amps, cosine: watts / (volts * amps.abs()) });
            }
            (Some(_), Some(amps), Some(_)) => idle.push(format!("L{phase} carries no load to speak of ({amps:.2} A)")),
            _ => idle.push(format!("L{phase}: the map offers no voltage, current and power of it")),
        }
    }
    (loads, idle)
}

/// Whether the transformer of each phase points the right way and stands on the phase whose voltage it is taken with.
pub(super) fn directions(watched: &Watched) -> Vec<Check> {
    let of = Of(&watched.meter.id, Test::Direction);
    if watched.meter.flow != Flow::Import {
        return vec![of.untested("the sign of a meter of export or generation is a matter of its wiring")];
    }
    let (loads, idle) = loads(watched);
    let mut checks: Vec<Check> = idle.into_iter().map(|why| of.untested(why)).collect();
    let (good, poor): (Vec<&Load>, Vec<&Load>) = loads.iter().partition(|load| load.cosine >= GOOD);
    checks.extend(good.iter().map(|load| of.passed(load.words())));
    let words = |loads: &[&Load]| loads.iter().map(|load| load.words()).collect::<Vec<_>>().join("; ");
    match (&poor[..], exchanged(&loads)) {
        ([], _) => {}
        (_, Some((a, b))) => {
            let pair: Vec<&Load> = loads.iter().filter(|load| [a, b].contains(&load.phase)).collect();
            checks.retain(|check| check.verdict != Verdict::Passed || !pair.iter().any(|load| check.what == load.words()));
            let look = format!("phases L{a} and L{b} exchanged: their transformers against their voltage leads");
            checks.push(of.failed(words(&pair), look));
        }
        ([_, _, _], None) => checks.push(of.failed(
            words(&poor),
            "all transformers reversed, or the meter fed from the other side, or all three moved on by one phase against \
             the voltage leads",
        )),
        _ => checks.extend(poor.iter().map(|load| of.failed(load.words(), one_phase(load)))),
    }
    checks
}

/// The two phases whose exchange explains the power factors of all three better than reversed transformers would, for
/// one angle of the load in all phases. An exchange turns one phase by +120 and the other by -120 degrees, a reversal
/// turns a phase by 180.
fn exchanged(loads: &[Load]) -> Option<(usize, usize)> {
    let seen: [f64; 3] = loads.iter().map(|load| load.cosine).collect::<Vec<_>>().try_into().ok()?;
    let misfit = |turns: [f64; 3]| {
        let at = |angle: i32| {
            let cosine = |turn: f64| (f64::from(angle) + turn).to_radians().cos();
            seen.iter().zip(turns).map(|(seen, turn)| (seen - cosine(turn)).powi(2)).sum::<f64>()
        };
        (MOST_LEADING..=MOST_LAGGING).map(at).fold(f64::INFINITY, f64::min)
    };
    // Each phase reversed or not: the bits of 1 to 7.
    let reversed = (1..8_u8).map(|bits| misfit([0, 1, 2].map(|k| if bits >> k & 1 == 1 { 180.0 } else { 0.0 })));
    let by_reversal = reversed.fold(f64::INFINITY, f64::min);
    let pairs = [((1, 2), [120.0, -120.0, 0.0]), ((2, 3), [0.0, 120.0, -120.0]), ((1, 3), [-120.0, 0.0, 120.0])];
    let fits = pairs.map(|(pair, turns)| (pair, misfit(turns)));
    let (pair, by_exchange) = fits.into_iter().min_by(|a, b| a.1.total_cmp(&b.1))?;
    (by_exchange < by_reversal && by_exchange < WORST_FIT).then_some(pair)
}

fn one_phase(load: &Load) -> String {
    let phase = load.phase;
    if load.cosine <= -GOOD {
        format!("the current transformer of L{phase}: it stands reversed, or its leads S1 and S2 are exchanged")
    } else {
        format!(
            "L{phase}: its transformer may stand on another phase than its voltage lead, or its load is nearly all reactive"
        )
    }
}

/// Whether power, voltage, current and power factor of each phase agree.
pub(super) fn powers(watched: &Watched) -> Vec<Check> {
    let of = Of(&watched.meter.id, Test::Power);
    let test = |load: &Load| {
        let factor = of_phase(watched, load.phase - 1, |p| p.factor).map(f64::abs);
        let apparent = load.volts * load.amps.abs();
        let expected = factor.map_or(apparent, |factor| factor * apparent);
        let ratio = load.watts.abs() / expected.max(f64::MIN_POSITIVE);
        let words = match factor {
            Some(factor) => format!(
                "L{} {:.0} W against {:.1} V x {:.2} A x {factor:.2} = {expected:.0} W",
                load.phase,
                load.watts.abs(),
                load.volts,
                load.amps
            ),
            None => format!(
                "L{} {:.0} W against {:.1} V x {:.2} A = {expected:.0} VA",
                load.phase,
                load.watts.abs(),
                load.volts,
                load.amps
            ),
        };
        // Without a power factor only more power than volt-amperes is impossible. A factor read to hundredths near zero
        // says little about the power.
        let fits = match factor {
            Some(factor) => (ratio - 1.0).abs() <= TOLERANCE + 0.01 / factor.max(0.01),
            None => ratio <= 1.0 + TOLERANCE,
        };
        if fits { of.passed(words) } else { of.failed(format!("{words}: {ratio:.2} times as much"), hint(ratio)) }
    };
    loads(watched).0.iter().map(test).collect()
}

/// Whether the total is the sum of the phases.
pub(super) fn sum(watched: &Watched) -> Option<Check> {
    let of = Of(&watched.meter.id, Test::Sum);
    let whole: Vec<_> = watched.samples.iter().filter(|sample| sample.watts.is_some()).collect();
    let phases = |sample: &super::Sample| -> Option<f64> { sample.phases.iter().map(|phase| phase.watts).sum() };
    let sum = mean(whole.iter().filter_map(|sample| phases(sample)))?;
    let size = mean(whole.iter().map(|sample| sample.phases.iter().filter_map(|p| p.watts).map(f64::abs).sum()))?;
    let total = mean(whole.iter().filter_map(|sample| total(sample)))?;
    let words = format!("total {total:.0} W, phases together {sum:.0} W");
    if size < 1.0 {
        return Some(of.untested("no load to speak of"));
    }
    if (total - sum).abs() <= TOLERANCE * size.max(total.abs()) {
        return Some(of.passed(words));
    }
    let look = if (total.abs() - size).abs() <= TOLERANCE * size {
        "the device adds the sizes of its phases, so a reversed transformer hides in its total and in its register"
    } else {
        hint(total / sum)
    };
    Some(of.failed(words, look))
}
