//! A table of the configuration: its keys are known beforehand, and each problem names the thing it is about.

use super::document::Spot;
use super::hall::EVER;
use super::nearest::did_you_mean;
use super::value::Value;
use crate::time::{At, Zone};
use std::path::{Path, PathBuf};
use std::rc::Rc;
use toml::de::DeTable;

/// A table, and the words by which its problems call it, such as `meter "p1-s3"`.
#[derive(Clone)]
pub struct Section<'a> {
    about: Rc<str>,
    spot: Spot<'a>,
    table: &'a DeTable<'a>,
}

impl<'a> Section<'a> {
    /// A table with the keys that it may have; every other key is a problem.
    pub fn new(about: &str, spot: Spot<'a>, table: &'a DeTable<'a>, keys: &[&str]) -> Self {
        let section = Self { about: about.into(), spot, table };
        for (key, _) in table.iter() {
            let word = key.get_ref().as_ref();
            if !keys.contains(&word) {
                let help = did_you_mean(word, keys.iter().copied());
                spot.at(key.span().start).say_help(section.told(&format!("key \"{word}\" is not known")), help);
            }
        }
        section
    }

    /// The words for the thing it describes.
    pub fn about(&self) -> &str {
        &self.about
    }

    /// The value of a key, if it is there.
    pub fn get(&self, key: &str) -> Option<Value<'a>> {
        let (_, item) = self.table.get_key_value(key)?;
        Some(Value::new(self.about.clone(), key, self.spot.at(item.span().start), item.get_ref()))
    }

    /// The file that a key names, sought from the plant folder; `Some(None)` where it names none, `None` after a problem.
    pub fn file(&self, key: &str, folder: &Path) -> Option<Option<PathBuf>> {
        let Some(value) = self.get(key) else { return Some(None) };
        value.text().map(|path| Some(folder.join(path)))
    }

    /// The value of a key that must be there.
    pub fn need(&self, key: &str) -> Option<Value<'a>> {
        let value = self.get(key);
        if value.is_none() {
            self.spot.say(self.told(&format!("{key} is missing")));
        }
        value
    }

    /// The sections of a list of tables, each called by `noun` and what its key `id` says.
    pub fn each(&self, list: &str, noun: &str, id: &str, keys: &[&str]) -> Vec<Section<'a>> {
        let items = self.get(list).map(|value| value.list()).unwrap_or_default();
        let named = |(k, item): (usize, Value<'a>)| {
            let word = item.peek(id).map_or(format!("{noun} {}", k + 1), |word| format!("{noun} \"{word}\""));
            item.section_about(&word, keys)
        };
        items.into_iter().enumerate().filter_map(named).collect()
    }

    /// The text of a key, if it is there.
    pub fn label(&self, key: &str) -> Option<String> {
        self.get(key).and_then(|value| value.text()).map(String::from)
    }

    /// Notes things of one kind that have the same `id`.
    pub fn unique(&self, noun: &str, sections: &[Section<'a>]) {
        let id = |section: &Section<'a>| section.get("id").and_then(|value| value.written());
        for (k, section) in sections.iter().enumerate() {
            let Some(name) = id(section) else { continue };
            if let Some(other) = sections[..k].iter().find(|other| id(other).as_ref() == Some(&name)) {
                section.say("id", &format!("the id is taken by the {noun} on line {}", other.line()));
            }
        }
    }

    /// Notes a list of dated facts that is not in the order of time, or has no date but for its first.
    pub fn in_order(&self, key: &str, instants: impl Iterator<Item = At>, zone: Zone) {
        let mut before = None;
        for at in instants {
            match before {
                Some(_) if at == EVER => {
                    self.say(key, &format!("{key}: since is missing; only the first may have none"))
                }
                Some(earlier) if at <= earlier => self.say(
                    key,
                    &format!(
                        "{key}: {} does not come after {}; list them in the order of time",
                        zone.stamp(at),
                        zone.stamp(earlier)
                    ),
                ),
                _ => {}
            }
            before = Some(at);
        }
    }

    /// Notes a problem at a key, or at the table where the key is absent.
    pub fn say(&self, key: &str, text: &str) {
        self.spot_of(key).say(self.told(text));
    }

    /// Notes a problem at a key, with what to do about it.
    pub fn say_help(&self, key: &str, text: &str, help: impl Into<String>) {
        self.spot_of(key).say_help(self.told(text), help);
    }

    /// The line on which the table stands.
    pub fn line(&self) -> usize {
        self.spot.place().0
    }

    fn spot_of(&self, key: &str) -> Spot<'a> {
        self.table.get_key_value(key).map_or(self.spot, |(_, item)| self.spot.at(item.span().start))
    }

    fn told(&self, text: &str) -> String {
        if self.about.is_empty() { text.into() } else { format!("{}: {text}", self.about) }
    }
}
