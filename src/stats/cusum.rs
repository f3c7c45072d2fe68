//! A one-sided cumulative sum chart, one step at a time.

/// The state of a chart that watches for a rise; a fall is watched with -z.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Cusum {
    /// C⁺, in standard deviations.
    pub sum: f64,
    /// N⁺: steps since it was last zero.
    pub steps: u32,
}

impl Cusum {
    /// A chart with a head start, usually half the decision interval: it answers sooner where the process is off from
    /// the beginning, or still is after an alarm (Lucas and Crosier 1982).
    pub fn with_head_start(sum: f64) -> Self {
        Self { sum, steps: 0 }
    }

    /// C⁺ = max(0, C⁺ + z - k) for z in standard deviations and the allowance k, half the shift to be found
    /// (Page 1954; Montgomery, Introduction to Statistical Quality Control, 9.1).
    pub fn step(self, z: f64, allowance: f64) -> Self {
        match self.sum + z - allowance {
            sum if sum > 0.0 => Self { sum, steps: self.steps + 1 },
            _ => Self::default(),
        }
    }

    /// Whether the sum exceeds the decision interval h.
    pub fn alarms(&self, decision: f64) -> bool {
        self.sum > decision
    }

    /// Estimate of the new mean in standard deviations, k + C⁺ / N⁺; `None` where the sum is zero. It is biased upwards
    /// when read at the alarm: a fitted step is the better figure once there are days enough.
    pub fn shift(&self, allowance: f64) -> Option<f64> {
        (self.steps > 0).then(|| allowance + self.sum / f64::from(self.steps))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Thirty values of mean 10 and deviation 1, k = 0.5, h = 5: series of Montgomery, Introduction to Statistical Quality
    /// Control; his chart alarms at 29 with N⁺ = 7 and estimates 11.25.
    #[test]
    fn every_step_of_the_worked_series_comes_out() {
        let (mut up, mut down) = (Cusum::default(), Cusum::default());
        let (mut early, mut early_down) = (Cusum::with_head_start(2.5), Cusum::with_head_start(2.5));
        let mut alarms = Vec::new();
        for line in include_str!("../../tests/reference/charts/montgomery_cusum_ewma.csv").lines().skip(1) {
            let cell: Vec<f64> = line.split(',').map(|text| text.parse().unwrap()).collect();
            let z = cell[1] - 10.0;
            for (chart, z) in [(&mut up, z), (&mut down, -z), (&mut early, z), (&mut early_down, -z)] {
                *chart = chart.step(z, 0.5);
            }
            for (found, expected) in [(up.sum, 2), (down.sum, 4), (early.sum, 7), (early_down.sum, 8)] {
                assert!((found - cell[expected]).abs() < 1e-12, "{line}");
            }
            assert_eq!((f64::from(up.steps), f64::from(down.steps)), (cell[3], cell[5]), "{line}");
            let alarm = up.alarms(5.0) || down.alarms(5.0);
            assert_eq!(alarm, cell[6] == 1.0, "{line}");
            if alarm {
                alarms.push((cell[0], 10.0 + up.shift(0.5).unwrap()));
            }
        }
        assert_eq!(alarms[0].0, 29.0);
        assert!((alarms[0].1 - 11.254_285_714_285_714).abs() < 1e-12);
    }

    #[test]
    fn a_sum_of_zero_estimates_nothing() {
        assert_eq!(Cusum::default().shift(0.5), None);
        assert_eq!(Cusum::with_head_start(2.0).step(-3.0, 0.5), Cusum::default());
    }
}
