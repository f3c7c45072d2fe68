//! What a meter shows beyond the meters below it.

use crate::attribute::books::{Books, usage};
use crate::attribute::{Part, Usage};
use crate::found::{Issue, Remark};
use crate::plant::{Covers, Flow, Meter, Plant};
use crate::time::{At, Period};
use crate::units::{Decimal, Energy};

/// A meter's usage between two cuts without that of the meters below it.
pub struct Rest {
    /// The difference; its flags are the worst of all meters that enter it.
    pub usage: Usage,
    /// Whether the difference holds the energy of a meter below that is not known.
    pub open: bool,
}

/// The meters that are balanced against one, each with its sign: those below it, and for the supply of a site what is
/// generated and what is given back. Import + generation - export is the load.
pub fn balanced<'a>(plant: &'a Plant, meter: &'a Meter) -> Vec<(&'a Meter, i64)> {
    let is_supply = |m: &Meter| m.below.is_none() && m.covers == Covers::Site && m.flow == Flow::Import;
    let first_supply = plant.meters.iter().find(|m| is_supply(m)).is_some_and(|first| first.id == meter.id);
    let beside = |m: &Meter| m.below.is_none() && m.covers == Covers::Site && m.flow != Flow::Import;
    let sign = |m: &Meter| if m.flow == Flow::Generation { 1 } else { -1 };
    let of_it = |m: &&Meter| m.below.as_ref() == Some(&meter.id) || (first_supply && beside(m));
    plant.meters.iter().filter(of_it).map(|m| (m, sign(m))).collect()
}

/// The rest of a meter between each two neighbouring cuts.
pub fn rests(books: &Books, meter: &Meter, cuts: &[At]) -> Vec<Rest> {
    let own = books.curves[&meter.id].parts(cuts);
    let others: Vec<_> = balanced(books.plant, meter)
        .into_iter()
        .map(|(other, sign)| (books.span(other), sign, accounted(books, other, cuts)))
        .collect();
    let rest = |(k, part): (usize, &Part)| {
        let (mut rest, mut open) = (*part, false);
        for (span, sign, parts) in &others {
            let other = &parts[k];
            let Some(there) = span.overlap(other.period) else { continue };
            open |= other.known < there.millis();
            rest.energy += if *sign > 0 { other.energy } else { -other.energy };
            if other.known > 0 {
                rest.amount = rest.amount.max(other.amount);
                rest.placed = rest.placed.max(other.placed);
            }
        }
        Rest { usage: usage(meter, &rest, part.is_known()), open }
    };
    own.iter().enumerate().map(rest).collect()
}

/// What the slices of a meter and of all below it add up to: its own energy where that is known, and in its holes what
/// the meters below it show.
fn accounted(books: &Books, meter: &Meter, cuts: &[At]) -> Vec<Part> {
    let curve = &books.curves[&meter.id];
    let mut parts = curve.parts(cuts);
    let below: Vec<&Meter> = books.plant.below(&meter.id).filter(|m| m.flow == Flow::Import).collect();
    for part in parts.iter_mut().filter(|part| !below.is_empty() && !part.is_known()) {
        for hole in curve.holes(part.period) {
            let shown = below.iter().flat_map(|m| accounted(books, m, &[hole.start, hole.end]));
            part.energy += shown.map(|shown| shown.energy).sum();
        }
    }
    parts
}

/// A remark where the meters below a meter show more than it does over the day, by more than all their errors.
pub fn negative_rest(books: &Books, meter: &Meter, rests: &[Rest]) -> Option<Issue> {
    let day = books.span(meter);
    let known =
        || rests.iter().filter(|rest| !rest.open).filter_map(|rest| Some((rest.usage.period, rest.usage.energy?)));
    let rest: Energy = known().map(|(_, energy)| energy).sum();
    let others = balanced(books.plant, meter);
    let tolerance: Energy =
        [meter].into_iter().chain(others.iter().map(|(m, _)| *m)).map(|m| error(books, m, day)).sum();
    (!others.is_empty() && rest < -tolerance).then(|| Issue {
        remark: Remark::NegativeRest,
        about: format!("meter {}", meter.id),
        period: day,
        text: format!(
            "The meters below it show {} kWh more than it does, and their classes and steps explain only {} kWh. \
             Look at transformer ratios, direction and wiring.",
            (-rest).rounded(),
            tolerance.rounded()
        ),
    })
}

/// What a meter may be wrong by over a period: its class on all of its energy, and one step.
fn error(books: &Books, meter: &Meter, period: Period) -> Energy {
    let energy: Energy =
        books.curves[&meter.id].parts(&[period.start, period.end]).iter().map(|part| part.energy).sum();
    let by_class = per_cent(meter.class.as_deref()).scale(energy.mwh().abs(), 1, 100).unwrap_or(i64::MAX / 64);
    let step = meter.device.at(period.start).map_or(0, |device| {
        let one = device.mwh_per_count.times(device.transformers);
        device.step.saturating_mul(one.num) / one.den.max(1)
    });
    Energy::from_mwh(by_class + step)
}

/// The limit of error of a class in per cent: `0.5S`, `1`, or the letters of EN 50470-3 (A 2, B 1, C 0.5; limits
/// from memory). Two where nobody stated a class.
fn per_cent(class: Option<&str>) -> Decimal {
    let figure = match class.map(str::trim) {
        Some("B") => "1",
        Some("C") => "0.5",
        Some(class) => class.trim_end_matches(['S', 's']),
        None => "2",
    };
    Decimal::parse(figure).or_else(|| Decimal::parse("2")).expect("2 is a decimal")
}
