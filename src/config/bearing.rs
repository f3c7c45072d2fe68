//! What of a configuration bears on energy.

use super::ConfigText;

/// Tables of `plant.toml` that move no kilowatt-hour: how the plant is shown, who is told what, where copies go.
const APART: [&str; 5] = ["alerts", "board", "closing", "influx", "watch"];

impl ConfigText {
    /// What of it bears on energy, in one form however it is laid out: neither comments nor the order of keys matter. A text
    /// that is not TOML bears as a whole.
    pub fn bearing(&self) -> String {
        let Ok(mut table) = self.text.parse::<toml::Table>() else { return self.text.clone() };
        table.retain(|name, _| !APART.contains(&name));
        table.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_moves_energy_bears_on_it() {
        let bearing = |text: &str| ConfigText { path: "config/plant.toml".into(), text: text.into() }.bearing();
        let plain = bearing("[plant]\nname = 'A'\nzone = 'UTC'\n");
        assert_eq!(bearing("# said\n[plant]\nzone = 'UTC'\nname = \"A\"\n[board]\nlisten = '127.0.0.1:8420'\n"), plain);
        assert_ne!(bearing("[plant]\nname = 'A'\nzone = 'Europe/London'\n"), plain);
        assert_eq!(bearing("no = toml = at all"), "no = toml = at all");
    }
}
