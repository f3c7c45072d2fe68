//! Who is told of findings, and when.

use super::legal;
use super::mqtt;
use super::secret::{self, Secret};
use super::section::Section;
use super::value::Value;
use chrono::NaiveTime;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

const ALERTS: [&str; 5] = ["quiet_from", "quiet_to", "most_a_day", "mqtt", "webhook"];
const MQTT: [&str; 1] = ["topic"];
const WEBHOOK: [&str; 5] = ["name", "url", "key_env", "key_file", "authority_file"];
/// The most alerts of a day where nobody says another number (own judgement).
const MOST: u32 = 20;
/// The name of the channel by MQTT.
pub const BROKER: &str = "mqtt";

/// Who is told of findings, and when.
#[derive(Clone, Debug, PartialEq)]
pub struct Alerts {
    /// From when to when by the local clock nothing is sent.
    pub quiet: Option<(NaiveTime, NaiveTime)>,
    /// The most alerts that a channel is sent in a day.
    pub most_a_day: u32,
    /// The topic above those of alerts, at the broker of `[mqtt]`; `None` where none are published.
    pub topic: Option<String>,
    /// Where alerts are posted.
    pub webhooks: Vec<Webhook>,
}

/// Where alerts are posted.
#[derive(Clone, Debug, PartialEq)]
pub struct Webhook {
    /// What it is called, also as the id of its key.
    pub name: String,
    /// Where it is.
    pub url: String,
    /// The key that signs what is posted.
    pub key: Secret,
    /// The file with the certificates that its server is trusted by (PEM); `None` for those that browsers trust.
    pub authority: Option<PathBuf>,
}

/// Reads the table `alerts`. `has_broker` tells whether there is a broker to publish at.
pub fn read(root: &Section<'_>, has_broker: bool, folder: &Path) -> Option<Alerts> {
    let none = Alerts { quiet: None, most_a_day: MOST, topic: None, webhooks: Vec::new() };
    let Some(value) = root.get("alerts") else { return Some(none) };
    let section = value.section_about("alerts", &ALERTS)?;
    let quiet = match (section.get("quiet_from"), section.get("quiet_to")) {
        (None, None) => Some(None),
        (Some(from), Some(to)) => from.clock().zip(to.clock()).map(Some),
        _ => {
            section.say("quiet_from", "quiet_from and quiet_to go together; one of them is missing");
            None
        }
    };
    let most = match section.get("most_a_day") {
        Some(most) => most.whole(legal::ALERTS_A_DAY).map(|most| most as u32),
        None => Some(MOST),
    };
    let topic = match section.get("mqtt") {
        Some(mqtt) => topic(&mqtt, has_broker).map(Some),
        None => Some(None),
    };
    let each = section.each("webhook", "webhook", "name", &WEBHOOK);
    let webhooks: Option<Vec<Webhook>> = each.iter().map(|section| webhook(section, folder)).collect();
    let webhooks = webhooks?;
    let mut names = BTreeSet::from([BROKER]);
    for (section, webhook) in each.iter().zip(&webhooks) {
        if !names.insert(&webhook.name) {
            section.say("name", &format!("\"{}\" is the name of another channel; each has its own", webhook.name));
        }
    }
    Some(Alerts { quiet: quiet?, most_a_day: most?, topic: topic?, webhooks })
}

fn topic(mqtt: &Value<'_>, has_broker: bool) -> Option<String> {
    let section = mqtt.section_about("alerts.mqtt", &MQTT)?;
    if !has_broker {
        section.say("topic", "alerts are published at the broker of [mqtt], and there is none");
    }
    mqtt::published(&section.need("topic")?)
}

fn webhook(section: &Section<'_>, folder: &Path) -> Option<Webhook> {
    let name = section.need("name").and_then(|name| name.text());
    let url = section.need("url").and_then(|url| address(&url));
    let key = secret::read(section, "key", folder)?;
    if key.is_none() {
        section.say_help(
            "name",
            "what is posted is signed, and no key is named",
            "write a long random text into a file and name it: key_file = \"secrets/webhook\"",
        );
    }
    let authority = section.file("authority_file", folder);
    Some(Webhook { name: name?.into(), url: url?, key: key?, authority: authority? })
}

/// HTTPS, or plain HTTP to this very machine.
fn address(url: &Value<'_>) -> Option<String> {
    let text = url.text()?;
    let home = ["http://127.0.0.1", "http://localhost", "http://[::1]"];
    let is_home = home
        .iter()
        .any(|home| text.strip_prefix(home).is_some_and(|rest| rest.is_empty() || rest.starts_with([':', '/'])));
    let is_there = text.strip_prefix("https://").is_some_and(|rest| !rest.is_empty() && !rest.starts_with('/'));
    let is_plain = !text.contains('@') && !text.contains(char::is_whitespace) && text.is_ascii();
    match is_plain && (is_there || is_home) {
        true => Some(text.into()),
        false => url.wrong("an address such as \"https://alerts.example/inkwatt\", without a name and password in it"),
    }
}
