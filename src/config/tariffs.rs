//! Tariffs.

use super::document::Document;
use super::legal;
use super::section::Section;
use super::value::Value;
use crate::cost::{Band, Tariff, Window};
use chrono::{Month, NaiveTime, Timelike, Weekday};
use toml::Spanned;
use toml::de::DeTable;

const TARIFF: [&str; 7] = ["name", "valid_from", "valid_to", "currency", "source", "standing_per_day", "band"];
const BAND: [&str; 3] = ["name", "price", "windows"];
const WINDOW: [&str; 5] = ["days", "months", "from", "to", "not_on_holidays"];

/// The tariffs of a file, each with its section.
pub fn read<'a>(document: &'a Document, table: &'a Spanned<DeTable<'a>>) -> Vec<(Section<'a>, Tariff)> {
    let root = Section::new("", document.spot(0), table.get_ref(), &["tariff"]);
    let sections = root.each("tariff", "tariff", "name", &TARIFF);
    sections.into_iter().filter_map(|section| Some((section.clone(), tariff(&section)?))).collect()
}

fn tariff(section: &Section<'_>) -> Option<Tariff> {
    let text = |key: &str| section.need(key).and_then(|v| v.text()).map(String::from);
    let (name, source) = (text("name"), text("source"));
    let currency = section.need("currency").and_then(|v| v.currency());
    let valid_from = section.need("valid_from").and_then(|v| v.day());
    let valid_to = section.get("valid_to").map(|v| v.day());
    let standing =
        section.get("standing_per_day").map_or(Some(crate::units::Decimal::whole(0)), |v| v.number(legal::AMOUNT));
    let bands: Vec<Option<Band>> =
        section.each("band", "band", "name", &BAND).iter().map(|b| band(section, b)).collect();
    if bands.is_empty() {
        section.say_help("band", "there is no band", "a [[tariff.band]] without windows prices every hour");
        return None;
    }
    let tariff = Tariff {
        name: name?,
        source: source?,
        currency: currency?,
        valid_from: valid_from?,
        valid_to: match valid_to {
            Some(day) => Some(day?),
            None => None,
        },
        standing_per_day: standing?,
        bands: bands.into_iter().collect::<Option<_>>()?,
    };
    if let Some(last) = tariff.valid_to.filter(|last| *last < tariff.valid_from) {
        section.say("valid_to", &format!("valid_to {last} lies before valid_from {}", tariff.valid_from));
    }
    whole_week(section, &tariff.bands);
    Some(tariff)
}

fn band(tariff: &Section<'_>, section: &Section<'_>) -> Option<Band> {
    let name = section.need("name").and_then(|v| v.text());
    let price = section.need("price").and_then(|v| v.number(legal::PRICE));
    let windows = section.get("windows").map_or(Vec::new(), |v| v.list());
    let about = format!("{}: {}", tariff.about(), section.about());
    let windows: Option<Vec<Window>> =
        windows.iter().map(|v| v.section_about(&about, &WINDOW).and_then(|window| read_window(&window))).collect();
    Some(Band { name: name?.into(), price: price?, windows: windows? })
}

fn read_window(section: &Section<'_>) -> Option<Window> {
    let days = section.get("days").map_or(Some(Vec::new()), |v| v.weekdays());
    let months = section.get("months").map_or(Some(Vec::new()), |v| v.list().iter().map(month).collect());
    let time = |key: &str| section.get(key).map_or(Some(NaiveTime::MIN), |v| quarter(&v));
    let (from, to) = (time("from"), time("to"));
    let not_on_holidays = section.get("not_on_holidays").map_or(Some(false), |v| v.flag());
    let window = Window { days: days?, months: months?, from: from?, to: to?, not_on_holidays: not_on_holidays? };
    if window.to != NaiveTime::MIN && window.to <= window.from {
        section.say_help(
            "to",
            &format!("the window ends at {}, before it begins at {}", short(window.to), short(window.from)),
            format!(
                "a window lies within one day: write one from \"{}\" to \"00:00\" and one from \"00:00\" to \"{}\"",
                short(window.from),
                short(window.to)
            ),
        );
        return None;
    }
    Some(window)
}

fn month(value: &Value<'_>) -> Option<u32> {
    value.whole(legal::MONTH).map(|month| month as u32)
}

/// A clock time on a quarter hour, so that a price never cuts a slice.
fn quarter(value: &Value<'_>) -> Option<NaiveTime> {
    let time = value.clock()?;
    if time.minute() % 15 == 0 && time.second() == 0 {
        return Some(time);
    }
    value.wrong("a time on a quarter hour")
}

fn short(time: NaiveTime) -> String {
    time.format("%H:%M").to_string()
}

/// Notes the first hours that no band prices, and bands that can never hold.
fn whole_week(section: &Section<'_>, bands: &[Band]) {
    if let Some(rest) = bands.iter().position(|band| band.windows.is_empty()) {
        if let Some(never) = bands.get(rest + 1) {
            section.say_help(
                "band",
                &format!("band \"{}\" never holds: \"{}\" before it has no windows", never.name, bands[rest].name),
                "put the band without windows last",
            );
        }
        return;
    }
    let hours = |month: u32, day: Weekday, holiday: bool| -> Option<(u32, u32)> {
        let open =
            |quarter: &u32| !bands.iter().flat_map(|b| &b.windows).any(|w| holds(w, month, day, holiday, *quarter));
        let first = (0..96).find(open)?;
        Some((first, (first..96).find(|quarter| !open(quarter)).unwrap_or(96)))
    };
    for (month, holiday) in (1..=12).flat_map(|month| [(month, false), (month, true)]) {
        let days = [Weekday::Mon, Weekday::Tue, Weekday::Wed, Weekday::Thu, Weekday::Fri, Weekday::Sat, Weekday::Sun];
        let Some((day, (from, to))) = days.iter().find_map(|day| Some((day, hours(month, *day, holiday)?))) else {
            continue;
        };
        let named = u8::try_from(month).ok().and_then(|m| Month::try_from(m).ok()).map_or("", |m| m.name());
        let when = if holiday { "on holidays " } else { "" };
        section.say_help(
            "band",
            &format!("no band prices {when}{day} {} to {} in {named}", of_day(from), of_day(to)),
            "a last band without windows prices all other hours",
        );
        return;
    }
}

fn of_day(quarter: u32) -> String {
    format!("{:02}:{:02}", quarter / 4, quarter % 4 * 15)
}

fn holds(window: &Window, month: u32, day: Weekday, holiday: bool, quarter: u32) -> bool {
    let quarter_of = |time: NaiveTime| time.num_seconds_from_midnight() / 900;
    let end = if window.to == NaiveTime::MIN { 96 } else { quarter_of(window.to) };
    (window.days.is_empty() || window.days.contains(&day))
        && (window.months.is_empty() || window.months.contains(&month))
        && quarter_of(window.from) <= quarter
        && quarter < end
        && !(holiday && window.not_on_holidays)
}

/// Notes tariffs in another currency than the plant's, and two that begin on the same day.
pub fn agree(tariffs: &[(Section<'_>, Tariff)], currency: &str) {
    for (k, (section, tariff)) in tariffs.iter().enumerate() {
        if tariff.currency != currency {
            section.say_help(
                "currency",
                &format!("the tariff is in {}, but the plant reckons in {currency}", tariff.currency),
                "Inkwatt never converts money: enter the prices in the plant's currency",
            );
        }
        if let Some((_, other)) = tariffs[..k].iter().find(|(_, other)| other.valid_from == tariff.valid_from) {
            section.say("valid_from", &format!("\"{}\" begins on the same day", other.name));
        }
    }
}
