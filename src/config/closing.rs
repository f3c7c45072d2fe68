//! When a month may be closed.

use super::legal;
use super::section::Section;
use crate::closing::Terms;

const CLOSING: [&str; 2] = ["after_days", "de_minimis_percent"];

/// The terms of closing; the usual ones where nobody wrote any.
pub fn read(root: &Section<'_>) -> Option<Terms> {
    let usual = Terms::default();
    let Some(value) = root.get("closing") else { return Some(usual) };
    let section = value.section_about("closing", &CLOSING)?;
    let after_days = match section.get("after_days") {
        Some(days) => days.whole(legal::CLOSE_AFTER).and_then(|days| u32::try_from(days).ok()),
        None => Some(usual.after_days),
    };
    let de_minimis_percent = match section.get("de_minimis_percent") {
        Some(per_cent) => per_cent.number(legal::DE_MINIMIS),
        None => Some(usual.de_minimis_percent),
    };
    Some(Terms { after_days: after_days?, de_minimis_percent: de_minimis_percent? })
}
