//! What a meter measured: a point and what lies inside, as values that compare and as the words that a frozen baseline keeps.

use super::Refused;
use crate::plant::{Boundary, Meter, Plant, Point};
use crate::time::{At, Period};
use crate::verify::Scope;
use crate::verify::words::listed;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

/// The boundaries of a meter over a period, one after the other. What lies inside is a set: its order, its case and its
/// spaces are those of whoever wrote it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bounds(Vec<(Point, BTreeSet<String>)>);

impl Bounds {
    /// Those of a meter in a period.
    pub fn of(meter: &Meter, period: Period) -> Self {
        Self::new(meter.boundary.spans(period).map(|(_, boundary)| boundary))
    }

    fn new<'a>(all: impl Iterator<Item = &'a Boundary>) -> Self {
        let mut bounds: Vec<_> = all.map(|boundary| (boundary.point, inside(&boundary.includes))).collect();
        bounds.dedup();
        Self(bounds)
    }

    /// Reads the words back: `press-main with blower and chiller, then lamp-supply`.
    pub fn parse(words: &str) -> Option<Self> {
        let one = |words: &str| {
            let (point, inside_it) = words.split_once(" with ").unwrap_or((words, ""));
            let point = Point::ALL.into_iter().find(|known| known.word() == point.trim().to_lowercase())?;
            Some((point, inside(&[inside_it.to_owned()])))
        };
        words.split(", then ").map(one).collect::<Option<Vec<_>>>().map(Self)
    }

    /// What is no measurement: power that a controller reports, or that follows from a level.
    pub fn unmeasured(&self) -> Option<&'static str> {
        self.0.iter().find_map(|(point, _)| match point {
            Point::ReportedDc => Some("power that a controller reports"),
            Point::Computed => Some("power computed from a level"),
            _ => None,
        })
    }

    /// The same points with nothing inside but lamps and their supplies.
    fn lamps_alone(mut self) -> Self {
        self.0.iter_mut().for_each(|(_, inside)| inside.retain(|word| word == SUPPLY));
        self
    }

    /// What makes the difference to the boundary of now: `chiller only now`.
    pub fn apart(&self, now: &Self) -> String {
        let ([(point, before)], [(point_now, after)]) = (self.0.as_slice(), now.0.as_slice()) else {
            return "it changed within the period".into();
        };
        let only = |a: &BTreeSet<String>, b: &BTreeSet<String>, when: &str| {
            let names: Vec<String> = a.difference(b).cloned().collect();
            (!names.is_empty()).then(|| format!("{} only {when}", listed(&names)))
        };
        let moved = (point != point_now).then(|| "another point".to_owned());
        let all = [moved, only(before, after, "in the baseline"), only(after, before, "now")];
        all.into_iter().flatten().collect::<Vec<_>>().join("; ")
    }
}

impl fmt::Display for Bounds {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (k, (point, inside)) in self.0.iter().enumerate() {
            let names: Vec<&str> = inside.iter().map(String::as_str).collect();
            let (then, with) = (if k == 0 { "" } else { ", then " }, if names.is_empty() { "" } else { " with " });
            write!(f, "{then}{}{with}{}", point.word(), names.join(" and "))?;
        }
        Ok(())
    }
}

/// The loss of a lamp's supply, ballast or driver.
const SUPPLY: &str = "supply loss";

/// The words of what lies inside, each once.
fn inside(includes: &[String]) -> BTreeSet<String> {
    let words = includes.iter().flat_map(|words| words.split(',')).flat_map(|words| words.split(" and "));
    let plain = |word: &str| word.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase();
    // A ballast is an arc lamp's supply as a driver is an LED's: the loss of either lies inside the same boundary.
    let supply = |word: String| if word == "ballast loss" || word == "driver loss" { SUPPLY.into() } else { word };
    words.map(plain).filter(|word| !word.is_empty()).map(supply).collect()
}

/// What each meter of a scope shows in a period, measured or not, in words.
///
/// # Errors
/// A scope without meters of its own.
pub fn shown(plant: &Plant, scope: &Scope, period: Period) -> Result<BTreeMap<String, String>, Refused> {
    let ids = scope.meters(plant);
    let has_below = |id| plant.below(id).next().is_some();
    if ids.is_empty() || (scope.stations.is_empty() && ids.iter().any(has_below)) {
        return Err(Refused::NotMetered { judged: scope.judged.to_string() });
    }
    let words = |meter: &Meter| (meter.id.to_string(), Bounds::of(meter, period).to_string());
    Ok(ids.iter().filter_map(|id| plant.meter(id)).map(words).collect())
}

/// What each meter of a scope measured in a period, in words.
///
/// # Errors
/// As [`shown`], and a meter that gives reported or computed power.
pub fn boundaries(plant: &Plant, scope: &Scope, period: Period) -> Result<BTreeMap<String, String>, Refused> {
    let all = shown(plant, scope, period)?;
    all.iter().try_for_each(|(meter, words)| measured(meter, words))?;
    Ok(all)
}

/// What each meter of a scope would show of lamps and their supplies alone, which is all that ratings are about, by its
/// boundary at an instant.
///
/// # Errors
/// As [`boundaries`].
pub fn lamps_alone(plant: &Plant, scope: &Scope, at: At) -> Result<BTreeMap<String, String>, Refused> {
    let mut all = boundaries(plant, scope, Period::new(at - 1, at))?;
    for words in all.values_mut() {
        *words = Bounds::parse(words).map_or(String::new(), |bounds| bounds.lamps_alone().to_string());
    }
    Ok(all)
}

/// Refuses what nobody measured.
pub fn measured(meter: &str, words: &str) -> Result<(), Refused> {
    match Bounds::parse(words).and_then(|bounds| bounds.unmeasured()) {
        Some(point) => Err(Refused::NotMeasured { meter: meter.to_owned(), point }),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bounds(point: Point, includes: &[&str]) -> Bounds {
        let includes = includes.iter().map(|word| (*word).to_owned()).collect();
        Bounds::new([Boundary { point, includes }].iter())
    }

    #[test]
    fn boundaries_are_alike_whatever_the_order_case_and_spaces_of_their_words() {
        let one = bounds(Point::Cabinet, &["Blower", "driver  loss"]);
        let other = bounds(Point::Cabinet, &["ballast loss", " blower "]);
        assert_eq!(one, other);
        assert_eq!(one.to_string(), "cabinet with blower and supply loss");
        assert_eq!(one.clone().lamps_alone().to_string(), "cabinet with supply loss");
        assert_eq!(Bounds::parse("Cabinet with supply loss and BLOWER"), Some(one));
        assert_eq!(Bounds::parse("cupboard"), None);
    }

    #[test]
    fn the_difference_of_two_boundaries_is_named() {
        let cabinet = bounds(Point::Cabinet, &["blower", "driver loss"]);
        let lamp = bounds(Point::LampSupply, &["driver loss", "chiller"]);
        assert_eq!(cabinet.apart(&lamp), "another point; blower only in the baseline; chiller only now");
        let changed = Bounds::parse("cabinet, then lamp-supply with chiller").expect("two");
        assert_eq!(changed.to_string(), "cabinet, then lamp-supply with chiller");
        assert_eq!(cabinet.apart(&changed), "it changed within the period");
    }
}
