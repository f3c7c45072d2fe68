//! Reads a plant folder's configuration whole.

use super::bearing::bearing;
use super::counts::Counts;
use super::document::Document;
use super::folder::Folder;
use super::hall::{self, ReadPress};
use super::known::Known;
use super::meters::{self, Maps, ReadMeter};
use super::section::Section;
use super::{ConfigText, Configuration, Problem, Problems, Use};
use super::{
    alerts, board, calendar, closing, columns, factors, filing, fitted, influx, lamps, lines, mqtt, promise, registers,
    tariffs, tree, watch,
};
use crate::carbon::FactorSet;
use crate::carbon::filing::Mapping;
use crate::cost::Tariff;
use crate::plant::Plant;
use crate::readings::Quantity;
use crate::sources::{Line, TopicTarget};
use crate::time::Zone;
use chrono::NaiveDate;
use std::path::Path;
use std::sync::Arc;
use toml::Spanned;
use toml::de::DeTable;

const ROOT: [&str; 14] = [
    "plant", "board", "alerts", "calendar", "closing", "watch", "press", "lamps", "load", "line", "meter", "mqtt",
    "csv", "influx",
];
const PLANT: [&str; 5] = ["name", "zone", "currency", "grid", "markets"];

/// Reads `config/` of a plant folder, merged over the shipped register maps and factor sets: a file of the same name
/// in the folder takes the place of a shipped one.
///
/// Everything that is wrong with it is told at once, in the order of files and lines.
pub fn load(folder: &Path) -> Result<Configuration, Problems> {
    load_for(folder, Use::Promise)
}

/// As [`load`], for a use that some files are not needed for: a mistake in one of those stops nothing. All files of its
/// sort are then left out, for a price that comes of half the tariffs would be a wrong one, and
/// [`Configuration::left_out`] tells of it.
pub fn load_for(folder: &Path, wanted: Use) -> Result<Configuration, Problems> {
    let files = Folder::read(folder).map_err(|problem| Problems(vec![problem]))?;
    understood(&files, folder, wanted)
}

/// As [`load_for`], of texts that were in force once, to meter and to price; secrets are those of the folder.
pub fn load_kept(texts: &[ConfigText], folder: &Path) -> Result<Configuration, Problems> {
    let files = Folder::kept(texts).map_err(|problem| Problems(vec![problem]))?;
    understood(&files, folder, Use::Pricing)
}

fn understood(files: &Folder, folder: &Path, wanted: Use) -> Result<Configuration, Problems> {
    let configuration = read(files, folder);
    let problems = files.problems();
    let all = || Problems(problems.iter().map(|(_, problem)| problem.clone()).collect());
    let is_in_the_way = problems.iter().any(|(of, _)| *of <= wanted);
    let mut configuration = configuration.filter(|_| !is_in_the_way).ok_or_else(all)?;
    let spoilt = |sort: Use| problems.iter().any(|(of, _)| *of == sort);
    if spoilt(Use::Pricing) {
        configuration.tariffs.clear();
        configuration.factors.clear();
        configuration.filing = Mapping::default();
    }
    if spoilt(Use::Promise) {
        configuration.promise = None;
    }
    let texts = files.all().filter(|(of, _)| !spoilt(*of)).map(|(_, file)| file);
    configuration.texts = texts.map(|file| ConfigText { path: file.path.clone(), text: file.text.clone() }).collect();
    configuration.texts.sort_by(|a, b| a.path.cmp(&b.path));
    configuration.bearing = bearing(&configuration.texts);
    configuration.left_out = problems;
    Ok(configuration)
}

