//! 100,000 requests over a bad serial cable: half to pymodbus, half to libmodbus.

#[path = "../it/serial/line.rs"]
mod line;

use line::{campaign, libmodbus, pymodbus};

const EACH: u64 = 50_000;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_wrong_value_is_taken_in_a_hundred_thousand_requests() {
    let folder = tempfile::tempdir().expect("a folder");
    let (first, second) = tokio::join!(campaign(pymodbus(), EACH), campaign(libmodbus(folder.path()), EACH));
    for (server, outcome) in [("pymodbus", first), ("libmodbus", second)] {
        println!("{server}: {EACH} requests, {} values taken, {} wrong", outcome.taken, outcome.wrong.len());
        assert_eq!(outcome.wrong, [""; 0], "{server}");
        assert!(outcome.taken as u64 > EACH, "{server}: {} values", outcome.taken);
    }
}
