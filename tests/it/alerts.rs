//! Claims about alerts: by MQTT against Eclipse Mosquitto as Debian packages it, by webhook against a server for HTTPS with an
//! authority of its own.

use crate::board::{FINDING, Hall, Made, PLAIN, python, until};
use crate::certified::Certified;
use crate::mqtt::Mosquitto;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use hmac::{Hmac, KeyInit, Mac};
use rumqttc::{Client, Event, MqttOptions, Packet, QoS};
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::{ServerConfig, ServerConnection, StreamOwned};
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::net::TcpListener;
use std::process::{Command, Stdio};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

/// The key that webhooks sign with here.
const KEY: &str = "f3b1c5 long and random";

fn inkwatt(hall: &Hall, arguments: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_inkwatt"))
        .args(["--plant".as_ref(), hall.folder.path().as_os_str()])
        .args(arguments)
        .output()
        .expect("the program runs");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (output.status.code(), text(&output.stdout), text(&output.stderr))
}

fn acknowledge(hall: &Hall) {
    let (code, _, errors) =
        inkwatt(hall, &["record", "finding", FINDING, "--acknowledge", "--why", "lamp is cleaned", "--by", "anna"]);
    assert_eq!(code, Some(0), "{errors}");
}

/// The messages that a broker retains below a topic, by topic.
fn retained(port: u16, filter: &str) -> BTreeMap<String, Vec<u8>> {
    let (client, mut events) = Client::new(MqttOptions::new("listener", "127.0.0.1", port), 10);
    client.subscribe(filter, QoS::AtLeastOnce).expect("asked");
    let mut messages = BTreeMap::new();
    let until = Instant::now() + Duration::from_secs(2);
    while let Some(left) = until.checked_duration_since(Instant::now()) {
        if let Ok(Ok(Event::Incoming(Packet::Publish(message)))) = events.recv_timeout(left) {
            assert!(message.retain, "{}", message.topic);
            messages.insert(message.topic, message.payload.to_vec());
        }
    }
    messages
}

/// Holds JSON against a schema with the reference library of JSON Schema for Python.
fn fits(schema: &[u8], alert: &[u8]) {
    let folder = tempfile::TempDir::new().expect("a folder");
    fs::write(folder.path().join("schema.json"), schema).expect("written");
    fs::write(folder.path().join("alert.json"), alert).expect("written");
    let check = "import json, jsonschema\nfrom jsonschema import Draft202012Validator as V\n\
                 s, a = json.load(open('schema.json')), json.load(open('alert.json'))\nV.check_schema(s)\n\
                 V(s, format_checker=V.FORMAT_CHECKER).validate(a)\n";
    let output = python().args(["-c", check]).current_dir(folder.path()).output().expect("it starts");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}

/// The broker is away at first: the alert is kept and shown. Once it is there the alert stands in it, retained and after its schema,
/// and neither a restart nor another look says it again.
#[test]
fn a_finding_is_told_by_mqtt_once_and_stays_there_for_whoever_asks() {
    let mut broker = Mosquitto::open();
    let port = broker.port;
    broker.down();
    let more = format!(
        "[mqtt]\nhost = '127.0.0.1'\nport = {port}\nclient_id = 'hall'\n[alerts.mqtt]\ntopic = 'hall/findings'\n"
    );
    let mut hall = Hall::made(&Made { more: &more, ..PLAIN });
    until("a failed alert", || inkwatt(&hall, &["alerts"]).0 == Some(1));
    let (_, told, _) = inkwatt(&hall, &["alerts"]);
    assert!(told.contains("mqtt  was told of nothing yet"), "{told}");
    assert!(told.contains(&format!("waits: {FINDING} raised: could not be sent in 1 attempt")), "{told}");
    assert!(hall.get("/data").body.contains("could not be sent in 1 attempt"), "the board shows what waits");
    broker.up();
    until("the alert", || inkwatt(&hall, &["alerts"]).0 == Some(0));
    let messages = retained(port, "hall/#");
    let topics: Vec<&str> = messages.keys().map(String::as_str).collect();
    assert_eq!(topics, ["hall/findings/higher-draw/p1-s1", "hall/findings/schema"]);
    let alert = &messages["hall/findings/higher-draw/p1-s1"];
    fits(&messages["hall/findings/schema"], alert);
    let json: Value = serde_json::from_slice(alert).expect("JSON");
    assert_eq!(
        [&json["finding"], &json["news"], &json["watts_above"], &json["energy_kwh"], &json["cost"], &json["called"]],
        [FINDING, "raised", "339.0", "90.300000", "21.700000", "Press 1, Varnish"]
            .map(|text| match text {
                "339.0" => Value::from(339.0),
                text => Value::from(text),
            })
            .each_ref()
    );
    let sent = json["sent"].clone();
    hall.stop();
    hall.start();
    thread::sleep(Duration::from_secs(5));
    let again: Value =
        serde_json::from_slice(&retained(port, "hall/#")["hall/findings/higher-draw/p1-s1"]).expect("JSON");
    assert_eq!(again["sent"], sent, "nothing is said twice");
    assert!(
        !String::from_utf8_lossy(&fs::read(hall.folder.path().join("store/alerts.db")).expect("a book")).contains(KEY)
    );
}

