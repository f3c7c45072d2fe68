//! Alerts while the agent runs: each channel is told what is due to it, one channel not waiting for another.

use super::live::Live;
use super::telling::{Channel, Way, channels};
use crate::acquire::Clock;
use crate::config::Configuration;
use crate::forward::Alert;
use crate::plant::Plant;
use crate::store::{AlertBook, StoreError};
use crate::time::{At, Zone};
use crate::units::counted;
use crate::watch::{Due, Finding, Held, Kept, Outlook, Rule, State, Told, Trial, Word, outlook};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;
use tokio::time::sleep;
use tracing::{info, warn};

/// How often it is looked whether anything is due.
const EVERY: Duration = Duration::from_secs(2);
/// The most alerts that are sent in a row.
const AT_ONCE: usize = 20;

/// What the tasks work on.
#[derive(Clone)]
pub(super) struct Alerting {
    pub(super) folder: PathBuf,
    pub(super) configuration: Arc<Configuration>,
    pub(super) clock: Clock,
    pub(super) live: Arc<Live>,
}

/// Tells a channel until told to stop.
pub(super) async fn alert(alerting: Alerting, channel: Arc<Channel>, mut stop: watch::Receiver<bool>) {
    let mut fault: Option<String> = None;
    loop {
        tokio::select! {
            _ = stop.wait_for(|stop| *stop) => return,
            () = sleep(EVERY) => {}
        }
        let round = alerting.round(&channel);
        // An alert that is on its way is given up: it is sent anew after the next start, under the same name.
        let round = tokio::select! {
            _ = stop.wait_for(|stop| *stop) => return,
            round = round => round,
        };
        let told = round.err().map(|fault| fault.to_string());
        if let Some(told) = told.as_ref().filter(|told| fault.as_ref() != Some(told)) {
            warn!("alerts to {} wait: {told}", channel.name);
        }
        fault = told;
    }
}

/// A task for each channel.
pub(super) fn start(configuration: &Configuration) -> Vec<Arc<Channel>> {
    channels(configuration).into_iter().map(Arc::new).collect()
}

impl Alerting {
    async fn round(&self, channel: &Arc<Channel>) -> Result<(), StoreError> {
        let now = self.clock.now();
        let (this, of) = (self.clone(), channel.clone());
        let due = tokio::task::spawn_blocking(move || this.due(&of, now)).await;
        // A panic was told where it happened.
        let due = due.unwrap_or_else(|_| Ok(Vec::new()))?;
        if due.is_empty() {
            return Ok(());
        }
        let plant = self.live.now().plant;
        let alerts: Vec<Alert> = due.iter().map(|due| Alert::of(&plant, &due.state, due.word, now)).collect();
        let came = send(channel, alerts, now).await;
        let mut book = AlertBook::open(&self.folder)?;
        let zone = self.configuration.plant.zone;
        let before = book.outlook(&channel.name, zone.day(zone.date(now)).start)?;
        for (due, came) in due.iter().zip(came) {
            note(&mut book, channel, &before, due, came, now)?;
        }
        Ok(())
    }

    /// What is to be sent now.
    fn due(&self, channel: &Channel, now: At) -> Result<Vec<Due>, StoreError> {
        let findings = self.live.now().findings;
        let book = AlertBook::open(&self.folder)?;
        book.begin(&channel.name, now)?;
        let states: Vec<State> = findings.wordings().collect();
        let mut due = due(&book, &self.configuration, &channel.name, &states, now)?;
        due.retain(|due| due.held.is_none());
        due.truncate(AT_ONCE);
        Ok(due)
    }
}

/// What is due to a channel, with what is held.
pub(super) fn due(
    book: &AlertBook,
    configuration: &Configuration,
    channel: &str,
    states: &[State],
    now: At,
) -> Result<Vec<Due>, StoreError> {
    let zone = configuration.plant.zone;
    let seen = book.outlook(channel, zone.day(zone.date(now)).start)?;
    Ok(outlook(states, &seen, &super::telling::manners(configuration), zone, now))
}

/// Sends alerts; what came of each.
pub(super) async fn send(channel: &Arc<Channel>, alerts: Vec<Alert>, now: At) -> Vec<Result<(), String>> {
    match &channel.way {
        Way::Broker(publisher) => publisher.send(&alerts).await,
        Way::Webhook(_) => {
            let (channel, count) = (channel.clone(), alerts.len());
            let all = move || alerts.iter().map(|alert| channel.post(alert, now)).collect();
            let sent = tokio::task::spawn_blocking(all).await;
            sent.unwrap_or_else(|_| vec![Err("the sender ended before its time".into()); count])
        }
        Way::None(fault) => vec![Err(fault.clone()); alerts.len()],
    }
}

