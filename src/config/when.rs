//! Days, instants, clock times and lengths of time, as people write them.

use super::legal::Legal;
use super::value::Value;
use crate::time::{At, Resolved, Zone};
use chrono::{NaiveDate, NaiveDateTime, NaiveTime, Weekday};

/// Reads an instant: a day (its first moment), a local date and time, or one with an offset. The error says what is
/// wrong with it and, for an hour that the clock shows twice, which two instants it may mean.
pub fn instant(zone: Zone, text: &str) -> Result<At, String> {
    if let Some(at) = At::parse(&text.replacen(' ', "T", 1)) {
        return Ok(at);
    }
    if let Some(day) = day(text) {
        return Ok(zone.day(day).start);
    }
    let local = local(text).ok_or_else(|| {
        format!("must be a day such as 2026-02-02 or an instant such as 2026-02-02T06:00:00, found \"{text}\"")
    })?;
    match zone.resolve(local) {
        Resolved::One(at) => Ok(at),
        Resolved::Two(first, second) => {
            let (first, second) = (zone.stamp(first), zone.stamp(second));
            Err(format!("{text} shows twice, since the clock is set back: write {first} or {second}"))
        }
        Resolved::Never => Err(format!("{text} never shows in {}, since the clock is set forward", zone.0)),
    }
}

/// Reads a day such as `2026-02-02`.
pub fn day(text: &str) -> Option<NaiveDate> {
    (text.len() == 10).then(|| NaiveDate::parse_from_str(text, "%Y-%m-%d").ok())?
}

fn local(text: &str) -> Option<NaiveDateTime> {
    let text = text.replacen(' ', "T", 1);
    ["%Y-%m-%dT%H:%M:%S%.f", "%Y-%m-%dT%H:%M"].iter().find_map(|f| NaiveDateTime::parse_from_str(&text, f).ok())
}

/// Reads a length of time such as `500ms`, `10s`, `30min` or `1h`, in milliseconds.
pub fn duration(text: &str) -> Option<i64> {
    let split = text.find(|c: char| !c.is_ascii_digit())?;
    let (number, unit) = text.split_at(split);
    let unit = match unit.trim() {
        "ms" => 1,
        "s" => 1_000,
        "min" => 60_000,
        "h" => 3_600_000,
        _ => return None,
    };
    number.parse::<i64>().ok()?.checked_mul(unit)
}

impl Value<'_> {
    /// A day.
    pub fn day(&self) -> Option<NaiveDate> {
        let found = self.written().and_then(|text| day(&text));
        found.or_else(|| self.wrong("a day such as 2026-02-02"))
    }

    /// An instant.
    pub fn instant(&self, zone: Zone) -> Option<At> {
        let Some(text) = self.written() else {
            return self.wrong("a day such as 2026-02-02 or an instant such as 2026-02-02T06:00:00");
        };
        instant(zone, &text).map_err(|told| self.refuse::<()>(&told)).ok()
    }

    /// A clock time.
    pub fn clock(&self) -> Option<NaiveTime> {
        let read = |text: String| ["%H:%M", "%H:%M:%S"].iter().find_map(|f| NaiveTime::parse_from_str(&text, f).ok());
        self.written().and_then(read).or_else(|| self.wrong("a clock time such as \"06:00\""))
    }

    /// A length of time in milliseconds.
    pub fn duration(&self, legal: Legal) -> Option<i64> {
        let millis = self.written().and_then(|text| duration(&text));
        match millis {
            Some(millis) if legal.allows_whole(millis) => Some(millis),
            Some(_) => self.wrong(legal.word),
            None => self.wrong("a length of time such as \"500ms\", \"10s\" or \"30min\""),
        }
    }

    /// Weekdays: `"mon-fri"`, `"sat sun"`, or a list of such texts.
    pub fn weekdays(&self) -> Option<Vec<Weekday>> {
        let mut days = Vec::new();
        for item in self.list() {
            for word in item.text()?.split([' ', ',']).filter(|word| !word.is_empty()) {
                let Some(found) = span_of_days(word) else {
                    return item.wrong("weekdays such as \"mon-fri\" or \"sat sun\"");
                };
                days.extend(found);
            }
        }
        days.sort_by_key(Weekday::num_days_from_monday);
        days.dedup();
        Some(days)
    }
}

/// `mon`, or `mon-fri`.
fn span_of_days(word: &str) -> Option<Vec<Weekday>> {
    let named = |word: &str| -> Option<Weekday> { (word.len() == 3).then(|| word.parse().ok())? };
    let Some((first, last)) = word.split_once('-') else { return Some(vec![named(word)?]) };
    let (first, last) = (named(first)?, named(last)?);
    let mut days = vec![first];
    let mut day = first;
    while day != last {
        day = day.succ();
        days.push(day);
    }
    Some(days)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn london() -> Zone {
        Zone::parse("Europe/London").expect("a zone")
    }

    #[test]
    fn an_instant_is_a_day_a_local_time_or_one_with_an_offset() {
        let expected = At::parse("2026-07-01T00:00:00+01:00").ok_or(String::new());
        for text in ["2026-07-01", "2026-07-01T00:00", "2026-07-01 00:00:00", "2026-06-30T23:00:00Z"] {
            assert_eq!(instant(london(), text), expected, "{text}");
        }
    }

    /// The clock goes back on 2025-10-26 at 02:00 and forward on 2026-03-29 at 01:00 (IANA time zone database).
    #[test]
    fn hours_that_show_twice_or_never_are_refused_with_the_reason() {
        assert_eq!(
            instant(london(), "2025-10-26T01:30:00"),
            Err("2025-10-26T01:30:00 shows twice, since the clock is set back: write 2025-10-26T01:30:00+01:00 \
                 or 2025-10-26T01:30:00+00:00"
                .into())
        );
        assert_eq!(
            instant(london(), "2026-03-29T01:30:00"),
            Err("2026-03-29T01:30:00 never shows in Europe/London, since the clock is set forward".into())
        );
    }

    #[test]
    fn lengths_of_time_carry_their_unit() {
        assert_eq!(["500ms", "10s", "30min", "1h"].map(duration), [500, 10_000, 1_800_000, 3_600_000].map(Some));
        assert_eq!(["10", "s", "1.5s", "-1s", "10 parsecs", ""].map(duration), [None; 6]);
    }

    #[test]
    fn a_span_of_weekdays_may_go_over_the_weekend() {
        use Weekday::{Fri, Mon, Sat, Sun};
        assert_eq!(span_of_days("fri-mon"), Some(vec![Fri, Sat, Sun, Mon]));
        assert_eq!(span_of_days("monday"), None);
    }
}
