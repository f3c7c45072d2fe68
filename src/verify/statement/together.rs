//! The statements of all presses of a promise as one.

use super::{Against, Statement};
use crate::units::{Co2e, Energy, Money};
use crate::verify::{
    BothSides, Bridge, Capacity, CapacityUnknown, Estimate, Heat, Payback, Promise, Reconciled, UnderContract, YEAR,
    payback,
};

/// What the presses of a promise come to together. Shared loads have boundaries of their own and are not in it.
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
    /// Shared loads as promised for the time covered, kWh: never in the sums above.
    pub shared: f64,
}

impl Together {
    /// Adds up statements; `None` where one is missing or was not held against the promise.
    pub fn of(promise: &Promise, statements: &[&Statement]) -> Option<Self> {
        let all: Vec<&Against> = statements.iter().map(|s| s.against.as_ref().ok()).collect::<Option<_>>()?;
        let named = |press| statements.iter().any(|statement| statement.press == press);
        if !promise.groups.iter().all(|group| named(group.press.clone())) {
            return None;
        }
        let each = |of: fn(&Against) -> Reconciled| all.iter().map(|against| of(against)).collect::<Vec<_>>();
        let reconciled = Reconciled::sum(&each(|against| against.reconciled))?;
        let energies: Vec<_> = all.iter().map(|against| against.energy.clone()).collect();
        let money: Option<Vec<_>> = all.iter().map(|against| against.money.clone()).collect();
        let carbon: Option<Vec<_>> = all.iter().map(|against| against.carbon.clone()).collect();
        let money = money.and_then(|bridges| Bridge::sum(&bridges));
        // Each press covers its own hours; together they cover as much of the promise as was due in them.
        let part = reconciled.promised / all.iter().map(|against| against.yearly.saving()).sum::<f64>();
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
            energy: Bridge::sum(&energies)?,
            carbon: carbon.and_then(|bridges| Bridge::sum(&bridges)),
            payback: paid(0.0),
            payback_declared: (!promise.declared.is_empty()).then(|| paid(declared)).flatten(),
            heat: promise.heat.as_ref().map(|heat| heat.effect(&days)),
            shared: promise.shared.iter().map(|load| load.before - load.after).sum::<f64>() * part,
            reconciled,
            money,
            yearly_money,
            contract,
        })
    }
}

fn capacity(statements: &[&Statement]) -> Result<Capacity, CapacityUnknown> {
    let all: Result<Vec<&BothSides>, CapacityUnknown> =
        statements.iter().map(|one| one.supply.as_ref().map_err(|why| *why)).collect();
    BothSides::sum(&all?).capacity()
}
