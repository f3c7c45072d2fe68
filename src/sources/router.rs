//! Messages become readings and events: which mapping a topic belongs to, and what the payload says.

use crate::names::{MeterId, PressId, StationId};
use crate::plant::{Plant, Ratio};
use crate::readings::{Event, Kind, Quantity, Reading, Series, Subject};
use crate::sources::sparkplug::{self, Aliases, MessageType, Metric, Payload, Said};
use crate::sources::topic::{Levels, Pattern};
use crate::sources::{JobMessage, Refusal, Runs, TopicMapping, TopicTarget, pointer, value};
use crate::time::At;
use prost::Message as _;
use std::collections::{BTreeSet, HashMap};

/// A message as it arrived.
#[derive(Clone, Copy, Debug)]
pub struct Message<'a> {
    /// Its topic.
    pub topic: &'a str,
    /// Its payload.
    pub payload: &'a [u8],
    /// The broker had kept it from before the subscription.
    pub retained: bool,
    /// The broker says that it has sent it before.
    pub redelivered: bool,
    /// When it arrived.
    pub arrived: At,
}

/// What messages say.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Taken {
    /// Readings.
    pub readings: Vec<(Series, Reading)>,
    /// Events.
    pub events: Vec<Event>,
    /// What was not taken.
    pub refused: Vec<Refusal>,
}

/// What is taken from a broker. It remembers the names behind aliases, and the runs that are open.
#[derive(Clone, Debug)]
pub struct Router {
    routes: Vec<(Pattern, TopicMapping)>,
    names: Names,
    aliases: Aliases,
    runs: Runs,
    /// The last instant given to a value that came without one.
    given: HashMap<Series, At>,
}

/// The things that a message may be about.
#[derive(Clone, Debug)]
struct Names {
    meters: BTreeSet<MeterId>,
    presses: BTreeSet<PressId>,
    stations: BTreeSet<StationId>,
}

/// A value with the instant that its message states.
struct Value {
    series: Series,
    count: i64,
    stated: Option<At>,
}

impl Router {
    /// A router for these mappings in this plant, which goes on with the runs that are `known`.
    ///
    /// # Errors
    /// A mapping that cannot be used, with the reason.
    pub fn new(mappings: &[TopicMapping], plant: &Plant, known: Runs) -> Result<Self, Refusal> {
        let routes = mappings.iter().map(|m| Ok((check_topic(m)?, m.clone()))).collect::<Result<_, _>>()?;
        let names = Names {
            meters: plant.meters.iter().map(|m| m.id.clone()).collect(),
            presses: plant.presses.iter().map(|p| p.id.clone()).collect(),
            stations: plant.presses.iter().flat_map(|p| p.stations.iter().map(|s| s.id.clone())).collect(),
        };
        Ok(Self { routes, names, aliases: Aliases::default(), runs: known, given: HashMap::new() })
    }

    /// The topic filters to subscribe to, each once.
    pub fn filters(&self) -> BTreeSet<String> {
        self.routes.iter().map(|(pattern, _)| pattern.filter()).collect()
    }

    /// Adds what a message says to `taken`. Every mapping that its topic matches is applied. A retained message
    /// without a time of its own tells a state of unknown age: nothing is taken from it, and nothing is refused.
    pub fn take(&mut self, message: &Message, taken: &mut Taken) {
        let routes = std::mem::take(&mut self.routes);
        let mut matched = false;
        for (pattern, mapping) in &routes {
            if let Some(levels) = pattern.matches(message.topic) {
                matched = true;
                if let Err(refusal) = self.apply(mapping, &levels, message, taken) {
                    taken.refused.push(refusal);
                }
            }
        }
        self.routes = routes;
        if !matched {
            taken.refused.push(Refusal::new(message.topic, message.topic, "a topic that the configuration maps"));
        }
    }