/// What a receiver of alerts got.
#[derive(Clone, Debug)]
struct Request {
    head: BTreeMap<String, String>,
    line: String,
    body: Vec<u8>,
}

/// A server for HTTPS: its port, its authority, and what it got. It answers with these statuses in turn, then with 204.
fn receiver(statuses: &'static [u16]) -> (u16, String, Arc<Mutex<Vec<Request>>>) {
    let made = Certified::new();
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let terms = ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .expect("versions")
        .with_no_client_auth()
        .with_single_cert(
            vec![CertificateDer::from_pem_slice(made.certificate.as_bytes()).expect("a certificate")],
            PrivateKeyDer::from_pem_slice(made.key.as_bytes()).expect("a key"),
        )
        .expect("terms");
    let (terms, listener) = (Arc::new(terms), TcpListener::bind("127.0.0.1:0").expect("a port"));
    let port = listener.local_addr().expect("an address").port();
    let got: Arc<Mutex<Vec<Request>>> = Arc::default();
    let (into, mut statuses) = (got.clone(), statuses.iter().copied());
    thread::spawn(move || {
        for stream in listener.incoming().flatten() {
            let connection = ServerConnection::new(terms.clone()).expect("a connection");
            let mut stream = BufReader::new(StreamOwned::new(connection, stream));
            // Who does not trust the certificate sends nothing.
            let Some(request) = request(&mut stream) else { continue };
            into.lock().expect("whole").push(request);
            let status = statuses.next().unwrap_or(204);
            let _ =
                write!(stream.get_mut(), "HTTP/1.1 {status} Told\r\nContent-Length: 0\r\nConnection: close\r\n\r\n");
            stream.get_mut().conn.send_close_notify();
            let _ = stream.get_mut().flush();
        }
    });
    (port, made.authority, got)
}

fn request(stream: &mut impl BufRead) -> Option<Request> {
    let mut line = String::new();
    stream.read_line(&mut line).ok().filter(|read| *read > 0)?;
    let mut head = BTreeMap::new();
    loop {
        let mut header = String::new();
        stream.read_line(&mut header).ok()?;
        let Some((name, value)) = header.trim_end().split_once(':') else { break };
        head.insert(name.to_lowercase(), value.trim().to_owned());
    }
    let mut body = vec![0; head.get("content-length")?.parse().ok()?];
    stream.read_exact(&mut body).ok()?;
    Some(Request { head, line: line.trim_end().into(), body })
}

