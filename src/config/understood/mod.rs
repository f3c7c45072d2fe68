//! The plant as understood: one view for the text and for JSON.

mod text;

use crate::config::{self, Configuration};
use crate::cost::{Tariff, Terms};
use crate::found::Issue;
use crate::names::StationId;
use crate::plant::{Covers, Flow, LampKind, Meter, Plant, RatedAt, Station};
use crate::readings::Subject;
use crate::sources::{self, CsvRows, Framing, Line, TopicTarget};
use crate::time::At;
use crate::units::counted;
use crate::verify::{self, Promise};
use chrono::NaiveDate;
use serde::Serialize;

/// The plant on a day.
#[derive(Serialize)]
pub struct Understood {
    name: String,
    zone: String,
    currency: String,
    grid: String,
    day: String,
    presses: Vec<PressView>,
    loads: Vec<LoadView>,
    meters: Vec<MeterView>,
    lines: Vec<LineView>,
    broker: Option<BrokerView>,
    /// Who is told of findings, and when not.
    alerts: Vec<String>,
    /// What is forwarded, and where.
    forwarded: Option<String>,
    files: Vec<FileView>,
    tariffs: Vec<TariffView>,
    factors: Vec<FactorView>,
    promise: Option<PromiseView>,
    missing: Vec<String>,
    /// What is wrong with what was recorded.
    recorded: Vec<String>,
}

#[derive(Serialize)]
struct PromiseView {
    title: String,
    dated: String,
    /// What is remarkable about it, held against itself.
    remarks: Vec<String>,
}

#[derive(Serialize)]
struct PressView {
    id: String,
    name: String,
    moving_above_m_min: f64,
    meter: Option<String>,
    stations: Vec<StationView>,
}

#[derive(Serialize)]
struct StationView {
    id: String,
    name: String,
    does: &'static str,
    lamp: Option<String>,
    kind: Option<&'static str>,
    rated_w: Option<f64>,
    rated_at: Option<&'static str>,
    meter: Option<String>,
}

#[derive(Serialize)]
struct LoadView {
    id: String,
    name: String,
    serves: Vec<String>,
    rule: &'static str,
    only: Option<&'static str>,
    meter: Option<String>,
}

#[derive(Serialize)]
struct MeterView {
    id: String,
    /// How many meters stand above it.
    depth: usize,
    covers: String,
    flow: &'static str,
    fiscal: bool,
    point: Option<&'static str>,
    max_kw: f64,
    interval_ms: i64,
    class: Option<String>,
    serial: Option<String>,
    sources: Vec<String>,
}

#[derive(Serialize)]
struct LineView {
    endpoint: String,
    framing: String,
    meters: usize,
    /// Share of a serial line's time that its meters need if they answer at once.
    least_load: Option<f64>,
    requests_per_second: f64,
    registers_per_second: f64,
}

#[derive(Serialize)]
struct BrokerView {
    address: String,
    client_id: String,
    is_secured: bool,
    presence: Option<String>,
    topics: Vec<TopicView>,
}

#[derive(Serialize)]
struct TopicView {
    pattern: String,
    is: String,
}

#[derive(Serialize)]
struct FileView {
    name: String,
    rows: &'static str,
}

#[derive(Serialize)]
struct TariffView {
    name: String,
    valid_from: String,
    valid_to: Option<String>,
    in_force: bool,
    bands: Vec<BandView>,
    beside: Vec<String>,
}

#[derive(Serialize)]
struct BandView {
    name: String,
    price: String,
}

#[derive(Serialize)]
struct FactorView {
    publication: String,
    version: String,
    valid_from: String,
    valid_to: String,
    kg_per_kwh: String,
    losses_kg_per_kwh: Option<String>,
    grade: String,
    status: &'static str,
    in_force: bool,
}

