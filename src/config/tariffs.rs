//! Tariffs.

use super::document::Document;
use super::legal;
use super::section::Section;
use super::terms;
use super::value::Value;
use crate::cost::{self, Band, Block, BlockSize, Tariff, Unbilled, Window};
use chrono::{Month, NaiveTime, Timelike, Weekday};
use toml::Spanned;
use toml::de::DeTable;

const TARIFF: [&str; 7] = ["name", "valid_from", "valid_to", "currency", "source", "standing_per_day", "band"];
const BAND: [&str; 4] = ["name", "price", "blocks", "windows"];
const BLOCK: [&str; 3] = ["kwh", "hours", "price"];
const WINDOW: [&str; 5] = ["days", "months", "from", "to", "not_on_holidays"];

/// The tariffs of a file, each with its section.
pub fn read<'a>(document: &'a Document, table: &'a Spanned<DeTable<'a>>) -> Vec<(Section<'a>, Tariff)> {
    let root = Section::new("", document.spot(0), table.get_ref(), &["tariff"]);
    let sections = root.each("tariff", "tariff", "name", &[&TARIFF[..], &terms::KEYS].concat());
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
    let terms = terms::read(section);
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
        terms: terms?,
    };
    let by_hours = |band: &Band| band.blocks.iter().any(|block| matches!(block.size, BlockSize::Hours(_)));
    if tariff.terms.demands.is_empty() && tariff.bands.iter().any(by_hours) {
        section.say("band", "blocks in hours are hours of a demand, but there is no [[tariff.demand]]");
    }
    if let Some(last) = tariff.valid_to.filter(|last| *last < tariff.valid_from) {
        section.say("valid_to", &format!("valid_to {last} lies before valid_from {}", tariff.valid_from));
    }
    whole_week(section, &tariff.bands);
    Some(tariff)
}

fn band(tariff: &Section<'_>, section: &Section<'_>) -> Option<Band> {
    let name = section.need("name").and_then(|v| v.text());
    let price = section.need("price").and_then(|v| v.number(legal::PRICE));
    let blocks: Vec<Option<Block>> =
        section.get("blocks").map_or(Vec::new(), |v| v.list()).iter().map(|v| block(tariff, section, v)).collect();
    let windows = windows(tariff, section);
    let blocks = blocks.into_iter().collect::<Option<_>>()?;
    Some(Band { name: name?.into(), price: price?, blocks, windows: windows? })
}

fn block(tariff: &Section<'_>, band: &Section<'_>, value: &Value<'_>) -> Option<Block> {
    let section = value.section_about(&format!("{}: {}", tariff.about(), band.about()), &BLOCK)?;
    let price = section.need("price").and_then(|v| v.number(legal::PRICE));
    let size = |key: &str| section.get(key).map(|v| v.number(legal::BLOCK));
    let size = match (size("kwh"), size("hours")) {
        (Some(kwh), None) => BlockSize::Kwh(kwh?),
        (None, Some(hours)) => BlockSize::Hours(hours?),
        _ => {
            section.say("kwh", "a block has either kwh or hours, its kWh for each kW or kVA of the demand");
            return None;
        }
    };
    Some(Block { size, price: price? })
}

/// The windows of a part of a tariff; all hours where it has none.
pub fn windows(tariff: &Section<'_>, section: &Section<'_>) -> Option<Vec<Window>> {
    let windows = section.get("windows").map_or(Vec::new(), |v| v.list());
    let about = format!("{}: {}", tariff.about(), section.about());
    windows.iter().map(|v| v.section_about(&about, &WINDOW).and_then(|window| read_window(&window))).collect()
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

/// Notes tariffs in another currency than the plant's, and the first day on which two hold or none between them does.
pub fn agree(tariffs: &[(Section<'_>, Tariff)], currency: &str) {
    for (section, tariff) in tariffs {
        if tariff.currency != currency {
            section.say_help(
                "currency",
                &format!("the tariff is in {}, but the plant reckons in {currency}", tariff.currency),
                "Inkwatt never converts money: enter the prices in the plant's currency",
            );
        }
    }
    let mut order: Vec<&(Section<'_>, Tariff)> = tariffs.iter().collect();
    order.sort_by_key(|(_, tariff)| tariff.valid_from);
    for pair in order.windows(2) {
        let ((_, one), (section, next)) = (pair[0], pair[1]);
        match cost::fault(&[one.clone(), next.clone()]) {
            Some(Unbilled::Gap(first, last)) => section.say_help(
                "valid_from",
                &format!("no tariff holds from {first} to {last}, between \"{}\" and this one", one.name),
                "leave out valid_to of the one before to let it hold until this one begins",
            ),
            Some(_) => section.say_help(
                "valid_from",
                &format!("\"{}\" holds on {} as well", one.name, next.valid_from),
                "end one tariff before the next begins; without valid_to it ends by itself",
            ),
            None => {}
        }
    }
}
