//! What leaves the house: alerts about findings, by MQTT and by webhook.

mod alert;
mod broker;
mod signature;
mod webhook;

pub use alert::{Alert, SCHEMA};
pub use broker::{Publisher, topic};
pub use webhook::Webhook;
