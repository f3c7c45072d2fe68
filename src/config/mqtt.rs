//! The MQTT broker, and which messages carry which values.

use super::counts::Counts;
use super::known::Known;
use super::section::Section;
use super::value::Value;
use super::{Broker, BrokerTls, legal, secret, tls, unit};
use crate::names::MeterId;
use crate::plant::{Covers, Ratio};
use crate::readings::Quantity;
use crate::sources::{TopicMapping, TopicTarget, check_topic};
use std::path::Path;

const MQTT: [&str; 12] = [
    "host",
    "port",
    "client_id",
    "username",
    "password",
    "password_env",
    "password_file",
    "authority_file",
    "certificate_file",
    "key_file",
    "presence",
    "topic",
];
/// The ports of the standard, in the clear and by TLS (IANA, services mqtt and secure-mqtt).
const PORTS: [i64; 2] = [1883, 8883];
const TOPIC: [&str; 7] = ["pattern", "is", "unit", "value", "time", "meter", "metrics"];
const METRIC: [&str; 4] = ["name", "meter", "is", "unit"];

/// The broker; `Some(None)` where there is none, `None` after a problem.
pub fn read(root: &Section<'_>, known: &Known, counts: Counts<'_, '_>, folder: &Path) -> Option<Option<Broker>> {
    let Some(value) = root.get("mqtt") else { return Some(None) };
    let section = value.section_about("mqtt", &MQTT)?;
    let host = section.need("host").and_then(|v| v.text());
    let tls = secured(&section, folder);
    let usual = PORTS[usize::from(matches!(tls, Some(Some(_))))];
    let port = section.get("port").map_or(Some(usual), |v| v.whole(legal::PORT));
    let client_id = section.need("client_id").and_then(|v| v.text());
    let username = section.label("username");
    let password = secret::read(&section, "password", folder);
    let presence = section.get("presence").map_or(Some(None), |v| published(&v).map(Some));
    let topics: Vec<Option<Vec<TopicMapping>>> =
        section.each("topic", "topic", "pattern", &TOPIC).iter().map(|s| topic(s, known, counts)).collect();
    if password.as_ref().is_some_and(Option::is_some) && username.is_none() {
        section.say("username", "a password is named, but username is missing");
    }
    let topics: Vec<Vec<TopicMapping>> = topics.into_iter().collect::<Option<_>>()?;
    Some(Some(Broker {
        host: host?.into(),
        port: port? as u16,
        client_id: client_id?.into(),
        username,
        password: password?,
        tls: tls?,
        presence: presence?,
        topics: topics.into_iter().flatten().collect(),
    }))
}

/// The files of TLS; `Some(None)` where the connection is in the clear.
fn secured(section: &Section<'_>, folder: &Path) -> Option<Option<BrokerTls>> {
    match (section.file("authority_file", folder)?, tls::read(section, folder)?) {
        (Some(authority), own) => Some(Some(BrokerTls { authority, own })),
        (None, None) => Some(None),
        (None, Some(_)) => {
            section.say_help(
                "certificate_file",
                "certificate_file is shown over TLS only, and authority_file is missing",
                "name the certificates that the broker's must be from (PEM): authority_file = \"tls/ca.pem\"",
            );
            None
        }
    }
}

/// A topic that Inkwatt publishes at or below.
pub fn published(value: &Value<'_>) -> Option<String> {
    let text = value.text()?;
    let is_plain = !text.contains(['+', '#']) && !text.contains(char::is_control) && text.len() <= 200;
    let is_level = !text.starts_with(['/', '$']) && !text.ends_with('/');
    match is_plain && is_level {
        true => Some(text.into()),
        false => value.wrong("a topic such as \"inkwatt/findings\", without + and #"),
    }
}

/// The levels that a pattern names.
#[derive(Default)]
struct Levels {
    meter: bool,
    press: bool,
    station: bool,
}

