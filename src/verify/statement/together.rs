//! The statements of all presses of a promise as one.

use super::{Against, SharedSaving, Statement};
use crate::names::LoadId;
use crate::units::{Co2e, Energy, Money};
use crate::verify::{
    BothSides, Bridge, Capacity, CapacityUnknown, Estimate, Heat, Payback, Promise, Reconciled, UnderContract, Whole,
    YEAR, payback,
};

/// What the presses of a promise come to together, with the shared loads whose own meters say what they saved.
#[derive(Clone, Debug)]
pub struct Together {
    /// Promised, promise at actual operation, measured.
    pub reconciled: Reconciled,
    /// The bridge in energy.
    pub energy: Bridge<Energy>,
    /// In money; `None` where a press has none.
    pub money: Option<Bridge<Money>>,
    /// In carbon.
    pub carbon: Option<Bridge<Co2e>>,
    /// Avoided energy of the year that the time covered makes, in money.
    pub yearly_money: Option<Estimate>,
    /// Payback on electricity alone.
    pub payback: Option<Payback>,
    /// Payback with the declared lines.
    pub payback_declared: Option<Payback>,
    /// The contract's own verdict.
    pub contract: Option<UnderContract>,
    /// Apparent power of all of them together, by interval; why not, where it is not known of each.
    pub capacity: Result<Capacity, CapacityUnknown>,
    /// What the conversion means for heating and cooling.
    pub heat: Option<Heat>,
    /// What is promised for the time covered of shared loads that have no baseline, kWh: never in the sums above.
    pub shared: f64,
}

impl Together {
    /// Adds up statements; `None` where one is missing or was not held against the promise.
    pub fn of(promise: &Promise, statements: &[&Statement], shared: &[SharedSaving]) -> Option<Self> {
        let all: Vec<&Against> = statements.iter().map(|s| s.against.as_ref().ok()).collect::<Option<_>>()?;
        let named = |press| statements.iter().any(|statement| statement.press == press);
        if !promise.groups.iter().all(|group| named(group.press.clone())) {
            return None;
        }
        let each = |of: fn(&Against) -> Reconciled| all.iter().map(|against| of(against)).collect::<Vec<_>>();
        let lamps = Reconciled::sum(&each(|against| against.reconciled))?;
        // A kWh of a shared load is worth what one of the lamps is, on average.
        let worth = |of: f64| Some(of / lamps.measured.value).filter(|worth| worth.is_finite());
        let money: Option<Vec<_>> = all.iter().map(|against| against.money.clone()).collect();
        let money = money.and_then(|bridges| Bridge::sum(&bridges)).and_then(|lamps: Bridge<Money>| {
            let price = worth(lamps.measured.units())?;
            with(lamps, shared.iter().filter_map(|load| load.bridge((promise.price, price))))
        });
        let carbon: Option<Vec<_>> = all.iter().map(|against| against.carbon.clone()).collect();
        let carbon = carbon.and_then(|bridges| Bridge::sum(&bridges)).and_then(|lamps: Bridge<Co2e>| {
            let factors = (promise.grid_kg?, worth(lamps.measured.kg())?);
            with(lamps, shared.iter().filter_map(|load| load.bridge(factors)))
        });
        let energies: Vec<_> = all.iter().map(|against| against.energy.clone()).collect();
        let energy = with(Bridge::sum(&energies)?, shared.iter().filter_map(|one| one.bridge((1.0, 1.0))))?;
        let loads: Vec<Reconciled> = shared.iter().filter_map(SharedSaving::reconciled).collect();
        let reconciled = Reconciled::sum(&[&[lamps][..], &loads].concat())?;
        // Each press covers its own hours; together they cover as much of the promise as was due in them.
        let yearly: f64 = all.iter().map(|against| against.yearly.saving()).sum();
        let yearly_shared: f64 = shared.iter().filter_map(|load| load.promised).map(|(_, year)| year).sum();
        let part = reconciled.promised / (yearly + yearly_shared);
        let yearly_money = money.as_ref().map(|bridge| Estimate {
            value: bridge.measured.units() / part,
            se: bridge.rest.se / part,
            df: bridge.rest.df,
        });
        let declared: f64 = promise.declared.iter().map(|(_, money)| money).sum();
        let paid = |more: f64| Some(payback(promise.investment?, yearly_money?.plus(more)));
        let curing = all.iter().map(|a| a.operation.factors.curing_h * a.reconciled.promised).sum::<f64>();
        let contract = promise.contract.as_ref().and_then(|contract| {
            let hours = part * YEAR;
            let counted = contract.counts(reconciled.measured.value, curing / reconciled.promised, hours)?;
            let price = money.as_ref()?.measured.units() / reconciled.measured.value;
            Some(contract.verdict(counted, hours, price))
        });
        let days: Vec<_> = statements.iter().flat_map(|statement| statement.heat.iter().copied()).collect();
        Some(Self {
            capacity: capacity(statements),
            energy,
            carbon,
            payback: paid(0.0),
            payback_declared: (!promise.declared.is_empty()).then(|| paid(declared)).flatten(),
            heat: promise.heat.as_ref().map(|heat| heat.effect(&days)),
            shared: unmeasured(promise, shared) * part,
            reconciled,
            money,
            yearly_money,
            contract,
        })
    }
}

/// The bridge of the lamps with those of the loads.
fn with<Q: Whole>(lamps: Bridge<Q>, loads: impl Iterator<Item = Bridge<Q>>) -> Option<Bridge<Q>> {
    Bridge::sum(&[lamps].into_iter().chain(loads).collect::<Vec<_>>())
}

/// What the promise says of loads in a year that nobody measures.
fn unmeasured(promise: &Promise, shared: &[SharedSaving]) -> f64 {
    let is_measured = |load: &LoadId| shared.iter().any(|one| one.load == *load);
    let open = promise.shared.iter().filter(|change| !is_measured(&change.load));
    open.map(|change| change.before - change.after).sum()
}

fn capacity(statements: &[&Statement]) -> Result<Capacity, CapacityUnknown> {
    let all: Result<Vec<&BothSides>, CapacityUnknown> =
        statements.iter().map(|one| one.supply.as_ref().map_err(|why| *why)).collect();
    BothSides::sum(&all?).capacity()
}
