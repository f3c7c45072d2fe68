//! The local day: every milliwatt-hour gets an owner, and the slices of a meter add up to what it shows.

use crate::attribute::balance::{Rest, negative_rest, rests};
use crate::attribute::books::{Books, nobody};
use crate::attribute::counting::look_back;
use crate::attribute::share::{weights, within};
use crate::attribute::{Claim, DayFacts, DayFold, DayLedger, Slice, Usage};
use crate::found::{Found, Issue, Remark};
use crate::names::LoadId;
use crate::plant::{Covers, Flow, Meter, Plant};
use crate::readings::Run;
use crate::time::{At, MINUTE, Period};
use crate::units::Energy;
use chrono::NaiveDate;

/// Attributes one local day of which all facts are at hand. They reach beyond it as far as
/// [`reach`](crate::attribute::reach) says; what is poor about them is remarked, as far as it touches the day.
pub fn day(plant: &Plant, facts: &DayFacts, date: NaiveDate) -> Found<DayLedger> {
    ledger(plant, &DayFold::of(plant, facts), &facts.runs, date, facts.until)
}

/// Attributes one local day from what was taken up of it, for the plant that the fold is for. `runs` are those that touch
/// the reach of the day; a day that still runs is looked at up to `until`, so that what lies ahead is not called missing.
pub fn ledger(plant: &Plant, fold: &DayFold, runs: &[Run], date: NaiveDate, until: Option<At>) -> Found<DayLedger> {
    let whole = plant.zone.day(date);
    let span = Period::new(whole.start, until.map_or(whole.end, |until| until.min(whole.end)));
    let (mut usage, mut slices) = (Vec::new(), Vec::new());
    let mut issues = Vec::new();
    if !span.is_empty() {
        let (books, remarks) = Books::open(plant, fold, runs, span, until);
        issues = remarks;
        for meter in &plant.meters {
            usage.extend(books.usage(meter));
            issues.extend(coarse(&books, meter));
            // What is generated or given back enters the balance of the supply; it has no owner of its own.
            if meter.flow == Flow::Import {
                let rests = rests(&books, meter, &books.cuts(meter));
                issues.extend(negative_rest(&books, meter, &rests));
                rests.into_iter().for_each(|rest| write(&books, meter, rest, &mut slices));
            }
        }
    }
    issues.retain(|issue| issue.period.overlap(span).is_some());
    issues.sort();
    issues.dedup();
    Found { value: DayLedger { date, usage, slices }, issues }
}

/// The slices of one rest: one, or one for each press that a shared load serves.
fn write(books: &Books, meter: &Meter, rest: Rest, slices: &mut Vec<Slice>) {
    let at = rest.usage.period.start;
    let alone = !books.plant.meters.iter().any(|other| other.below.as_ref() == Some(&meter.id));
    let claim = match (rest.open, alone) {
        (true, _) => Claim::Unassigned,
        (false, true) => Claim::Own,
        (false, false) => Claim::Rest,
    };
    let owner = match &meter.covers {
        Covers::Site if rest.open => nobody(Claim::Unassigned),
        Covers::Site => nobody(Claim::Rest),
        Covers::Press(press) => books.press(press, at, claim),
        Covers::Station(station) => books.station(station, at, claim),
        Covers::Load(load) => return charge(books, load, rest, slices),
    };
    slices.push(Slice { usage: rest.usage, owner });
}

/// Charges a shared load to the presses by its rule, and on to what each was doing.
fn charge(books: &Books, load: &LoadId, rest: Rest, slices: &mut Vec<Slice>) {
    let usage = rest.usage;
    let load = books.plant.load(load).filter(|_| !rest.open);
    let shares = load
        .zip(usage.energy)
        .and_then(|(load, energy)| Some((load, energy.split(&weights(books, load, usage.period)?)?)));
    let Some((load, energies)) = shares else {
        return slices.push(Slice { usage, owner: nobody(Claim::Unassigned) });
    };
    let served = load.serves.iter().filter_map(|press| books.plant.press(press));
    // A press that is charged with nothing is not mentioned: it may have no meter of its own.
    for (press, share) in served.zip(energies).filter(|(_, share)| *share != Energy::ZERO) {
        slices.extend(within(books, load, press, usage.period, share).into_iter().map(|(period, energy)| {
            let owner = books.press(&press.id, period.start, Claim::Shared);
            Slice { usage: Usage { period, energy: Some(energy), ..usage.clone() }, owner }
        }));
    }
}

/// A remark where owners change between two steps of a register that takes minutes for a step.
fn coarse(books: &Books, meter: &Meter) -> Option<Issue> {
    let span = books.span(meter);
    let device = meter.device.at(span.start)?;
    // The look-back is the time of a step at a hundredth of the largest draw: here, at a quarter of it.
    if look_back(device, meter.max_watts) / 25 <= MINUTE {
        return None;
    }
    let pieces = books.curves[&meter.id].pieces();
    let inside = |at: &At| {
        let piece = pieces.get(pieces.partition_point(|p| p.period.end <= *at));
        piece.is_some_and(|p| p.period.start < *at && p.period.millis() > MINUTE && p.energy.mwh() > 0)
    };
    let count = books.changes(meter).iter().filter(|at| inside(at)).count();
    (count > 0).then(|| Issue {
        remark: Remark::CoarseSteps,
        about: format!("meter {}", meter.id),
        period: span,
        text: format!(
            "Its register moves in steps of minutes: {count} changes of job or state fell within one, whose energy is \
             shared by time. Read its power as well, or choose a finer register."
        ),
    })
}
