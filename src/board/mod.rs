//! What is served: the board for people, the interface for programs, and whether the agent is well.

mod access;
mod answer;
mod api;
mod assets;
mod coded;
mod configuration;
mod data;
mod findings;
mod hall;
mod health;
mod history;
mod host;
mod job;
mod live;
mod load;
mod meters;
mod metrics;
mod page;
mod present;
mod press;
mod reports;
mod serve;
mod shown;
mod station;
mod tls;
mod total;

pub use access::random;
pub use serve::serve;
pub use shown::{BoardError, Showing, Shown};
pub use tls::{TlsFault, terms};