/// The signature as RFC 9421 has a receiver check it: the base is made of what arrived.
fn is_signed(request: &Request, target: &str) -> bool {
    let digest = format!("sha-256=:{}:", STANDARD.encode(Sha256::digest(&request.body)));
    assert_eq!(request.head["content-digest"], digest);
    let (label, params) = request.head["signature-input"].split_once('=').expect("a label");
    let names = params[1..params.find(')').expect("a list")].split(' ');
    let mut base = String::new();
    for name in names {
        let value = match name {
            "\"@method\"" => "POST",
            "\"@target-uri\"" => target,
            name => &request.head[name.trim_matches('"')],
        };
        base.push_str(&format!("{name}: {value}\n"));
    }
    base.push_str(&format!("\"@signature-params\": {params}"));
    let mut mac = Hmac::<Sha256>::new_from_slice(KEY.as_bytes()).expect("a key");
    mac.update(base.as_bytes());
    request.head["signature"] == format!("{label}=:{}:", STANDARD.encode(mac.finalize().into_bytes()))
}

fn hooked(url: &str, authority: Option<&str>, more: &str) -> Hall {
    let secrets = tempfile::TempDir::new().expect("a folder").keep();
    fs::write(secrets.join("key"), KEY).expect("written");
    let authority = authority.map_or_else(String::new, |pem| {
        fs::write(secrets.join("ca.pem"), pem).expect("written");
        format!("authority_file = '{}'\n", secrets.join("ca.pem").display())
    });
    let more = format!(
        "[alerts]\n{more}\n[[alerts.webhook]]\nname = 'maintenance'\nurl = '{url}'\nkey_file = '{}'\n{authority}",
        secrets.join("key").display()
    );
    Hall::made(&Made { more: &more, ..PLAIN })
}

/// The first answer is that the receiver is broken: the alert is sent again, signed anew, and then no more.
#[test]
fn a_finding_is_posted_signed_and_posted_again_where_it_did_not_arrive() {
    let (port, authority, got) = receiver(&[500]);
    let target = format!("https://localhost:{port}/alerts?of=hall");
    let hall = hooked(&target, Some(&authority), "");
    until("the first attempt", || got.lock().expect("whole").len() == 1);
    until("its failure", || inkwatt(&hall, &["alerts"]).1.contains("the receiver answered 500"));
    until("the second attempt", || got.lock().expect("whole").len() == 2);
    until("its success", || inkwatt(&hall, &["alerts"]).0 == Some(0));
    let (_, told, _) = inkwatt(&hall, &["alerts", "--json"]);
    let json: Value = serde_json::from_str(&told).expect("JSON");
    assert_eq!(
        (&json["channels"][0]["last_finding"], &json["channels"][0]["waits"]),
        (&FINDING.into(), &Value::Array(Vec::new()))
    );
    let requests = got.lock().expect("whole").clone();
    for request in &requests {
        assert_eq!(request.line, "POST /alerts?of=hall HTTP/1.1");
        assert_eq!(request.head["content-type"], "application/json");
        assert!(is_signed(request, &target), "{request:?}");
        assert!(!is_signed(request, "https://localhost/elsewhere"), "the target is signed as well");
        let (_, schema, _) = inkwatt(&hall, &["alerts", "--schema"]);
        fits(schema.as_bytes(), &request.body);
    }
    let named = |request: &Request| {
        let json: Value = serde_json::from_slice(&request.body).expect("JSON");
        (json["finding"].clone(), json["revision"].clone())
    };
    assert_eq!(named(&requests[0]), named(&requests[1]), "the same alert, known by its name");
    let (code, told, errors) = inkwatt(&hall, &["alerts", "--try", "maintenance"]);
    assert_eq!((code, told.trim()), (Some(0), "maintenance: the trial has arrived"), "{errors}");
    assert_eq!(got.lock().expect("whole").len(), 3);
    assert_eq!(inkwatt(&hall, &["alerts", "--try", "nobody"]).0, Some(2));
}

/// A server that no authority vouches for is told nothing.
#[test]
fn a_receiver_that_cannot_show_who_it_is_is_told_nothing() {
    let (port, _, got) = receiver(&[]);
    let (_, another, _) = receiver(&[]);
    for authority in [None, Some(another.as_str())] {
        let hall = hooked(&format!("https://localhost:{port}/"), authority, "");
        let (code, _, errors) = inkwatt(&hall, &["alerts", "--try", "maintenance"]);
        assert_eq!(code, Some(3), "{errors}");
        assert!(errors.contains("not delivered"), "{errors}");
    }
    assert!(got.lock().expect("whole").is_empty());
}