impl Understood {
    /// The plant as it stands at an instant, with remarks about the events that were folded into it.
    pub fn at(configuration: &Configuration, at: At, issues: &[Issue]) -> Self {
        let plant = &configuration.plant;
        let day = plant.zone.date(at);
        let meter_of = |covers: &Covers| plant.meters.iter().find(|m| m.covers == *covers).map(|m| m.id.to_string());
        let station = |station: &Station| station_view(plant, station, at);
        let presses = plant.presses.iter().map(|press| PressView {
            id: press.id.to_string(),
            name: press.name.clone(),
            moving_above_m_min: press.moving_mm_min as f64 / 1e3,
            meter: meter_of(&Covers::Press(press.id.clone())),
            stations: press.stations.iter().map(station).collect(),
        });
        let loads = plant.loads.iter().map(|load| LoadView {
            id: load.id.to_string(),
            name: load.name.clone(),
            serves: load.serves.iter().map(ToString::to_string).collect(),
            rule: load.rule.word(),
            only: load.only.map(LampKind::word),
            meter: meter_of(&Covers::Load(load.id.clone())),
        });
        Self {
            name: plant.name.clone(),
            zone: plant.zone.0.name().into(),
            currency: plant.currency.clone(),
            grid: plant.grid.clone(),
            day: day.to_string(),
            presses: presses.collect(),
            loads: loads.collect(),
            meters: tree(configuration, at),
            lines: configuration.lines.iter().map(line_view).collect(),
            broker: configuration.broker.as_ref().map(broker_view),
            alerts: alerts(&configuration.alerts),
            forwarded: configuration.influx.as_ref().map(forwarded),
            files: configuration.csv.iter().map(file_view).collect(),
            tariffs: tariffs(configuration, day),
            factors: factors(configuration, day),
            promise: configuration.promise.as_ref().map(|promise| promise_view(promise, plant)),
            missing: config::missing(configuration, day),
            recorded: issues.iter().map(|issue| format!("{}: {}", issue.about, issue.text)).collect(),
        }
    }
}

/// Of an address only where it is: the rest may be what a receiver knows its senders by.
fn alerts(alerts: &config::Alerts) -> Vec<String> {
    let mut told: Vec<String> = alerts.topic.iter().map(|topic| format!("{}: below {topic}", config::BROKER)).collect();
    told.extend(alerts.webhooks.iter().map(|webhook| {
        let place: Vec<&str> = webhook.url.splitn(4, '/').take(3).collect();
        format!("{}: {}", webhook.name, place.join("/"))
    }));
    if told.is_empty() {
        return told;
    }
    told.push(format!("at most {} a day to each", alerts.most_a_day));
    told.extend(
        alerts.quiet.map(|(from, to)| format!("nothing from {} to {}", from.format("%H:%M"), to.format("%H:%M"))),
    );
    told
}

fn forwarded(influx: &config::Influx) -> String {
    let what = if influx.readings { "readings, quarter hours and findings" } else { "quarter hours and findings" };
    format!("{what} to bucket {} of {} at {}", influx.bucket, influx.organisation, influx.url)
}

fn station_view(plant: &Plant, station: &Station, at: At) -> StationView {
    let fitted = station.fitted.at(at);
    let lamp = fitted.and_then(Option::as_ref).and_then(|id| plant.lamp(id));
    let covers = Covers::Station(StationId::clone(&station.id));
    StationView {
        id: station.id.short().into(),
        name: station.name.clone(),
        does: station.does.word(),
        lamp: match fitted {
            Some(None) => Some("none".into()),
            _ => lamp.map(|lamp| lamp.id.to_string()),
        },
        kind: lamp.map(|lamp| lamp.kind.word()),
        rated_w: lamp.map(|lamp| lamp.rated_watts().round()),
        rated_at: lamp.map(|lamp| match lamp.rated_at {
            RatedAt::Lamp => "lamp",
            RatedAt::Mains => "mains",
        }),
        meter: plant.meters.iter().find(|meter| meter.covers == covers).map(|meter| meter.id.to_string()),
    }
}