fn note(
    book: &mut AlertBook,
    channel: &Channel,
    before: &Outlook,
    due: &Due,
    came: Result<(), String>,
    now: At,
) -> Result<(), StoreError> {
    let id = &due.state.kept.id;
    match came {
        Ok(()) => {
            info!("{}: told that {id} was {}", channel.name, due.word.word());
            book.told(&channel.name, id, Told { revision: due.state.revision, at: now })
        }
        Err(fault) => {
            let trial = Trial::after(before.failed.get(id), now, fault);
            if trial.tries == 1 {
                warn!("{}: {id} could not be told: {}", channel.name, trial.fault);
            }
            book.failed(&channel.name, id, &trial)
        }
    }
}

/// An alert by which somebody tries a channel.
fn trial(plant: &Plant, now: At) -> Alert {
    let finding = Finding {
        rule: Rule::LeftOn,
        about: "trial".into(),
        station: None,
        since: now,
        is_about: false,
        raised: now,
        until: Some(now),
        above: None,
        evidence: vec!["Somebody tries whether alerts arrive; nothing was found.".into()],
    };
    let kept = Kept { id: format!("trial/{}", plant.zone.stamp(now)), finding, answer: None };
    Alert::of(plant, &State { kept, revision: 0, is_withdrawn: false }, Word::Trial, now)
}

/// What each channel was told and waits for, as a person asks for it.
///
/// # Errors
/// Where the book cannot be read.
pub fn channel_lines(
    folder: &Path,
    configuration: &Configuration,
    states: &[State],
    now: At,
) -> Result<Vec<ChannelLine>, StoreError> {
    let Some(book) = AlertBook::look(folder)? else {
        return Ok(channel_names(configuration).map(ChannelLine::new).collect());
    };
    let zone = configuration.plant.zone;
    channel_names(configuration)
        .map(|name| {
            let seen = book.outlook(&name, zone.day(zone.date(now)).start)?;
            let due = due(&book, configuration, &name, states, now)?;
            let last = seen.told.iter().max_by_key(|(_, told)| told.at).map(|(id, told)| (id.clone(), told.at));
            Ok(ChannelLine { name, last, due })
        })
        .collect()
}

/// A channel, the alert that it was sent last, and what is due to it.
#[derive(Clone, Debug)]
pub struct ChannelLine {
    /// What it is called.
    pub name: String,
    /// The finding that it was told of last, and when.
    pub last: Option<(String, At)>,
    /// What it is still to be told.
    pub due: Vec<Due>,
}

impl ChannelLine {
    const fn new(name: String) -> Self {
        Self { name, last: None, due: Vec::new() }
    }

    /// Whether an alert could not be sent.
    pub fn has_failed(&self) -> bool {
        self.due.iter().any(|due| due.trial.is_some())
    }

    /// What it was told last.
    pub fn summary(&self, zone: Zone) -> String {
        match &self.last {
            Some((id, at)) => format!("was told of {id} on {}", zone.local(*at).format("%Y-%m-%d %H:%M")),
            None => "was told of nothing yet".into(),
        }
    }

    /// What waits and why, a line each.
    pub fn waits(&self, zone: Zone) -> Vec<String> {
        let line = |due: &Due| format!("{} {}: {}", due.state.kept.id, due.word.word(), held(zone, due));
        self.due.iter().map(line).collect()
    }
}

/// Why an alert waits, in words.
pub fn held(zone: Zone, due: &Due) -> String {
    let why = match &due.held {
        None if due.trial.is_some() => None,
        None => Some("is sent when the agent runs".into()),
        Some(Held::Quiet(until)) => Some(format!("it is quiet until {}", until.format("%H:%M"))),
        Some(Held::Enough(most)) => {
            Some(format!("{most} were sent today, which is the most for a day; it is sent tomorrow"))
        }
        Some(Held::Pause) => None,
    };
    let failed = due.trial.as_ref().map(|Trial { tries, next, fault }| {
        let (attempts, next) = (counted(*tries as usize, "attempt"), zone.local(*next).format("%H:%M:%S"));
        format!("could not be sent in {attempts}, the last time because: {fault}; tried again at {next}")
    });
    failed.into_iter().chain(why).collect::<Vec<_>>().join("; ")
}

/// Sends a trial to a channel.
///
/// # Errors
/// Why it did not arrive, in words.
pub async fn try_channel(channel: Channel, plant: &Plant, now: At) -> Result<(), String> {
    let came = send(&Arc::new(channel), vec![trial(plant, now)], now).await;
    came.into_iter().next().unwrap_or(Ok(()))
}

fn channel_names(configuration: &Configuration) -> impl Iterator<Item = String> {
    super::telling::names(configuration).into_iter()
}
