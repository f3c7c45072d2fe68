//! What one local day says about a scope: the raw material of every baseline and saving.

use super::{LoadBy, Powers};
use crate::attribute::LampState;
use crate::names::{MeterId, StationId};
use crate::plant::{Dated, LampKind, Load};
use crate::time::Period;
use crate::units::Energy;
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// A local day of a scope, condensed from the ledger's own slices; the ledger can be dropped after it.
#[derive(Clone, Debug, PartialEq)]
pub struct Day {
    /// The local day.
    pub date: NaiveDate,
    /// Its length: 23, 24 or 25 hours.
    pub hours: f64,
    /// What kind of day it was.
    pub kind: DayType,
    /// Energy of the scope's own slices. Where some of it is not known, [`Aside::Lost`] says so and this is what is known.
    pub energy: Energy,
    /// Why it counts on no side; `None` where it counts.
    pub aside: Option<Aside>,
    /// Energy and station-hours by kind and state of the lamp, of all the scope's stations together.
    pub worked: BTreeMap<(LampKind, LampState), Worked>,
    /// Hours in which a job was on the press, its make-ready and stops included; `None` where no state is known.
    pub on_job_h: Option<f64>,
    /// Hours in which the web moved outside every shift of the calendar; `None` where there are no shifts or its state
    /// is not known.
    pub outside_h: Option<f64>,
    /// How each station cured, by the kind of its lamp as far as that is known; a station that did not is absent.
    pub curing: BTreeMap<(StationId, Option<LampKind>), Cured>,
    /// What each meter showed by load of its circuit, the mean of a slice, and by what that was found.
    pub loads: BTreeMap<(MeterId, Load, LoadBy), Energy>,
    /// What its supplies drew by interval, for apparent power.
    pub powers: Powers,
    /// What is known of its drivers; one that is absent is not known, which is not zero.
    pub drivers: BTreeMap<Driver, f64>,
}

/// Energy of lamps, and for how long they were in a state.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Worked {
    /// The energy.
    pub energy: Energy,
    /// Station-milliseconds.
    pub millis: i64,
}

/// For how long a lamp cured, and at what level.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Cured {
    /// Milliseconds.
    pub millis: i64,
    /// Those for which a level above zero was signalled.
    pub signalled: i64,
    /// The levels signalled times their milliseconds, in tenths of a per cent: over `signalled` the mean level, weighted
    /// by the time of curing as the promise's formula weights it.
    pub level_millis: i64,
}

impl Cured {
    /// Adds a period of curing, with the levels in tenths of a per cent that were signalled in it, each from its instant on. A level
    /// of zero contradicts the curing and tells nothing of it.
    pub fn take(&mut self, period: Period, levels: Option<&Dated<i64>>) {
        self.millis += period.millis();
        for (span, level) in levels.into_iter().flat_map(|levels| levels.spans(period)).filter(|(_, level)| **level > 0)
        {
            self.signalled += span.millis();
            self.level_millis += level * span.millis();
        }
    }

    /// The mean level, 1 for full; `None` where it was not signalled for more than a twentieth of the curing (own judgement).
    pub fn level(&self) -> Option<f64> {
        let is_known = self.signalled * 20 >= self.millis * 19;
        is_known.then(|| self.level_millis as f64 / self.signalled as f64 / 1e3)
    }
}

/// The kinds of day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum DayType {
    /// The web moved.
    Running,
    /// It did not.
    Idle,
    /// A holiday or a day of a shutdown on which it did not.
    Closed,
}

/// Why a day counts on neither side.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Aside {
    /// It lies between the start of the conversion and its acceptance.
    Implementation,
    /// Some of its energy is not known.
    Lost,
    /// A driver of the model is not known.
    DriverUnknown,
    /// It is not over.
    Unfinished,
    /// A lamp of the other kind was fitted in part of the scope.
    OtherLamp,
}

impl Aside {
    /// Every reason.
    pub const ALL: [Self; 5] =
        [Self::Implementation, Self::Lost, Self::DriverUnknown, Self::Unfinished, Self::OtherLamp];

    /// The reason as it stands behind a number of days.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Implementation => "during the conversion",
            Self::Lost => "with energy that is not known",
            Self::DriverUnknown => "with a driver that is not known",
            Self::Unfinished => "not over yet",
            Self::OtherLamp => "with a lamp of the other kind",
        }
    }

    /// That many days of it: `3 days with energy that is not known`.
    pub fn counted(self, days: usize) -> String {
        let noun = if days == 1 { "day" } else { "days" };
        format!("{days} {noun} {}", self.words())
    }

    /// The word in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Implementation => "implementation",
            Self::Lost => "energy-lost",
            Self::DriverUnknown => "driver-unknown",
            Self::Unfinished => "unfinished",
            Self::OtherLamp => "other-lamp",
        }
    }

    /// The reason of that word.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|aside| aside.word() == word)
    }
}

/// What explains usage. Outputs come first: a conversion does not move them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Driver {
    /// Web length in kilometres.
    WebKm,
    /// Jobs begun.
    Jobs,
    /// Web length times the stations lit for it, in kilometres.
    StationKm,
    /// 1 on a day on which the web moved, else 0.
    Ran,
    /// Hours in which the web moved. Moved by the conversion where speed changed: accepted under conditions only.
    RunH,
    /// Mean outdoor temperature in degrees Celsius.
    Outdoor,
    /// Hours in which people were at any press that a shared load serves, by its jobs and the pauses between them; of a
    /// press it is not known.
    AttendedH,
}

impl Driver {
    /// Every driver.
    pub const ALL: [Self; 7] =
        [Self::WebKm, Self::Jobs, Self::StationKm, Self::Ran, Self::RunH, Self::Outdoor, Self::AttendedH];

    /// The word at the command line, in tables and in frozen baselines; its unit stands in it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::WebKm => "web_km",
            Self::Jobs => "jobs",
            Self::StationKm => "station_km",
            Self::Ran => "ran",
            Self::RunH => "run_h",
            Self::Outdoor => "outdoor_c",
            Self::AttendedH => "attended_h",
        }
    }

    /// The driver of that word.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|driver| driver.word() == word)
    }
}
