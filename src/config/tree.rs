//! Checks of the meter tree: energy is counted once, and each meter lies inside the one above it.

use super::meters::ReadMeter;
use crate::names::MeterId;
use crate::plant::{Covers, Flow, Meter};

/// Notes everything that would count energy twice or not at all.
pub fn check(meters: &[ReadMeter<'_>]) {
    let find = |id: &MeterId| meters.iter().find(|read| read.meter.id == *id);
    for (k, read) in meters.iter().enumerate() {
        covered_once(&meters[..k], read);
        of_the_site(read);
        if let Some(circle) = circle(read, meters) {
            let path: Vec<String> = circle.iter().map(|id| format!("\"{id}\"")).collect();
            read.section.say("below", &format!("the meters stand in a circle: {}", path.join(" below ")));
            continue;
        }
        match read.meter.below.as_ref().map(find) {
            Some(Some(above)) => inside(read, &above.meter),
            Some(None) => {}
            None => at_the_top(meters, read),
        }
    }
}

/// A station is measured by one meter: two would charge it twice.
fn covered_once(before: &[ReadMeter<'_>], read: &ReadMeter<'_>) {
    let Covers::Station(station) = &read.meter.covers else { return };
    if let Some(other) = before.iter().find(|other| other.meter.covers == read.meter.covers) {
        read.section.say_help(
            "covers",
            &format!("station \"{station}\" is covered by meter \"{}\" already", other.meter.id),
            "where a device was exchanged, list both under device of one meter",
        );
    }
}

/// Export and generation are of the whole site.
fn of_the_site(read: &ReadMeter<'_>) {
    if read.meter.flow != Flow::Import && read.meter.covers != Covers::Site {
        read.section.say("flow", "a meter of export or generation must cover \"site\"");
    }
    if read.meter.flow != Flow::Import && read.meter.below.is_some() {
        read.section.say("below", "a meter of export or generation stands at the top: leave below out");
    }
}

/// The way from a meter up to itself.
fn circle<'m>(read: &'m ReadMeter<'_>, meters: &'m [ReadMeter<'_>]) -> Option<Vec<&'m MeterId>> {
    let mut path = vec![&read.meter.id];
    let mut above = read.meter.below.as_ref();
    while let Some(id) = above {
        path.push(id);
        if *id == read.meter.id {
            return Some(path);
        }
        if path.len() > meters.len() + 1 {
            return None;
        }
        above = meters.iter().find(|other| other.meter.id == *id)?.meter.below.as_ref();
    }
    None
}

/// What a meter covers must lie inside what the meter above it covers.
fn inside(read: &ReadMeter<'_>, above: &Meter) {
    let press_of = |covers: &Covers| match covers {
        Covers::Station(station) => station.as_str().split_once('/').map(|(press, _)| press.to_string()),
        Covers::Press(press) => Some(press.to_string()),
        _ => None,
    };
    let fits = match &above.covers {
        Covers::Site => true,
        Covers::Press(press) => press_of(&read.meter.covers).as_deref() == Some(press.as_str()),
        Covers::Load(_) | Covers::Station(_) => read.meter.covers == above.covers,
    };
    if !fits {
        read.section.say_help(
            "below",
            &format!(
                "it covers {}, but meter \"{}\" above it covers {}",
                said(&read.meter.covers),
                above.id,
                said(&above.covers)
            ),
            "below names the meter whose energy includes this one's",
        );
    }
    if above.flow != Flow::Import {
        read.section.say("below", &format!("meter \"{}\" measures no load", above.id));
    }
}

/// Where the site has a supply meter, every load lies below it.
fn at_the_top(meters: &[ReadMeter<'_>], read: &ReadMeter<'_>) {
    let supply = meters.iter().find(|other| other.meter.covers == Covers::Site && other.meter.flow == Flow::Import);
    if let Some(supply) = supply.filter(|_| read.meter.covers != Covers::Site) {
        read.section.say_help(
            "id",
            &format!(
                "below is missing: meter \"{}\" measures the whole site, so that energy would count twice",
                supply.meter.id
            ),
            format!("write below = \"{}\", or the meter in between", supply.meter.id),
        );
    }
}

/// What is covered, in words.
pub fn said(covers: &Covers) -> String {
    match covers {
        Covers::Site => "the site".into(),
        Covers::Press(press) => format!("press \"{press}\""),
        Covers::Station(station) => format!("station \"{station}\""),
        Covers::Load(load) => format!("load \"{load}\""),
    }
}
