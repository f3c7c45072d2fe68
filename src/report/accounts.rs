//! Lines that agree in everything but time, added up once. Sums by owner, by meter or by how the energy is known are
//! sums of accounts, of which there are few beside the lines.

use super::lines::Line;
use super::sums::Sums;
use crate::attribute::{Amount, Owner, Placed, Slice};
use crate::names::MeterId;
use std::collections::{BTreeMap, HashMap};

/// An account and what was posted to it.
#[derive(Clone, Copy, Debug)]
pub struct Account<'a> {
    /// The first slice of it. Its meter, its owner and how it is known are those of all; its period and energy are not.
    pub slice: &'a Slice,
    /// What its lines add up to.
    pub sums: Sums,
}

/// What the lines of an account have in common; the last is whether their energy is known.
type Common<'a> = (&'a MeterId, &'a Owner, Amount, Placed, bool);

fn common(slice: &Slice) -> Common<'_> {
    let usage = &slice.usage;
    (&usage.meter, &slice.owner, usage.amount, usage.placed, usage.energy.is_some())
}

/// Posts every line to its account. Accounts stand in the order in which they are met.
pub fn post<'a>(lines: &mut [Line<'a>]) -> Vec<Account<'a>> {
    let mut accounts: Vec<Account> = Vec::new();
    let mut places: HashMap<Common, usize> = HashMap::new();
    // Neighbours mostly have the same account, so that of the last line is tried first.
    let mut place = 0;
    for line in lines {
        let slice = line.slice;
        if accounts.get(place).is_none_or(|last| common(last.slice) != common(slice)) {
            place = *places.entry(common(slice)).or_insert(accounts.len());
            if place == accounts.len() {
                accounts.push(Account { slice, sums: Sums::default() });
            }
        }
        line.account = place;
        accounts[place].sums.post(line);
    }
    accounts
}

/// Accounts grouped by a key.
#[derive(Debug)]
pub struct Groups<K> {
    /// The keys in order.
    pub keys: Vec<K>,
    /// For each account the place of its key; `None` where it has none.
    pub of: Vec<Option<usize>>,
}

/// Groups accounts by a key; those without one are left out.
pub fn group<'a, K: Ord>(accounts: &[Account<'a>], key: impl Fn(&'a Slice) -> Option<K>) -> Groups<K> {
    let mut groups: BTreeMap<K, Vec<usize>> = BTreeMap::new();
    for (k, account) in accounts.iter().enumerate() {
        if let Some(key) = key(account.slice) {
            groups.entry(key).or_default().push(k);
        }
    }
    let mut of = vec![None; accounts.len()];
    for (place, members) in groups.values().enumerate() {
        members.iter().for_each(|k| of[*k] = Some(place));
    }
    Groups { keys: groups.into_keys().collect(), of }
}
