//! Whether what the agent connects to is there: name known, port open. Nothing is said to it.

use super::Checked;
use crate::acquire::modbus::Told;
use crate::agent::ask_to_poll;
use crate::config::Configuration;
use crate::sources::{Framing, Line};
use std::path::Path;
use std::time::Duration;
use tokio::net::{TcpStream, lookup_host};
use tokio::runtime::Runtime;
use tokio::time::timeout;

/// How long a name or a connection may take.
const PATIENCE: Duration = Duration::from_secs(3);

/// A place to connect to: what it is for, and `host:port`.
type Place = (String, String);

/// The lines, the broker, the database and the receivers of alerts. Where an agent runs, it says whether it reaches the
/// lines: a gateway may allow one connection.
pub(super) fn reached(plant: &Path, configuration: &Configuration, runs: bool) -> Vec<Checked> {
    let lines = || configuration.lines.iter().filter(|line| !matches!(line.framing, Framing::Rtu(_)));
    let mut all = Vec::new();
    let mut places = others(configuration);
    match runs.then(|| ask_to_poll(plant)) {
        Some(Ok(Some(told))) => all.extend(lines().map(|line| by_agent(line, &told))),
        Some(Err(fault)) => all.extend(lines().map(|line| unanswered(line, &fault.to_string()))),
        // None runs, or it has ended meanwhile.
        None | Some(Ok(None)) => {
            places.splice(0..0, lines().map(|line| (format!("line {}", line.id), line.endpoint.clone())));
        }
    }
    all.extend(connected(places));
    all
}

/// The places beside the lines.
fn others(configuration: &Configuration) -> Vec<Place> {
    let broker = configuration.broker.iter().map(|broker| ("broker".into(), place(&broker.host, broker.port)));
    let influx = configuration.influx.iter().map(|influx| ("InfluxDB".into(), of_url(&influx.url)));
    let webhooks = configuration.alerts.webhooks.iter();
    let webhooks = webhooks.map(|webhook| (format!("webhook {}", webhook.name), of_url(&webhook.url)));
    broker.chain(influx).chain(webhooks).collect()
}

/// `host:port`, an address of version 6 in brackets.
fn place(host: &str, port: u16) -> String {
    if host.contains(':') && !host.starts_with('[') { format!("[{host}]:{port}") } else { format!("{host}:{port}") }
}

/// `host:port` of an address that the configuration has looked at.
fn of_url(url: &str) -> String {
    let (scheme, rest) = url.split_once("://").unwrap_or(("https", url));
    let place = rest.split(['/', '?', '#']).next().unwrap_or_default();
    let has_port = place.rsplit_once(':').is_some_and(|(_, port)| !port.contains(']'));
    match (has_port, scheme) {
        (true, _) => place.into(),
        (false, "http") => format!("{place}:80"),
        (false, _) => format!("{place}:443"),
    }
}

fn by_agent(line: &Line, told: &[Told]) -> Checked {
    let about = format!("line {}", line.id);
    let mut meters = told.iter().filter(|one| one.endpoint == line.endpoint).peekable();
    match (meters.peek().is_none(), meters.any(|one| one.reached)) {
        (true, _) => Checked::ok(about, format!("{} has no meter", line.endpoint)),
        (_, true) => Checked::ok(about, format!("{} is reached by the agent that runs", line.endpoint)),
        (_, false) => Checked::lacking(
            about,
            format!("{} is not reached by the agent that runs", line.endpoint),
            "inkwatt check --poll says what is wrong",
        ),
    }
}

fn unanswered(line: &Line, fault: &str) -> Checked {
    let found = format!("{}: the agent that runs does not answer: {fault}", line.endpoint);
    Checked::unknown(format!("line {}", line.id), found, "restart it with this version: sudo systemctl restart inkwatt")
}

/// Connects to every place at the same time.
fn connected(places: Vec<Place>) -> Vec<Checked> {
    if places.is_empty() {
        return Vec::new();
    }
    let runtime = match Runtime::new() {
        Ok(runtime) => runtime,
        Err(fault) => return vec![Checked::unknown("network", fault.to_string(), "try again")],
    };
    let tasks: Vec<_> = places.into_iter().map(|place| runtime.spawn(connects(place))).collect();
    let all = tasks.into_iter().filter_map(|task| runtime.block_on(task).ok()).collect();
    // A name server that does not answer holds a thread for longer than we wait.
    runtime.shutdown_background();
    all
}

async fn connects((about, place): Place) -> Checked {
    let seconds = PATIENCE.as_secs();
    let addresses = match timeout(PATIENCE, lookup_host(&place)).await {
        Ok(Ok(addresses)) => addresses.collect::<Vec<_>>(),
        Ok(Err(fault)) => return no_name(about, &place, &fault.to_string()),
        Err(_) => return no_name(about, &place, &format!("no answer of the name server within {seconds} s")),
    };
    let remedy = "see that it is on and that host and port are right; a firewall, also IPAddressAllow of the unit, must let it through";
    match timeout(PATIENCE, TcpStream::connect(&addresses[..])).await {
        Ok(Ok(_)) => Checked::ok(about, format!("{place} takes a connection")),
        Ok(Err(fault)) => Checked::lacking(about, format!("{place}: {fault}"), remedy),
        Err(_) => Checked::lacking(about, format!("{place}: no answer within {seconds} s"), remedy),
    }
}

fn no_name(about: String, place: &str, fault: &str) -> Checked {
    Checked::lacking(
        about,
        format!("{place}: {fault}"),
        "see that the host is spelt right, and that getent hosts HOST knows it",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_is_host_and_port_of_an_address() {
        assert_eq!(of_url("https://alerts.example/inkwatt?a=1:2"), "alerts.example:443");
        assert_eq!(of_url("http://localhost"), "localhost:80");
        assert_eq!(of_url("https://influx.example:8086"), "influx.example:8086");
        assert_eq!(of_url("http://[::1]/x"), "[::1]:80");
        assert_eq!(of_url("http://[::1]:8086"), "[::1]:8086");
        assert_eq!(place("fd00::7", 1883), "[fd00::7]:1883");
        assert_eq!(place("broker", 1883), "broker:1883");
    }
}