/// The tariffs of a text that is no part of the plant folder, to be held against those in force: the first is taken to have
/// held before, the last to go on.
///
/// # Errors
/// Everything that is wrong with it.
pub fn other_tariffs(path: String, text: String, currency: &str) -> Result<Vec<Tariff>, Problems> {
    let file = Document::new(path, text);
    let table = file.parse();
    let read = table.as_ref().map(|table| tariffs::read(&file, table)).unwrap_or_default();
    tariffs::agree(&read, currency);
    if read.is_empty() && file.problems().is_empty() {
        file.spot(0).say("there is no [[tariff]]");
    }
    let problems = file.problems();
    if !problems.is_empty() {
        return Err(Problems(problems));
    }
    let mut tariffs: Vec<Tariff> = read.into_iter().map(|(_, tariff)| tariff).collect();
    tariffs.sort_by_key(|tariff| tariff.valid_from);
    if let Some(first) = tariffs.first_mut() {
        first.valid_from = NaiveDate::MIN;
    }
    if let Some(last) = tariffs.last_mut() {
        last.valid_to = None;
    }
    Ok(tariffs)
}

/// A line that is in no file, from the keys of a `[[line]]`; it has no meters.
///
/// # Errors
/// Everything that is wrong with it, without a place.
pub fn stray_line(keys: &str) -> Result<Line, String> {
    let file = Document::new(String::new(), format!("[[line]]\nid = \"line\"\n{keys}"));
    let table = file.parse();
    let root = table.as_ref().map(|table| Section::new("", file.spot(0), table.get_ref(), &["line"]));
    let line = root.and_then(|root| lines::read(&root, &[])).and_then(|mut lines| lines.pop());
    let told =
        |problem: &Problem| [Some(problem.text.clone()), problem.help.as_ref().map(|help| format!("help: {help}"))];
    let problems: Vec<String> = file.problems().iter().flat_map(told).flatten().collect();
    line.filter(|_| problems.is_empty()).ok_or_else(|| problems.join("\n"))
}

/// What the files say, short of their texts; `None` where the plant is wrong. What is wrong is noted in its file.
fn read(files: &Folder, folder: &Path) -> Option<Configuration> {
    let maps = maps(&files.registers);
    let (factor_tables, tariff_tables) = (tables(&files.factors), tables(&files.tariffs));
    let factors = each(&files.factors, &factor_tables, factors::read);
    factors::overlaps(&factors);
    let tariffs = each(&files.tariffs, &tariff_tables, tariffs::read);
    let table = files.plant.parse()?;
    let root = Section::new("", files.plant.spot(0), table.get_ref(), &ROOT);
    let known = Known::gather(table.get_ref(), maps.keys().cloned().collect());
    let plant = plant(&root, &known, &maps, &tariffs, folder);
    let promise = files.promise.as_ref().and_then(|file| promise::read(file, &known));
    let filing = filing::read(&files.filing);
    let plant = plant?;
    let mut factors: Vec<FactorSet> = factors.into_iter().map(|(_, set)| set).collect();
    factors.sort_by(|a, b| (&a.region, a.valid_from).cmp(&(&b.region, b.valid_from)));
    let mut tariffs: Vec<Tariff> = tariffs.into_iter().map(|(_, tariff)| tariff).collect();
    tariffs.sort_by_key(|tariff| tariff.valid_from);
    Some(Configuration { factors, tariffs, filing: filing.unwrap_or_default(), promise, ..plant })
}

/// The tables of files, each where it is TOML.
fn tables(documents: &[Document]) -> Vec<Option<Spanned<DeTable<'_>>>> {
    documents.iter().map(Document::parse).collect()
}

/// The register maps by name.
fn maps(documents: &[Document]) -> Maps {
    let read = |document: &Document| document.parse().and_then(|table| registers::read(document, &table)).map(Arc::new);
    documents.iter().map(|document| (document.stem().to_string(), read(document))).collect()
}

/// The entries of all files of one sort.
fn each<'a, T>(
    documents: &'a [Document],
    tables: &'a [Option<Spanned<DeTable<'a>>>],
    read: impl Fn(&'a Document, &'a Spanned<DeTable<'a>>) -> Vec<(Section<'a>, T)>,
) -> Vec<(Section<'a>, T)> {
    let pairs = documents.iter().zip(tables);
    pairs.filter_map(|(document, table)| Some(read(document, table.as_ref()?))).flatten().collect()
}

