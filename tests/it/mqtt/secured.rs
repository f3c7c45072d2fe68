//! TLS with an authority of one's own, against Mosquitto, and the files of `deploy/mosquitto`.

use super::*;
use crate::certified::{Authority, Certified};
use inkwatt::broker::terms;
use std::fs;
use std::path::Path;

/// A year that is not over.
const ON: i32 = 2099;

/// A broker that speaks TLS on a port of its own and wants its clients' certificates from an authority.
fn secured(own: &Certified, clients: &Authority) -> (Mosquitto, u16, TempDir) {
    let (files, port) = (TempDir::new().expect("a folder"), free_port());
    let file = |name: &str, text: &str| {
        let path = files.path().join(name);
        fs::write(&path, text).expect("written");
        path.display().to_string()
    };
    let access = format!(
        "allow_anonymous true\nlistener {port} 127.0.0.1\ncafile {}\ncertfile {}\nkeyfile {}\nrequire_certificate true",
        file("clients.pem", &clients.pem()),
        file("broker.pem", &own.certificate),
        file("broker.key", &own.key),
    );
    (Mosquitto::start(&access), port, files)
}

/// The way to it, over TLS that trusts an authority and shows a certificate.
fn over_tls(port: u16, authority: &str, own: Option<&Certified>) -> Endpoint {
    let own = own.map(|own| (own.certificate.as_bytes(), own.key.as_bytes()));
    Endpoint {
        host: "localhost".into(),
        port,
        client_id: "inkwatt-test".into(),
        credentials: None,
        tls: Some(terms(authority.as_bytes(), own).expect("terms")),
    }
}

