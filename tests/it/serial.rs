//! Serial lines against servers of others, over a cable that delays, cuts and doubles answers. `tests/long` asks 100,000 times.

pub mod line;

use line::{campaign, libmodbus, pymodbus};

/// Enough that every kind of trouble comes several times.
const REQUESTS: u64 = 800;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn pymodbus_over_a_bad_cable_gives_no_wrong_value() {
    let outcome = campaign(pymodbus(), REQUESTS).await;
    assert_eq!(outcome.wrong, [""; 0]);
    assert!(outcome.taken as u64 > REQUESTS, "{} values of {REQUESTS} requests", outcome.taken);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn libmodbus_over_a_bad_cable_gives_no_wrong_value() {
    let folder = tempfile::tempdir().expect("a folder");
    let outcome = campaign(libmodbus(folder.path()), REQUESTS).await;
    assert_eq!(outcome.wrong, [""; 0]);
    assert!(outcome.taken as u64 > REQUESTS, "{} values of {REQUESTS} requests", outcome.taken);
}
