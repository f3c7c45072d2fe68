//! Secrets: where the configuration says, and for the agent alone.

use super::{Checked, user};
use crate::config::{Configuration, Secret};
use nix::unistd::{AccessFlags, Uid, eaccess};
use std::fs::{self, Metadata};
use std::os::unix::fs::MetadataExt;
use std::path::Path;

/// What the group and others may do (chmod(2)).
const ALL_BUT_OWNER: u32 = 0o077;
/// What others than the owner and the group may do.
const OTHERS: u32 = 0o007;

/// The passwords, tokens and keys of the configuration.
pub(super) fn kept(configuration: &Configuration) -> Vec<Checked> {
    let broker = configuration.broker.as_ref();
    let password = broker.and_then(|broker| broker.password.as_ref()).map(|one| ("broker's password".into(), one));
    let token = configuration.influx.as_ref().map(|influx| ("InfluxDB's token".into(), &influx.token));
    let keys = configuration.alerts.webhooks.iter().map(|one| (format!("key of webhook {}", one.name), &one.key));
    let secrets = password.into_iter().chain(token).chain(keys).map(|(about, secret)| of_secret(about, secret));
    let board = configuration.board.tls.as_ref().map(|tls| of_file("board's key".into(), &tls.key));
    let own = broker.and_then(|broker| broker.tls.as_ref()).and_then(|tls| tls.own.as_ref());
    secrets.chain(board).chain(own.map(|own| of_file("key for the broker".into(), &own.key))).collect()
}

fn of_secret(about: String, secret: &Secret) -> Checked {
    match (secret.file(), secret.reveal()) {
        (Some(file), Ok(_)) => of_file(about, file),
        (None, Ok(_)) => Checked::ok(about, "is in the environment"),
        (Some(_), Err(absent)) => {
            let this = user::name(Uid::effective());
            Checked::lacking(
                about,
                absent.to_string(),
                format!("write it there in one line, for {this} alone (mode 600)"),
            )
        }
        (None, Err(absent)) => Checked::lacking(
            about,
            absent.to_string(),
            "set it where the agent is started, under systemd in /etc/inkwatt/secrets.env; if it is there, give it to this command too",
        ),
    }
}

fn of_file(about: String, file: &Path) -> Checked {
    let (this, path) = (user::name(Uid::effective()), file.display());
    let read = eaccess(file, AccessFlags::R_OK).map_err(|fault| fault.desc().to_owned());
    match read.and_then(|()| fs::metadata(file).map_err(|fault| fault.to_string())) {
        Err(fault) => Checked::lacking(
            about,
            format!("{path} cannot be read by {this}: {fault}"),
            format!("put it there, for {this} alone: sudo chown {this} {path}; sudo chmod 600 {path}"),
        ),
        Ok(meta) if meta.mode() & closed_to(&meta) != 0 => Checked::lacking(
            about,
            format!("{path} has mode {:o}: others than {this} may open it", meta.mode() & 0o7777),
            format!("chmod 600 {path}; if others may have read it, replace it"),
        ),
        Ok(_) => Checked::ok(about, format!("{path} may be read by {this} and not by others")),
    }
}

/// Who may have no right to a file. One of another user, such as root, is read through its group.
fn closed_to(file: &Metadata) -> u32 {
    if file.uid() == Uid::effective().as_raw() { ALL_BUT_OWNER } else { OTHERS }
}
