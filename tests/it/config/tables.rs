//! Register maps, tariffs and factor sets of a plant folder.

use super::Folder;
use inkwatt::readings::Quantity;

/// What is told about a register map.
fn map(text: &str) -> Vec<String> {
    Folder::sound().with("config/registers/own.toml", text).told()
}

#[test]
fn a_file_of_the_same_name_takes_the_place_of_a_shipped_one() {
    let own = "[[register]]\nis = \"import\"\naddress = 7\ntype = \"u32\"\nstep = \"1 Wh\"\n";
    let configuration = Folder::sound().with("config/registers/energy-float.toml", own).load();
    let registers = &configuration.lines[1].meters[0].map.registers;
    assert_eq!((registers.len(), registers[0].quantity, registers[0].address), (1, Quantity::Import, 7));
    let paths: Vec<&str> = configuration.texts.iter().map(|text| text.path.as_str()).collect();
    assert_eq!(
        paths,
        [
            "config/plant.toml",
            "config/registers/energy-float.toml",
            "shipped:factors/de.toml",
            "shipped:factors/gb.toml",
            "shipped:factors/us.toml",
            "shipped:filing.toml",
            "shipped:registers/energy-integer.toml",
            "shipped:registers/energy-scaled.toml",
        ]
    );
}

#[test]
fn register_maps_are_checked() {
    let import = "[[register]]\nis = \"import\"\naddress = 0\ntype = \"u32\"\nstep = \"10 Wh\"\n";
    let power = |address: u32, rest: &str| format!("{import}[[register]]\nis = \"power\"\naddress = {address}\n{rest}");
    let cases = [
        (
            format!("max_block = 126\n{import}"),
            "config/registers/own.toml:1:13: max_block must be 1 to 125 registers, found 126",
        ),
        (
            power(1, "type = \"i16\"\nstep = \"1 W\"\n"),
            "config/registers/own.toml:8:11: register \"power\": address 1 lies inside import, which ends at 1\n\
             help: look at the type of both: u16 takes one register, u32 and f32 two, u64 and f64 four",
        ),
        (
            power(2, "type = \"f32\"\nstep = \"1 W\"\n"),
            "config/registers/own.toml:9:8: register \"power\": unit is missing: what a value of 1 is worth, such as \"1 kWh\"",
        ),
        (
            power(2, "type = \"i16\"\nstep = \"1 W\"\nunit = \"1 kW\"\n"),
            "config/registers/own.toml:11:8: register \"power\": a whole number is kept as it is read, so that unit has no \
             meaning\nhelp: write step alone",
        ),
        (
            power(2, "type = \"i16\"\nstep = \"1 Wh\"\n"),
            "config/registers/own.toml:10:8: register \"power\": step must be a unit of power, found \"1 Wh\"\n\
             help: write one of mW, W, kW, MW, with a number where it is another amount, as in \"10 MW\"",
        ),
        (
            power(65_535, "type = \"i32\"\nstep = \"1 W\"\n"),
            "config/registers/own.toml:8:11: register \"power\": the value does not end within the 65536 registers of a device",
        ),
        (
            power(2, "type = \"int16\"\nstep = \"1 W\"\n"),
            "config/registers/own.toml:9:8: register \"power\": type \"int16\" is not known\n\
             help: known: u16, i16, u32, i32, u64, i64, f32, f64",
        ),
        (
            format!("{import}[[register]]\nis = \"export\"\naddress = 2\ntype = \"u32\"\nstep = \"1 Wh\"\n"),
            "config/registers/own.toml:10:8: register \"export\": registers of energy must have the same step, and so must \
             those of power\nhelp: keep to the finest step that all of them can have",
        ),
        (
            format!("max_block = 1\n{import}"),
            "config/registers/own.toml:5:8: register \"import\": the value is longer than max_block, which is 1",
        ),
        (
            import.replace("import", "voltage-l1").replace("10 Wh", "1 V"),
            "config/registers/own.toml:1:1: the map offers neither energy nor power\n\
             help: enter a register for import, export or power",
        ),
    ];
    for (text, expected) in cases {
        assert_eq!(map(&text), [expected], "{text}");
    }
}

const TARIFF: &str = "[[tariff]]\nname = \"T\"\nvalid_from = 2026-01-01\ncurrency = \"GBP\"\nsource = \"invented\"\n";