/// Everything in `plant.toml`; tariffs, factors, promise, texts and what is left out stay empty.
fn plant<'a>(
    root: &Section<'a>,
    known: &Known,
    maps: &Maps,
    tariffs: &[(Section<'_>, Tariff)],
    folder: &Path,
) -> Option<Configuration> {
    let section = root.need("plant").and_then(|v| v.section_about("plant", &PLANT));
    let need = |key: &str| section.as_ref().and_then(|section| section.need(key));
    let (name, grid) = (need("name").and_then(|v| v.text()), need("grid").and_then(|v| v.text()));
    // Certificates circulate in a country, of which a grid with a dash in its name is a part.
    let market = |grid: &str| vec![grid.split('-').next().unwrap_or(grid).to_owned()];
    let markets = match section.as_ref().and_then(|section| section.get("markets")) {
        Some(listed) => listed.list().iter().map(|one| one.text().map(str::to_owned)).collect(),
        None => Some(grid.map(market).unwrap_or_default()),
    };
    let zone = need("zone").and_then(|v| v.zone());
    let currency = need("currency").and_then(|v| v.currency());
    if let Some(currency) = &currency {
        tariffs::agree(tariffs, currency);
    }
    let local = zone.unwrap_or(Zone::UTC);
    let board = board::read(root, folder);
    let calendar = calendar::read(root);
    let closing = closing::read(root);
    let watch = watch::read(root);
    let presses = hall::presses(root, known, local);
    let lamps = lamps::lamps(root);
    let loads = lamps::loads(root, known);
    let meters = meters::read(root, known, maps, local);
    let (all_presses, all_meters) = (presses.iter().all(Option::is_some), meters.iter().all(Option::is_some));
    let mut presses: Vec<ReadPress<'_>> = presses.into_iter().flatten().collect();
    let mut meters: Vec<ReadMeter<'_>> = meters.into_iter().flatten().collect();
    if presses.is_empty() && all_presses {
        root.say("press", "there is no [[press]]");
    }
    let lines = lines::read(root, &meters);
    let counts = Counts(&meters);
    let broker = mqtt::read(root, known, counts, folder);
    let has_broker = broker.as_ref().is_none_or(Option::is_some);
    let alerts = alerts::read(root, has_broker, folder);
    let influx = influx::read(root, folder);
    let csv = columns::read(root, known, counts);
    tree::check(&meters);
    let topics = broker.iter().flatten().flat_map(|broker| &broker.topics);
    let signalled = |target: &TopicTarget| matches!(target, TopicTarget::Station { quantity: Quantity::LampKind, .. });
    fitted::check(&presses, lamps.as_deref().unwrap_or_default(), topics.into_iter().any(|t| signalled(&t.target)));
    (all_presses && all_meters).then_some(())?;
    presses.sort_by(|a, b| a.press.id.cmp(&b.press.id));
    meters.sort_by(|a, b| a.meter.id.cmp(&b.meter.id));
    Some(Configuration {
        plant: Plant {
            name: name?.into(),
            zone: zone?,
            currency: currency?,
            markets: markets?,
            grid: grid?.into(),
            calendar: calendar?,
            presses: presses.into_iter().map(|read| read.press).collect(),
            loads: loads?,
            lamps: lamps?,
            meters: meters.into_iter().map(|read| read.meter).collect(),
        },
        lines: lines?,
        broker: broker?,
        csv: csv?,
        closing: closing?,
        watch: watch?,
        board: board?,
        alerts: alerts?,
        influx: influx?,
        tariffs: Vec::new(),
        factors: Vec::new(),
        filing: Mapping::default(),
        promise: None,
        texts: Vec::new(),
        bearing: Vec::new(),
        left_out: Vec::new(),
    })
}
