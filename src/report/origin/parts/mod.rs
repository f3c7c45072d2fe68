//! The slices that a figure is made of, by the path of the figure.

mod carbon;
mod jobs;
mod money;

use super::{owners, rules};
use crate::attribute::{Claim, Owner, Slice, Usage};
use crate::report::input::MonthInput;
use crate::report::jobs::Job;
use crate::report::lines::{Ledger, Line};
use crate::report::month::uses::Use;
use crate::report::peak;
use crate::report::sums::Sums;
use crate::units::Energy;
use chrono::NaiveDate;

/// A slice in a figure, as far as it is in it.
#[derive(Clone, Copy, Debug)]
pub struct Part<'a> {
    /// Its local day.
    pub day: NaiveDate,
    /// How much, when, how known.
    pub usage: &'a Usage,
    /// Whose; `None` for what a meter shows, whoever it belongs to.
    pub owner: Option<&'a Owner>,
    /// Its place among the lines.
    pub place: Option<usize>,
    /// The energy of it that is in the figure.
    pub energy: Energy,
    /// What it adds, in millionths of the figure's unit.
    pub count: i64,
}

/// The slices of a figure.
#[derive(Clone, Debug)]
pub struct Chosen<'a> {
    /// What the figure is.
    pub about: String,
    /// Its unit.
    pub unit: String,
    /// The figure in millionths; `None` where it is not known.
    pub total: Option<i64>,
    /// How it is computed.
    pub rules: Vec<String>,
    /// What it is made of.
    pub parts: Vec<Part<'a>>,
    /// Whether it is money of energy.
    pub is_priced: bool,
}

impl Chosen<'_> {
    /// Whether it is carbon.
    pub fn is_carbon(&self) -> bool {
        self.unit.starts_with("kgCO2")
    }
}

/// What is added up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    Energy,
    Cost,
    Carbon,
    Unpriced,
    WithoutFactor,
    Peak,
    MakeReady,
    PerLength,
    PerArea,
    UnknownTime,
}

impl Quantity {
    fn parse(word: &str) -> Option<Self> {
        Some(match word {
            "energy" => Self::Energy,
            "cost" => Self::Cost,
            "carbon" => Self::Carbon,
            "unpriced" => Self::Unpriced,
            "without-factor" => Self::WithoutFactor,
            "peak" => Self::Peak,
            "make-ready" => Self::MakeReady,
            "energy-per-1000-m" => Self::PerLength,
            "energy-per-1000-m2" => Self::PerArea,
            "unknown-ms" => Self::UnknownTime,
            _ => return None,
        })
    }

    /// What a line adds.
    fn of(self, line: &Line) -> i64 {
        match self {
            Self::Cost => line.cost.micros(),
            Self::Carbon => line.co2e.mg(),
            Self::Unpriced => (line.energy() - line.priced).mwh(),
            Self::WithoutFactor => (line.energy() - line.factored).mwh(),
            Self::UnknownTime if line.slice.usage.energy.is_none() => line.slice.usage.period.millis(),
            Self::UnknownTime => 0,
            _ => line.energy().mwh(),
        }
    }

    /// What lines add up to; `None` where it is not known.
    fn sum(self, sums: &Sums) -> Option<i64> {
        match self {
            Self::Cost => sums.cost().map(|cost| cost.micros()),
            Self::Carbon => sums.co2e().map(|co2e| co2e.mg()),
            Self::Unpriced => Some(sums.unpriced().mwh()),
            Self::WithoutFactor => Some(sums.unfactored().mwh()),
            Self::UnknownTime => Some(sums.unknown),
            _ => Some(sums.energy.mwh()),
        }
    }

    fn word(self) -> &'static str {
        match self {
            Self::Energy => "Energy of",
            Self::Cost => "Cost of the energy of",
            Self::Carbon => "Carbon by location of",
            Self::Unpriced => "Energy without a price of",
            Self::WithoutFactor => "Energy without a factor of",
            Self::Peak => "Highest mean power of",
            Self::MakeReady => "Energy during make-ready of",
            Self::PerLength => "Energy for 1,000 m of",
            Self::PerArea => "Energy for 1,000 m2 of",
            Self::UnknownTime => "Time without a known energy of",
        }
    }
}

