//! The plant of the example configuration.

use inkwatt::config::{ConfigText, Configuration, EXAMPLE, load_kept};
use std::path::Path;

/// Its configuration.
pub fn configuration() -> Configuration {
    let text = |path: &str, text: &str| ConfigText { path: path.into(), text: text.into() };
    let maps = [
        text("config/registers/energy-float.toml", include_str!("../../config/registers/energy-float.toml")),
        text("config/registers/energy-integer.toml", include_str!("../../config/registers/energy-integer.toml")),
        text("config/registers/energy-scaled.toml", include_str!("../../config/registers/energy-scaled.toml")),
    ];
    let texts = [vec![text("config/plant.toml", EXAMPLE)], maps.to_vec()].concat();
    load_kept(&texts, Path::new("/nonexistent")).expect("the example is a right one")
}
