//! Watching days for a lasting rise: a frozen reference, a chart of innovations against it, and the step that explains an alarm.
//!
//! Days carry a part rho of the day before (see [`super::ar1`]), so the chart takes what each day brings beyond that. A level
//! rise by d shows in it as d sqrt((1 - rho) / (1 + rho)) only: the price of fewer false alarms.

use super::cusum::Cusum;
use super::robust::{mad, median};
use rand_pcg::Pcg32;
use rand_pcg::rand_core::{Rng, SeedableRng};

/// Allowance k of every chart: half of a shift by one standard deviation.
pub const ALLOWANCE: f64 = 0.5;
/// Half-width of 90 % in standard deviations.
const NINETY: f64 = 1.645;
/// A day's successor is never taken to repeat more than this of it.
const STRONGEST: f64 = 0.8;

/// What days were like before they were watched.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reference {
    /// Their median.
    pub middle: f64,
    /// What a day carries of the day before; never negative.
    pub rho: f64,
    /// Standard deviation of a day, by the median absolute deviation of its innovations.
    pub scale: f64,
    /// How many days.
    pub days: usize,
}

impl Reference {
    /// From values and the numbers of their days; `None` without three days. The scale is at least `least`, below which a meter
    /// does not resolve.
    pub fn of(values: &[f64], days: &[i64], least: f64) -> Option<Self> {
        let middle = median(values).filter(|_| values.len() > 2)?;
        let rest: Vec<f64> = values.iter().map(|value| value - middle).collect();
        let squares: f64 = rest.iter().map(|e| e * e).sum();
        let products: f64 = rest.windows(2).map(|pair| pair[0] * pair[1]).sum();
        let rho = if squares > 0.0 { (products / squares).clamp(0.0, STRONGEST) } else { 0.0 };
        let bare = Self { middle, rho, scale: 1.0, days: values.len() };
        let new: Vec<f64> = (1..values.len()).map(|i| bare.news(rest[i], rest[i - 1], days[i] - days[i - 1])).collect();
        Some(Self { scale: mad(&new)?.max(least), ..bare })
    }

    /// What a value brings that the one `gap` days before did not announce, with the standard deviation of a day.
    fn news(&self, value: f64, before: f64, gap: i64) -> f64 {
        let carried = self.rho.powf(gap as f64);
        (value - carried * before) / (1.0 - carried * carried).sqrt()
    }

    /// What a day may carry of the day before, one standard error above what the reference shows: from few days it is known poorly, and
    /// taken too low it costs false alarms.
    pub fn cautious_rho(&self) -> f64 {
        (self.rho + ((1.0 - self.rho * self.rho) / self.days as f64).sqrt()).min(STRONGEST)
    }

    /// The variance of its middle, by which every later rise is unsure as well. A median has pi / 2 of the variance of a mean.
    fn variance(&self) -> f64 {
        let correlated = (1.0 + self.rho) / (1.0 - self.rho);
        std::f64::consts::FRAC_PI_2 * self.scale * self.scale * correlated / self.days as f64
    }
}

/// A step fitted to watched days.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// Place of the first day of it.
    pub first: usize,
    /// By how much days are higher from then on.
    pub size: f64,
    /// Half-width of that at 90 %, the middle of the reference included.
    pub half: f64,
}

/// The step of greatest likelihood in values above the reference's middle, that begins at `earliest` or later and no later than
/// `latest`: generalised least squares for each beginning, errors first-order autoregressive. `None` without values.
pub fn step(reference: &Reference, above: &[f64], days: &[i64], (earliest, latest): (usize, usize)) -> Option<Step> {
    let from = earliest.max(1);
    let news = |of: &dyn Fn(usize) -> f64, i: usize| reference.news(of(i), of(i - 1), days[i] - days[i - 1]);
    let mut best: Option<(f64, Step)> = None;
    for first in from..=latest.min(above.len().checked_sub(1)?) {
        let (mut product, mut square) = (0.0, 0.0);
        for i in from..above.len() {
            let shape = news(&|k| f64::from(u8::from(k >= first)), i);
            product += shape * news(&|k| above[k], i);
            square += shape * shape;
        }
        let gain = product * product / square;
        if square > 0.0 && best.as_ref().is_none_or(|(other, _)| gain > *other) {
            let variance = reference.scale * reference.scale / square + reference.variance();
            best = Some((gain, Step { first, size: product / square, half: NINETY * variance.sqrt() }));
        }
    }
    best.map(|(_, step)| step)
}

/// A rise that the chart found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rise {
    /// Place of the day on which the chart raised its alarm.
    pub alarm: usize,
    /// The step that explains it.
    pub step: Step,
    /// Whether days enough have passed for the step to be more than a first guess.
    pub is_settled: bool,
    /// Place of the first day that was back at the reference; `None` where it goes on.
    pub end: Option<usize>,
}

