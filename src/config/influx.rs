//! The database that readings, quarter hours and findings are forwarded to.

use super::secret::{self, Secret};
use super::section::Section;
use super::value::Value;
use std::path::{Path, PathBuf};

const INFLUX: [&str; 9] =
    ["url", "organisation", "bucket", "token", "token_env", "token_file", "readings", "authority_file", "plain_http"];

/// A bucket of an InfluxDB.
#[derive(Clone, Debug, PartialEq)]
pub struct Influx {
    /// Where its server is; no path.
    pub url: String,
    /// Whose bucket it is.
    pub organisation: String,
    /// What it is called.
    pub bucket: String,
    /// What allows to write to it.
    pub token: Secret,
    /// Whether readings are forwarded, or only quarter hours and findings.
    pub readings: bool,
    /// The file with the certificates that its server is trusted by as well (PEM).
    pub authority: Option<PathBuf>,
}

/// Reads the table `influx`; `Some(None)` where there is none, `None` after a problem.
pub fn read(root: &Section<'_>, folder: &Path) -> Option<Option<Influx>> {
    let Some(value) = root.get("influx") else { return Some(None) };
    let section = value.section_about("influx", &INFLUX)?;
    if !cfg!(feature = "influx") {
        section.say_help(
            "url",
            "this inkwatt was built without InfluxDB and can forward nothing",
            "take a build with the feature \"influx\", which is the usual one, or remove [influx]",
        );
        return None;
    }
    let plain_http = section.get("plain_http").map_or(Some(false), |flag| flag.flag());
    let url = section.need("url").and_then(|url| address(&url, plain_http == Some(true)));
    let name = |key: &str| section.need(key).and_then(|value| plain(&value));
    let (organisation, bucket) = (name("organisation"), name("bucket"));
    let readings = section.get("readings").map_or(Some(true), |flag| flag.flag());
    let authority = section.file("authority_file", folder);
    let token = secret::read(&section, "token", folder)?;
    if token.is_none() {
        section.say_help(
            "url",
            "no token is named, and InfluxDB takes nothing without one",
            "write the token into a file that only the agent may read and name it: token_file = \"secrets/influx\"",
        );
    }
    plain_http?;
    Some(Some(Influx {
        url: url?,
        organisation: organisation?,
        bucket: bucket?,
        token: token?,
        readings: readings?,
        authority: authority?,
    }))
}

/// A name that goes into a request.
fn plain(value: &Value<'_>) -> Option<String> {
    let text = value.text()?;
    match text.contains(char::is_control) || text.len() > 200 {
        true => value.wrong("a name of at most 200 letters in one line"),
        false => Some(text.into()),
    }
}

/// HTTPS, or plain HTTP to this very machine, or to any where somebody says so: the token goes with every request.
fn address(url: &Value<'_>, plain_http: bool) -> Option<String> {
    const SHAPE: &str = "an address such as \"https://influx.example:8086\"";
    let text = url.text()?;
    let Some((scheme @ ("http" | "https"), rest)) = text.split_once("://") else { return url.wrong(SHAPE) };
    let (place, path) = rest.split_once('/').unwrap_or((rest, ""));
    if !path.is_empty() {
        return url.wrong_help(
            "an address without a path, as InfluxDB is written to at the root of its server",
            "where a server in front of it adds a path, name InfluxDB itself or give it a host name of its own there",
        );
    }
    let (host, port) = match place.rsplit_once(':') {
        Some((host, port)) if !port.contains(']') => (host, port.parse().ok().filter(|port: &u16| *port > 0)),
        _ => (place, Some(1)),
    };
    let in_brackets = host.strip_prefix('[').and_then(|host| host.strip_suffix(']'));
    let is_host = match in_brackets {
        Some(host) => host.parse::<std::net::Ipv6Addr>().is_ok(),
        None => !host.is_empty() && host.bytes().all(|b| b.is_ascii_alphanumeric() || b".-".contains(&b)),
    };
    if !is_host || port.is_none() {
        return url.wrong(SHAPE);
    }
    let is_home = matches!(host, "127.0.0.1" | "localhost" | "[::1]");
    if scheme == "http" && !is_home && !plain_http {
        return url.wrong_help(
            "https://, as the token goes with every request",
            "where nobody else can read the network to it, plain_http = true allows http://",
        );
    }
    Some(format!("{scheme}://{place}"))
}
