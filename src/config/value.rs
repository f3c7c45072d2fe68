//! A value of the configuration, read as what it must be; what it is not becomes a problem at its place.

use super::document::Spot;
use super::legal::Legal;
use super::nearest::{did_you_mean, nearest};
use super::section::Section;
use crate::names::is_name;
use crate::time::Zone;
use crate::units::Decimal;
use std::rc::Rc;
use toml::de::DeValue;

/// A value with its place and the words for it.
#[derive(Clone)]
pub struct Value<'a> {
    about: Rc<str>,
    key: Rc<str>,
    spot: Spot<'a>,
    item: &'a DeValue<'a>,
}

impl<'a> Value<'a> {
    /// The value of a key of the thing that `about` names.
    pub fn new(about: Rc<str>, key: &str, spot: Spot<'a>, item: &'a DeValue<'a>) -> Self {
        Self { about, key: key.into(), spot, item }
    }

    /// A text, not empty.
    pub fn text(&self) -> Option<&'a str> {
        match self.item {
            DeValue::String(text) if text.trim().is_empty() => self.refuse("must not be empty"),
            DeValue::String(text) => Some(text.as_ref()),
            _ => self.wrong("a text"),
        }
    }

    /// Yes or no.
    pub fn flag(&self) -> Option<bool> {
        self.item.as_bool().or_else(|| self.wrong("true or false"))
    }

    /// A number with the decimals that were written.
    pub fn number(&self, legal: Legal) -> Option<Decimal> {
        let number = match self.item {
            DeValue::Integer(n) if n.radix() == 10 => Decimal::parse(n.as_str().trim_start_matches('+')),
            DeValue::Integer(_) => self.whole_number().and_then(|n| Decimal::parse(&n.to_string())),
            DeValue::Float(n) => Decimal::parse(n.as_str().trim_start_matches('+')),
            _ => None,
        };
        match number {
            Some(number) if legal.allows(number) => Some(number),
            _ => self.wrong(legal.word),
        }
    }

    /// A whole number.
    pub fn whole(&self, legal: Legal) -> Option<i64> {
        let number = self.whole_number().filter(|n| legal.allows(Decimal::whole(*n)));
        number.or_else(|| self.wrong(legal.word))
    }

    /// A raw bit pattern.
    pub fn bits(&self) -> Option<u64> {
        let bits = self.item.as_integer().and_then(|n| u64::from_str_radix(n.as_str(), n.radix()).ok());
        bits.or_else(|| self.wrong("a whole number of 0 or more"))
    }

    /// The name of a thing of the plant.
    pub fn name(&self) -> Option<&'a str> {
        let text = self.text()?;
        if is_name(text) {
            return Some(text);
        }
        self.wrong("1 to 40 of a-z 0-9 - _ and begin with a letter or digit")
    }

    /// One word of a closed set, given by its words.
    pub fn one_of<T: Copy>(&self, all: &[(&str, T)]) -> Option<T> {
        let word = self.text()?;
        let found = all.iter().find(|(known, _)| *known == word).map(|(_, value)| *value);
        if found.is_none() {
            self.unknown(word, all.iter().map(|(known, _)| *known));
        }
        found
    }

    /// The name of one of the things that are known under such names; `noun` says what they are.
    pub fn reference<'k>(&self, noun: &str, known: impl Iterator<Item = &'k str> + Clone) -> Option<&'a str> {
        let word = self.text()?;
        if known.clone().any(|other| other == word) {
            return Some(word);
        }
        self.say_help(&format!("{noun} \"{word}\" is not known"), did_you_mean(word, known));
        None
    }

    /// The items of a list, or the value itself as the only one.
    pub fn list(&self) -> Vec<Value<'a>> {
        match self.item {
            DeValue::Array(items) => items.iter().map(|item| self.at(item.span().start, item.get_ref())).collect(),
            _ => vec![self.clone()],
        }
    }

    /// A table with its keys, called as the thing it belongs to.
    pub fn section(&self, keys: &[&str]) -> Option<Section<'a>> {
        self.section_about(&self.about, keys)
    }

    /// A table with its keys, called by words of its own.
    pub fn section_about(&self, about: &str, keys: &[&str]) -> Option<Section<'a>> {
        match self.item {
            DeValue::Table(table) => Some(Section::new(about, self.spot, table, keys)),
            _ => self.wrong("a table"),
        }
    }

    /// The values of a table by their keys, which are free.
    pub fn entries(&self) -> Option<Vec<(&'a str, Value<'a>)>> {
        let DeValue::Table(table) = self.item else { return self.wrong("a table") };
        let named = |(key, item): (&'a toml::Spanned<_>, &'a toml::Spanned<DeValue<'a>>)| {
            let key: &std::borrow::Cow<'a, str> = key.get_ref();
            let value = Self { key: key.as_ref().into(), ..self.at(item.span().start, item.get_ref()) };
            (key.as_ref(), value)
        };
        Some(table.iter().map(named).collect())
    }

    /// The text of a key of a table, without any judgement: what problems call the table by.
    pub fn peek(&self, key: &str) -> Option<&'a str> {
        self.item.get(key)?.get_ref().as_str()
    }

    /// Whether it is a table.
    pub fn is_table(&self) -> bool {
        self.item.is_table()
    }

    /// A date or time as written, or a text.
    pub fn written(&self) -> Option<String> {
        match self.item {
            DeValue::Datetime(time) => Some(time.to_string()),
            DeValue::String(text) => Some(text.to_string()),
            _ => None,
        }
    }

    /// Notes that it must be something else; gives `None` for the caller to return.
    pub fn wrong<T>(&self, expected: &str) -> Option<T> {
        self.refuse(&format!("must be {expected}, found {}", self.found()))
    }

    /// Notes that it must be something else, with what to do about it.
    pub fn wrong_help<T>(&self, expected: &str, help: &str) -> Option<T> {
        self.say_help(&format!("{} must be {expected}, found {}", self.key, self.found()), help);
        None
    }

    /// Notes a problem that begins with the key.
    pub fn refuse<T>(&self, text: &str) -> Option<T> {
        self.say(&format!("{} {text}", self.key));
        None
    }

    /// Notes a word outside a closed set.
    pub fn unknown<'k>(&self, word: &str, known: impl IntoIterator<Item = &'k str>) {
        self.say_help(&format!("{} \"{word}\" is not known", self.key), did_you_mean(word, known));
    }

    /// Notes a problem here.
    pub fn say(&self, text: &str) {
        self.spot.say(self.told(text));
    }

    /// Notes a problem here, with what to do about it.
    pub fn say_help(&self, text: &str, help: impl Into<String>) {
        self.spot.say_help(self.told(text), help);
    }

    fn told(&self, text: &str) -> String {
        if self.about.is_empty() { text.into() } else { format!("{}: {text}", self.about) }
    }

    fn at(&self, byte: usize, item: &'a DeValue<'a>) -> Self {
        Self { about: self.about.clone(), key: self.key.clone(), spot: self.spot.at(byte), item }
    }

    fn whole_number(&self) -> Option<i64> {
        self.item.as_integer().and_then(|n| i64::from_str_radix(n.as_str(), n.radix()).ok())
    }

    /// The value as a person would call it.
    fn found(&self) -> String {
        match self.item {
            DeValue::String(text) => format!("\"{text}\""),
            DeValue::Integer(n) => n.to_string(),
            DeValue::Float(n) => n.to_string(),
            DeValue::Boolean(yes) => yes.to_string(),
            DeValue::Datetime(time) => time.to_string(),
            DeValue::Array(_) => "a list".into(),
            DeValue::Table(_) => "a table".into(),
        }
    }
}

/// What stands at the head of a plant and of a tariff.
impl Value<'_> {
    /// An ISO 4217 code.
    pub fn currency(&self) -> Option<String> {
        let text = self.text()?;
        if text.len() == 3 && text.bytes().all(|b| b.is_ascii_uppercase()) {
            return Some(text.into());
        }
        self.wrong("an ISO 4217 code such as \"GBP\"")
    }

    /// A time zone by its IANA name.
    pub fn zone(&self) -> Option<Zone> {
        let text = self.text()?;
        let zone = Zone::parse(text);
        if zone.is_none() {
            let help = match nearest(text, Zone::names()) {
                Some(zone) => format!("did you mean \"{zone}\"?"),
                None => "write an IANA name such as \"Europe/London\"".into(),
            };
            self.say_help(&format!("{} \"{text}\" is not known", self.key), help);
        }
        zone
    }
}
