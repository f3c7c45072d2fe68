//! Sparkplug B payloads: the protocol buffers of the open specification, and the names behind the aliases.
//!
//! Field numbers and data types: `sparkplug_b.proto` (proto2) of the Eclipse Tahu project. A birth (NBIRTH, DBIRTH)
//! names every metric; the data messages after it (NDATA, DDATA) may carry the alias alone.

use crate::sources::Number;
use std::collections::HashMap;

/// A payload.
#[derive(Clone, PartialEq, prost::Message)]
pub struct Payload {
    /// When it was sent, in milliseconds since 1970.
    #[prost(uint64, optional, tag = "1")]
    pub timestamp: Option<u64>,
    /// Its metrics.
    #[prost(message, repeated, tag = "2")]
    pub metrics: Vec<Metric>,
    /// Its number in sequence, 0 to 255.
    #[prost(uint64, optional, tag = "3")]
    pub seq: Option<u64>,
}

/// A metric.
#[derive(Clone, PartialEq, prost::Message)]
pub struct Metric {
    /// Its name.
    #[prost(string, optional, tag = "1")]
    pub name: Option<String>,
    /// The number that stands for its name.
    #[prost(uint64, optional, tag = "2")]
    pub alias: Option<u64>,
    /// When it was measured, in milliseconds since 1970.
    #[prost(uint64, optional, tag = "3")]
    pub timestamp: Option<u64>,
    /// Its data type.
    #[prost(uint32, optional, tag = "4")]
    pub datatype: Option<u32>,
    /// It was measured before and kept by the sender.
    #[prost(bool, optional, tag = "5")]
    pub is_historical: Option<bool>,
    /// It is not meant to be kept.
    #[prost(bool, optional, tag = "6")]
    pub is_transient: Option<bool>,
    /// It has no value.
    #[prost(bool, optional, tag = "7")]
    pub is_null: Option<bool>,
    /// Its value.
    #[prost(oneof = "Value", tags = "10, 11, 12, 13, 14, 15, 16")]
    pub value: Option<Value>,
}

/// The value of a metric.
#[derive(Clone, PartialEq, prost::Oneof)]
pub enum Value {
    /// Whole numbers of up to 32 bits; signed ones as two's complement.
    #[prost(uint32, tag = "10")]
    Int(u32),
    /// Whole numbers of 64 bits; signed ones as two's complement.
    #[prost(uint64, tag = "11")]
    Long(u64),
    /// Single precision.
    #[prost(float, tag = "12")]
    Float(f32),
    /// Double precision.
    #[prost(double, tag = "13")]
    Double(f64),
    /// A truth value.
    #[prost(bool, tag = "14")]
    Boolean(bool),
    /// A text.
    #[prost(string, tag = "15")]
    String(String),
    /// Bytes.
    #[prost(bytes = "vec", tag = "16")]
    Bytes(Vec<u8>),
}

/// What a value of a metric says.
#[derive(Clone, Debug, PartialEq)]
pub enum Said {
    /// A number.
    Number(Number),
    /// A text.
    Text(String),
}

impl Metric {
    /// What the metric says, given its data type; `None` for a value of a kind that no quantity has.
    pub fn said(&self, datatype: Option<u32>) -> Option<Said> {
        let number = match (self.value.as_ref()?, datatype) {
            // Int8, Int16, Int32.
            (Value::Int(v), Some(1)) => Number::from(i128::from(*v as u8 as i8)),
            (Value::Int(v), Some(2)) => Number::from(i128::from(*v as u16 as i16)),
            (Value::Int(v), Some(3)) => Number::from(i128::from(*v as i32)),
            (Value::Int(v), _) => Number::from(i128::from(*v)),
            // Int64.
            (Value::Long(v), Some(4)) => Number::from(i128::from(*v as i64)),
            (Value::Long(v), _) => Number::from(i128::from(*v)),
            (Value::Float(v), _) => Number::from_f32(*v)?,
            (Value::Double(v), _) => Number::from_f64(*v)?,
            (Value::String(text), _) => return Some(Said::Text(text.clone())),
            (Value::Boolean(_) | Value::Bytes(_), _) => return None,
        };
        Some(Said::Number(number))
    }
}

/// Which message a topic of the namespace `spBv1.0/group/type/edge[/device]` carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MessageType {
    /// NBIRTH or DBIRTH: names every metric, with its present value.
    Birth,
    /// NDATA or DDATA: values that changed.
    Data,
    /// Deaths, commands, states: no values.
    Other,
}

