//! What a saving is worth in the end: payback, and the year at other prices and hours.

use super::factors::{Factors, YEAR};
use super::{Confidence, Estimate};

/// How long an investment needs to come back, in years.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Payback {
    /// As it stands; `None` where it never does.
    pub years: Option<f64>,
    /// The soonest, at 90 %; `None`: never.
    pub from: Option<f64>,
    /// The latest, at 90 %; `None`: perhaps never.
    pub to: Option<f64>,
}

/// The payback of an investment out of a yearly saving in money, with nothing for interest. The interval is that of the
/// saving turned over, so that a saving which may be none pays back perhaps never.
pub fn payback(investment: f64, yearly: Estimate) -> Payback {
    let over = |money: f64| (money > 0.0).then(|| investment / money);
    let (low, high) = yearly.interval(Confidence::P90);
    Payback { years: over(yearly.value), from: over(high), to: over(low) }
}

/// The yearly saving in money at a price and so many curing hours.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct YearlySaving {
    /// Price of a kWh.
    pub price: f64,
    /// Curing hours a year.
    pub curing_h: f64,
    /// Money a year.
    pub money: f64,
}

/// Steps of the price.
const STEP: f64 = 0.05;
/// Rows of the table: the price at hand and two steps to either side of it.
const PRICES: [f64; 5] = [-2.0, -1.0, 0.0, 1.0, 2.0];
/// Columns: curing hours as they are, and fewer and more of them.
const HOURS: [f64; 5] = [0.5, 0.75, 1.0, 1.25, 1.5];

/// The yearly saving over price and curing hours, by price, then hours; standby hours go with the curing hours. Prices
/// at or below zero are left out.
pub fn yearly_savings(factors: &Factors, price: f64) -> Vec<YearlySaving> {
    let to_year = YEAR / factors.hours;
    let at = |share: f64| {
        let (curing_h, standby_h) = (factors.curing_h * share * to_year, factors.standby_h * share * to_year);
        Factors { hours: YEAR, curing_h, standby_h, shared: factors.shared * to_year, ..*factors }
    };
    let prices = PRICES.iter().map(|step| price + step * STEP).filter(|price| *price > 0.0);
    let row = |price: f64| {
        HOURS.iter().map(move |share| {
            let year = at(*share);
            YearlySaving { price, curing_h: year.curing_h, money: year.saving() * price }
        })
    };
    prices.flat_map(row).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::verify::promise::example::{group, lamp};

    /// 8,000 a year, give or take 1.6449 x 1,000.
    #[test]
    fn payback_turns_the_interval_of_the_saving_over() {
        let payback = payback(40_000.0, Estimate { value: 8_000.0, se: 1_000.0, df: f64::INFINITY });
        assert_eq!(payback.years, Some(5.0));
        let (from, to) = (payback.from.expect("it may"), payback.to.expect("it does"));
        assert!((from - 40_000.0 / 9_644.854).abs() < 1e-4 && (to - 40_000.0 / 6_355.146).abs() < 1e-4, "{from} {to}");
    }

    #[test]
    fn a_saving_that_may_be_none_pays_back_perhaps_never() {
        let unsure = payback(40_000.0, Estimate { value: 500.0, se: 1_000.0, df: f64::INFINITY });
        assert_eq!((unsure.years, unsure.to), (Some(80.0), None));
        assert_eq!(payback(40_000.0, Estimate::known(-10.0)).years, None);
    }

    /// Eight lamps of 40.64 cm at 4,000 h: 0.05 on the price is 5,657 a year (common practice, no source).
    #[test]
    fn a_step_of_the_price_is_worth_what_the_trade_says() {
        let mut group = group(8, lamp(140.0), lamp(53.0));
        (group.length_cm, group.lit, group.hours.curing) = (40.64, 8.0, 4_000.0);
        let table = yearly_savings(&Factors::promised(&[&group], &[], YEAR / 2.0), 0.12);
        let at_hours: Vec<&YearlySaving> = table.iter().filter(|at| (at.curing_h - 4_000.0).abs() < 1e-6).collect();
        let prices: Vec<String> = at_hours.iter().map(|at| format!("{:.2}", at.price)).collect();
        assert_eq!(prices, ["0.02", "0.07", "0.12", "0.17", "0.22"]);
        let steps = at_hours.windows(2).map(|pair| format!("{:.0}", pair[1].money - pair[0].money));
        assert_eq!(steps.collect::<Vec<_>>(), ["5657"; 4]);
    }
}
