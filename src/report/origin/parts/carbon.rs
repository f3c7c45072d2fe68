//! Slices under a factor set, and scope 2 by both methods.

use super::{Chosen, From, Part, Quantity, rules};
use crate::carbon::{Beside, Gas, SetLine, Share};
use crate::report::scope2::{Covered, by_location, by_market};
use crate::units::{Decimal, Energy, charge};

impl<'a> From<'_, 'a> {
    /// A factor set, `REGION-YEAR`: its energy where no part of its carbon is named.
    pub(super) fn set(&self, name: &str, part: Option<&str>) -> Option<Chosen<'a>> {
        let named = |line: &&SetLine| format!("{}-{}", line.set.region, line.set.valid_from.format("%Y")) == name;
        let line = self.ledger.footprint.sets.iter().find(named)?;
        let publication = &line.set.publication;
        let (about, parts) = match part {
            None => (format!("Energy under {publication}"), self.shares(line, |share| share.energy.mwh())),
            Some("scope2") => (format!("Carbon under {publication}"), self.shares(line, |share| share.co2e.mg())),
            Some(word) => self.part_of_set(line, word)?,
        };
        let quantity = if part.is_some() { Quantity::Carbon } else { Quantity::Energy };
        Some(Chosen {
            about,
            unit: self.unit(quantity),
            total: Some(parts.iter().map(|part| part.count).sum()),
            rules: rules::of(quantity),
            parts,
            is_priced: false,
        })
    }

    fn shares(&self, line: &SetLine, count: impl Fn(&Share) -> i64) -> Vec<Part<'a>> {
        line.shares.iter().map(|share| self.part(share.place, share.energy, count(share))).collect()
    }

    /// A gas, what stands beside scope 2, or the carbon of a press.
    fn part_of_set(&self, line: &SetLine, word: &str) -> Option<(String, Vec<Part<'a>>)> {
        let publication = &line.set.publication;
        if let Some(gas) = Gas::ALL.into_iter().find(|gas| gas.word() == word) {
            let (_, factor) = line.set.gases.iter().find(|(other, _)| *other == gas)?;
            return Some((
                format!("Carbon of {word} under {publication}, in CO2 equivalent"),
                self.under(line, *factor)?,
            ));
        }
        if let Some(what) = Beside::ALL.into_iter().find(|what| what.word() == word) {
            let about = format!("Carbon beside scope 2 under {publication}: {word}");
            return Some((about, self.under(line, line.set.beside(what)?)?));
        }
        let press =
            |part: &Part| part.owner.and_then(|owner| owner.press.as_ref()).map_or("none", |p| p.as_str()) == word;
        let parts: Vec<Part> = self.shares(line, |share| share.co2e.mg()).into_iter().filter(press).collect();
        let of = if word == "none" { "what is charged to no press" } else { word };
        (!parts.is_empty()).then(|| (format!("Carbon of {of} under {publication}"), parts))
    }

    /// All energy of a set under another of its factors.
    fn under(&self, line: &SetLine, factor: Decimal) -> Option<Vec<Part<'a>>> {
        let energies: Vec<Energy> = line.shares.iter().map(|share| share.energy).collect();
        let (_, counts) = charge(factor, &energies)?;
        let shares = line.shares.iter().zip(counts);
        Some(shares.map(|(share, count)| self.part(share.place, share.energy, count)).collect())
    }

    /// Scope 2 by a method, `METHOD/energy` or `METHOD/carbon`.
    pub(super) fn scope2(&self, path: &str) -> Option<Chosen<'a>> {
        let (method, what) = path.split_once('/')?;
        let quantity = Quantity::parse(what).filter(|q| matches!(q, Quantity::Energy | Quantity::Carbon))?;
        let covered: Vec<Covered> = match method {
            "location" => by_location(&self.ledger.footprint),
            "market" => by_market(&self.ledger.market),
            _ => return None,
        };
        let count = |part: &Covered| if quantity == Quantity::Energy { part.energy.mwh() } else { part.co2e.mg() };
        let mut chosen = self.summed(quantity, "the plant", &|_| true);
        chosen.about = format!("Scope 2, {method}-based: {what}");
        chosen.total = Some(covered.iter().map(count).sum());
        if method == "market" {
            chosen.rules.push(rules::MARKET.into());
            chosen.rules.extend(covered.iter().map(rules::covered));
            // Certificates cover energy of the year, not slices.
            if quantity == Quantity::Carbon {
                chosen.parts.clear();
            }
        }
        Some(chosen)
    }
}
