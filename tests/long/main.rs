//! What takes too long for every run: `cargo test --release --locked --test long -- --nocapture`. Bounded in count and time; last
//! figures stand in DEVELOPERS.md.

mod load;
#[path = "../it/serial/line.rs"]
mod serial_line;

use serial_line::{campaign, libmodbus, pymodbus};

/// Requests to each server of somebody else on a serial line.
const REQUESTS: u64 = 100_000;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_wrong_value_comes_over_a_bad_serial_line() {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, server) in [("pymodbus", pymodbus()), ("libmodbus", libmodbus(folder.path()))] {
        let outcome = campaign(server, REQUESTS).await;
        println!(
            "{name}: {} requests, {} values taken, {} wrong",
            outcome.requests,
            outcome.taken,
            outcome.wrong.len()
        );
        assert_eq!(outcome.wrong, [""; 0]);
    }
}
