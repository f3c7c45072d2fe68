//! A bill shared out: whatever is used by whom, the shares of every line add up to it.

use crate::config::Folder;
use crate::cost::{EVERYTHING, day, of_month, steel, tariff, works};
use inkwatt::cost::{Element, Interval, Supply, Used, invoice, shares};
use inkwatt::time::{Period, QUARTER};
use inkwatt::units::{Energy, Money, fixed};
use proptest::prelude::*;

/// By hand. A draws 30 kWh in the highest quarter hour and nothing else, B 10 kWh in it and 60 kWh later: of 100 kWh at 0.1
/// A pays 3 and B 7; of 160 kW at 8 A pays 960 and B 320; of the standing charge of 2 A pays 0.60 and B 1.40; the tax of 20 %
/// goes by these.
#[test]
fn energy_goes_by_band_and_demand_by_the_highest_interval() {
    let plant = Folder::sound().load().plant;
    let start = plant.zone.day(day("2018-05-07")).start;
    let quarter = |k: i64| Period::new(start + k * QUARTER, start + (k + 1) * QUARTER);
    let used = |k: i64, kwh: i64, who: usize| Used {
        period: quarter(k),
        energy: Energy::from_wh(kwh * 1_000),
        who: Some(who),
    };
    let parts = [used(40, 30, 0), used(40, 10, 1), used(50, 30, 1), used(51, 30, 1)];
    let interval = |k, kwh: i64| Interval {
        period: quarter(k),
        energy: Some(Energy::from_wh(kwh * 1_000)),
        lag: None,
        lead: None,
    };
    let supply = Supply::new(&plant, vec![interval(40, 40), interval(50, 30), interval(51, 30)]);
    let tariffs = tariff(
        "standing_per_month = 2\n[[tariff.band]]\nname = \"energy\"\nprice = 0.1\n[[tariff.demand]]\nname = \"demand\"\nprice = 8\n\
         [[tariff.tax]]\nname = \"tax\"\nshare = 0.2\n",
    );
    let bill = invoice(&supply, &tariffs, (day("2018-05-01"), day("2018-05-31"))).expect("a bill");
    let shared = shares(&bill, &plant, &tariffs, &parts, 2);
    let told = |line: &Option<Vec<Money>>| -> Vec<String> {
        line.as_ref().expect("known").iter().map(|cost| fixed(cost.micros().into(), 6, 2)).collect()
    };
    let labels: Vec<&str> = bill.lines.iter().map(|line| line.label.as_str()).collect();
    assert_eq!(labels, ["energy", "standing charge", "demand", "tax"]);
    let expected =
        [["3.00", "7.00", "0.00"], ["0.60", "1.40", "0.00"], ["960.00", "320.00", "0.00"], ["192.72", "65.68", "0.00"]];
    for (line, expected) in shared.iter().zip(expected) {
        assert_eq!(told(line), expected);
    }
    // Where nothing is known of who used it, it is nobody's.
    let nobodys = shares(&bill, &plant, &tariffs, &[], 2);
    assert_eq!(told(&nobodys[2]), ["0.00", "0.00", "1,280.00"]);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, ..ProptestConfig::default() })]

    #[test]
    fn the_shares_of_a_bill_add_up_to_it(month in 1_u32..=12, owners in 1_usize..6, cuts in prop::collection::vec(1_i64..1_000, 7)) {
        let plant = works();
        let intervals = steel(&plant);
        let tariffs = tariff(EVERYTHING);
        let supply = Supply::new(&plant, intervals.clone());
        let bill = of_month(&supply, &tariffs, month);
        prop_assert!(bill.lines.iter().any(|line| matches!(line.element, Element::Demand(Some(_)))));
        // Each interval is drawn by two of the owners or by nobody.
        let mut parts = Vec::new();
        for (k, interval) in intervals.iter().enumerate() {
            let energy = interval.energy.expect("known");
            let first = Energy::from_mwh(energy.mwh() * cuts[k % 7] / 1_000);
            let who = |k: usize| Some(k % (owners + 1)).filter(|who| *who < owners);
            parts.push(Used { period: interval.period, energy: first, who: who(k) });
            parts.push(Used { period: interval.period, energy: energy - first, who: who(k / 5 + 1) });
        }
        let shared = shares(&bill, &plant, &tariffs, &parts, owners);
        prop_assert_eq!(shared.len(), bill.lines.len());
        let mut total = Money::ZERO;
        for (line, shares) in bill.lines.iter().zip(&shared) {
            let shares = shares.as_ref().expect("known");
            prop_assert_eq!(shares.len(), owners + 1);
            prop_assert_eq!(shares.iter().sum::<Money>(), line.cost.expect("known"), "{}", line.label);
            total += shares.iter().sum();
        }
        prop_assert_eq!(total, bill.total());
    }
}
