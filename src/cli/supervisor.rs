//! What a service manager is told: that the agent is ready, lives, and stops (sd_notify(3), sd_watchdog_enabled(3)).

use crate::acquire::Batch;
use std::env;
use std::ffi::OsString;
use std::io;
use std::os::linux::net::SocketAddrExt;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::net::{SocketAddr, UnixDatagram};
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::time::interval;
use tracing::warn;

/// Where it listens.
const SOCKET: &str = "NOTIFY_SOCKET";
/// Within how many microseconds it wants a sign of life.
const WATCHDOG: &str = "WATCHDOG_USEC";

/// The service manager that started the agent, where one did.
pub(super) struct Supervisor {
    socket: Option<UnixDatagram>,
}

impl Supervisor {
    /// As the environment names it.
    pub(super) fn of_environment() -> Self {
        let socket = env::var_os(SOCKET).and_then(|name| match connect(&name) {
            Ok(socket) => Some(socket),
            Err(fault) => {
                warn!("the service manager cannot be told anything: {fault}");
                None
            }
        });
        Self { socket }
    }

    /// Says that the agent polls and serves.
    pub(super) fn ready(&self) {
        self.tell("READY=1");
    }

    /// Says that the agent ends of its own will.
    pub(super) fn stopping(&self) {
        self.tell("STOPPING=1");
    }

    /// Gives signs of life, twice as often as wanted, as long as what is read is taken to be written: a writer that hangs
    /// lets its intake fill up. Ends where nobody wants any.
    pub(super) async fn live(&self, intake: mpsc::WeakSender<Batch>) {
        let wanted = env::var(WATCHDOG).ok().and_then(|micros| micros.parse().ok());
        let Some(wanted) = wanted.filter(|_| self.socket.is_some()).map(Duration::from_micros) else { return };
        let mut ticks = interval((wanted / 2).max(Duration::from_millis(1)));
        loop {
            ticks.tick().await;
            if intake.upgrade().is_some_and(|intake| intake.capacity() > 0) {
                self.tell("WATCHDOG=1");
            }
        }
    }

    fn tell(&self, word: &str) {
        // A service manager that does not listen is none of the agent's business.
        let _ = self.socket.as_ref().map(|socket| socket.send(word.as_bytes()));
    }
}

/// A name that begins with @ is abstract, any other a path.
fn connect(name: &OsString) -> io::Result<UnixDatagram> {
    let address = match name.as_bytes() {
        [b'@', name @ ..] => SocketAddr::from_abstract_name(name)?,
        _ => SocketAddr::from_pathname(name)?,
    };
    let socket = UnixDatagram::unbound()?;
    socket.connect_addr(&address)?;
    // A full queue must not hold up the agent.
    socket.set_nonblocking(true)?;
    Ok(socket)
}
