//! Whether this is the user of the agent: another may open other things.

use super::Checked;
use nix::unistd::{Uid, User};
use std::fs;
use std::os::unix::fs::MetadataExt;
use std::path::Path;

/// The name of a user; its number where it has none.
pub(super) fn name(uid: Uid) -> String {
    User::from_uid(uid).ok().flatten().map_or_else(|| uid.to_string(), |user| user.name)
}

/// The agent makes the store, so it runs as the owner of it, or before its first start as that of the plant folder.
pub(super) fn is_the_agents(plant: &Path) -> Checked {
    let this = Uid::effective();
    let made = fs::metadata(plant.join("store")).or_else(|_| fs::metadata(plant));
    match made.map(|made| Uid::from_raw(made.uid())) {
        Ok(owner) if owner == this => Checked::ok("user", format!("{} owns the plant folder", name(this))),
        Ok(owner) => Checked::unknown(
            "user",
            format!("the plant folder belongs to {}; what follows holds for {}", name(owner), name(this)),
            format!("sudo -u {} inkwatt --plant {} check --system", name(owner), plant.display()),
        ),
        Err(fault) => Checked::unknown("user", format!("{}: {fault}", plant.display()), "run this as the agent's user"),
    }
}
