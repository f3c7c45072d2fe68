//! What the watch tells of, and how often it may be wrong.

use super::legal;
use super::section::Section;
use crate::time::MINUTE;
use crate::watch::Terms;

const WATCH: [&str; 3] = ["left_on_min", "standby_min", "false_alarms_a_year"];

/// The terms of the watch; the usual ones where nobody wrote any.
pub fn read(root: &Section<'_>) -> Option<Terms> {
    let usual = Terms::default();
    let Some(value) = root.get("watch") else { return Some(usual) };
    let section = value.section_about("watch", &WATCH)?;
    let left_on = match section.get("left_on_min") {
        Some(minutes) => minutes.whole(legal::LEFT_ON).map(|minutes| minutes * MINUTE),
        None => Some(usual.left_on),
    };
    let standby = match section.get("standby_min") {
        Some(minutes) => minutes.whole(legal::STANDBY).map(|minutes| minutes * MINUTE),
        None => Some(usual.standby),
    };
    let rate = match section.get("false_alarms_a_year") {
        Some(rate) => rate.number(legal::FALSE_ALARMS).map(|rate| rate.to_f64()),
        None => Some(usual.false_alarms_a_year),
    };
    Some(Terms { left_on: left_on?, standby: standby?, false_alarms_a_year: rate? })
}