fn topic(section: &Section<'_>, known: &Known, counts: Counts<'_, '_>) -> Option<Vec<TopicMapping>> {
    let at = section.need("pattern");
    let pattern = at.as_ref().and_then(|v| v.text());
    let levels = at.as_ref().zip(pattern).and_then(|(v, pattern)| levels(v, pattern));
    let (value, time) = (section.get("value").map(|v| pointer(&v)), section.get("time").map(|v| pointer(&v)));
    let is = section.need("is");
    let (pattern, levels, is) = (pattern?, levels?, is?);
    let said = |pointer: Option<Option<String>>| match pointer {
        Some(read) => read.map(Some),
        None => Some(None),
    };
    let (value, time) = (said(value), said(time));
    let one = |target: Option<TopicTarget>| target.map(|target| vec![(pattern.to_string(), target)]);
    let targets = match is.text()? {
        "job" => one(needs(section, &levels, "{press}", levels.press).map(|()| TopicTarget::Job)),
        "sparkplug" => one(sparkplug(section, known, counts)),
        _ => quantity(section, &is, pattern, &levels, known, counts),
    };
    let (value, time) = (value?, time?);
    let mapping = |(pattern, target)| TopicMapping { pattern, target, value: value.clone(), time: time.clone() };
    let mappings: Vec<TopicMapping> = targets?.into_iter().map(mapping).collect();
    // What the router would refuse at the start of the agent is refused here, where the line is known.
    if let Some(refusal) = mappings.iter().find_map(|mapping| check_topic(mapping).err()) {
        section.say("pattern", &format!("found {}, expected {}", refusal.found, refusal.expected));
        return None;
    }
    Some(mappings)
}

/// A quantity of what the levels name. A pattern with `{press}` and `{station}` may carry a quantity of the meter that
/// covers the station: it becomes one mapping for each such meter.
fn quantity(
    section: &Section<'_>,
    is: &Value<'_>,
    pattern: &str,
    levels: &Levels,
    known: &Known,
    counts: Counts<'_, '_>,
) -> Option<Vec<(String, TopicTarget)>> {
    let quantity = is.quantity()?;
    let factor = counts.of_signal(section.get("unit"), quantity, |text| section.say("unit", text));
    let pattern = pattern.to_string();
    if !quantity.of_meter() {
        let target = match quantity {
            Quantity::Speed | Quantity::WebLength => {
                needs(section, levels, "{press}", levels.press)?;
                TopicTarget::Press { quantity, factor: factor? }
            }
            Quantity::LampLevel | Quantity::LampKind | Quantity::LampState => {
                needs(section, levels, "{press} and {station}", levels.press && levels.station)?;
                TopicTarget::Station { quantity, factor: factor? }
            }
            _ => return is.refuse(&format!("cannot be {quantity}: it does not come by MQTT")),
        };
        return Some(vec![(pattern, target)]);
    }
    if let Some(value) = section.get("meter") {
        let meter = value.known("meter", &known.meters).map(MeterId::from)?;
        let factor = counts.of_meter(factor?, quantity, &meter, &value)?;
        return Some(vec![(pattern, TopicTarget::Meter { meter: Some(meter), quantity, factor })]);
    }
    if levels.meter {
        return any_meter(section, quantity, factor?, counts)
            .map(|factor| vec![(pattern, TopicTarget::Meter { meter: None, quantity, factor })]);
    }
    needs(section, levels, "{meter}, or {press} and {station},", levels.press && levels.station)?;
    let stations = counts.0.iter().filter_map(|read| match &read.meter.covers {
        Covers::Station(station) => Some((station.as_str().split_once('/')?, &read.meter.id)),
        _ => None,
    });
    let factor = factor?;
    let each = stations.map(|((press, station), meter)| {
        let topic = pattern.replace("{press}", press).replace("{station}", station);
        let factor = counts.of_meter(factor, quantity, meter, is)?;
        Some((topic, TopicTarget::Meter { meter: Some(meter.clone()), quantity, factor }))
    });
    each.collect()
}

