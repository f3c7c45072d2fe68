//! The devices of serial lines: there, and this user may use them. None is opened, since that disturbs a line in use.

use super::{Checked, user};
use crate::sources::{Framing, Line};
use nix::unistd::{AccessFlags, Gid, Group, Uid, eaccess};
use std::fs::{self, Metadata};
use std::os::unix::fs::{FileTypeExt, MetadataExt};
use std::path::Path;

/// Read and written by the group (chmod(2)).
const GROUP_MAY: u32 = 0o060;

/// The devices of the serial lines.
pub(super) fn devices(lines: &[Line]) -> impl Iterator<Item = Checked> {
    lines.iter().filter(|line| matches!(line.framing, Framing::Rtu(_))).map(device)
}

fn device(line: &Line) -> Checked {
    let (about, device) = (format!("line {}", line.id), Path::new(&line.endpoint));
    match fs::metadata(device) {
        Err(fault) => Checked::lacking(
            about,
            format!("{}: {fault}", device.display()),
            "plug the adapter in; ls -l /dev/serial/by-id shows those there are, by names that stay the same",
        ),
        Ok(meta) if !meta.file_type().is_char_device() => Checked::lacking(
            about,
            format!("{} is no character device", device.display()),
            "name the adapter as the endpoint, such as one of /dev/serial/by-id",
        ),
        Ok(meta) => match eaccess(device, AccessFlags::R_OK | AccessFlags::W_OK) {
            Ok(()) => Checked::ok(about, format!("{} may be read and written", device.display())),
            Err(_) => denied(about, device, &meta),
        },
    }
}

/// Who may open the device, and how to become one of them.
fn denied(about: String, device: &Path, meta: &Metadata) -> Checked {
    let (this, group) = (user::name(Uid::effective()), group(meta.gid()));
    let found = format!(
        "{} belongs to {}:{group} with mode {:o}; {this} may not read and write it",
        device.display(),
        user::name(Uid::from_raw(meta.uid())),
        meta.mode() & 0o7777,
    );
    let remedy = match meta.mode() & GROUP_MAY == GROUP_MAY {
        true => format!("add the user to group {group}, then start the agent anew: sudo usermod -aG {group} {this}"),
        false => "let a group read and write it by a rule of udev: MODE=\"0660\", GROUP=\"dialout\"".into(),
    };
    Checked::lacking(about, found, remedy)
}

/// The name of a group; its number where it has none.
fn group(gid: u32) -> String {
    Group::from_gid(Gid::from_raw(gid)).ok().flatten().map_or_else(|| gid.to_string(), |group| group.name)
}
