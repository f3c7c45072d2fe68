//! A finding: one event that a person should look at, and what people answered.

use crate::names::StationId;
use crate::time::{At, Period};
use crate::units::{Energy, Money, fixed, significant};

/// What is said with every finding about a station.
pub const SAFETY: &str = "Cabinets, lamp housings and current transformers are work for qualified people under the local code: mains \
                          voltage, UV, ozone and, in arc lamps, mercury. A finding is a reason to ask, never to open anything.";

/// What raised it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rule {
    /// A lamp stayed energised while its press stood.
    LeftOn,
    /// A station draws more for the same curing than it did.
    HigherDraw,
    /// Lamps stood by for longer than it takes to strike them anew.
    LongStandby,
    /// More is drawn than was agreed with the supplier, or is about to be.
    OverCapacity,
    /// Meters below one together show more than it does.
    Balance,
    /// A register started anew.
    Reset,
    /// A reading that no load of this size explains.
    Implausible,
    /// No readings.
    Silent,
    /// A clock was set.
    Clock,
}

impl Rule {
    /// Every rule.
    pub const ALL: [Self; 9] = [
        Self::LeftOn,
        Self::HigherDraw,
        Self::LongStandby,
        Self::OverCapacity,
        Self::Balance,
        Self::Reset,
        Self::Implausible,
        Self::Silent,
        Self::Clock,
    ];

    /// The word in ids, tables and files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::LeftOn => "left-on",
            Self::HigherDraw => "higher-draw",
            Self::LongStandby => "long-standby",
            Self::OverCapacity => "over-capacity",
            Self::Balance => "balance",
            Self::Reset => "register-reset",
            Self::Implausible => "implausible",
            Self::Silent => "silent",
            Self::Clock => "clock",
        }
    }

    /// The rule of a word.
    pub fn of(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|rule| rule.word() == word)
    }

    /// What it is about, in words that go on from the name of a thing.
    pub const fn what(self) -> &'static str {
        match self {
            Self::LeftOn => "lamp left on while the press stood",
            Self::HigherDraw => "draws more than it did",
            Self::LongStandby => "lamps stood by for long",
            Self::OverCapacity => "draws more than is agreed",
            Self::Balance => "meters below one show more than it does",
            Self::Reset => "register began anew",
            Self::Implausible => "reading that no load of this size explains",
            Self::Silent => "no readings",
            Self::Clock => "clock was set",
        }
    }

    /// What to ask, and whom.
    pub const fn questions(self) -> &'static [&'static str] {
        match self {
            Self::LeftOn => &[
                "Ask the shift: was the lamp kept lit on purpose, for instance for a long washing-up?",
                "Ask maintenance: does the press still switch its lamps off when it is switched off?",
            ],
            Self::HigherDraw => &[
                "Ask production: was the level of the lamp or its setting at the power supply changed?",
                "Ask maintenance: are window, reflector and cooling of the lamp clean, so that nobody turned it up to make good?",
                "Ask maintenance: was a lamp, a module or a power supply exchanged, or is one at the end of its life?",
            ],
            Self::LongStandby => &[
                "Ask the shift: what was waited for, and could the lamps have been dark for that long?",
                "Ask maintenance: how long does a lamp of this press take until it cures after it was struck?",
            ],
            Self::OverCapacity => &[
                "Ask production: which load can wait until the interval is over, such as the start of a second press?",
                "Ask whoever keeps the contract: is the agreed capacity still the right one?",
            ],
            Self::Balance => {
                &["Ask the electrician: do ratio and direction of every current transformer match its meter?"]
            }
            Self::Reset => &["Ask the electrician: was the meter exchanged or reset? Record it with its counts."],
            Self::Implausible => &["Ask the electrician: does the meter keep its time and its scale?"],
            Self::Silent => &["Ask IT or the electrician: were meter, gateway or network without power?"],
            Self::Clock => &["Ask IT: what sets the clock of this machine, and by how much?"],
        }
    }
}

/// What a station draws above what is expected of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Above {
    /// Watts above.
    pub watts: f64,
    /// Their half-width at 90 %; `None` where they are measured and not estimated.
    pub watts_half: Option<f64>,
    /// What it came to so far.
    pub energy: Energy,
    /// Half-width of that at 90 %.
    pub energy_half: Option<Energy>,
    /// What that cost, by the bands of its time; taxes and demand are not in it.
    pub cost: Money,
    /// What a month of 28 days ahead would come to, where it goes on.
    pub ahead: Option<(Energy, Money)>,
}

impl Above {
    /// The watts with their uncertainty, such as `339 ± 2 W more`.
    pub fn watts_told(&self) -> String {
        let whole = |watts: f64| fixed((watts * 1e6).round() as i128, 6, 0);
        match self.watts_half {
            Some(half) => format!("{} ± {} W more", whole(self.watts), whole(half)),
            None => format!("{} W", whole(self.watts)),
        }
    }

    /// Watts, energy and money in a line.
    pub fn brief(&self, currency: &str) -> String {
        let money = |money: Money| format!("{} {currency}", fixed(money.micros().into(), 6, 0));
        let kwh = significant(self.energy.mwh().into(), 6);
        let so_far = format!("{}; {kwh} kWh, {} so far", self.watts_told(), money(self.cost));
        match self.ahead {
            Some((_, cost)) => format!("{so_far}; {} in the 28 days ahead", money(cost)),
            None => so_far,
        }
    }
}

/// One event.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// What raised it.
    pub rule: Rule,
    /// The thing in question, such as `p1/s6` or `meter p2-s5`.
    pub about: String,
    /// The station, where it is one.
    pub station: Option<StationId>,
    /// Since when.
    pub since: At,
    /// Whether that is a first guess.
    pub is_about: bool,
    /// When it could first be known.
    pub raised: At,
    /// When it ended; `None` where it goes on.
    pub until: Option<At>,
    /// What is drawn above, where that can be said.
    pub above: Option<Above>,
    /// What was found, a sentence each.
    pub evidence: Vec<String>,
}

impl Finding {
    /// Its identity: what, about which thing, since which instant in UTC.
    pub fn id(&self) -> String {
        format!("{}/{}/{}", self.rule.word(), self.about.replace(' ', "-"), self.since.utc().format("%Y-%m-%dT%H:%MZ"))
    }

    /// Whether it lasted in a period, or was raised in it.
    pub fn touches(&self, period: Period) -> bool {
        self.since < period.end && self.until.is_none_or(|until| until > period.start)
    }
}

/// What a person said of a finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    /// Somebody looks into it.
    Acknowledged,
    /// It is not to be spoken of until then.
    Snoozed {
        /// Until when.
        until: At,
    },
    /// It needs nobody any more.
    Closed,
}

impl Answer {
    /// The word in tables and files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Acknowledged => "acknowledged",
            Self::Snoozed { .. } => "snoozed",
            Self::Closed => "closed",
        }
    }
}