    /// Applies one mapping to a message.
    fn apply(&mut self, mapping: &TopicMapping, levels: &Levels, message: &Message, taken: &mut Taken) -> Told {
        match &mapping.target {
            TopicTarget::Sparkplug { metrics } => self.apply_sparkplug(metrics, message, taken),
            TopicTarget::Job => self.apply_job(mapping, levels, message, taken),
            TopicTarget::Meter { meter, quantity, factor } => {
                let meter = match (meter, levels.get("meter")) {
                    (Some(fixed), _) => fixed.clone(),
                    (None, level) => self.names.meter(level.unwrap_or_default(), message.topic)?,
                };
                self.apply_value(mapping, Series::new(Subject::Meter(meter), *quantity), *factor, message, taken)
            }
            TopicTarget::Press { quantity, factor } => {
                let press = self.names.press(levels, message.topic)?;
                self.apply_value(mapping, Series::new(Subject::Press(press), *quantity), *factor, message, taken)
            }
            TopicTarget::Station { quantity, factor } => {
                let station = self.names.station(levels, message.topic)?;
                self.apply_value(mapping, Series::new(Subject::Station(station), *quantity), *factor, message, taken)
            }
        }
    }

    fn apply_value(
        &mut self,
        mapping: &TopicMapping,
        series: Series,
        factor: Ratio,
        message: &Message,
        taken: &mut Taken,
    ) -> Told {
        let text = message.text()?;
        let stated = match &mapping.time {
            None => None,
            Some(place) => {
                let found = at_pointer(text, place, message.topic)?;
                let at = found.map(|time| {
                    let refuse = |expected| Refusal::new(message.topic, &time, format!("{expected} at {place}"));
                    value::instant(&time, message.arrived).map_err(refuse)
                });
                at.transpose()?
            }
        };
        let found = match &mapping.value {
            None => Some(pointer::scalar(text.trim()).unwrap_or_else(|| text.to_owned())),
            Some(place) => at_pointer(text, place, message.topic)?,
        };
        // A sender that states null says that it has no value: unknown is not zero.
        let Some(found) = found else { return Ok(()) };
        let count = value::count(series.quantity, &found, factor).map_err(|expected| {
            let place = mapping.value.as_deref().map(|place| format!(" at {place}")).unwrap_or_default();
            Refusal::new(message.topic, &found, expected + &place)
        })?;
        self.place(Value { series, count, stated }, message, taken);
        Ok(())
    }

    fn apply_job(&mut self, mapping: &TopicMapping, levels: &Levels, message: &Message, taken: &mut Taken) -> Told {
        let (press, text) = (self.names.press(levels, message.topic)?, message.text()?);
        let object = match &mapping.value {
            None => text,
            Some(place) => pointer::find(text, place)
                .ok_or_else(|| Refusal::new(message.topic, text, format!("a JSON object at {place}")))?,
        };
        let job = JobMessage::parse(object, mapping.time.as_deref(), message.topic, message.arrived)?;
        if message.retained && job.at.is_none() {
            return Ok(());
        }
        let event = self.runs.tell(&press, &job, message.arrived, message.redelivered);
        taken.events.push(event.map_err(|expected| Refusal::new(message.topic, object, expected))?);
        Ok(())
    }

    fn apply_sparkplug(&mut self, mapped: &[Mapped], message: &Message, taken: &mut Taken) -> Told {
        let refuse = |found: &str, expected: &str| Refusal::new(message.topic, found, expected);
        let (kind, sender) = sparkplug::sender(message.topic).ok_or_else(|| {
            refuse(message.topic, "a topic spBv1.0/group/type/edge or spBv1.0/group/type/edge/device")
        })?;
        if kind == MessageType::Other {
            return Ok(());
        }
        let payload = Payload::decode(message.payload)
            .map_err(|e| refuse(&format!("{} bytes: {e}", message.payload.len()), "a Sparkplug B payload"))?;
        if kind == MessageType::Birth {
            self.aliases.birth(sender.clone(), &payload);
        }
        for metric in &payload.metrics {
            match self.values(mapped, &sender, metric, payload.timestamp, message) {
                Ok(values) => values.into_iter().for_each(|value| self.place(value, message, taken)),
                Err(refusal) => taken.refused.push(refusal),
            }
        }
        Ok(())
    }

