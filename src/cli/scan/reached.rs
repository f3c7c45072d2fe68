//! What a line is reached by, as flags: those of a `[[line]]` of the configuration.

use crate::cli::Failure;
use crate::config::stray_line;
use crate::sources::Line;
use anyhow::anyhow;
use serde_json::json;

/// How a line that no configuration names is spoken to.
#[derive(clap::Args)]
pub struct Reached {
    /// How requests are framed: tcp or rtu-over-tcp for host:port, rtu for a device.
    #[arg(long, value_name = "FRAMING")]
    framing: Option<String>,
    /// Bits a second of a serial line; 19200 if absent.
    #[arg(long, value_name = "BAUD")]
    baud: Option<u32>,
    /// Parity of a serial line: even (if absent), odd or none.
    #[arg(long, value_name = "PARITY")]
    parity: Option<String>,
    /// Stop bits of a serial line: 1 (if absent) or 2.
    #[arg(long, value_name = "BITS")]
    stop_bits: Option<u8>,
}

impl Reached {
    /// The line at host:port or a device.
    pub(in crate::cli) fn line(&self, endpoint: &str, timeout: &str) -> Result<Line, Failure> {
        stray_line(&self.keys(endpoint, timeout)).map_err(|told| Failure::unusable(anyhow!(told)))
    }

    /// The keys of its section.
    pub(in crate::cli) fn keys(&self, endpoint: &str, timeout: &str) -> String {
        let usual = if endpoint.starts_with('/') { "rtu" } else { "tcp" };
        let keys = [
            ("endpoint", Some(json!(endpoint))),
            ("framing", Some(json!(self.framing.as_deref().unwrap_or(usual)))),
            ("timeout", Some(json!(timeout))),
            ("baud", self.baud.map(|baud| json!(baud))),
            ("parity", self.parity.as_ref().map(|parity| json!(parity))),
            ("stop_bits", self.stop_bits.map(|bits| json!(bits))),
        ];
        // A number or text of JSON is one of TOML.
        keys.into_iter().filter_map(|(key, value)| Some(format!("{key} = {}\n", value?))).collect()
    }
}