/// Why an agent does not come to a broker.
async fn reason(endpoint: Endpoint) -> String {
    let mut agent = Agent::start(endpoint);
    let state = agent
        .until(|state| matches!(&state.link, BrokerLink::Disconnected { reason, .. } if reason != "not yet connected"))
        .await;
    agent.stop().await;
    match state.link {
        BrokerLink::Disconnected { reason, .. } => reason,
        BrokerLink::Connected { .. } => unreachable!("awaited otherwise"),
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn readings_come_over_tls_from_a_broker_that_knows_its_clients() {
    let authority = Authority::new();
    let (broker, port, _files) = secured(&authority.signs("localhost", ON), &authority);
    let base = three_hours_ago();
    let mut agent = Agent::start(over_tls(port, &authority.pem(), Some(&authority.signs("inkwatt", ON))));
    agent.connected().await;
    publish_readings(broker.port, base, 3..4).await;
    let batch = agent.batch().await;
    assert_eq!(batch.readings, [(energy(), reading(base, 3))]);
    batch.receipt.map(|receipt| receipt.send(()));
    agent.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_that_cannot_be_trusted_is_not_spoken_to_and_the_reason_is_told() {
    let (authority, other, namesake) = (Authority::new(), Authority::called("other"), Authority::new());
    let client = authority.signs("inkwatt", ON);
    let cases = [
        (authority.signs("elsewhere.example", ON), authority.pem(), "the broker's certificate is not for localhost"),
        (authority.signs("localhost", 2020), authority.pem(), "the broker's certificate has expired"),
        (authority.signs("localhost", ON), other.pem(), "is from another authority than authority_file names"),
        (authority.signs("localhost", ON), namesake.pem(), "is from another authority than authority_file names"),
    ];
    for (own, trusted, told) in cases {
        let (_broker, port, _files) = secured(&own, &authority);
        let reason = reason(over_tls(port, &trusted, Some(&client))).await;
        assert!(reason.contains(told), "{told}: {reason}");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_client_that_the_broker_does_not_know_is_told_what_it_lacks() {
    let (authority, other, namesake) = (Authority::new(), Authority::called("other"), Authority::new());
    let (_broker, port, _files) = secured(&authority.signs("localhost", ON), &authority);
    let (expired, stranger) = (authority.signs("inkwatt", 2020), other.signs("inkwatt", ON));
    let cases = [
        (None, "the broker wants a certificate of this client"),
        (Some(&expired), "the broker does not accept the certificate of certificate_file"),
        (Some(&stranger), "the broker does not accept the certificate of certificate_file"),
        (Some(&namesake.signs("inkwatt", ON)), "the broker does not accept the certificate of certificate_file"),
    ];
    for (own, told) in cases {
        let reason = reason(over_tls(port, &authority.pem(), own)).await;
        assert!(reason.contains(told), "{told}: {reason}");
    }
}

/// What is retained at a topic, as somebody learns who asks now; `{"agent":"..."}` without the rest.
async fn retained(port: u16, topic: &str, wanted: &str) {
    let mut options = MqttOptions::new("asker", "127.0.0.1", port);
    options.set_clean_session(true);
    let (client, mut events) = AsyncClient::new(options, 16);
    client.subscribe(topic, QoS::AtLeastOnce).await.expect("a request");
    let seen = async {
        loop {
            if let Event::Incoming(Packet::Publish(said)) = events.poll().await.expect("a broker") {
                let said: serde_json::Value = serde_json::from_slice(&said.payload).expect("JSON");
                if said["agent"] == wanted {
                    return;
                }
            }
        }
    };
    within(seen).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn whoever_asks_the_broker_learns_whether_the_agent_runs_was_stopped_or_is_lost() {
    let (broker, topic) = (Mosquitto::open(), "inkwatt/presence");
    let presence = || Some(Presence { topic: topic.into(), zone: london() });
    let agent = Agent::present(endpoint(&broker), presence());
    retained(broker.port, topic, "running").await;
    agent.stop().await;
    retained(broker.port, topic, "stopped").await;
    let agent = Agent::present(endpoint(&broker), presence());
    retained(broker.port, topic, "running").await;
    agent.kill().await;
    retained(broker.port, topic, "lost").await;
}

/// The files of `deploy/mosquitto`, with the folder of a test in place of the machine's.
fn deployed(folder: &Path, port: u16) -> String {
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("deploy/mosquitto");
    let certify = |arguments: &[&str]| {
        let made = Command::new("sh").arg(shipped.join("certificates")).arg(folder).args(arguments).output();
        let made = made.expect("a shell");
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    };
    certify(&["broker", "localhost"]);
    certify(&["client", "inkwatt"]);
    certify(&["client", "p1"]);
    fs::copy(shipped.join("inkwatt.acl"), folder.join("inkwatt.acl")).expect("copied");
    let configuration = fs::read_to_string(shipped.join("inkwatt.conf")).expect("shipped");
    configuration
        .replace("/etc/mosquitto/inkwatt", &folder.display().to_string())
        .replace("listener 8883 127.0.0.1", &format!("listener {port} 127.0.0.1"))
}

/// What a client made by `certificates` needs for a connection.
fn as_client(folder: &Path, port: u16, name: &str) -> Endpoint {
    let read = |file: String| fs::read_to_string(folder.join(file)).expect("made");
    let own = Certified {
        certificate: read(format!("{name}.pem")),
        key: read(format!("{name}.key")),
        authority: read("ca.pem".into()),
    };
    Endpoint { client_id: name.into(), ..over_tls(port, &own.authority, Some(&own)) }
}

/// Publishes at the broker as a client, each message over a connection of its own: what it is not allowed to say, the broker
/// drops, and Mosquitto 2.0.11 ends the connection over it.
async fn say(endpoint: &Endpoint, messages: &[(&str, &str)]) {
    for (topic, text) in messages {
        let (client, mut events) = AsyncClient::new(endpoint.options(), 16);
        client.publish(*topic, QoS::AtLeastOnce, false, *text).await.expect("a request");
        let mut is_connected = false;
        let answered = async {
            loop {
                match events.poll().await {
                    Ok(Event::Incoming(Packet::ConnAck(_))) => is_connected = true,
                    Ok(Event::Incoming(Packet::PubAck(_))) => return,
                    Ok(_) => {}
                    Err(_) if is_connected => return,
                    Err(fault) => panic!("not connected: {fault}"),
                }
            }
        };
        within(answered).await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_shipped_broker_lets_a_press_speak_for_itself_only_and_the_agent_not_at_all_to_presses() {
    let (folder, port) = (TempDir::new().expect("a folder"), free_port());
    let _broker = Mosquitto::start(&deployed(folder.path(), port));
    let (agent, press) = (as_client(folder.path(), port, "inkwatt"), as_client(folder.path(), port, "p1"));

    let (client, mut events) = AsyncClient::new(agent.options(), 16);
    client.subscribe("#", QoS::AtLeastOnce).await.expect("a request");
    let subscribed =
        async { while !matches!(events.poll().await.expect("a broker"), Event::Incoming(Packet::SubAck(_))) {} };
    within(subscribed).await;
    say(&press, &[("hall/p2/speed", "1"), ("inkwatt/findings", "2"), ("hall/p1/speed", "3")]).await;
    let own = Endpoint { client_id: "inkwatt-alerts".into(), ..agent.clone() };
    say(&own, &[("hall/p1/speed", "4"), ("inkwatt/findings/a", "5"), ("hall/p1/last", "6")]).await;
    say(&press, &[("hall/p1/last", "7")]).await;

    let mut heard = Vec::new();
    let all = async {
        while heard.last().is_none_or(|(topic, _)| topic != "hall/p1/last") {
            if let Event::Incoming(Packet::Publish(said)) = events.poll().await.expect("a broker") {
                heard.push((said.topic.clone(), String::from_utf8_lossy(&said.payload).into_owned()));
            }
        }
    };
    within(all).await;
    let heard: Vec<(&str, &str)> = heard.iter().map(|(topic, text)| (&topic[..], &text[..])).collect();
    // What the agent publishes below its own topic is for others to read.
    assert_eq!(heard, [("hall/p1/speed", "3"), ("hall/p1/last", "7")]);
}
