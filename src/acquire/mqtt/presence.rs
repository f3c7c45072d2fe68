//! Whether the agent is there: a retained message that it publishes at each connection and at its end, and that the broker
//! publishes in its place once the agent is lost (the will of MQTT 3.1.1, 3.1.2.5).

use crate::time::{At, Zone};
use rumqttc::{AsyncClient, LastWill, QoS};
use serde_json::json;

/// Where it is said, and in whose time.
#[derive(Clone, Debug)]
pub struct Presence {
    /// The topic.
    pub topic: String,
    /// The plant's zone.
    pub zone: Zone,
}

impl Presence {
    /// What the broker is to say once the agent is lost. It cannot know since when: whoever hears it does.
    pub(super) fn will(&self) -> LastWill {
        LastWill::new(&self.topic, json!({ "agent": "lost" }).to_string(), QoS::AtLeastOnce, true)
    }

    /// Says that the agent runs.
    pub(super) fn running(&self, client: &AsyncClient, now: At) {
        self.say(client, "running", now);
    }

    /// Says that the agent was stopped.
    pub(super) fn stopped(&self, client: &AsyncClient, now: At) {
        self.say(client, "stopped", now);
    }

    fn say(&self, client: &AsyncClient, agent: &str, now: At) {
        let said = json!({ "agent": agent, "since": self.zone.stamp(now) }).to_string();
        // Where there is no room, the connection is about to be lost, and it is said at the next.
        if client.try_publish(&self.topic, QoS::AtLeastOnce, true, said).is_err() {
            tracing::debug!(agent, "could not be said to the broker");
        }
    }
}
