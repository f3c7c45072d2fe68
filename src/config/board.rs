//! The board: where it listens, who may see and do what, how jobs are called.

use super::section::Section;
use super::tls::{self, Tls};
use super::value::Value;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::Path;

const BOARD: [&str; 6] = ["listen", "jobs", "certificate_file", "key_file", "behind_tls", "token"];
const TOKEN: [&str; 3] = ["name", "role", "sha256"];

/// The port of the board where nobody says another.
const PORT: u16 = 8420;

/// How the plant is shown.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Board {
    /// Where it listens.
    pub listen: SocketAddr,
    /// Who may see and do what. Where there is none, whoever reaches it may do all; that is only on this machine.
    pub tokens: Vec<Token>,
    /// Whether jobs are called by codes instead of their names.
    pub are_jobs_coded: bool,
    /// What it serves TLS with; `None` where it speaks plain HTTP.
    pub tls: Option<Tls>,
    /// Whether a server in front of it serves it over TLS, so that cookies need never travel in the clear.
    pub is_behind_tls: bool,
}

impl Board {
    /// Whether visitors reach it over TLS.
    pub const fn is_over_tls(&self) -> bool {
        self.is_behind_tls || self.tls.is_some()
    }
}

/// A token: what it is for, what it allows, and the hash by which it is known again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Token {
    /// Whose it is, such as `hall screen`.
    pub name: String,
    /// What it allows.
    pub role: Role,
    /// SHA-256 of the token. It is a long random one, so that no slower hash is needed.
    pub sha256: [u8; 32],
}

/// What a visitor may do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Role {
    /// See everything.
    View,
    /// Answer findings as well.
    Act,
}

impl Role {
    /// Every role.
    pub const ALL: [Self; 2] = [Self::View, Self::Act];

    /// The word in the configuration.
    pub const fn word(self) -> &'static str {
        match self {
            Self::View => "view",
            Self::Act => "act",
        }
    }
}

/// Reads the table `board`.
pub fn read(root: &Section<'_>, folder: &Path) -> Option<Board> {
    let home = SocketAddr::from((Ipv4Addr::LOCALHOST, PORT));
    let usual = Board { listen: home, tokens: Vec::new(), are_jobs_coded: false, tls: None, is_behind_tls: false };
    let Some(value) = root.get("board") else { return Some(usual) };
    let section = value.section_about("board", &BOARD)?;
    let listen = match section.get("listen") {
        Some(v) => v.text()?.parse().ok().or_else(|| v.wrong("an address and port such as \"127.0.0.1:8420\"")),
        None => Some(home),
    };
    let are_jobs_coded = match section.get("jobs") {
        Some(jobs) => jobs.one_of(&[("named", false), ("coded", true)]),
        None => Some(false),
    };
    let each = section.each("token", "token", "name", &TOKEN);
    let tokens: Option<Vec<Token>> = each.iter().map(token).collect();
    let is_behind_tls = section.get("behind_tls").map_or(Some(false), |flag| flag.flag());
    let tls = tls::read(&section, folder);
    let (listen, tokens) = (listen?, tokens?);
    if !listen.ip().is_loopback() && tokens.is_empty() {
        section.say_help(
            "listen",
            &format!("{listen} can be reached from other machines, which needs a token"),
            "make one with `inkwatt token NAME --role view` and write what it prints, or listen on 127.0.0.1",
        );
    }
    Some(Board { listen, tokens, are_jobs_coded: are_jobs_coded?, tls: tls?, is_behind_tls: is_behind_tls? })
}

fn token(section: &Section<'_>) -> Option<Token> {
    let name = section.need("name").and_then(|name| name.text());
    let role = section.need("role").and_then(|role| role.one_of(&Role::ALL.map(|role| (role.word(), role))));
    let sha256 = section.need("sha256").and_then(|hash| digest(&hash));
    Some(Token { name: name?.into(), role: role?, sha256: sha256? })
}

/// Sixty-four hexadecimal digits.
fn digest(value: &Value<'_>) -> Option<[u8; 32]> {
    let text = value.text()?;
    let pairs = text.as_bytes().chunks(2).map(|pair| u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok());
    let bytes: Option<Vec<u8>> = pairs.collect();
    let digest = bytes.filter(|_| text.len() == 64 && !text.contains('+')).and_then(|bytes| bytes.try_into().ok());
    digest.or_else(|| value.wrong_help("64 hexadecimal digits", "`inkwatt token NAME --role view` prints the line"))
}
