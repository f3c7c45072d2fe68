//! Alerts by MQTT: a retained message for each rule and thing, so that whoever subscribes later sees how it stands.
//!
//! Alerts are rare: a connection is made for those that are due and ended once the broker has acknowledged them.

use super::alert::{Alert, SCHEMA};
use crate::broker::Endpoint;
use crate::units::hex;
use rumqttc::{AsyncClient, Event, EventLoop, Packet, QoS};
use sha2::{Digest, Sha256};
use std::time::Duration;
use tokio::time::timeout;

/// How long the broker may take for each message.
const PATIENCE: Duration = Duration::from_secs(10);
/// Letters of a level that are kept.
const LEVEL: usize = 80;

/// Where alerts are published.
pub struct Publisher {
    /// The broker, with a client id that is no other client's.
    pub endpoint: Endpoint,
    /// The topic above all others.
    pub topic: String,
}

impl Publisher {
    /// Publishes alerts one after the other, with the schema before them; what came of each.
    pub async fn send(&self, alerts: &[Alert]) -> Vec<Result<(), String>> {
        let mut messages = vec![(format!("{}/schema", self.topic), SCHEMA.as_bytes().to_vec())];
        messages.extend(alerts.iter().map(|alert| (topic(&self.topic, alert), alert.bytes())));
        let mut options = self.endpoint.options();
        options.set_clean_session(true);
        let (client, mut events) = AsyncClient::new(options, 10);
        let mut done = 0;
        let mut fault = String::new();
        for (topic, message) in messages {
            match self.publish(&client, &mut events, topic, message).await {
                Ok(()) => done += 1,
                Err(told) => {
                    fault = told;
                    break;
                }
            }
        }
        if client.try_disconnect().is_ok() {
            // The broker learns that nothing more comes; whether it does is its own affair.
            let _ = timeout(Duration::from_secs(1), async { while events.poll().await.is_ok() {} }).await;
        }
        (1..=alerts.len()).map(|place| if place < done { Ok(()) } else { Err(fault.clone()) }).collect()
    }

    /// Publishes one message and waits until the broker has it.
    async fn publish(
        &self,
        client: &AsyncClient,
        events: &mut EventLoop,
        topic: String,
        message: Vec<u8>,
    ) -> Result<(), String> {
        client.try_publish(topic, QoS::AtLeastOnce, true, message).map_err(|fault| fault.to_string())?;
        let acknowledged = async {
            loop {
                match events.poll().await {
                    Ok(Event::Incoming(Packet::PubAck(_))) => return Ok(()),
                    Ok(_) => {}
                    Err(fault) => return Err(format!("the broker: {}", self.endpoint.told(&fault))),
                }
            }
        };
        timeout(PATIENCE, acknowledged).await.unwrap_or_else(|_| Err("the broker does not answer".into()))
    }
}

/// The topic of an alert: below the one of the plant its rule and its thing.
pub fn topic(above: &str, alert: &Alert) -> String {
    format!("{above}/{}/{}", alert.rule, level(&alert.about))
}

/// A thing as one level of a topic. Whatever may not stand there becomes a hyphen; a name that does not fit ends in its hash.
fn level(about: &str) -> String {
    let plain: String =
        about.chars().map(|c| if c.is_ascii_alphanumeric() || "._-".contains(c) { c } else { '-' }).collect();
    let is_told = plain.len() <= LEVEL && about.chars().all(|c| c.is_ascii_alphanumeric() || "._-/ ".contains(c));
    if is_told {
        return plain;
    }
    let cut: String = plain.chars().take(LEVEL).collect();
    format!("{cut}-{}", &hex(&Sha256::digest(about.as_bytes()))[..8])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_thing_is_one_level_whatever_it_is_called() {
        assert_eq!(level("p1/s6"), "p1-s6");
        assert_eq!(level("meter p1-s6"), "meter-p1-s6");
        for hostile in ["a/#", "+/+", "<b>\u{0}", &"x".repeat(10_000)] {
            let level = level(hostile);
            assert!(level.len() <= LEVEL + 9 && !level.contains(['#', '+', '/', '\0']), "{level}");
        }
        assert_ne!(level("a#"), level("a+"));
    }
}
