//! The calendar.

use super::section::Section;
use crate::plant::{Calendar, Shift};
use chrono::{NaiveDate, NaiveTime, Timelike};

const CALENDAR: [&str; 4] = ["day_starts", "shifts", "holidays", "shutdowns"];
const SHIFT: [&str; 4] = ["name", "days", "starts", "ends"];

/// The calendar; an empty one where nobody wrote any.
pub fn read(root: &Section<'_>) -> Option<Calendar> {
    let Some(value) = root.get("calendar") else { return Some(Calendar::default()) };
    let section = value.section_about("calendar", &CALENDAR)?;
    let day_starts = section.get("day_starts").map_or(Some(NaiveTime::MIN), |v| v.clock());
    let shifts: Vec<(Section<'_>, Option<Shift>)> =
        section.each("shifts", "shift", "name", &SHIFT).into_iter().map(|s| (s.clone(), shift(&s))).collect();
    apart(&shifts);
    let holidays: Option<Vec<NaiveDate>> =
        section.get("holidays").map_or(Some(Vec::new()), |v| v.list().iter().map(|day| day.day()).collect());
    let shutdowns: Option<Vec<_>> =
        section.each("shutdowns", "shutdown", "first", &["first", "last"]).iter().map(shutdown).collect();
    let (mut holidays, mut shutdowns) = (holidays?, shutdowns?);
    holidays.sort();
    holidays.dedup();
    shutdowns.sort();
    let mut shifts: Vec<Shift> = shifts.into_iter().map(|(_, shift)| shift).collect::<Option<_>>()?;
    shifts.sort_by_key(|shift| shift.starts);
    Some(Calendar { day_starts: day_starts?, shifts, holidays, shutdowns })
}

fn shift(section: &Section<'_>) -> Option<Shift> {
    let name = section.need("name").and_then(|v| v.text());
    let days = section.need("days").and_then(|v| v.weekdays());
    let (starts, ends) = (section.need("starts").and_then(|v| v.clock()), section.need("ends").and_then(|v| v.clock()));
    Some(Shift { name: name?.into(), days: days?, starts: starts?, ends: ends? })
}

fn shutdown(section: &Section<'_>) -> Option<(NaiveDate, NaiveDate)> {
    let (first, last) = (section.need("first").and_then(|v| v.day()), section.need("last").and_then(|v| v.day()));
    let (first, last) = (first?, last?);
    if last < first {
        section.say("last", &format!("last {last} lies before first {first}"));
    }
    Some((first, last))
}

/// Notes shifts that overlap: energy belongs to one shift.
fn apart(shifts: &[(Section<'_>, Option<Shift>)]) {
    const WEEK: u32 = 7 * 1440;
    let mut taken: Vec<Option<&str>> = vec![None; WEEK as usize];
    for (section, shift) in shifts.iter().filter_map(|(section, shift)| Some((section, shift.as_ref()?))) {
        let minute = |time: NaiveTime| time.num_seconds_from_midnight() / 60;
        let (starts, ends) = (minute(shift.starts), minute(shift.ends));
        let length = if ends > starts { ends - starts } else { ends + 1440 - starts };
        let minutes = shift.days.iter().flat_map(|day| {
            let first = day.num_days_from_monday() * 1440 + starts;
            (first..first + length).map(|minute| (minute % WEEK) as usize)
        });
        let mut clash = None;
        for minute in minutes {
            clash = clash.or(taken[minute]);
            taken[minute] = Some(&shift.name);
        }
        if let Some(other) = clash {
            section.say("starts", &format!("the shift overlaps shift \"{other}\""));
        }
    }
}