    /// The values that a metric of a Sparkplug payload carries.
    fn values(
        &self,
        mapped: &[Mapped],
        sender: &str,
        metric: &Metric,
        sent: Option<u64>,
        message: &Message,
    ) -> Result<Vec<Value>, Refusal> {
        let Some((name, datatype)) = self.aliases.resolve(sender, metric) else {
            let found = format!("alias {}", metric.alias.unwrap_or_default());
            let expected = "an alias that a birth has named: let the sender send its birth again";
            return Err(Refusal::new(message.topic, &found, expected));
        };
        // Unknown is not zero, and what is transient is not meant to be kept.
        if metric.is_null == Some(true) || metric.is_transient == Some(true) {
            return Ok(Vec::new());
        }
        let about = |expected: String| Refusal::new(message.topic, &format!("{name}: {:?}", metric.value), expected);
        let instant = metric.timestamp.or(sent).map(|millis| At(i64::try_from(millis).unwrap_or(i64::MAX)));
        let wanted = mapped.iter().filter(|(mapped, ..)| mapped == name);
        let value = |(_, meter, quantity, factor): &Mapped| {
            let stated = instant.map(|at| value::plausible(at, message.arrived)).transpose().map_err(about)?;
            let count = match metric.said(datatype) {
                Some(Said::Number(number)) => value::number_count(number, *factor),
                Some(Said::Text(text)) => value::count(*quantity, &text, *factor),
                None => Err("a number or a text".to_owned()),
            };
            let series = Series::new(Subject::Meter(meter.clone()), *quantity);
            Ok(Value { series, count: count.map_err(about)?, stated })
        };
        wanted.map(value).collect()
    }

    /// Gives a value its instant: the one stated, or the time of arrival, each series' own never twice, since two
    /// values of one instant would contradict each other. What was retained is as old as nobody knows, and an amount
    /// of an interval is of no use without the interval's end.
    fn place(&mut self, value: Value, message: &Message, taken: &mut Taken) {
        let Value { series, count, stated } = value;
        let at = match stated {
            Some(at) => at,
            None if message.retained => return,
            None if series.quantity.kind() == Kind::Interval => {
                let refusal = Refusal::new(message.topic, &count.to_string(), "the time at which its interval ended");
                return taken.refused.push(refusal);
            }
            None => {
                // Only a burst is spread out: after the clock was set back, its time counts.
                let last = self.given.get(&series).filter(|last| (0..BURST).contains(&(**last - message.arrived)));
                let next = last.map_or(message.arrived, |last| *last + 1);
                self.given.insert(series.clone(), next);
                next
            }
        };
        taken.readings.push((series, Reading { at, count }));
    }
}

/// How far, in milliseconds, values that arrive together may be spread beyond their arrival.
const BURST: i64 = 2_000;

/// Nothing, or why a message was not taken.
type Told = Result<(), Refusal>;
/// A metric's name, and what it is of which meter.
type Mapped = (String, MeterId, Quantity, Ratio);

impl<'a> Message<'a> {
    fn text(&self) -> Result<&'a str, Refusal> {
        std::str::from_utf8(self.payload)
            .map_err(|_| Refusal::new(self.topic, &String::from_utf8_lossy(self.payload), "text in UTF-8"))
    }
}

/// The text of the string or number at a pointer; `None` for null.
fn at_pointer(document: &str, place: &str, topic: &str) -> Result<Option<String>, Refusal> {
    match pointer::find(document, place) {
        Some("null") => Ok(None),
        Some(raw) => match pointer::scalar(raw) {
            Some(text) => Ok(Some(text)),
            None => Err(Refusal::new(topic, raw, format!("a number or a text at {place}"))),
        },
        None => Err(Refusal::new(topic, document, format!("JSON with a value at {place}"))),
    }
}

