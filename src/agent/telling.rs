//! The channels of the configuration, ready to send.

use super::reached::endpoint;
use crate::broker::Endpoint;
use crate::config::{Alerts, BROKER, Configuration};
use crate::forward::{Alert, Publisher, Webhook};
use crate::time::At;
use crate::watch::Manners;

/// Who is told of findings.
pub struct Channel {
    /// What it is called.
    pub name: String,
    pub(super) way: Way,
}

/// How a channel is reached.
pub(super) enum Way {
    Broker(Publisher),
    Webhook(Webhook),
    /// It cannot be, and why: what is due to it waits.
    None(String),
}

impl Channel {
    pub(super) fn post(&self, alert: &Alert, now: At) -> Result<(), String> {
        match &self.way {
            Way::Webhook(webhook) => webhook.send(alert, now),
            _ => Err("it is no webhook".into()),
        }
    }
}

/// The names of all channels.
pub(super) fn names(configuration: &Configuration) -> Vec<String> {
    let Alerts { topic, webhooks, .. } = &configuration.alerts;
    topic.iter().map(|_| BROKER.to_owned()).chain(webhooks.iter().map(|webhook| webhook.name.clone())).collect()
}

/// When the plant wants to hear nothing, and how much at most.
pub(super) fn manners(configuration: &Configuration) -> Manners {
    Manners { quiet: configuration.alerts.quiet, most_a_day: configuration.alerts.most_a_day as usize }
}

/// All channels.
pub fn channels(configuration: &Configuration) -> Vec<Channel> {
    let Alerts { topic, webhooks, .. } = &configuration.alerts;
    let broker = topic.iter().map(|topic| Channel {
        name: BROKER.into(),
        way: publisher(configuration, topic).map_or_else(Way::None, Way::Broker),
    });
    let webhooks = webhooks.iter().map(|webhook| Channel {
        name: webhook.name.clone(),
        way: posted(webhook).map_or_else(Way::None, Way::Webhook),
    });
    broker.chain(webhooks).collect()
}

fn publisher(configuration: &Configuration, topic: &str) -> Result<Publisher, String> {
    let broker = configuration.broker.as_ref().ok_or("there is no [mqtt]")?;
    let endpoint = endpoint(broker).map_err(|told| told.to_string())?;
    let client_id = format!("{}-alerts", broker.client_id);
    Ok(Publisher { endpoint: Endpoint { client_id, ..endpoint }, topic: topic.into() })
}

fn posted(webhook: &crate::config::Webhook) -> Result<Webhook, String> {
    let key = webhook.key.reveal().map_err(|told| told.to_string())?;
    let authority = match &webhook.authority {
        Some(path) => Some(std::fs::read(path).map_err(|fault| format!("{}: {fault}", path.display()))?),
        None => None,
    };
    let made = Webhook::new(&webhook.name, &webhook.url, key, authority.as_deref());
    made.map_err(|told| match &webhook.authority {
        Some(path) => format!("{}: {told}", path.display()),
        None => told,
    })
}
