//! The names of things in the plant: one type for each, so that a press is never taken for a meter.

use std::fmt;
use std::sync::Arc;

/// Defines the name of one kind of thing.
macro_rules! name {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(Arc<str>);

        impl $name {
            /// The name as a text.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }
        impl From<&str> for $name {
            fn from(text: &str) -> Self {
                Self(text.into())
            }
        }
        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(&self.0)
            }
        }
    };
}

name!(
    /// A measuring point: the place where energy is measured, whichever device stands there.
    MeterId
);
name!(
    /// A press.
    PressId
);
name!(
    /// A station of a press, written `press/station`; unique in the plant.
    StationId
);
name!(
    /// A lamp as an asset, by its serial number or the plant's own number.
    LampId
);
name!(
    /// A load that serves several presses: an extraction fan, a chiller, a compressor.
    LoadId
);
name!(
    /// A run: one job on one press for one period, by its source's id or by (press, job, ordinal).
    RunId
);

impl StationId {
    /// The name of a station within its press: `p1` and `s3` give `p1/s3`.
    pub fn of(press: &PressId, station: &str) -> Self {
        Self::from(format!("{press}/{station}").as_str())
    }

    /// The part after the press: `s3` of `p1/s3`.
    pub fn short(&self) -> &str {
        self.as_str().split_once('/').map_or(self.as_str(), |(_, station)| station)
    }
}

/// What a saving is about. Each has a boundary and a baseline of its own: what a rule charges to a press for a shared load
/// is in no saving of the press.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Judged {
    /// A press.
    Press(PressId),
    /// A shared load.
    Load(LoadId),
}

impl Judged {
    /// What a load's key begins with; no name has a space.
    const LOAD: &str = "load ";

    /// The press; `None` for a load.
    pub const fn press(&self) -> Option<&PressId> {
        match self {
            Self::Press(press) => Some(press),
            Self::Load(_) => None,
        }
    }

    /// Its name alone.
    pub fn name(&self) -> &str {
        match self {
            Self::Press(press) => press.as_str(),
            Self::Load(load) => load.as_str(),
        }
    }

    /// The name under which facts about it are kept.
    pub fn key(&self) -> String {
        match self {
            Self::Press(press) => press.to_string(),
            Self::Load(load) => format!("{}{load}", Self::LOAD),
        }
    }

    /// What a [`key`](Self::key) stands for.
    pub fn of_key(key: &str) -> Self {
        key.strip_prefix(Self::LOAD).map_or_else(|| Self::Press(key.into()), |load| Self::Load(load.into()))
    }
}

impl fmt::Display for Judged {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Press(press) => write!(f, "press {press}"),
            Self::Load(load) => write!(f, "load {load}"),
        }
    }
}

/// Whether a text may name a thing: 1 to 40 of `a-z 0-9 - _`, beginning with a letter or digit. Such a name is
/// safe in a topic, a file name, an id of a figure and a line of CSV.
pub fn is_name(text: &str) -> bool {
    let plain = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit();
    let mut bytes = text.bytes();
    text.len() <= 40 && bytes.next().is_some_and(plain) && bytes.all(|b| plain(b) || b == b'-' || b == b'_')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_plain() {
        assert!(["p1", "s3-b", "7_x"].into_iter().all(is_name));
        assert!(!["", "-a", "P1", "a b", "a/b", "é"].into_iter().any(is_name));
    }

    #[test]
    fn a_key_stands_for_what_it_was_made_of() {
        for judged in [Judged::Press("p1".into()), Judged::Load("p1".into())] {
            assert_eq!(Judged::of_key(&judged.key()), judged);
        }
    }

    #[test]
    fn a_station_knows_its_own_part() {
        let station = StationId::of(&PressId::from("p1"), "s3");
        assert_eq!((station.as_str(), station.short()), ("p1/s3", "s3"));
    }
}
