//! The plant as understood, as text: aligned columns, one line a thing.

use super::{MeterView, Understood};
use crate::units::counted;
use std::fmt;

impl fmt::Display for Understood {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "{} ({}, {}, grid {}), as it stands on {}",
            self.name, self.zone, self.currency, self.grid, self.day
        )?;
        self.hall(f)?;
        self.measured(f)?;
        self.sources(f)?;
        self.prices(f)?;
        self.promised(f)?;
        if !self.recorded.is_empty() {
            writeln!(f, "\nRecorded, and not right")?;
            self.recorded.iter().try_for_each(|line| writeln!(f, "  {line}"))?;
        }
        match self.missing.as_slice() {
            [] => writeln!(f, "\nNothing is missing."),
            missing => {
                writeln!(f, "\nMissing")?;
                missing.iter().try_for_each(|line| writeln!(f, "  {line}"))
            }
        }
    }
}

impl Understood {
    fn hall(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for press in &self.presses {
            let meter = press.meter.as_ref().map_or("no meter of its own".into(), |meter| format!("meter {meter}"));
            let (id, name, speed) = (&press.id, &press.name, press.moving_above_m_min);
            writeln!(
                f,
                "\nPress {id}, {name}: {meter}, the web moves from {speed} m/min on; stations in web direction"
            )?;
            table(
                f,
                press.stations.iter().map(|station| {
                    let rated = station.rated_w.zip(station.rated_at).map(|(w, at)| format!("{w} W at the {at}"));
                    let lamp = station.lamp.clone().unwrap_or_else(|| "lamp unknown".into());
                    let meter = station.meter.as_ref().map_or("no meter".into(), |meter| format!("meter {meter}"));
                    let kind = station.kind.unwrap_or_default().to_string();
                    vec![
                        station.id.clone(),
                        station.name.clone(),
                        station.does.into(),
                        kind,
                        lamp,
                        rated.unwrap_or_default(),
                        meter,
                    ]
                }),
            )?;
        }
        if !self.loads.is_empty() {
            writeln!(f, "\nShared loads")?;
        }
        table(
            f,
            self.loads.iter().map(|load| {
                let only = load.only.map_or(String::new(), |kind| format!(", {kind} lamps only"));
                let meter = load.meter.as_ref().map_or("no meter".into(), |meter| format!("meter {meter}"));
                let serves = format!("serves {}", load.serves.join(" "));
                vec![load.id.clone(), load.name.clone(), serves, format!("by {}{only}", load.rule), meter]
            }),
        )
    }

