//! What of a configuration bears on energy.

use super::ConfigText;

/// Files that move no kilowatt-hour: prices and factors come in later, and so does what is promised and filed.
const FILES_APART: [&str; 4] = ["factors/", "tariffs/", "filing.toml", "promise.toml"];
/// Tables of `plant.toml` that move none: how the plant is shown, who is told what, where copies go.
const TABLES_APART: [&str; 5] = ["alerts", "board", "closing", "influx", "watch"];

/// What of the texts bears on energy, each with its length, in one form however it is laid out: neither comments nor the order of
/// keys matter. A text that is not TOML bears as a whole.
pub fn bearing(texts: &[ConfigText]) -> Vec<u8> {
    let apart = |text: &&ConfigText| FILES_APART.iter().any(|part| text.path.contains(part));
    let each = texts.iter().filter(|text| !apart(text)).map(|text| {
        let bearing = table(&text.text);
        [&(bearing.len() as u64).to_le_bytes()[..], bearing.as_bytes()].concat()
    });
    each.collect::<Vec<_>>().concat()
}

fn table(text: &str) -> String {
    let Ok(mut table) = text.parse::<toml::Table>() else { return text.into() };
    table.retain(|name, _| !TABLES_APART.contains(&name));
    // Where the broker is and how it is reached moves none; what its messages say does.
    if let Some(toml::Value::Table(mqtt)) = table.get_mut("mqtt") {
        mqtt.retain(|name, _| name == "topic");
    }
    table.to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_moves_energy_bears_on_it() {
        let plain = table("[plant]\nname = 'A'\nzone = 'UTC'\n");
        assert_eq!(table("# said\n[plant]\nzone = 'UTC'\nname = \"A\"\n[board]\nlisten = '127.0.0.1:8420'\n"), plain);
        assert_ne!(table("[plant]\nname = 'A'\nzone = 'Europe/London'\n"), plain);
        let mqtt =
            |host: &str, unit: &str| table(&format!("[mqtt]\nhost = '{host}'\n[[mqtt.topic]]\nunit = '{unit}'\n"));
        assert_eq!(mqtt("a", "Wh"), mqtt("b", "Wh"));
        assert_ne!(mqtt("a", "Wh"), mqtt("a", "kWh"));
        assert_eq!(table("no = toml = at all"), "no = toml = at all");
    }

    #[test]
    fn files_that_move_no_energy_are_left_out() {
        let of = |path: &str| ConfigText { path: path.into(), text: "a = 1".into() };
        let plant = bearing(&[of("config/plant.toml")]);
        assert!(!plant.is_empty());
        assert_eq!(
            bearing(&[of("config/plant.toml"), of("shipped:factors/gb.toml"), of("config/promise.toml")]),
            plant
        );
        assert_ne!(bearing(&[of("config/plant.toml"), of("config/registers/a.toml")]), plant);
    }
}
