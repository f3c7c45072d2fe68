//! Where a store may lie, and who may write it.

use super::error::{On, StoreError};
use std::fs::{self, File, TryLockError};
use std::path::{Path, PathBuf};

/// File systems that reach over a network: SQLite's locks and syncs do not hold there
/// (<https://sqlite.org/useovernet.html>).
const OVER_NETWORK: [&str; 14] = [
    "9p",
    "afs",
    "ceph",
    "cifs",
    "coda",
    "fuse.ceph",
    "fuse.glusterfs",
    "fuse.sshfs",
    "lustre",
    "ncpfs",
    "nfs",
    "nfs4",
    "smb3",
    "smbfs",
];

/// The kind of network file system that a folder lies on, by the mount table as Linux prints it in `/proc/mounts`
/// (proc(5)); `None` for a local one.
pub(super) fn over_network(mounts: &str, folder: &Path) -> Option<String> {
    let mut fields = mounts.lines().map(|line| line.split(' ').skip(1));
    // The last of two mounts on one point is the one that shows.
    let mut deepest: Option<(PathBuf, &str)> = None;
    for mount in &mut fields {
        let mut mount = mount;
        let (Some(point), Some(kind)) = (mount.next(), mount.next()) else { continue };
        let point = PathBuf::from(unescape(point));
        let deeper = |(other, _): &(PathBuf, &str)| other.components().count() <= point.components().count();
        if folder.starts_with(&point) && deepest.as_ref().is_none_or(deeper) {
            deepest = Some((point, kind));
        }
    }
    deepest.map(|(_, kind)| kind).filter(|kind| OVER_NETWORK.contains(kind)).map(str::to_owned)
}

/// A mount point as it is: the table writes space, tab, newline and backslash as `\040` and so on.
fn unescape(point: &str) -> String {
    let pairs = [("\\040", " "), ("\\011", "\t"), ("\\012", "\n"), ("\\134", "\\")];
    pairs.iter().fold(point.to_owned(), |text, (code, plain)| text.replace(code, plain))
}

/// Refuses a folder on a network file system. Where there is no mount table to read, nothing is refused.
///
/// # Errors
/// A folder on one, or none at all.
pub fn refuse_network(folder: &Path) -> Result<(), StoreError> {
    let Ok(mounts) = fs::read_to_string("/proc/mounts") else { return Ok(()) };
    let full = folder.canonicalize().on(folder)?;
    match over_network(&mounts, &full) {
        Some(kind) => Err(StoreError::NetworkDrive { path: folder.to_path_buf(), kind }),
        None => Ok(()),
    }
}

/// The agent's lock on a store folder: held as long as the value lives, and let go by the system if the process dies.
#[derive(Debug)]
pub(super) struct Lock {
    _open: File,
}

/// Takes the agent's lock; fails at once where another agent holds it.
pub(super) fn lock(store: &Path) -> Result<Lock, StoreError> {
    let path = store.join("agent.lock");
    let file = File::options().create(true).truncate(false).write(true).open(&path).on(&path)?;
    match file.try_lock() {
        Ok(()) => Ok(Lock { _open: file }),
        Err(TryLockError::WouldBlock) => Err(StoreError::Held { path }),
        Err(TryLockError::Error(source)) => Err(StoreError::files(&path, source)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MOUNTS: &str = "\
/dev/vda1 / ext4 rw,relatime 0 0
proc /proc proc rw 0 0
server:/export /srv nfs4 rw,vers=4.2 0 0
/dev/vdb1 /srv/local xfs rw 0 0
//box/share /media/press\\040hall cifs rw 0 0
/dev/vdc1 /twice ext4 rw 0 0
box:/twice /twice nfs rw 0 0
";

    #[test]
    fn a_network_file_system_is_known_by_the_deepest_mount_above_the_folder() {
        let kind = |folder: &str| over_network(MOUNTS, Path::new(folder));
        assert_eq!(kind("/srv/plant").as_deref(), Some("nfs4"));
        assert_eq!(kind("/srv/local/plant"), None);
        assert_eq!(kind("/srvice/plant"), None);
        assert_eq!(kind("/media/press hall/plant").as_deref(), Some("cifs"));
        assert_eq!(kind("/twice/plant").as_deref(), Some("nfs"));
        assert_eq!(kind("/home/plant"), None);
        assert_eq!(over_network("", Path::new("/home")), None);
    }
}