    fn measured(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "\nMeters, each below the one whose energy includes its own")?;
        table(
            f,
            self.meters.iter().map(|meter| {
                let sources = if meter.sources.is_empty() { "no source".into() } else { meter.sources.join("; ") };
                vec![
                    format!("{}{}", "  ".repeat(meter.depth), meter.id),
                    meter.covers.clone(),
                    traits(meter),
                    format!("{} kW", meter.max_kw),
                    every(meter.interval_ms),
                    meter.serial.clone().unwrap_or_default(),
                    sources,
                ]
            }),
        )
    }

    fn sources(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if !self.lines.is_empty() {
            writeln!(f, "\nLines")?;
        }
        table(
            f,
            self.lines.iter().map(|line| {
                let load = format!(
                    "{:.1} requests and {:.0} registers a second",
                    line.requests_per_second, line.registers_per_second
                );
                let least = line
                    .least_load
                    .map_or_else(String::new, |least| format!("; {:.0} % of the line at least", 100.0 * least));
                vec![line.endpoint.clone(), line.framing.clone(), counted(line.meters, "meter"), load + &least]
            }),
        )?;
        if let Some(broker) = &self.broker {
            let road = if broker.is_secured { "over TLS" } else { "in the clear" };
            writeln!(f, "\nBroker {} as {}, {road}", broker.address, broker.client_id)?;
            if let Some(presence) = &broker.presence {
                writeln!(f, "  {presence} says whether the agent runs")?;
            }
            table(f, broker.topics.iter().map(|topic| vec![topic.pattern.clone(), topic.is.clone()]))?;
        }
        if !self.alerts.is_empty() {
            writeln!(f, "\nAlerts")?;
        }
        table(f, self.alerts.iter().map(|line| vec![line.clone()]))?;
        if let Some(forwarded) = &self.forwarded {
            writeln!(f, "\nForwarded\n  {forwarded}")?;
        }
        if !self.files.is_empty() {
            writeln!(f, "\nFiles")?;
        }
        table(f, self.files.iter().map(|file| vec![file.name.clone(), file.rows.into()]))
    }

    fn prices(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mark = |in_force: bool| if in_force { "in force" } else { "" }.to_string();
        if !self.tariffs.is_empty() {
            writeln!(f, "\nTariffs, {} for a kWh", self.currency)?;
        }
        table(
            f,
            self.tariffs.iter().map(|tariff| {
                let last = tariff.valid_to.as_ref().map_or("on".into(), |last| format!("to {last}"));
                let bands: Vec<String> =
                    tariff.bands.iter().map(|band| format!("{} {}", band.name, band.price)).collect();
                vec![
                    tariff.name.clone(),
                    format!("from {} {last}", tariff.valid_from),
                    bands.into_iter().chain(tariff.beside.clone()).collect::<Vec<_>>().join(", "),
                    mark(tariff.in_force),
                ]
            }),
        )?;
        if !self.factors.is_empty() {
            writeln!(f, "\nFactor sets of grid {}, kgCO2e for a kWh", self.grid)?;
        }
        table(
            f,
            self.factors.iter().map(|set| {
                let losses =
                    set.losses_kg_per_kwh.as_ref().map_or("losses unknown".into(), |kg| format!("losses {kg}"));
                let status = format!("{}, grade {}", set.status, set.grade);
                vec![
                    set.publication.clone(),
                    set.version.clone(),
                    set.kg_per_kwh.clone(),
                    losses,
                    status,
                    mark(set.in_force),
                ]
            }),
        )
    }
}

/// What was promised.
impl Understood {
    fn promised(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Some(promise) = &self.promise else { return Ok(()) };
        writeln!(f, "\nPromise \"{}\" of {}, held against itself", promise.title, promise.dated)?;
        if promise.remarks.is_empty() {
            writeln!(f, "  its own numbers agree")?;
        }
        promise.remarks.iter().try_for_each(|remark| writeln!(f, "  {remark}"))
    }
}

/// What sets a meter apart, in a few words.
fn traits(meter: &MeterView) -> String {
    let flow = if meter.flow == "import" { "" } else { meter.flow };
    let class = meter.class.as_ref().map_or(String::new(), |class| format!("class {class}"));
    let words = [if meter.fiscal { "fiscal" } else { "" }, flow, meter.point.unwrap_or_default(), class.as_str()];
    words.into_iter().filter(|word| !word.is_empty()).collect::<Vec<_>>().join(", ")
}

/// A time between values, as the configuration writes it.
fn every(millis: i64) -> String {
    match millis {
        m if m % 60_000 == 0 => format!("{}min", m / 60_000),
        m if m % 1_000 == 0 => format!("{}s", m / 1_000),
        m => format!("{m}ms"),
    }
}

/// Rows in columns as wide as their longest cell.
fn table(f: &mut fmt::Formatter<'_>, rows: impl Iterator<Item = Vec<String>>) -> fmt::Result {
    let rows: Vec<Vec<String>> = rows.collect();
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let width = |k: usize| rows.iter().filter_map(|row| row.get(k)).map(|cell| cell.chars().count()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..columns).map(width).collect();
    for row in &rows {
        let cells = row.iter().zip(&widths).filter(|(_, width)| **width > 0);
        let line: Vec<String> = cells.map(|(cell, width)| format!("{cell:<width$}")).collect();
        writeln!(f, "  {}", line.join("  ").trim_end())?;
    }
    Ok(())
}
