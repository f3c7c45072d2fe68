//! What a scan found, as text for the configuration: a register map for each kind of meter, a section for each meter.

use crate::acquire::modbus::Answered;
use crate::sources::Line;
use crate::sources::sunspec::{Model, Nameplate, Offer, offers};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::io;
use std::path::Path;

/// Maps by the name of their file, and the sections that refer to them.
pub(in crate::cli) struct Sections {
    maps: BTreeMap<String, String>,
    meters: Vec<String>,
    first: Option<String>,
}

impl Sections {
    /// The sections of the meters among the units that answered.
    pub(in crate::cli) fn of(line: &Line, answered: &[Answered]) -> Self {
        let mut sections = Self { maps: BTreeMap::new(), meters: Vec::new(), first: None };
        for one in answered {
            let meters = one.models.iter().map(|model| (model, offers(model)));
            for (model, offers) in meters.filter(|(_, offers)| !offers.is_empty()) {
                let name = sections.map(one, model, &offers);
                sections.meters.push(meter(line, one, model, &name));
                sections.first.get_or_insert(name);
            }
        }
        sections
    }

    /// Keeps the map of a meter; its name. Meters of one kind share one.
    fn map(&mut self, one: &Answered, model: &Model, offers: &[Offer]) -> String {
        let map = map(model, offers);
        let names = [format!("sunspec-{}", model.id), format!("sunspec-{}-unit-{}", model.id, one.unit)];
        let fits = |name: &&String| self.maps.get(*name).is_none_or(|other| *other == map);
        let name = names.iter().find(fits).unwrap_or(&names[1]).clone();
        self.maps.insert(name.clone(), map);
        name
    }

    /// The name of the first meter's map, where there is a meter.
    pub(in crate::cli) fn first_map(&self) -> Option<&str> {
        self.first.as_deref()
    }

    /// Writes the maps that are not there yet.
    pub(in crate::cli) fn write(&self, plant: &Path) -> io::Result<()> {
        let folder = plant.join("config/registers");
        fs::create_dir_all(&folder)?;
        for (name, map) in &self.maps {
            match fs::File::create_new(folder.join(format!("{name}.toml"))) {
                Ok(mut file) => io::Write::write_all(&mut file, map.as_bytes())?,
                Err(fault) if fault.kind() == io::ErrorKind::AlreadyExists => {}
                Err(fault) => return Err(fault),
            }
        }
        Ok(())
    }

    /// Tells the sections, and the maps too where they were not written.
    pub(in crate::cli) fn tell(&self, text: &mut String, is_written: bool) {
        if self.meters.is_empty() {
            return;
        }
        for (name, map) in &self.maps {
            // Writing to a text does not fail.
            let _ = match is_written {
                true => writeln!(text, "\nconfig/registers/{name}.toml is there"),
                false => writeln!(text, "\n# for config/registers/{name}.toml (--write writes it)\n{map}"),
            };
        }
        let _ = writeln!(text, "\n# for config/plant.toml");
        self.meters.iter().for_each(|meter| text.push_str(meter));
    }
}

/// The register map that follows from a model.
fn map(model: &Model, offers: &[Offer]) -> String {
    let mut text = format!(
        "# SunSpec model {} at wire address {}, as the device stated it. All values have the most significant register first.\n\
         max_block = 125\nbridge = 24\ntable = \"holding\"\nwords = \"big\"\nbytes = \"big\"\n",
        model.id, model.address
    );
    for offer in offers {
        if let Some(remark) = offer.remark.as_ref().filter(|_| offer.now != 0.0) {
            let _ = writeln!(text, "\n# {remark}");
        }
        let zero = offer.now == 0.0 && offer.remark.is_some();
        // What may not exist at all stands there as a comment.
        let mark = if zero { "# " } else { "" };
        let _ = write!(
            text,
            "\n{mark}[[register]]\n{mark}is = \"{}\"\n{mark}address = {}\n{mark}type = \"{}\"\n{mark}unit = \"{}\"\n{mark}step = \"{}\"\n",
            offer.quantity, offer.address, offer.kind, offer.unit, offer.step
        );
        if let Some(scale) = offer.scale {
            let _ = writeln!(text, "{mark}scale_register = {scale}");
        }
        if let Some(pattern) = offer.unavailable {
            let _ = writeln!(text, "{mark}unavailable = [{pattern}]");
        }
    }
    text
}

/// The section of a meter; what nobody but the electrician knows is to be entered there.
fn meter(line: &Line, one: &Answered, model: &Model, map: &str) -> String {
    let plate = Nameplate::of(&one.models);
    let serial = plate.serial.unwrap_or_else(|| "as printed on the device".into());
    // A JSON text is a TOML text.
    let serial = serde_json::Value::from(serial);
    // A device may hold several meters, each a model of its own.
    let several = one.models.iter().filter(|other| !offers(other).is_empty()).count() > 1;
    let id = if several { format!("unit-{}-{}", one.unit, model.address) } else { format!("unit-{}", one.unit) };
    format!(
        "[[meter]]\nid = \"{id}\"                     # your own: it is kept for good\n\
         covers = {{ press = \"p1\" }}         # enter what it measures\n\
         boundary = {{ point = \"press-main\" }}\n\
         max_kw = 100                      # the most that the load can draw\n\
         device = [{{ serial = {serial} }}]        # with ct = \"200/5\" where current transformers are fitted\n\
         [meter.modbus]\nline = \"{}\"\nunit = {}\nregisters = \"{map}\"\npoll = \"10s\"\n\n",
        line.id, one.unit,
    )
}
