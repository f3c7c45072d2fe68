//! What the presses and the supply meter publish: web speed and length, lamp states and levels, jobs, half hours. Topics and
//! payloads are those that `[mqtt]` in `demo-data/plant.toml` reads.

use super::super::hall::{PRESSES, SITE, station_name};
use super::super::history::SIGNALLED;
use super::super::keying::run;
use super::super::model::Model;
use super::super::register::wh_per_count;
use super::Live;
use crate::attribute::LampState;
use crate::readings::{Reading, Run};
use crate::time::{At, MINUTE};
use rumqttc::{AsyncClient, EventLoop, MqttOptions, QoS};
use serde_json::{Value, json};
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

/// Milliseconds between two messages about the web of a press.
const CADENCE: i64 = 10_000;

/// A message to publish.
struct Message {
    topic: String,
    payload: String,
    /// The broker keeps it for whoever subscribes later: states, not measured values.
    retain: bool,
}

/// What was published last, so that only news are told.
pub struct Told {
    cadence: At,
    half_hour: At,
    /// State and level of each lamp that is signalled.
    lamps: [Option<(LampState, i64)>; SIGNALLED],
    /// The job on each press, and whether it was told that it is ready.
    jobs: [Option<(Run, bool)>; PRESSES.len()],
}

/// Publishes until the task is dropped.
pub async fn publish(broker: SocketAddr, live: Arc<Live>, told: Told) {
    let mut options = MqttOptions::new("demo-presses", broker.ip().to_string(), broker.port());
    options.set_keep_alive(Duration::from_secs(10)).set_clean_session(false);
    let (client, events) = AsyncClient::new(options, 256);

    // Polling and publishing must not wait for each other: a full channel would stop both.
    tokio::join!(poll(events), tell(client, live, told));
}

/// Keeps the connection going; a lost one is taken up again after a second.
async fn poll(mut events: EventLoop) {
    loop {
        if let Err(error) = events.poll().await {
            tracing::debug!("the demo's presses lost their broker: {error}");
            tokio::time::sleep(Duration::from_secs(1)).await;
        }
    }
}

/// Looks at the plant several times a second and tells what is new.
async fn tell(client: AsyncClient, live: Arc<Live>, mut told: Told) {
    let mut ticks = tokio::time::interval(Duration::from_millis(250));
    loop {
        ticks.tick().await;
        for message in live.look(|model, at| told.news(model, at)) {
            let Message { topic, payload, retain } = message;
            if client.publish(topic, QoS::AtLeastOnce, retain, payload).await.is_err() {
                return; // the connection's task is gone
            }
        }
    }
}

impl Told {
    /// Nothing but the half hours that ended before the model's present minute.
    pub fn before(model: &Model) -> Self {
        Self {
            cadence: At(0),
            half_hour: model.half_hour().at,
            lamps: [None; SIGNALLED],
            jobs: [const { None }; PRESSES.len()],
        }
    }

    /// What is new at an instant.
    fn news(&mut self, model: &Model, at: At) -> Vec<Message> {
        let mut news = Vec::new();
        if at.floor(CADENCE) != self.cadence {
            self.cadence = at.floor(CADENCE);
            news.extend((0..PRESSES.len()).flat_map(|press| web(model, press, at)));
        }
        let begun = At(model.now().minute * MINUTE);
        for (station, last) in self.lamps.iter_mut().enumerate() {
            let (state, level) = (model.now().lamps[station], model.now().levels[station]);
            let before = last.replace((state, level));
            let mut tell = |what: &str, value: Value| {
                let topic = format!("tarnbeck/{}/{what}", station_name(station));
                let payload = json!({ "value": value, "time": begun.to_string() }).to_string();
                news.push(Message { topic, payload, retain: true });
            };
            if before.is_none_or(|(before, _)| before != state) {
                tell("lamp", json!(state as u8));
            }
            if before.is_none_or(|(_, before)| before != level) {
                tell("level", json!(level as f64 / 10.0));
            }
        }
        news.extend((0..PRESSES.len()).flat_map(|press| self.job(model, press)));
        news.extend(self.half_hour(model));
        news
    }

    /// News of a press's jobs: one ends, one starts, one is ready.
    fn job(&mut self, model: &Model, press: usize) -> Vec<Message> {
        let (last, minute) = (&mut self.jobs[press], At(model.now().minute * MINUTE));
        let now = model.job(press).map(|job| run(press, job));
        let mut news = Vec::new();
        if let Some((run, _)) = last.take_if(|(run, _)| now.as_ref() != Some(run)) {
            news.extend(run.end.map(|end| about(&run, "end", end)));
        }
        let Some(now) = now else { return news };
        let (run, ready) = last.get_or_insert_with(|| {
            news.push(about(&now, "start", now.start));
            (now, false)
        });
        if let Some(at) = run.ready.filter(|at| !*ready && *at <= minute) {
            *ready = true;
            news.push(about(run, "ready", at));
        }
        news
    }

    /// The supply's half hour, once it has ended.
    fn half_hour(&mut self, model: &Model) -> Option<Message> {
        let Reading { at, count } = model.half_hour();
        if std::mem::replace(&mut self.half_hour, at) == at {
            return None;
        }
        let kwh = (count * wh_per_count(SITE)) as f64 / 1_000.0;
        let payload = json!({ "value": kwh, "time": at.to_string() }).to_string();
        Some(Message { topic: "tarnbeck/supply".into(), payload, retain: false })
    }
}

/// Speed and length of a press's web.
fn web(model: &Model, press: usize, at: At) -> [Message; 2] {
    let (name, time) = (PRESSES[press].id, at.to_string());
    let message = |what: &str, millis: i64| {
        let payload = json!({ "value": millis as f64 / 1_000.0, "time": time }).to_string();
        Message { topic: format!("tarnbeck/{name}/{what}"), payload, retain: false }
    };
    [message("speed", model.now().speed[press]), message("length", model.web(press, at))]
}

/// A message about a job on a press.
fn about(run: &Run, event: &str, at: At) -> Message {
    let metres = |mm: Option<i64>| mm.map(|mm| mm as f64 / 1_000.0);
    let good = run.good_mm.filter(|_| event == "end");
    let payload = json!({
        "event": event,
        "id": run.id.as_str(),
        "job": run.job,
        "time": at.to_string(),
        "product": run.product,
        "width_mm": run.width_mm,
        "planned_m": metres(run.planned_mm),
        "good_m": metres(good),
    });
    Message { topic: format!("tarnbeck/{}/job", run.press), payload: payload.to_string(), retain: true }
}