/// It is quiet all day but for a minute that is over: what was found is kept, said why, and not sent. What somebody has in hand is
/// not spoken of at all.
#[test]
fn in_quiet_hours_an_alert_waits_and_what_is_acknowledged_is_not_said() {
    let now = inkwatt::acquire::Clock::start(0).now();
    let local = inkwatt::time::Zone::parse("Europe/London").expect("a zone").local(now).time();
    let clock = |minutes: i64| (local + chrono::TimeDelta::minutes(minutes)).format("%H:%M").to_string();
    let (port, authority, got) = receiver(&[]);
    let quiet = format!("quiet_from = '{}'\nquiet_to = '{}'", clock(-60), clock(60));
    let hall = hooked(&format!("https://localhost:{port}/"), Some(&authority), &quiet);
    thread::sleep(Duration::from_secs(5));
    let (code, told, _) = inkwatt(&hall, &["alerts"]);
    assert_eq!(code, Some(0));
    assert!(told.contains(&format!("{FINDING} raised: it is quiet until {}", clock(60))), "{told}");
    acknowledge(&hall);
    let (_, told, _) = inkwatt(&hall, &["alerts"]);
    assert!(!told.contains("waits"), "{told}");
    assert!(got.lock().expect("whole").is_empty());
}

/// A name of markup, control characters and 10,000 letters makes an alert that the schema allows and a telephone can show.
#[test]
fn hostile_names_do_no_harm_in_an_alert() {
    let hostile = format!("<script>alert(1)</script>\u{1b}[31m\"'&\u{202e}{}", "x".repeat(10_000));
    let (port, authority, got) = receiver(&[]);
    let secrets = tempfile::TempDir::new().expect("a folder");
    fs::write(secrets.path().join("key"), KEY).expect("written");
    fs::write(secrets.path().join("ca.pem"), authority).expect("written");
    let more = format!(
        "[[alerts.webhook]]\nname = 'maintenance'\nurl = 'https://localhost:{port}/'\nkey_file = '{0}/key'\nauthority_file = '{0}/ca.pem'\n",
        secrets.path().display()
    );
    let hall = Hall::made(&Made { station: &hostile, press: &hostile, more: &more, ..PLAIN });
    until("the alert", || !got.lock().expect("whole").is_empty());
    let body = got.lock().expect("whole")[0].body.clone();
    assert!(body.len() < 8_000 && !body.iter().any(u8::is_ascii_control), "{} bytes", body.len());
    let (_, schema, _) = inkwatt(&hall, &["alerts", "--schema"]);
    fits(schema.as_bytes(), &body);
}

/// Everything that is wrong with the table is told with what to do.
#[test]
fn what_is_wrong_with_alerts_is_told_where_it_stands() {
    let wrong = "[alerts]\nquiet_from = '22:00'\nmost_a_day = 0\n[alerts.mqtt]\ntopic = 'a/#'\n\
                 [[alerts.webhook]]\nname = 'mqtt'\nurl = 'http://alerts.example/'\nkey = 'open'\n";
    let hall = Hall::folder(&Made { more: wrong, ..PLAIN });
    let output = Command::new(env!("CARGO_BIN_EXE_inkwatt"))
        .args(["--plant".as_ref(), hall.folder.path().as_os_str(), "check".as_ref()])
        .stdin(Stdio::null())
        .output()
        .expect("the program runs");
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2), "{told}");
    for part in [
        "quiet_from and quiet_to go together",
        "most_a_day must be 1 to 1,000 alerts a day",
        "there is none",
        "topic must be a topic such as",
        "url must be an address such as",
        "a key must not stand in the configuration",
    ] {
        assert!(told.contains(part), "{part} in {told}");
    }
    assert!(!told.contains("'open'"), "{told}");
}
