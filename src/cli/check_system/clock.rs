//! Whether the clock is synchronised: readings are stamped by it.

use super::Checked;
use std::path::Path;
use std::process::Command;

/// There since systemd-timesyncd has set the clock after the start of the machine (systemd-timesyncd.service(8)).
const SET: &str = "/run/systemd/timesync/synchronized";

/// Whether the clock is synchronised. The kernel knows it and timedatectl(1) prints it, whichever program sets the clock.
pub(super) fn is_synchronised() -> Checked {
    match said().as_deref() {
        Some("yes") => Checked::ok("clock", "synchronised, says timedatectl"),
        Some("no") => Checked::lacking(
            "clock",
            "not synchronised, says timedatectl: readings get wrong times",
            "sudo timedatectl set-ntp true, or set up chrony; where the network has a time server of its own, name it there",
        ),
        _ if Path::new(SET).exists() => Checked::ok("clock", "set by systemd-timesyncd since the machine was started"),
        _ => Checked::unknown(
            "clock",
            "timedatectl does not say whether it is synchronised",
            "ask what sets the clock (chronyc tracking, ntpq -p); in a container, ask on the machine that runs it",
        ),
    }
}

/// What timedatectl says; `None` where it is not there or knows nothing.
fn said() -> Option<String> {
    let output = Command::new("timedatectl").args(["show", "--property=NTPSynchronized", "--value"]).output().ok()?;
    output.status.success().then(|| String::from_utf8_lossy(&output.stdout).trim().to_owned())
}