/// The type of a message, and the node or device that sends it; `None` outside the namespace.
pub fn sender(topic: &str) -> Option<(MessageType, String)> {
    let levels: Vec<&str> = topic.split('/').collect();
    let ["spBv1.0", group, kind, edge @ ..] = levels.as_slice() else { return None };
    if !(1..=2).contains(&edge.len()) {
        return None;
    }
    let kind = match *kind {
        "NBIRTH" | "DBIRTH" => MessageType::Birth,
        "NDATA" | "DDATA" => MessageType::Data,
        _ => MessageType::Other,
    };
    Some((kind, format!("{group}/{}", edge.join("/"))))
}

/// The names and data types behind the aliases of each sender, as its last birth stated them.
#[derive(Clone, Debug, Default)]
pub struct Aliases {
    by_sender: HashMap<String, HashMap<u64, (String, Option<u32>)>>,
}

impl Aliases {
    /// Keeps what a birth states; what an earlier birth of the sender stated is forgotten.
    pub fn birth(&mut self, sender: String, payload: &Payload) {
        let named = |m: &Metric| Some((m.alias?, (m.name.clone()?, m.datatype)));
        self.by_sender.insert(sender, payload.metrics.iter().filter_map(named).collect());
    }

    /// The name and the data type of a metric; `None` where no birth has named its alias.
    pub fn resolve<'a>(&'a self, sender: &str, metric: &'a Metric) -> Option<(&'a str, Option<u32>)> {
        let known = metric.alias.and_then(|alias| self.by_sender.get(sender)?.get(&alias));
        match (&metric.name, known) {
            (Some(name), _) if !name.is_empty() => Some((name, metric.datatype.or(known.and_then(|k| k.1)))),
            (_, Some((name, datatype))) => Some((name, metric.datatype.or(*datatype))),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use prost::Message;

    #[test]
    fn field_numbers_are_those_of_the_specification() {
        // By hand from sparkplug_b.proto: timestamp (1), metrics (2), seq (3); name (1), alias (2), datatype (4),
        // int_value (10). A key is number x 8 + wire type: 0 varint, 2 length-delimited.
        let bytes = [0x08, 0x05, 0x12, 0x0a, 0x0a, 0x01, b'P', 0x10, 0x07, 0x20, 0x07, 0x50, 0xac, 0x02, 0x18, 0x01];
        let payload = Payload::decode(bytes.as_slice()).expect("a payload");
        let metric = &payload.metrics[0];
        assert_eq!((payload.timestamp, payload.seq), (Some(5), Some(1)));
        assert_eq!((metric.name.as_deref(), metric.alias, metric.datatype), (Some("P"), Some(7), Some(7)));
        assert_eq!(metric.value, Some(Value::Int(300)));
        assert_eq!(payload.encode_to_vec(), bytes);
    }

    #[test]
    fn signed_numbers_travel_as_twos_complement() {
        let said = |value, datatype| Metric { value: Some(value), ..Metric::default() }.said(Some(datatype));
        let number = |n: i128| Some(Said::Number(Number::from(n)));
        assert_eq!(said(Value::Int(0xFF), 1), number(-1));
        assert_eq!(said(Value::Int(0xFFFF_FFFE), 2), number(-2));
        assert_eq!(said(Value::Int(0xFFFF_FFFD), 3), number(-3));
        assert_eq!(said(Value::Int(0xFFFF_FFFD), 7), number(0xFFFF_FFFD));
        assert_eq!(said(Value::Long(u64::MAX), 4), number(-1));
        assert_eq!(said(Value::Long(u64::MAX), 8), number(i128::from(u64::MAX)));
        assert_eq!(said(Value::Double(f64::NAN), 10), None);
        assert_eq!(said(Value::Boolean(true), 11), None);
    }

    #[test]
    fn topics_tell_who_sends_what() {
        assert_eq!(sender("spBv1.0/hall/DBIRTH/edge/m7"), Some((MessageType::Birth, "hall/edge/m7".into())));
        assert_eq!(sender("spBv1.0/hall/NDATA/edge"), Some((MessageType::Data, "hall/edge".into())));
        assert_eq!(sender("spBv1.0/hall/NDEATH/edge"), Some((MessageType::Other, "hall/edge".into())));
        assert_eq!(sender("spBv1.0/STATE/host"), None);
        assert_eq!(sender("hall/p1/power"), None);
    }
}
