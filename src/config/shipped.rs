//! The files that come with the program. A file of the same name in the plant folder takes the place of a shipped one.

/// What the path of a shipped file begins with.
pub const PREFIX: &str = "shipped:";

/// Folder below `config/`, file name, text. The example tariff is not among them: prices are never assumed.
pub const FILES: [(&str, &str, &str); 6] = [
    ("registers", "energy-integer.toml", include_str!("../../config/registers/energy-integer.toml")),
    ("registers", "energy-float.toml", include_str!("../../config/registers/energy-float.toml")),
    ("registers", "energy-scaled.toml", include_str!("../../config/registers/energy-scaled.toml")),
    ("factors", "de.toml", include_str!("../../config/factors/de.toml")),
    ("factors", "gb.toml", include_str!("../../config/factors/gb.toml")),
    ("factors", "us.toml", include_str!("../../config/factors/us.toml")),
];

/// The data points that are filed.
pub const FILING: &str = include_str!("../../config/filing.toml");

/// The commented example of a plant, which is the reference of every key.
pub const EXAMPLE: &str = include_str!("../../config/plant.toml");

/// The commented example of a promise, which is the reference of every key.
pub const PROMISE_EXAMPLE: &str = include_str!("../../config/promise.toml");
