//! MQTT messages, several in a row so that births, aliases and runs bear on later ones. Each is a length, a topic up to a
//! line's end, and a payload: plain, JSON, or Sparkplug B.

#![no_main]

use inkwatt::plant::{Plant, Ratio};
use inkwatt::readings::Quantity;
use inkwatt::sources::{Message, Pattern, Router, Runs, Taken, TopicMapping, TopicTarget, pointer};
use inkwatt::time::At;
use libfuzzer_sys::fuzz_target;
use std::sync::LazyLock;

#[path = "../example.rs"]
mod example;

const ARRIVED: At = At(1_771_416_000_000);
static PLANT: LazyLock<Plant> = LazyLock::new(|| example::configuration().plant);

fuzz_target!(|bytes: &[u8]| {
    let mut router = Router::new(&mappings(), &PLANT, Runs::default()).expect("mappings that can be used");
    let mut taken = Taken::default();
    let mut rest = bytes;
    let mut arrived = ARRIVED;
    while let [length, flags, all @ ..] = rest {
        let (message, after) = all.split_at(all.len().min(usize::from(*length)));
        rest = after;
        let cut = message.iter().position(|byte| *byte == b'\n').unwrap_or(message.len());
        let Ok(topic) = std::str::from_utf8(&message[..cut]) else { continue };
        let payload = message.get(cut + 1..).unwrap_or_default();
        arrived = arrived + i64::from(flags >> 2);
        let (retained, redelivered) = (flags & 1 != 0, flags & 2 != 0);
        router.take(&Message { topic, payload, retained, redelivered, arrived }, &mut taken);
        if let Ok(pattern) = Pattern::parse(topic) {
            let _ = (pattern.filter(), pattern.matches("hall/p1/1/state"));
        }
        if let (true, Ok(document)) = (pointer::is_pointer(topic), std::str::from_utf8(payload)) {
            let _ = pointer::find(document, topic).and_then(pointer::scalar);
        }
    }
    taken.refused.iter().for_each(|refusal| drop(refusal.to_string()));
});

fn mappings() -> Vec<TopicMapping> {
    let factor = Ratio { num: 1_000, den: 3 };
    let map = |pattern: &str, target, value: Option<&str>, time: Option<&str>| TopicMapping {
        pattern: pattern.into(),
        target,
        value: value.map(Into::into),
        time: time.map(Into::into),
    };
    let meter = PLANT.meters[0].id.clone();
    let of = |quantity| TopicTarget::Meter { meter: Some(meter.clone()), quantity, factor };
    let metrics = vec![
        ("E".to_owned(), meter.clone(), Quantity::Import, factor),
        ("P".to_owned(), meter.clone(), Quantity::Power, factor),
    ];
    vec![
        map("e", of(Quantity::Import), None, None),
        map("v", of(Quantity::Power), Some("/v/0"), Some("/t")),
        map("q", of(Quantity::IntervalEnergy), Some("/v"), Some("/t")),
        map("m/{meter}", TopicTarget::Meter { meter: None, quantity: Quantity::Import, factor }, None, None),
        map("h/{press}/{station}", TopicTarget::Station { quantity: Quantity::LampState, factor }, None, None),
        map("j/{press}", TopicTarget::Job, None, None),
        map("spBv1.0/g/DDATA/e/d", TopicTarget::Sparkplug { metrics }, None, None),
    ]
}
