//! A server that takes lines as InfluxDB does, and does otherwise where a test wants it to.

use influxdb_line_protocol::{FieldValue, parse_lines};
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::{Arc, Mutex};
use std::thread;

/// What the server does with a request.
pub enum Does {
    /// It keeps the lines.
    Keep,
    /// It answers with a status and a text, and keeps nothing.
    Answer(u16, &'static str),
    /// It points elsewhere.
    Point(String),
    /// It cuts the line.
    Cut,
}

/// A request.
#[derive(Clone, Debug)]
pub struct Request {
    pub line: String,
    pub token: String,
    pub lines: Vec<String>,
}

/// A line as it was read by the parser of InfluxDB IOx.
#[derive(Clone, Debug)]
pub struct Kept {
    pub measurement: String,
    pub at: i64,
    tags: BTreeMap<String, String>,
    fields: BTreeMap<String, Field>,
}

#[derive(Clone, Debug)]
enum Field {
    Whole(i64),
    Number(f64),
    Text(String),
    Flag,
}

impl Kept {
    pub fn tag(&self, key: &str) -> &str {
        self.tags.get(key).map_or("", String::as_str)
    }

    pub fn whole(&self, key: &str) -> i64 {
        match self.fields.get(key) {
            Some(Field::Whole(number)) => *number,
            found => panic!("{key}: {found:?} in {self:?}"),
        }
    }

    pub fn number(&self, key: &str) -> f64 {
        match self.fields.get(key) {
            Some(Field::Number(number)) => *number,
            found => panic!("{key}: {found:?} in {self:?}"),
        }
    }

    pub fn text(&self, key: &str) -> &str {
        match self.fields.get(key) {
            Some(Field::Text(text)) => text,
            found => panic!("{key}: {found:?} in {self:?}"),
        }
    }
}

#[derive(Default)]
struct Seen {
    requests: Vec<Request>,
    /// By measurement, tags and time, as InfluxDB tells points apart.
    kept: BTreeMap<(String, i64), Kept>,
    arrived: Vec<(String, i64)>,
}

/// The server.
pub struct Peer {
    pub port: u16,
    seen: Arc<Mutex<Seen>>,
}

impl Peer {
    /// One that does with the lines of each request what `does` says.
    pub fn new(mut does: impl FnMut(&[String]) -> Does + Send + 'static) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let port = listener.local_addr().expect("an address").port();
        let seen: Arc<Mutex<Seen>> = Arc::default();
        let into = seen.clone();
        thread::spawn(move || {
            for stream in listener.incoming().flatten() {
                let mut stream = BufReader::new(stream);
                let Some(request) = request(&mut stream) else { continue };
                let does = does(&request.lines);
                let mut seen = into.lock().expect("whole");
                if let Does::Keep = does {
                    request.lines.iter().for_each(|line| seen.keep(line));
                }
                seen.requests.push(request);
                drop(seen);
                answer(stream.get_mut(), &does);
            }
        });
        Self { port, seen }
    }

    pub fn requests(&self) -> Vec<Request> {
        self.seen.lock().expect("whole").requests.clone()
    }

    pub fn kept(&self) -> Vec<Kept> {
        self.seen.lock().expect("whole").kept.values().cloned().collect()
    }

    /// How many points are kept of a measurement, or of those of a tag, as in `quarter,of=meter`.
    pub fn count(&self, what: &str) -> usize {
        let (measurement, tag) = what.split_once(',').unwrap_or((what, ""));
        let (key, value) = tag.split_once('=').unwrap_or(("", ""));
        let seen = self.seen.lock().expect("whole");
        seen.kept.values().filter(|kept| kept.measurement == measurement && kept.tag(key) == value).count()
    }

    /// The times of the lines of a measurement in the order in which they were kept, also those that replaced others.
    pub fn arrived(&self, measurement: &str) -> Vec<i64> {
        let seen = self.seen.lock().expect("whole");
        seen.arrived.iter().filter(|(of, _)| of == measurement).map(|(_, at)| *at).collect()
    }
}

impl Seen {
    fn keep(&mut self, line: &str) {
        let read: Vec<_> =
            parse_lines(line).collect::<Result<_, _>>().unwrap_or_else(|fault| panic!("{fault}: {line}"));
        assert_eq!(read.len(), 1, "{line}");
        let read = &read[0];
        let text = |text: &dyn std::fmt::Display| text.to_string();
        let at = read.timestamp.expect("a time");
        let field = |value: &FieldValue<'_>| match value {
            FieldValue::I64(number) => Field::Whole(*number),
            FieldValue::F64(number) => Field::Number(*number),
            FieldValue::String(text) => Field::Text(text.as_str().into()),
            FieldValue::Boolean(_) => Field::Flag,
            FieldValue::U64(_) => panic!("not every server knows it: {line}"),
        };
        let kept = Kept {
            measurement: read.series.measurement.as_str().into(),
            at,
            tags: read.series.tag_set.iter().flatten().map(|(key, value)| (text(key), value.as_str().into())).collect(),
            fields: read.field_set.iter().map(|(key, value)| (text(key), field(value))).collect(),
        };
        self.arrived.push((kept.measurement.clone(), at));
        self.kept.insert((read.series.to_string(), at), kept);
    }
}

fn request(stream: &mut BufReader<TcpStream>) -> Option<Request> {
    let mut line = String::new();
    stream.read_line(&mut line).ok().filter(|read| *read > 0)?;
    let (mut length, mut token) = (0, String::new());
    loop {
        let mut header = String::new();
        stream.read_line(&mut header).ok()?;
        let Some((name, value)) = header.trim_end().split_once(':') else { break };
        match name.to_lowercase().as_str() {
            "content-length" => length = value.trim().parse().ok()?,
            "authorization" => token = value.trim().into(),
            _ => {}
        }
    }
    let mut body = vec![0; length];
    stream.read_exact(&mut body).ok()?;
    let body = String::from_utf8(body).expect("UTF-8");
    Some(Request { line: line.trim_end().into(), token, lines: body.lines().map(str::to_owned).collect() })
}

fn answer(stream: &mut TcpStream, does: &Does) {
    let (status, text, more) = match does {
        Does::Keep => (204, "", String::new()),
        Does::Answer(status, text) => (*status, *text, String::new()),
        Does::Point(target) => (307, "", format!("Location: {target}\r\n")),
        Does::Cut => return,
    };
    let length = if status == 204 { String::new() } else { format!("Content-Length: {}\r\n", text.len()) };
    // Who went away needs no answer.
    let _ = write!(stream, "HTTP/1.1 {status} Said\r\n{length}{more}Connection: close\r\n\r\n{text}");
}
