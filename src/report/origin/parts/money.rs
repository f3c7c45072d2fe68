//! Slices of a price, and what no slice has.

use super::{Chosen, From, Part, Quantity, rules};
use crate::attribute::Slice;
use crate::cost::InvoiceLine;
use crate::units::{Money, decimal};

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

    /// The supplier's bill: a line, `line/N`, what falls to a press or to none, or the total.
    pub(super) fn billed(&self, path: &str) -> Option<Chosen<'a>> {
        let billed = self.input.billed?;
        let currency = &self.input.plant.currency;
        let told = |line: &InvoiceLine, cost: Option<Money>| {
            let (amount, unit) = (decimal(line.amount, 6), line.unit.word().unwrap_or(currency));
            let cost = cost.map_or_else(|| "not known".into(), |cost| format!("{cost} {currency}"));
            let note = if line.note.is_empty() { String::new() } else { format!(" ({})", line.note) };
            format!("{}, {}: {amount} {unit} at {}: {cost}{note}.", line.tariff, line.label, line.price)
        };
        let lines = || billed.invoice.lines.iter().zip(&billed.costs);
        let (about, total, rules) = if let Some(place) = path.strip_prefix("line/") {
            let line = billed.invoice.lines.get(place.parse::<usize>().ok()?.checked_sub(1)?)?;
            (
                format!("{} of {} on the supplier's bill", line.label, line.tariff),
                line.cost,
                vec![told(line, line.cost)],
            )
        } else if path == "total" {
            let all = billed.invoice.lines.iter().map(|line| told(line, line.cost)).collect();
            ("The supplier's bill".to_owned(), Some(billed.invoice.total()), all)
        } else {
            let place = billed.presses.iter().position(|press| press.as_str() == path);
            let place = place.or((path == "none").then_some(billed.presses.len()))?;
            let share = |costs: &Option<Vec<Money>>| costs.as_ref().and_then(|costs| costs.get(place).copied());
            let rules = lines().filter(|(_, costs)| share(costs) != Some(Money::ZERO));
            let rules = rules.map(|(line, costs)| format!("Share of {}", told(line, share(costs))));
            let of = if path == "none" { "what is charged to no press" } else { path };
            let total = lines().filter_map(|(_, costs)| share(costs)).sum();
            (format!("Share of {of} in the supplier's bill"), Some(total), rules.collect())
        };
        let unit = currency.clone();
        let total = total.map(|cost| cost.micros());
        Some(Chosen { about, unit, total, rules, parts: Vec::new(), is_priced: false })
    }
}
