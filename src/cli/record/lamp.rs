//! A lamp was fitted, taken out or moved. A lamp is one thing: it is never in two stations at once.

use super::{Checked, Ground, Told, identity};
use crate::names::{LampId, StationId};
use crate::plant::{Plant, Station, clashes};
use crate::readings::{Event, Happening, Rank, rank};
use crate::time::At;
use anyhow::bail;
use clap::Args;

/// A lamp fitted, taken out or moved.
#[derive(Args)]
#[command(after_help = "Examples:
  inkwatt record lamp p1/s3 led-13 --since 2026-03-02T10:20 --why \"lamp exchanged\" --by anna
  inkwatt record lamp p1/s3 led-13 --from p2/s1 --since 2026-03-02T10:20 --why \"moved to press 1\" --by anna
  inkwatt record lamp p1/s3 none --since 2026-03-02 --why \"sent in for repair\" --by anna
The lamp that was in the station before is out of it from then on.")]
pub struct Lamp {
    /// The station, as press/station.
    station: String,
    /// The lamp that stands there from now on, or none.
    lamp: String,
    /// The station from which it was moved, and which is empty from then on.
    #[arg(long, value_name = "STATION")]
    from: Option<String>,
    /// Since when.
    #[arg(long, value_name = "INSTANT")]
    since: String,
    #[command(flatten)]
    told: Told,
}

impl Lamp {
    pub(super) fn check(self, ground: &Ground) -> anyhow::Result<Checked> {
        let plant = &ground.configuration.plant;
        for station in [&self.station].into_iter().chain(&self.from) {
            ground.known("station", station, stations(plant).map(|station| station.id.as_str()))?;
        }
        if self.lamp != "none" {
            ground.known("lamp", &self.lamp, plant.lamps.iter().map(|lamp| lamp.id.as_str()))?;
        }
        let at = ground.instant("--since", &self.since)?;
        let lamp = (self.lamp != "none").then(|| LampId::from(self.lamp.as_str()));
        let mut line = match &lamp {
            Some(lamp) => format!("lamp {lamp} fitted to station {}", self.station),
            None => format!("no lamp in station {}", self.station),
        };
        let mut what = vec![fitted(&self.station, at, lamp.clone())];
        if let Some(from) = &self.from {
            let Some(lamp) = &lamp else { bail!("--from is for a lamp that was moved, found none") };
            self.stood_at(ground, from, lamp, at)?;
            what.insert(0, fitted(from, at, None));
            line += &format!(", moved from {from},");
        }
        if let Some(lamp) = &lamp {
            self.stands_once(ground, &what, lamp, at)?;
        }
        line += &format!(" since {}", plant.zone.stamp(at));
        Ok(Checked { at, what, line, note: self.told.note()? })
    }

    /// A lamp can be moved from a station only where it stood until then.
    fn stood_at(&self, ground: &Ground, from: &str, lamp: &LampId, at: At) -> anyhow::Result<()> {
        let plant = ground.plant(&ground.events);
        let station = stations(&plant).find(|station| station.id.as_str() == from);
        let stood = station.and_then(|station| station.fitted.at(at - 1)).and_then(Option::as_ref);
        match stood {
            _ if from == self.station => bail!("--from must be another station than {from}"),
            Some(there) if there == lamp => Ok(()),
            Some(there) => bail!("lamp \"{lamp}\" was not in station {from} until then; lamp \"{there}\" was"),
            None => bail!("lamp \"{lamp}\" was not in station {from} until then; no lamp was"),
        }
    }

    /// With all this recorded, the lamp must be in one place at a time.
    fn stands_once(&self, ground: &Ground, what: &[(String, Happening)], lamp: &LampId, at: At) -> anyhow::Result<()> {
        let mut events = ground.events.clone();
        for (id, what) in what {
            let (id, what) = (id.clone(), what.clone());
            let event = Event { id, at, rank: Rank::Correction, revision: 0, what, note: None };
            events.retain(|other| (rank::kind(other), &other.id) != (rank::kind(&event), &event.id));
            events.push(event);
        }
        let plant = ground.plant(&events);
        let zone = plant.zone;
        let here = self.station.as_str();
        let Some(clash) = clashes(stations(&plant)).into_iter().find(|clash| clash.lamp == lamp) else { return Ok(()) };
        let (there, since) = if clash.first.0.as_str() == here { clash.second } else { clash.first };
        if since > at {
            let since = zone.stamp(since);
            bail!(
                "lamp \"{lamp}\" is in station {there} since {since}; it cannot stay in {here} until after that\n\
                 help: record first what is in {here} since {since}, none if nothing is"
            );
        }
        let since = match since {
            At(i64::MIN) => "from the start".into(),
            since => format!("since {}", zone.stamp(since)),
        };
        bail!(
            "lamp \"{lamp}\" is in station {there} {since}; it cannot be in {here} as well\n\
             help: if it was moved, add --from {there}, which is then recorded as empty"
        );
    }
}

fn stations(plant: &Plant) -> impl Iterator<Item = &Station> + Clone {
    plant.presses.iter().flat_map(|press| &press.stations)
}

fn fitted(station: &str, at: At, lamp: Option<LampId>) -> (String, Happening) {
    (identity(station, at), Happening::LampFitted { station: StationId::from(station), lamp })
}