#[test]
fn tariffs_are_checked() {
    let band =
        |windows: &str| format!("{TARIFF}[[tariff.band]]\nname = \"day\"\nprice = 0.25\nwindows = [{windows}]\n");
    let cases = [
        (
            band("{ days = \"mon-fri\" }"),
            "config/tariffs/own.toml:6:1: tariff \"T\": no band prices Sat 00:00 to 24:00 in January\n\
             help: a last band without windows prices all other hours",
        ),
        (
            band("{ from = \"07:00\" }, { to = \"06:45\" }"),
            "config/tariffs/own.toml:6:1: tariff \"T\": no band prices Mon 06:45 to 07:00 in January\n\
             help: a last band without windows prices all other hours",
        ),
        (
            band("{ not_on_holidays = true }"),
            "config/tariffs/own.toml:6:1: tariff \"T\": no band prices on holidays Mon 00:00 to 24:00 in January\n\
             help: a last band without windows prices all other hours",
        ),
        (
            band("{ months = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11] }"),
            "config/tariffs/own.toml:6:1: tariff \"T\": no band prices Mon 00:00 to 24:00 in December\n\
             help: a last band without windows prices all other hours",
        ),
        (
            band("{ from = \"07:10\" }"),
            "config/tariffs/own.toml:9:21: tariff \"T\": band \"day\": from must be a time on a quarter hour, found \"07:10\"",
        ),
        (
            band("{ from = \"22:00\", to = \"06:00\" }"),
            "config/tariffs/own.toml:9:35: tariff \"T\": band \"day\": the window ends at 06:00, before it begins at 22:00\n\
             help: a window lies within one day: write one from \"22:00\" to \"00:00\" and one from \"00:00\" to \"06:00\"",
        ),
        (
            TARIFF.into(),
            "config/tariffs/own.toml:1:1: tariff \"T\": there is no band\n\
             help: a [[tariff.band]] without windows prices every hour",
        ),
        (
            format!(
                "{TARIFF}[[tariff.band]]\nname = \"all\"\nprice = 0.25\n[[tariff.band]]\nname = \"day\"\nprice = 0.3\n"
            ),
            "config/tariffs/own.toml:6:1: tariff \"T\": band \"day\" never holds: \"all\" before it has no windows\n\
             help: put the band without windows last",
        ),
        (
            format!("{}[[tariff.band]]\nname = \"all\"\nprice = 0.25\n", TARIFF.replace("GBP", "EUR")),
            "config/tariffs/own.toml:4:12: tariff \"T\": the tariff is in EUR, but the plant reckons in GBP\n\
             help: Inkwatt never converts money: enter the prices in the plant's currency",
        ),
    ];
    for (text, expected) in cases {
        assert_eq!(Folder::sound().with("config/tariffs/own.toml", &text).told(), [expected], "{text}");
    }
}

#[test]
fn prices_keep_the_digits_that_were_written() {
    let text = format!("{TARIFF}[[tariff.band]]\nname = \"all\"\nprice = 0.12340\n");
    let configuration = Folder::sound().with("config/tariffs/own.toml", &text).load();
    assert_eq!(configuration.tariffs[0].bands[0].price.to_string(), "0.12340");
}

const SET: &str = "[[set]]\nregion = \"GB\"\npublication = \"Own\"\nversion = \"1\"\npublished = \"2026\"\n\
                   valid_from = 2026-06-01\nvalid_to = 2026-12-31\nstatus = \"final\"\ngeneration = 0.2\ngwp = \"AR5\"\n\
                   grade = \"A\"\nsource = \"s\"\nlicence = \"l\"\n";

#[test]
fn factor_sets_of_one_grid_do_not_overlap() {
    assert_eq!(
        Folder::sound().with("config/factors/own.toml", SET).told(),
        ["shipped:factors/gb.toml:220:14: set \"UK government conversion factors 2026\": its days overlap those of \
          \"Own\" (2026-06-01 to 2026-12-31) for GB\nhelp: a file of the same name in config/factors/ takes the place of a \
          shipped one"]
    );
    assert_eq!(
        Folder::sound()
            .with("config/factors/gb.toml", SET)
            .load()
            .factors
            .iter()
            .filter(|set| set.region == "GB")
            .count(),
        1
    );
}

#[test]
fn gases_add_up_to_the_total() {
    let set = format!("{SET}gases = {{ CO2 = 0.19, CH4 = 0.00003, N2O = 0.001 }}\n");
    assert_eq!(
        Folder::sound().with("config/factors/gb.toml", &set).told(),
        ["config/factors/gb.toml:14:9: set \"Own\": the gases add up to 0.19103, but generation is 0.2\n\
          help: enter each gas as CO2 equivalent"]
    );
}
