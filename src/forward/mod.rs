//! What leaves the house: alerts about findings, by MQTT and by webhook, and lines for InfluxDB.

mod alert;
mod broker;
pub mod influx;
mod signature;
mod webhook;

pub use alert::{Alert, SCHEMA};
pub use broker::{Publisher, topic};
pub use webhook::Webhook;