fn promise_view(promise: &Promise, plant: &Plant) -> PromiseView {
    PromiseView {
        title: promise.title.clone(),
        dated: promise.dated.to_string(),
        remarks: verify::check(promise, plant),
    }
}

/// The meters, each after the one above it.
fn tree(configuration: &Configuration, at: At) -> Vec<MeterView> {
    fn add(configuration: &Configuration, meter: &Meter, depth: usize, at: At, out: &mut Vec<MeterView>) {
        out.push(meter_view(configuration, meter, depth, at));
        configuration.plant.below(&meter.id).for_each(|below| add(configuration, below, depth + 1, at, out));
    }
    let mut out = Vec::new();
    let tops = configuration.plant.meters.iter().filter(|meter| meter.below.is_none());
    tops.for_each(|top| add(configuration, top, 0, at, &mut out));
    out
}

fn meter_view(configuration: &Configuration, meter: &Meter, depth: usize, at: At) -> MeterView {
    MeterView {
        id: meter.id.to_string(),
        depth,
        covers: match &meter.covers {
            Covers::Site => "site".into(),
            Covers::Press(id) => format!("press {id}"),
            Covers::Station(id) => format!("station {id}"),
            Covers::Load(id) => format!("load {id}"),
        },
        flow: match meter.flow {
            Flow::Import => "import",
            Flow::Export => "export",
            Flow::Generation => "generation",
        },
        fiscal: meter.fiscal,
        point: meter.boundary.at(at).map(|boundary| boundary.point.word()),
        max_kw: meter.max_watts as f64 / 1e3,
        interval_ms: meter.native,
        class: meter.class.clone(),
        serial: meter.device.at(at).map(|device| device.serial.clone()),
        sources: meter_sources(configuration, meter),
    }
}

/// Where the readings of a meter come from, in words.
fn meter_sources(configuration: &Configuration, meter: &Meter) -> Vec<String> {
    let mut found = Vec::new();
    for (line, polled) in configuration.lines.iter().flat_map(|line| line.meters.iter().map(move |p| (line, p))) {
        if polled.meter == meter.id {
            found.push(format!("{} unit {}, {}", line.endpoint, polled.unit, polled.map.name));
        }
    }
    let subject = Subject::Meter(meter.id.clone());
    let named = configuration.csv.iter().find(|mapping| match &mapping.rows {
        CsvRows::Readings { columns, .. } => columns.iter().any(|column| column.series.subject == subject),
        CsvRows::Jobs { .. } | CsvRows::Instruments | CsvRows::Bills => false,
    });
    found.extend(named.map(|mapping| format!("file {}", mapping.name)));
    let topics = configuration.broker.iter().flat_map(|broker| &broker.topics);
    let told = topics.into_iter().any(|topic| match &topic.target {
        TopicTarget::Meter { meter: Some(fixed), .. } => *fixed == meter.id,
        // A topic with {meter} may be of any meter; it is shown where no other source is.
        TopicTarget::Meter { meter: None, .. } => found.is_empty(),
        TopicTarget::Sparkplug { metrics } => metrics.iter().any(|(_, fixed, ..)| *fixed == meter.id),
        _ => false,
    });
    found.extend(told.then(|| "mqtt".to_string()));
    found
}

fn line_view(line: &Line) -> LineView {
    let plans = || line.meters.iter().map(|polled| (sources::plan(&polled.map), 1e3 / polled.interval as f64));
    let registers = |blocks: &[sources::Block]| blocks.iter().map(|block| f64::from(block.count)).sum::<f64>();
    LineView {
        endpoint: line.endpoint.clone(),
        framing: match line.framing {
            Framing::Tcp => "Modbus TCP".into(),
            Framing::RtuOverTcp => "RTU over TCP".into(),
            Framing::Rtu(serial) => format!("RTU, {serial}"),
        },
        meters: line.meters.len(),
        least_load: match line.framing {
            Framing::Rtu(serial) => Some(sources::least_load(line, serial)),
            Framing::Tcp | Framing::RtuOverTcp => None,
        },
        requests_per_second: plans().map(|(blocks, rate)| blocks.len() as f64 * rate).sum(),
        registers_per_second: plans().map(|(blocks, rate)| registers(&blocks) * rate).sum(),
    }
}

