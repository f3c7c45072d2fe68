//! One binary for all integration tests: a file for each capability.

mod agent;
#[cfg(feature = "demo")]
mod alerts;
mod attribute;
mod baseline;
mod bills;
#[cfg(feature = "demo")]
mod board;
mod carbon;
#[cfg(feature = "demo")]
mod certified;
mod cli;
#[cfg(feature = "demo")]
mod closing;
mod config;
#[cfg(feature = "demo")]
mod counting;
mod cost;
mod coverage;
mod demo;
#[cfg(feature = "demo")]
mod explain;
mod false_alarms;
mod filing;
mod import;
#[cfg(all(feature = "demo", feature = "influx"))]
mod influx;
mod kinds;
mod layering;
mod modbus;
mod mosquitto;
mod mqtt;
#[cfg(feature = "demo")]
mod rated;
mod reference;
mod report;
#[cfg(feature = "demo")]
mod scan;
mod serial;
mod sharing;
mod stats;
mod store;
mod supervised;
mod system;
#[cfg(feature = "demo")]
mod truth;
mod verify;
mod watch;
