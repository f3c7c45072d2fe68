//! Slices of a price, and what no slice has.

use super::{Chosen, From, Part, Quantity, rules};
use crate::attribute::Slice;

impl<'a> From<'_, 'a> {
    /// A band of a tariff, `TARIFF/BAND`, also of one owner: `TARIFF/BAND/PRESS/STATION`.
    pub(super) fn band(&self, quantity: Quantity, path: &str) -> Option<Chosen<'a>> {
        let line = self.ledger.bill.bands.iter().find_map(|line| {
            let rest = path.strip_prefix(&format!("{}/{}", line.tariff, line.band))?;
            (rest.is_empty() || rest.starts_with('/')).then_some((line, rest.trim_start_matches('/')))
        });
        let (line, owner) = line?;
        let is_of = |slice: &Slice| {
            let (press, station) = (slice.owner.press.as_ref(), slice.owner.station.as_ref());
            let of = format!("{}/{}", press.map_or("-", |p| p.as_str()), station.map_or("-", |s| s.short()));
            owner.is_empty() || of == owner
        };
        let shares = line.shares.iter().filter(|share| is_of(self.ledger.lines[share.place].slice));
        let count = |share: &crate::cost::Share| match quantity {
            Quantity::Cost => share.cost.micros(),
            _ => share.energy.mwh(),
        };
        let parts: Vec<Part> = shares.map(|share| self.part(share.place, share.energy, count(share))).collect();
        let of = if owner.is_empty() { String::new() } else { format!(", of {owner}") };
        Some(Chosen {
            about: format!("{} band {} of {}{of}", quantity.word(), line.band, line.tariff),
            unit: self.unit(quantity),
            total: Some(parts.iter().map(|part| part.count).sum()),
            rules: rules::of(quantity),
            parts,
            is_priced: quantity == Quantity::Cost,
        })
    }

    /// Energy and standing charges.
    pub(super) fn whole_cost(&self) -> Option<Chosen<'a>> {
        let chosen = self.summed(Quantity::Cost, "the plant, with standing charges", &|_| true);
        let total = (!self.ledger.bill.bands.is_empty()).then(|| self.ledger.bill.total().micros());
        Some(Chosen { total, ..chosen })
    }

    pub(super) fn standing(&self, tariff: &str) -> Option<Chosen<'a>> {
        let line = self.ledger.bill.standing.iter().find(|line| line.tariff == tariff)?;
        Some(Chosen {
            about: format!("Standing charge of {tariff}"),
            unit: self.unit(Quantity::Cost),
            total: Some(line.cost.micros()),
            rules: vec![format!("{} days at {} a day. It belongs to the plant.", line.days, line.per_day)],
            parts: Vec::new(),
            is_priced: true,
        })
    }
}
