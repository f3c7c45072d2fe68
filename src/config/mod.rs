//! The configuration: TOML of a plant folder becomes a validated plant, its sources, tariffs and factors.

mod alerts;
mod bearing;
mod board;
mod calendar;
mod closing;
mod counts;
mod columns;
mod devices;
mod document;
mod factors;
mod filing;
mod fitted;
mod folder;
mod hall;
mod influx;
mod known;
mod lamps;
mod legal;
mod lines;
mod load;
mod meters;
mod missing;
mod mqtt;
mod nearest;
mod problem;
mod promise;
mod registers;
mod secret;
mod section;
mod shipped;
mod tariffs;
mod terms;
mod tls;
mod tree;
mod understood;
mod unit;
mod value;
mod watch;
mod when;

pub use alerts::{Alerts, BROKER, Webhook};
pub use board::{Board, Role, Token};
pub use devices::{display, ratio};
pub use influx::Influx;
pub use load::{load, load_for, load_kept, other_tariffs, stray_line};
pub use missing::missing;
pub use nearest::{did_you_mean, nearest};
pub use problem::{Problem, Problems};
pub use secret::{Absent, Secret};
pub use shipped::{EXAMPLE, FILING, PROMISE_EXAMPLE};
pub use tls::Tls;
pub use understood::Understood;
pub use unit::amount;
pub use when::{day, instant};

use crate::carbon::{self, FactorSet};
use crate::closing::Terms;
use crate::cost::Tariff;
use crate::plant::Plant;
use crate::sources::{CsvMapping, Line, TopicMapping};
use crate::verify::Promise;
use std::path::PathBuf;

/// What a file of the configuration is needed for; each use needs the files of those before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Use {
    /// To meter and to attribute: `plant.toml` and the register maps.
    Metering,
    /// To price and to count carbon: tariffs and factor sets.
    Pricing,
    /// To hold a saving against what was promised: `promise.toml`.
    Promise,
}

/// Everything that a plant folder's `config/` says.
#[derive(Clone, Debug)]
pub struct Configuration {
    /// The plant.
    pub plant: Plant,
    /// The lines over which its meters are polled.
    pub lines: Vec<Line>,
    /// The MQTT broker and what is taken from it.
    pub broker: Option<Broker>,
    /// Mappings of CSV files.
    pub csv: Vec<CsvMapping>,
    /// When a month may be closed.
    pub closing: Terms,
    /// What the watch tells of.
    pub watch: crate::watch::Terms,
    /// Tariffs, sorted by their first day.
    pub tariffs: Vec<Tariff>,
    /// Factor sets, shipped and own, sorted by region and first day.
    pub factors: Vec<FactorSet>,
    /// What is filed of a year.
    pub filing: carbon::filing::Mapping,
    /// The promise, where `config/promise.toml` states one.
    pub promise: Option<Promise>,
    /// How the plant is shown.
    pub board: Board,
    /// Who is told of findings, and when.
    pub alerts: Alerts,
    /// The database that is forwarded to, where there is one.
    pub influx: Option<Influx>,
    /// Every file that was read, with its text, sorted by path: a fact that reports cite by hash.
    pub texts: Vec<ConfigText>,
    /// What of the texts bears on energy: computed days hold as long as it is the same.
    pub bearing: Vec<u8>,
    /// Mistakes in files that the use at hand does not need, with what they are needed for.
    pub left_out: Vec<(Use, Problem)>,
}

impl Configuration {
    /// Whether the files needed for a use had to be left out.
    pub fn is_without(&self, of: Use) -> bool {
        self.left_out.iter().any(|(left, _)| *left == of)
    }
}

/// A configuration file as it was read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ConfigText {
    /// Its path below the plant folder, such as `config/plant.toml`, or `shipped:factors/gb.toml`.
    pub path: String,
    /// Its text.
    pub text: String,
}

/// An MQTT broker.
#[derive(Clone, PartialEq)]
pub struct Broker {
    /// Host name or address.
    pub host: String,
    /// Port.
    pub port: u16,
    /// Client id; must be unique on the broker.
    pub client_id: String,
    /// User name, where the broker wants one.
    pub username: Option<String>,
    /// Password, where the broker wants one.
    pub password: Option<Secret>,
    /// The files of TLS; `None` where the connection is in the clear.
    pub tls: Option<BrokerTls>,
    /// Where the agent says whether it is there; `None` where it does not.
    pub presence: Option<String>,
    /// What is taken from it.
    pub topics: Vec<TopicMapping>,
}

/// The files that TLS with a broker is spoken by.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BrokerTls {
    /// The certificates of the authority that the broker's must be from (PEM).
    pub authority: PathBuf,
    /// Our own, where the broker wants to know its clients.
    pub own: Option<Tls>,
}

impl std::fmt::Debug for Broker {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Broker({}@{}:{})", self.client_id, self.host, self.port)
    }
}