/// When a chart alarms and what comes after.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rule {
    /// Decision interval h.
    pub decision: f64,
    /// Days after an alarm until the step is fitted.
    pub settle: usize,
    /// Days together below half of a step that end it.
    pub recover: usize,
}

/// Every rise in days after their reference, in order of time. The reference stands at the beginning of the values. While a
/// rise goes on the chart watches for a further one above it; an alarm that no step bears out after the days of settling was none.
pub fn rises(reference: &Reference, values: &[f64], days: &[i64], rule: Rule) -> Vec<Rise> {
    let mut found: Vec<Rise> = Vec::new();
    let (mut chart, mut alarm, mut offset, mut earliest) = (Cusum::default(), None, 0.0, reference.days);
    let above = |offset: f64, to: usize| -> Vec<f64> {
        values[..to].iter().map(|value| value - reference.middle - offset).collect()
    };
    for i in reference.days.max(1)..values.len() {
        let rest = |k: usize| values[k] - reference.middle - offset;
        match alarm {
            None => {
                chart = chart
                    .step(reference.news(rest(i), rest(i - 1), days[i] - days[i - 1]) / reference.scale, ALLOWANCE);
                alarm = chart.alarms(rule.decision).then_some(i);
            }
            Some(at) if i - at >= rule.settle => {
                let fitted = step(reference, &above(offset, i + 1), &days[..=i], (earliest, at));
                if let Some(step) = fitted.filter(|step| step.size > step.half) {
                    found.push(Rise { alarm: at, step, is_settled: true, end: None });
                    (offset, earliest) = (offset + step.size, i);
                }
                (chart, alarm) = (Cusum::default(), None);
            }
            Some(_) => {}
        }
        let back = |rise: &Rise| {
            let base = reference.middle + offset - rise.step.size;
            let last = (i + 1).saturating_sub(rule.recover)..i + 1;
            let mean = last.clone().map(|k| values[k] - base).sum::<f64>() / rule.recover as f64;
            let is_back = last.start > rise.alarm && mean < rise.step.size / 2.0;
            last.into_iter().find(|k| is_back && values[*k] - base < rise.step.size / 2.0)
        };
        if let Some(rise) = found.last_mut().filter(|rise| rise.end.is_none() && alarm.is_none())
            && let Some(end) = back(rise)
        {
            rise.end = Some(end);
            (offset, earliest) = (offset - rise.step.size, i);
            chart = Cusum::with_head_start(rule.decision / 2.0);
        }
    }
    if let Some(at) = alarm
        && let Some(step) =
            step(reference, &above(offset, values.len()), days, (earliest, at)).filter(|step| step.size > 0.0)
    {
        found.push(Rise { alarm: at, step, is_settled: false, end: None });
    }
    found
}

/// False alarms a day of a chart with that decision interval, on days of which nothing but a reference of so many is known: by
/// simulation, always of the same numbers, with middle, rho and scale estimated anew from each reference.
pub fn false_alarms(reference: usize, rho: f64, decision: f64) -> f64 {
    const RUNS: u64 = 600;
    const DAYS: usize = 500;
    let mut alarms = 0_u32;
    for run in 0..RUNS {
        let mut chance = Normal::of(run);
        let new = (1.0 - rho * rho).sqrt();
        let mut value = chance.next();
        let values: Vec<f64> = (0..reference + DAYS)
            .map(|_| {
                value = rho * value + new * chance.next();
                value
            })
            .collect();
        let numbers: Vec<i64> = (0..values.len() as i64).collect();
        let Some(known) = Reference::of(&values[..reference], &numbers, 0.0) else { return f64::INFINITY };
        let mut chart = Cusum::default();
        for pair in values[reference - 1..].windows(2) {
            let z = known.news(pair[1] - known.middle, pair[0] - known.middle, 1) / known.scale;
            chart = chart.step(z, ALLOWANCE);
            if chart.alarms(decision) {
                alarms += 1;
                chart = Cusum::default();
            }
        }
    }
    f64::from(alarms) / (RUNS as f64 * DAYS as f64)
}

/// False rises a day that the whole procedure tells of, on days of which nothing but a reference of so many is known: by simulation
/// of so many stations for 500 days. A false rise may end, and the same station rise again.
pub fn false_rises(reference: usize, rho: f64, rule: Rule, stations: u64) -> f64 {
    const DAYS: usize = 500;
    let numbers: Vec<i64> = (0..(reference + DAYS) as i64).collect();
    let found: usize = (0..stations)
        .filter_map(|station| {
            let mut chance = Normal::of(station);
            let new = (1.0 - rho * rho).sqrt();
            let mut value = chance.next();
            let values: Vec<f64> = numbers
                .iter()
                .map(|_| {
                    value = rho * value + new * chance.next();
                    value
                })
                .collect();
            let known = Reference::of(&values[..reference], &numbers, 0.0)?;
            Some(rises(&known, &values, &numbers, rule).len())
        })
        .sum();
    found as f64 / (stations as f64 * DAYS as f64)
}

