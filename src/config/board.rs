//! Where the board listens, and the token that it asks for.

use super::secret::{self, Secret};
use super::section::Section;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::Path;

const BOARD: [&str; 4] = ["listen", "token", "token_env", "token_file"];

/// The port of the board where nobody says another.
const PORT: u16 = 8420;

/// The address and the token.
pub fn read(root: &Section<'_>, folder: &Path) -> Option<(SocketAddr, Option<Secret>)> {
    let home = SocketAddr::from((Ipv4Addr::LOCALHOST, PORT));
    let Some(value) = root.get("board") else { return Some((home, None)) };
    let section = value.section_about("board", &BOARD)?;
    let token = secret::read(&section, "token", folder);
    let listen = match section.get("listen") {
        Some(v) => v.text()?.parse().ok().or_else(|| v.wrong("an address and port such as \"127.0.0.1:8420\"")),
        None => Some(home),
    };
    let (listen, token) = (listen?, token?);
    if !listen.ip().is_loopback() && token.is_none() {
        section.say_help(
            "listen",
            &format!("{listen} can be reached from other machines, which needs a token"),
            "write token_env or token_file, or listen on 127.0.0.1",
        );
    }
    Some((listen, token))
}