/// What is looked through.
struct From<'f, 'a> {
    input: &'f MonthInput<'a>,
    ledger: &'f Ledger<'a>,
    jobs: &'f [Job<'a>],
}

/// The slices of the figure of that path; `None` where there is none of that path.
pub fn of<'a>(input: &MonthInput<'a>, ledger: &Ledger<'a>, jobs: &[Job<'a>], path: &str) -> Option<Chosen<'a>> {
    let from = From { input, ledger, jobs };
    let (word, rest) = path.split_once('/')?;
    match word {
        "use" => return from.used(rest),
        "trust" => return from.trusted(rest),
        "bill" => return from.billed(rest),
        _ => {}
    }
    let quantity = Quantity::parse(word)?;
    let special = match (quantity, rest.split_once('/')) {
        (_, Some(("job", run))) => from.job(quantity, run),
        (_, Some(("jobs", which))) => from.all_jobs(quantity, which),
        (Quantity::Energy, None) if rest == "priced" => from.priced(),
        (Quantity::Energy | Quantity::Cost, Some(("band", band))) => from.band(quantity, band),
        (Quantity::Cost, _) if rest == "plant/total" => from.whole_cost(),
        (Quantity::Cost, Some(("standing", tariff))) => from.standing(tariff),
        (Quantity::Energy, Some(("meter", meter))) => from.meter(meter),
        (Quantity::Energy, Some(("factor", set))) => from.set(set, None),
        (Quantity::Carbon, Some(("scope2", part))) => from.scope2(part),
        (Quantity::Carbon, Some((set, part))) => from.set(set, Some(part)),
        _ => None,
    };
    special.or_else(|| from.owner(quantity, rest))
}

