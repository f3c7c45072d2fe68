//! A large unmetered rest asks for an action.

use super::uses::Use;
use crate::found::{Issue, Remark};
use crate::plant::Plant;
use crate::report::lines::Ledger;
use crate::report::number::fixed;
use crate::report::sums::total;
use crate::units::divide_rounded;

/// Above this share of the plant's energy, in per cent, the rest is looked into. Common practice, no source.
const LARGE_ABOVE: i64 = 25;

/// The remark on a rest that is a large part of the plant's energy.
pub fn large(plant: &Plant, ledger: &Ledger) -> Option<Issue> {
    let rest = total(ledger.accounts.iter().filter(|a| Use::of(plant, a.slice) == Use::Rest)).energy;
    let all = total(&ledger.accounts).energy;
    let share = divide_rounded(i128::from(rest.mwh()) * 100, i128::from(all.mwh().max(1)));
    let (first, last) = (ledger.days.first()?, ledger.days.last()?);
    (i128::from(rest.mwh()) * 100 > i128::from(all.mwh()) * i128::from(LARGE_ABOVE)).then(|| Issue {
        remark: Remark::LargeRest,
        about: "plant".into(),
        period: plant.zone.days(*first, *last),
        text: format!(
            "{} kWh, {share} % of the plant's energy, are behind no meter but the supply; more than {LARGE_ABOVE} % \
             is worth a look (common practice, no source).",
            fixed(rest, 0)
        ),
    })
}
