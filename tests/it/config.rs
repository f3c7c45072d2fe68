//! Claims about config.

use inkwatt::config::load;
use std::path::Path;

#[test]
fn the_example_loads() {
    let loaded = load(Path::new(env!("CARGO_MANIFEST_DIR")));
    let configuration = loaded.unwrap_or_else(|problems| panic!("{problems}"));
    assert_eq!(configuration.plant.presses.len(), 2);
}