impl<'a> From<'_, 'a> {
    fn unit(&self, quantity: Quantity) -> String {
        match quantity {
            Quantity::Cost => self.input.plant.currency.clone(),
            Quantity::Carbon => self.ledger.carbon_unit("kg"),
            Quantity::Peak => "kW".into(),
            // In the figures of a closing it is a count of milliseconds, which print as thousands of seconds.
            Quantity::UnknownTime => "ks".into(),
            _ => "kWh".into(),
        }
    }

    /// A line as a part that adds so much.
    fn part(&self, place: usize, energy: Energy, count: i64) -> Part<'a> {
        let Line { slice, day, .. } = self.ledger.lines[place];
        Part { day, usage: &slice.usage, owner: Some(&slice.owner), place: Some(place), energy, count }
    }

    /// The lines whose slice is wanted, asked once an account.
    fn lines(&self, quantity: Quantity, wanted: &dyn Fn(&Slice) -> bool) -> (Vec<Part<'a>>, Sums) {
        let accounts: Vec<bool> = self.ledger.accounts.iter().map(|account| wanted(account.slice)).collect();
        let (mut parts, mut sums) = (Vec::new(), Sums::default());
        for (place, line) in self.ledger.lines.iter().enumerate().filter(|(_, line)| accounts[line.account]) {
            sums.post(line);
            parts.push(self.part(place, line.energy(), quantity.of(line)));
        }
        (parts, sums)
    }

    fn summed(&self, quantity: Quantity, name: &str, wanted: &dyn Fn(&Slice) -> bool) -> Chosen<'a> {
        let (parts, sums) = self.lines(quantity, wanted);
        Chosen {
            about: format!("{} {name}", quantity.word()),
            unit: self.unit(quantity),
            total: if parts.is_empty() { None } else { quantity.sum(&sums) },
            rules: rules::of(quantity),
            parts,
            is_priced: quantity == Quantity::Cost,
        }
    }

    /// What one owner is charged with, as a whole or by use.
    fn owner(&self, quantity: Quantity, path: &str) -> Option<Chosen<'a>> {
        let plant = self.input.plant;
        let names = |slice: &Slice| owners::of(plant, slice).into_iter().find(|(other, _)| other == path);
        let met = self.ledger.accounts.iter().find_map(|account| names(account.slice));
        let (_, name) = met.or_else(|| owners::every(plant).into_iter().find(|(other, _)| other == path))?;
        let mut chosen = self.summed(quantity, &name, &|slice| names(slice).is_some());
        if chosen.parts.is_empty() && quantity != Quantity::Peak && self.is_known(path) {
            chosen.total = Some(0);
        }
        if quantity == Quantity::Peak {
            self.peak(path, &mut chosen);
        }
        Some(chosen)
    }

    /// Whether anything is known of the owner of a path by use.
    fn is_known(&self, path: &str) -> bool {
        let Some((whole, _)) = path.rsplit_once('/').filter(|(_, used)| owners::is_column(used)) else { return false };
        let is_of = |slice: &Slice| {
            slice.usage.energy.is_some() && owners::of(self.input.plant, slice).iter().any(|(other, _)| other == whole)
        };
        self.ledger.accounts.iter().any(|account| is_of(account.slice))
    }

    /// Leaves the slices of the highest interval.
    fn peak(&self, path: &str, chosen: &mut Chosen<'a>) {
        let plant = self.input.plant;
        // Of a part of a press it is that of its own meters, as the table of stations has it.
        let is_part = plant.presses.iter().all(|press| press.id.as_str() != path);
        let is_of = |slice: &Slice| {
            !(is_part && slice.owner.claim == Claim::Shared)
                && owners::of(plant, slice).iter().any(|(other, _)| other == path)
        };
        let found = match path {
            "plant" => peak::of_plant(plant, self.ledger),
            _ => peak::peaks(plant, self.ledger, |slice| is_of(slice).then_some(())).remove(&()),
        };
        chosen.total = found.map(|peak| peak.milliwatts());
        chosen
            .parts
            .retain(|part| path == "plant" || part.owner.is_some_and(|owner| !is_part || owner.claim != Claim::Shared));
        chosen.parts.retain_mut(|part| {
            let Some(inside) = found.and_then(|peak| peak.period.overlap(part.usage.period)) else { return false };
            let share =
                part.energy.split(&[inside.millis().into(), (part.usage.period.millis() - inside.millis()).into()]);
            part.energy = share.map_or(Energy::ZERO, |share| share[0]);
            part.count = part.energy.mwh();
            true
        });
        chosen.rules.extend(found.map(|peak| rules::highest(plant.zone, &peak)));
    }

    fn used(&self, word: &str) -> Option<Chosen<'a>> {
        let used = Use::ALL.into_iter().find(|used| used.class() == word)?;
        let name = format!("what is used for: {}", used.word());
        Some(self.summed(Quantity::Energy, &name, &|slice| Use::of(self.input.plant, slice) == used))
    }

    fn trusted(&self, word: &str) -> Option<Chosen<'a>> {
        let named =
            |slice: &Slice| owners::trusted(self.input.plant, slice).into_iter().flatten().find(|(w, _)| *w == word);
        let (_, name) = self.ledger.accounts.iter().find_map(|account| named(account.slice))?;
        Some(self.summed(Quantity::Energy, &format!("the plant that is {name}"), &|slice| named(slice).is_some()))
    }

    fn priced(&self) -> Option<Chosen<'a>> {
        let mut chosen = self.summed(Quantity::Energy, "the plant that has a price", &|_| true);
        for part in &mut chosen.parts {
            part.energy = part.place.map_or(Energy::ZERO, |place| self.ledger.lines[place].priced);
            part.count = part.energy.mwh();
        }
        chosen.total = Some(chosen.parts.iter().map(|part| part.count).sum());
        Some(chosen)
    }

    /// What a meter shows, whoever it belongs to.
    fn meter(&self, id: &str) -> Option<Chosen<'a>> {
        let meter = self.input.plant.meters.iter().find(|meter| meter.id.as_str() == id)?;
        let days = self.input.facts.days.iter().map(|day| &day.value);
        let parts: Vec<Part> = days
            .flat_map(|day| day.usage.iter().filter(|usage| usage.meter == meter.id).map(|usage| (day.date, usage)))
            .map(|(day, usage)| {
                let energy = usage.energy.unwrap_or_default();
                Part { day, usage, owner: None, place: None, energy, count: energy.mwh() }
            })
            .collect();
        let is_known = parts.iter().any(|part| part.usage.energy.is_some());
        Some(Chosen {
            about: format!("Energy of meter {id}, {}", meter.name),
            unit: self.unit(Quantity::Energy),
            total: is_known.then(|| parts.iter().map(|part| part.count).sum()),
            rules: vec![rules::METER.into()],
            parts,
            is_priced: false,
        })
    }
}