/// Normal values of a seed, two from two uniform ones (Box and Muller 1958).
struct Normal {
    chance: Pcg32,
    spare: Option<f64>,
}

impl Normal {
    fn of(seed: u64) -> Self {
        Self { chance: Pcg32::seed_from_u64(seed), spare: None }
    }

    fn next(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        let mut uniform = || (f64::from(self.chance.next_u32()) + 0.5) / 4_294_967_296.0;
        let (length, angle) = ((-2.0 * uniform().ln()).sqrt(), std::f64::consts::TAU * uniform());
        self.spare = Some(length * angle.sin());
        length * angle.cos()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn days(count: usize) -> Vec<i64> {
        (0..count as i64).collect()
    }

    /// With mean and scale as good as known, the rate is one in the average run length of k = 0.5: 335.4 days for h = 4 and
    /// 930.9 for h = 5 (one-sided; integral equation, see `arl`).
    #[test]
    fn the_simulated_rate_is_that_of_the_run_length() {
        for (decision, length) in [(4.0, 335.4), (5.0, 930.9)] {
            let rate = false_alarms(4_000, 0.0, decision) * length;
            assert!((0.85..1.15).contains(&rate), "h = {decision}: {rate}");
        }
    }

    /// 120 days of reference, rho 0.35: an independent simulation (numpy, 3,000 runs of 500 days) has 1.36 false alarms in 500
    /// days at h = 5 and 0.23 at h = 8; with 60 days of reference 2.30 and 0.60.
    #[test]
    fn estimated_parameters_cost_false_alarms() {
        let near = |reference, decision, expected: f64| {
            let found = false_alarms(reference, 0.35, decision) * 500.0;
            assert!((found / expected - 1.0).abs() < 0.2, "{reference} days, h = {decision}: {found}");
        };
        near(120, 5.0, 1.36);
        near(120, 8.0, 0.23);
        near(60, 5.0, 2.30);
        near(60, 8.0, 0.60);
    }

    #[test]
    fn a_wider_interval_alarms_less_often() {
        let of = |decision| false_alarms(60, 0.35, decision);
        assert!(of(8.0) < of(5.0));
    }

    /// Steps of four standard deviations: the alarm within two days in nearly all cases, the step within 15 % in nine of ten.
    #[test]
    fn steps_of_four_deviations_are_found_at_once_and_measured_well() {
        const REFERENCE: usize = 60;
        const AT: usize = 90;
        let rule = Rule { decision: 8.0, settle: 14, recover: 7 };
        let (mut soon, mut near) = (0, 0);
        for seed in 0..200 {
            let mut chance = Normal::of(1_000 + seed);
            let values: Vec<f64> = (0..130).map(|i| 100.0 + chance.next() + if i >= AT { 4.0 } else { 0.0 }).collect();
            let reference = Reference::of(&values[..REFERENCE], &days(REFERENCE), 0.0).expect("days enough");
            let found = rises(&reference, &values, &days(130), rule);
            let Some(rise) = found.iter().find(|rise| rise.alarm >= AT) else { continue };
            soon += u32::from(rise.alarm <= AT + 3 && rise.step.first.abs_diff(AT) <= 2);
            near += u32::from((rise.step.size / 4.0 - 1.0).abs() <= 0.15);
        }
        assert!(soon >= 190, "{soon} of 200 found within two days");
        assert!(near >= 180, "{near} of 200 within 15 %");
    }

    /// One event is one rise, however long it lasts; it ends when days are back, and a second one is told apart.
    #[test]
    fn a_rise_is_told_once_and_ends() {
        let mut chance = Normal::of(7);
        let high = |i: usize| {
            if (80..120).contains(&i) {
                8.0
            } else if i >= 160 {
                12.0
            } else {
                0.0
            }
        };
        let values: Vec<f64> = (0..200).map(|i| 50.0 + chance.next() + high(i)).collect();
        let reference = Reference::of(&values[..60], &days(60), 0.0).expect("days enough");
        let rule = Rule { decision: 6.0, settle: 14, recover: 7 };
        let found = rises(&reference, &values, &days(200), rule);
        let told: Vec<_> = found.iter().map(|rise| (rise.step.first, rise.end, rise.is_settled)).collect();
        assert_eq!(told, [(80, Some(120), true), (160, None, true)]);
        let early = rises(&reference, &values[..84], &days(84), rule);
        assert_eq!((early.len(), early[0].is_settled, early[0].step.first), (1, false, 80));
    }
}
