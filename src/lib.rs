//! Inkwatt finds out what came of a promise: what presses draw before and after their lamps are changed from
//! arc to LED, whose energy it is, and what it costs.
//!
//! The modules stand in the order in which energy flows; a module uses only those above it.
//! Layers 0 to 3 are pure: no files, no sockets, no clock, no printing.

// 0 words
pub mod units;
pub mod time;
pub mod names;
pub mod found;

// 1 facts
pub mod plant;
pub mod readings;
pub mod sources;
pub mod broker;

// 2 calculation
pub mod stats;
pub mod attribute;
pub mod cost;
pub mod carbon;
pub mod verify;
pub mod watch;
pub mod closing;

// 3 presentation
pub mod report;

// 4 edges
pub mod config;
pub mod acquire;
pub mod store;
pub mod forward;
#[cfg(feature = "demo")]
pub mod demo;

// 5 wiring
pub mod agent;
pub mod board;
pub mod cli;