/// The factor for a pattern with `{meter}`: one for all, so that the counts of all meters that are not polled must be
/// of one size.
fn any_meter(section: &Section<'_>, quantity: Quantity, unit: Ratio, counts: Counts<'_, '_>) -> Option<Ratio> {
    let is = section.need("is")?;
    let unpolled = counts.0.iter().filter(|read| read.modbus.is_none());
    let factors: Option<Vec<Ratio>> =
        unpolled.map(|read| counts.of_meter(unit, quantity, &read.meter.id, &is)).collect();
    let factors = factors?;
    if factors.windows(2).any(|pair| pair[0] != pair[1]) {
        section.say_help(
            "pattern",
            "the meters that are not polled count in different steps",
            "write a topic for each of them, with its meter",
        );
        return None;
    }
    Some(factors.first().copied().unwrap_or(unit))
}

fn sparkplug(section: &Section<'_>, known: &Known, counts: Counts<'_, '_>) -> Option<TopicTarget> {
    let metrics = section.need("metrics")?.list();
    let metric = |value: &Value<'_>| {
        let metric = value.section(&METRIC)?;
        let name = metric.need("name").and_then(|v| v.text());
        let at = metric.need("meter");
        let meter = at.as_ref().and_then(|v| v.known("meter", &known.meters)).map(MeterId::from);
        let quantity = metric.need("is").and_then(|v| meter_quantity(&v));
        let unit = metric.need("unit").zip(quantity).and_then(|(v, quantity)| v.unit(quantity));
        let (meter, quantity) = (meter?, quantity?);
        let factor = counts.of_meter(unit?, quantity, &meter, &at?)?;
        Some((name?.to_string(), meter, quantity, factor))
    };
    let metrics: Vec<Option<_>> = metrics.iter().map(metric).collect();
    Some(TopicTarget::Sparkplug { metrics: metrics.into_iter().collect::<Option<_>>()? })
}

/// A quantity that belongs to a meter.
pub fn meter_quantity(value: &Value<'_>) -> Option<Quantity> {
    let quantity = value.quantity()?;
    if quantity.of_meter() && unit::has_unit(quantity) {
        return Some(quantity);
    }
    value.wrong("a quantity of a meter, such as import or power")
}

/// Checks the levels of a pattern: each a fixed word or one of the known names, once.
fn levels(value: &Value<'_>, pattern: &str) -> Option<Levels> {
    let mut levels = Levels::default();
    for level in pattern.split('/') {
        let seen = match level {
            "{meter}" => &mut levels.meter,
            "{press}" => &mut levels.press,
            "{station}" => &mut levels.station,
            _ if level.contains(['+', '#', '{', '}']) => {
                value.say_help(
                    &format!("level \"{level}\" of pattern is not known"),
                    "a level is a fixed word, {meter}, {press} or {station}",
                );
                return None;
            }
            _ => continue,
        };
        if std::mem::replace(seen, true) {
            return value.refuse(&format!("names {level} twice"));
        }
    }
    Some(levels)
}

/// Notes levels that a pattern lacks.
fn needs(section: &Section<'_>, levels: &Levels, wanted: &str, there: bool) -> Option<()> {
    if !there {
        let found = [(levels.meter, "{meter}"), (levels.press, "{press}"), (levels.station, "{station}")];
        let found: Vec<&str> = found.iter().filter(|(seen, _)| *seen).map(|(_, name)| *name).collect();
        let found = if found.is_empty() { "none".into() } else { found.join(" and ") };
        section.say("pattern", &format!("pattern must name {wanted} for what the message is, found {found}"));
    }
    there.then_some(())
}

/// A JSON Pointer (RFC 6901).
fn pointer(value: &Value<'_>) -> Option<String> {
    let text = value.text()?;
    if text.starts_with('/') {
        return Some(text.into());
    }
    value.wrong_help("a JSON Pointer (RFC 6901)", &format!("write \"/{}\"", text.replace('.', "/")))
}
