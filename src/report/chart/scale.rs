//! Axes with round numbers.

use crate::report::number::grouped;

/// An axis from zero to a round number, in round steps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// Its top value.
    pub top: f64,
    /// Its step.
    pub step: f64,
}

impl Scale {
    /// The axis for values up to `largest`, with three to six steps of 1, 2 or 5 times a power of ten.
    pub fn up_to(largest: f64) -> Self {
        if largest <= 0.0 {
            return Self { top: 1.0, step: 1.0 };
        }
        let ten = 10_f64.powf((largest / 5.0).log10().floor());
        let fits = |step: &f64| (largest / step).ceil() <= 6.0;
        let step = [1.0, 2.0, 5.0, 10.0].map(|k| k * ten).into_iter().find(fits).unwrap_or(10.0 * ten);
        Self { top: (largest / step).ceil() * step, step }
    }

    /// Its marks from zero on, with their labels.
    pub fn marks(self) -> Vec<(f64, String)> {
        let count = (self.top / self.step).round() as u32;
        (0..=count).map(|k| f64::from(k) * self.step).map(|value| (value, self.label(value))).collect()
    }

    fn label(self, value: f64) -> String {
        match self.step {
            step if step >= 1.0 => grouped(value.round() as u128),
            step if step >= 0.1 => format!("{value:.1}"),
            _ => format!("{value:.2}"),
        }
    }

    /// Where a value lies on an axis that rises from `bottom` by `height`.
    pub fn at(self, value: f64, bottom: f64, height: f64) -> f64 {
        bottom - value / self.top * height
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn axes_end_on_round_numbers() {
        let ends = [3_180.0, 0.42, 97.0, 100.0, 0.0].map(|largest| Scale::up_to(largest).top);
        assert_eq!(ends.map(|top| format!("{top:.2}")), ["4000.00", "0.50", "100.00", "100.00", "1.00"]);
        let labels: Vec<String> = Scale::up_to(3_180.0).marks().into_iter().map(|(_, label)| label).collect();
        assert_eq!(labels, ["0", "1,000", "2,000", "3,000", "4,000"]);
    }
}