fn broker_view(broker: &config::Broker) -> BrokerView {
    let what = |target: &TopicTarget| match target {
        TopicTarget::Meter { meter: Some(meter), quantity, .. } => format!("{quantity} of meter {meter}"),
        TopicTarget::Meter { quantity, .. } => format!("{quantity} of the meter"),
        TopicTarget::Press { quantity, .. } => format!("{quantity} of the press"),
        TopicTarget::Station { quantity, .. } => format!("{quantity} of the station"),
        TopicTarget::Job => "jobs of the press".into(),
        TopicTarget::Sparkplug { metrics } => format!("Sparkplug B, {}", counted(metrics.len(), "metric")),
    };
    let topics =
        broker.topics.iter().map(|topic| TopicView { pattern: topic.pattern.clone(), is: what(&topic.target) });
    BrokerView {
        address: format!("{}:{}", broker.host, broker.port),
        client_id: broker.client_id.clone(),
        is_secured: broker.tls.is_some(),
        presence: broker.presence.clone(),
        topics: topics.collect(),
    }
}

fn file_view(mapping: &sources::CsvMapping) -> FileView {
    FileView {
        name: mapping.name.clone(),
        rows: match mapping.rows {
            CsvRows::Readings { .. } => "readings",
            CsvRows::Jobs { .. } => "jobs",
            CsvRows::Instruments => "certificates",
            CsvRows::Bills => "bills",
        },
    }
}

/// Every tariff, and which one is in force on the day.
fn tariffs(configuration: &Configuration, day: NaiveDate) -> Vec<TariffView> {
    let in_force = Tariff::on(&configuration.tariffs, day).map(|place| configuration.tariffs[place].valid_from);
    let view = |tariff: &Tariff| TariffView {
        name: tariff.name.clone(),
        valid_from: tariff.valid_from.to_string(),
        valid_to: tariff.valid_to.map(|last| last.to_string()),
        in_force: Some(tariff.valid_from) == in_force,
        bands: tariff
            .bands
            .iter()
            .map(|band| BandView { name: band.name.clone(), price: band.price.to_string() })
            .collect(),
        beside: beside(&tariff.terms),
    };
    configuration.tariffs.iter().map(view).collect()
}

/// What a tariff bills beside energy, by name.
fn beside(terms: &Terms) -> Vec<String> {
    let demands = terms.demands.iter().map(|demand| demand.name.clone());
    let capacity = terms.capacity.iter().map(|_| "agreed capacity".to_owned());
    let reactive = terms.reactive.iter().map(|reactive| reactive.name.clone());
    let levies = terms.levies.iter().map(|levy| levy.name.clone());
    let taxes = terms.taxes.iter().map(|tax| tax.name.clone());
    demands.chain(capacity).chain(reactive).chain(levies).chain(taxes).collect()
}

/// The factor sets of the plant's grid.
fn factors(configuration: &Configuration, day: NaiveDate) -> Vec<FactorView> {
    let of_grid = configuration.factors.iter().filter(|set| set.region == configuration.plant.grid);
    let view = |set: &crate::carbon::FactorSet| FactorView {
        publication: set.publication.clone(),
        version: set.version.clone(),
        valid_from: set.valid_from.to_string(),
        valid_to: set.valid_to.to_string(),
        kg_per_kwh: set.generation.to_string(),
        losses_kg_per_kwh: set.beside(crate::carbon::Beside::Losses).map(|losses| losses.to_string()),
        grade: set.grade.clone(),
        status: match set.status {
            crate::carbon::Status::Provisional => "provisional",
            crate::carbon::Status::Final => "final",
        },
        in_force: set.valid_from <= day && day <= set.valid_to,
    };
    of_grid.map(view).collect()
}
