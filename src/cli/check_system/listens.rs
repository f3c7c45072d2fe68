//! Whether the board can listen where the configuration says.

use super::Checked;
use std::io::ErrorKind;
use std::net::{SocketAddr, TcpListener};

/// Whether the port is free, or held by the agent that runs on the plant.
pub(super) fn free(listen: SocketAddr, runs: bool) -> Checked {
    let Err(fault) = TcpListener::bind(listen) else {
        return Checked::ok("board", format!("{listen} is free"));
    };
    let listens = "[board] listen in config/plant.toml";
    match fault.kind() {
        ErrorKind::AddrInUse if runs => {
            Checked::ok("board", format!("{listen} is held, and the agent of this plant runs"))
        }
        ErrorKind::AddrInUse => Checked::lacking(
            "board",
            format!("{listen} is taken, and no agent runs on this plant"),
            format!("stop what holds it (ss -ltnp shows it), or name another port under {listens}"),
        ),
        ErrorKind::AddrNotAvailable => Checked::lacking(
            "board",
            format!("this machine has no address {}", listen.ip()),
            format!("name one of its own (ip address shows them) under {listens}"),
        ),
        ErrorKind::PermissionDenied => Checked::lacking(
            "board",
            format!("this user may not listen on port {}", listen.port()),
            format!("name a port above 1023 under {listens}, and put a web server in front of it if need be"),
        ),
        _ => Checked::unknown("board", format!("{listen}: {fault}"), format!("see {listens}")),
    }
}
