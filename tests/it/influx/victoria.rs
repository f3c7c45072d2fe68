//! VictoriaMetrics on a free port of this machine, with its own files.

use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};
use tempfile::TempDir;

pub struct Victoria {
    pub port: u16,
    folder: TempDir,
    child: Option<Child>,
}

impl Victoria {
    pub fn new() -> Self {
        let port = TcpListener::bind("127.0.0.1:0").and_then(|l| l.local_addr()).expect("a port").port();
        let mut database = Self { port, folder: TempDir::new().expect("a folder"), child: None };
        database.up();
        database
    }

    pub fn up(&mut self) {
        let child = Command::new("victoria-metrics")
            .arg(format!("-httpListenAddr=127.0.0.1:{}", self.port))
            .arg(format!("-storageDataPath={}", self.folder.path().display()))
            // Points of the same time replace each other, as they do in InfluxDB.
            .args(["-dedup.minScrapeInterval=1ms", "-retentionPeriod=100y", "-search.disableCache"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn();
        self.child = Some(child.expect(
            "VictoriaMetrics is missing: install it (Debian: apt install victoria-metrics), so that InfluxDB is tested against a real server",
        ));
        let begun = Instant::now();
        while TcpStream::connect(("127.0.0.1", self.port)).is_err() {
            assert!(begun.elapsed() < Duration::from_secs(60), "VictoriaMetrics does not listen");
            sleep(Duration::from_millis(20));
        }
    }

    pub fn down(&mut self) {
        if let Some(mut child) = self.child.take() {
            let _ = child.kill();
            let _ = child.wait();
        }
    }

    /// How many points stand in the series of a name, and what they add up to.
    pub fn held(&self, name: &str) -> (usize, i64) {
        self.ask("/internal/force_flush");
        let name: String = name.bytes().map(|b| format!("%{b:02X}")).collect();
        let body = self.ask(&format!("/api/v1/export?match[]={name}"));
        let mut points: BTreeMap<(String, i64), f64> = BTreeMap::new();
        for line in body.lines() {
            let series: serde_json::Value = serde_json::from_str(line).expect("JSON");
            let times = series["timestamps"].as_array().expect("times");
            for (time, value) in times.iter().zip(series["values"].as_array().expect("values")) {
                let key = (series["metric"].to_string(), time.as_i64().expect("a time"));
                let before = points.insert(key, value.as_f64().expect("a number"));
                assert!(before.is_none(), "a point stands twice: {line}");
            }
        }
        (points.len(), points.values().sum::<f64>() as i64)
    }

    /// The content of an answer, which ends with the connection.
    fn ask(&self, path: &str) -> String {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).expect("a connection");
        write!(stream, "GET {path} HTTP/1.0\r\nHost: localhost\r\n\r\n").expect("sent");
        let mut answer = String::new();
        stream.read_to_string(&mut answer).expect("an answer");
        let (head, body) = answer.split_once("\r\n\r\n").expect("a head");
        assert!(head.contains(" 200 ") || head.contains(" 204 "), "{head}\n{body}");
        body.into()
    }
}

impl Drop for Victoria {
    fn drop(&mut self) {
        self.down();
    }
}