impl Names {
    fn meter(&self, level: &str, topic: &str) -> Result<MeterId, Refusal> {
        let known = self.meters.get(&MeterId::from(level));
        known.cloned().ok_or_else(|| Refusal::new(topic, level, "a meter of the plant"))
    }

    fn press(&self, levels: &Levels, topic: &str) -> Result<PressId, Refusal> {
        let level = levels.get("press").unwrap_or_default();
        let known = self.presses.get(&PressId::from(level));
        known.cloned().ok_or_else(|| Refusal::new(topic, level, "a press of the plant"))
    }

    fn station(&self, levels: &Levels, topic: &str) -> Result<StationId, Refusal> {
        let station = StationId::of(&self.press(levels, topic)?, levels.get("station").unwrap_or_default());
        let known = self.stations.get(&station);
        known.cloned().ok_or_else(|| Refusal::new(topic, station.as_str(), "a station of the plant"))
    }
}

/// Checks a mapping by itself; gives its pattern.
///
/// # Errors
/// A bad pattern or pointer, a level that the target needs, or an amount of an interval without a time.
pub fn check_topic(mapping: &TopicMapping) -> Result<Pattern, Refusal> {
    let mut pattern = Pattern::parse(&mapping.pattern)?;
    if let TopicTarget::Sparkplug { .. } = mapping.target {
        // Births name what data messages carry by alias: both must arrive, whichever the pattern says.
        pattern = pattern.with_any(2);
    }
    let pointers = [&mapping.value, &mapping.time].into_iter().flatten();
    if let Some(bad) = pointers.into_iter().find(|text| !pointer::is_pointer(text)) {
        return Err(Refusal::new(&mapping.pattern, bad, "a JSON Pointer (RFC 6901), such as /values/0"));
    }
    let (levels, quantity): (&[&str], _) = match &mapping.target {
        TopicTarget::Meter { meter: None, quantity, .. } => (&["meter"], Some(quantity)),
        TopicTarget::Meter { quantity, .. } => (&[], Some(quantity)),
        TopicTarget::Press { quantity, .. } => (&["press"], Some(quantity)),
        TopicTarget::Station { quantity, .. } => (&["press", "station"], Some(quantity)),
        TopicTarget::Job => (&["press"], None),
        TopicTarget::Sparkplug { .. } => (&[], None),
    };
    if let Some(missing) = levels.iter().find(|level| !pattern.has(level)) {
        return Err(Refusal::new("pattern", &mapping.pattern, format!("a level {{{missing}}}")));
    }
    if mapping.time.is_none() && quantity.is_some_and(|q| q.kind() == Kind::Interval) {
        return Err(Refusal::told(
            &mapping.pattern,
            "no time",
            "the JSON Pointer to the time at which an interval ended",
        ));
    }
    Ok(pattern)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::{Dated, Press, Station, StationUse, example};
    use crate::sources::sparkplug;
    use crate::time::Zone;
    use proptest::prelude::*;

    const NOON: At = At(1_771_416_000_000);
    const THOUSAND: Ratio = Ratio { num: 1_000, den: 1 };

    fn plant() -> Plant {
        let station = Station {
            id: "p1/s3".into(),
            name: "3".into(),
            does: StationUse::Ink,
            fitted: Dated::default(),
            implementation: Vec::new(),
        };
        let press = Press { id: "p1".into(), name: "1".into(), stations: vec![station], moving_mm_min: 1_000 };
        Plant { presses: vec![press], ..example::plant(Zone::parse("Europe/London").expect("a zone")) }
    }

    fn mapping(pattern: &str, target: TopicTarget) -> TopicMapping {
        TopicMapping { pattern: pattern.into(), target, value: None, time: None }
    }

    fn meter(quantity: Quantity) -> TopicTarget {
        TopicTarget::Meter { meter: Some("m7".into()), quantity, factor: THOUSAND }
    }

    fn router(mappings: &[TopicMapping]) -> Router {
        Router::new(mappings, &plant(), Runs::default()).expect("a router")
    }

    fn take(router: &mut Router, topic: &str, payload: &[u8], retained: bool) -> Taken {
        let mut taken = Taken::default();
        router.take(&Message { topic, payload, retained, redelivered: false, arrived: NOON }, &mut taken);
        taken
    }

    fn told(taken: &Taken) -> Vec<String> {
        taken.refused.iter().map(Refusal::to_string).collect()
    }

    #[test]
    fn plain_numbers_and_words_become_readings_of_what_the_topic_names() {
        let speed = TopicTarget::Press { quantity: Quantity::Speed, factor: THOUSAND };
        let kind = TopicTarget::Station { quantity: Quantity::LampKind, factor: Ratio::ONE };
        let mut router = router(&[mapping("hall/{press}/speed", speed), mapping("hall/{press}/{station}/lamp", kind)]);
        assert_eq!(router.filters().into_iter().collect::<Vec<_>>(), ["hall/+/+/lamp", "hall/+/speed"]);
        let taken = take(&mut router, "hall/p1/speed", b"42.005\n", false);
        let speed = Series::new(Subject::Press("p1".into()), Quantity::Speed);
        assert_eq!(taken.readings, [(speed, Reading { at: NOON, count: 42_005 })]);
        let taken = take(&mut router, "hall/p1/s3/lamp", b"\"led\"", false);
        let kind = Series::new(Subject::Station("p1/s3".into()), Quantity::LampKind);
        assert_eq!(taken.readings, [(kind, Reading { at: NOON, count: 2 })]);
    }

    #[test]
    fn values_and_times_are_found_by_their_pointers() {
        let mut energy = mapping("m7", meter(Quantity::Import));
        (energy.value, energy.time) = (Some("/v/0".into()), Some("/t".into()));
        let mut router = router(&[energy]);
        let taken = take(&mut router, "m7", br#"{"t": "2026-02-18T11:59:00Z", "v": [1234.567]}"#, true);
        let series = Series::new(Subject::Meter("m7".into()), Quantity::Import);
        assert_eq!(taken.readings, [(series, Reading { at: NOON - 60_000, count: 1_234_567 })]);
        assert_eq!(take(&mut router, "m7", br#"{"t": 1771416000000, "v": [null]}"#, false), Taken::default());
    }

    #[test]
    fn a_retained_message_without_a_time_is_no_reading() {
        let mut router = router(&[mapping("m7", meter(Quantity::Import))]);
        assert_eq!(take(&mut router, "m7", b"5", true), Taken::default());
    }

    #[test]
    fn values_that_arrive_together_without_a_time_do_not_contradict_each_other() {
        let mut router = router(&[mapping("m7", meter(Quantity::Power))]);
        let at = |taken: Taken| taken.readings[0].1.at;
        let first = at(take(&mut router, "m7", b"5", false));
        let second = at(take(&mut router, "m7", b"6", false));
        assert_eq!((first, second), (NOON, NOON + 1));
    }

    #[test]
    fn every_refusal_names_topic_found_and_expected() {
        let level = TopicTarget::Station { quantity: Quantity::LampLevel, factor: Ratio { num: 10, den: 1 } };
        let mut level = mapping("hall/{press}/{station}/level", level);
        (level.value, level.time) = (Some("/v".into()), Some("/t".into()));
        let mut router = router(&[level]);
        let cases: [(&str, &[u8], &str); 7] = [
            ("hall/p9/s3/level", b"{}", r#"hall/p9/s3/level: found "p9", expected a press of the plant"#),
            ("hall/p1/s9/level", b"{}", r#"hall/p1/s9/level: found "p1/s9", expected a station of the plant"#),
            ("hall/p1/s3/level", b"\xff", "hall/p1/s3/level: found \"\u{fffd}\", expected text in UTF-8"),
            ("hall/p1/s3/level", b"7", r#"hall/p1/s3/level: found "7", expected JSON with a value at /t"#),
            (
                "hall/p1/s3/level",
                br#"{"t": "noon"}"#,
                r#"hall/p1/s3/level: found "noon", expected a time as RFC 3339 or in milliseconds since 1970 at /t"#,
            ),
            (
                "hall/p1/s3/level",
                br#"{"t": null, "v": "high"}"#,
                r#"hall/p1/s3/level: found "high", expected a decimal number at /v"#,
            ),
            ("hall/x", b"1", r#"hall/x: found "hall/x", expected a topic that the configuration maps"#),
        ];
        for (topic, payload, expected) in cases {
            assert_eq!(told(&take(&mut router, topic, payload, false)), [expected]);
        }
    }

    #[test]
    fn a_mapping_that_cannot_work_is_refused_at_the_start() {
        let told = |mapping: TopicMapping| check_topic(&mapping).expect_err("bad").to_string();
        let speed = TopicTarget::Press { quantity: Quantity::Speed, factor: THOUSAND };
        assert_eq!(told(mapping("hall/speed", speed)), r#"pattern: found "hall/speed", expected a level {press}"#);
        assert_eq!(
            told(mapping("m7", meter(Quantity::IntervalEnergy))),
            r#"m7: found no time, expected the JSON Pointer to the time at which an interval ended"#
        );
        let bad = TopicMapping { value: Some("v".into()), ..mapping("m7", meter(Quantity::Import)) };
        assert_eq!(told(bad), r#"m7: found "v", expected a JSON Pointer (RFC 6901), such as /values/0"#);
    }

    #[test]
    fn job_messages_become_runs() {
        let mut router = router(&[mapping("hall/{press}/job", TopicTarget::Job)]);
        let start = br#"{"event": "start", "job": "4711", "time": "2026-02-18T11:00:00Z"}"#;
        let taken = take(&mut router, "hall/p1/job", start, true);
        assert_eq!((taken.events[0].id.as_str(), taken.events[0].at), ("p1/4711/1", NOON - 3_600_000));
        let end = br#"{"event": "end", "job": "4712"}"#;
        let taken = take(&mut router, "hall/p1/job", end, false);
        assert_eq!(
            told(&taken),
            [concat!(
                r#"hall/p1/job: found "{\"event\": \"end\", \"job\": \"4712\"}", "#,
                "expected a start of job 4712 on press p1 before it"
            )]
        );
    }

    fn birth_and_data() -> (Router, Payload, Payload) {
        let metrics = vec![
            ("Energy/Import".to_owned(), MeterId::from("m7"), Quantity::Import, THOUSAND),
            ("Power".to_owned(), MeterId::from("m7"), Quantity::Power, Ratio::ONE),
        ];
        let router = router(&[mapping("spBv1.0/hall/DDATA/edge/m7", TopicTarget::Sparkplug { metrics })]);
        let metric = |name: &str, alias, datatype, value| Metric {
            name: Some(name.into()),
            alias: Some(alias),
            datatype: Some(datatype),
            value: Some(value),
            ..Metric::default()
        };
        let birth = Payload {
            timestamp: Some(NOON.0 as u64),
            metrics: vec![
                metric("Energy/Import", 1, 10, sparkplug::Value::Double(1234.5)),
                metric("Power", 2, 3, sparkplug::Value::Int(0xFFFF_FFFF)),
                metric("Firmware", 3, 12, sparkplug::Value::String("1.0".into())),
            ],
            seq: Some(0),
        };
        let alone = |alias, value| Metric { alias: Some(alias), value, ..Metric::default() };
        let historical = Metric {
            timestamp: Some(NOON.0 as u64 - 60_000),
            is_historical: Some(true),
            ..alone(2, Some(sparkplug::Value::Int(0xFFFF_FFFE)))
        };
        let null = Metric { is_null: Some(true), ..alone(1, None) };
        let data = Payload { timestamp: Some(NOON.0 as u64), metrics: vec![historical, null], seq: Some(1) };
        (router, birth, data)
    }

    #[test]
    fn sparkplug_births_name_what_later_messages_carry_by_alias() {
        let (mut router, birth, data) = birth_and_data();
        let series = |quantity| Series::new(Subject::Meter("m7".into()), quantity);
        let taken = take(&mut router, "spBv1.0/hall/DBIRTH/edge/m7", &birth.encode_to_vec(), false);
        let import = (series(Quantity::Import), Reading { at: NOON, count: 1_234_500 });
        let power = (series(Quantity::Power), Reading { at: NOON, count: -1 });
        assert_eq!((taken.readings, taken.refused), (vec![import, power], vec![]));
        assert_eq!(router.filters().into_iter().collect::<Vec<_>>(), ["spBv1.0/hall/+/edge/m7"]);
        let taken = take(&mut router, "spBv1.0/hall/DDATA/edge/m7", &data.encode_to_vec(), false);
        let power = (series(Quantity::Power), Reading { at: NOON - 60_000, count: -2 });
        assert_eq!((taken.readings, taken.refused), (vec![power], vec![]));
        assert_eq!(take(&mut router, "spBv1.0/hall/DDEATH/edge/m7", &[], false), Taken::default());
    }

    #[test]
    fn sparkplug_aliases_without_a_birth_are_refused() {
        let (mut router, _, data) = birth_and_data();
        let taken = take(&mut router, "spBv1.0/hall/DDATA/edge/m7", &data.encode_to_vec(), false);
        let expected = "expected an alias that a birth has named: let the sender send its birth again";
        let topic = "spBv1.0/hall/DDATA/edge/m7";
        assert_eq!(
            told(&taken),
            [format!("{topic}: found \"alias 2\", {expected}"), format!("{topic}: found \"alias 1\", {expected}")]
        );
    }

    proptest! {
        #[test]
        fn no_payload_makes_it_panic(payload in prop::collection::vec(any::<u8>(), 0..200), topic in 0..5_usize) {
            let (sparkplug, ..) = birth_and_data();
            let kind = TopicTarget::Station { quantity: Quantity::LampState, factor: Ratio::ONE };
            let mut timed = mapping("m7", meter(Quantity::Import));
            timed.time = Some("/t".into());
            let mut routes: Vec<TopicMapping> = sparkplug.routes.into_iter().map(|(_, m)| m).collect();
            routes.extend([timed, mapping("{press}/{station}", kind), mapping("{press}/x/job", TopicTarget::Job)]);
            let topic = ["m7", "p1/s3", "p1/x/job", "spBv1.0/hall/DBIRTH/edge/m7", "spBv1.0/hall/DDATA/edge/m7"][topic];
            take(&mut router(&routes), topic, &payload, false);
        }

        #[test]
        fn no_json_makes_it_panic(
            time in any::<i64>(),
            value in any::<f64>(),
            event in prop::sample::select(vec!["start", "ready", "end"]),
        ) {
            let mut timed = mapping("m7", meter(Quantity::Import));
            (timed.value, timed.time) = (Some("/v".into()), Some("/time".into()));
            let text = format!(r#"{{"time": {time}, "v": {value:e}, "event": "{event}", "job": 1, "good_m": {value:e}}}"#);
            let mut router = router(&[timed, mapping("{press}/x/job", TopicTarget::Job)]);
            for topic in ["m7", "p1/x/job"] {
                take(&mut router, topic, text.as_bytes(), false);
            }
        }
    }
}
