//! Sends lines in their order, and does with each answer what it asks for.

use super::round::{Ready, Step};
use crate::acquire::{Clock, chance};
use crate::agent::live::Live;
use crate::forward::influx::{AT_ONCE, Answer, Database, pause};
use crate::store::{ForwardBook, RefusedLine, StoreError};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::time::sleep;
use tracing::{info, warn};

/// How long nothing is tried where a person has to do something first.
const BARRED: Duration = Duration::from_secs(300);
/// So many refused lines of a batch are looked for one by one; what else is refused then is refused as it stands.
const ONE_BY_ONE: usize = 50;

/// What sends.
pub(super) struct Sender {
    database: Database,
    book: ForwardBook,
    clock: Clock,
    live: Arc<Live>,
    /// The most lines at once: fewer after the database said that they were too many.
    most: usize,
    fault: Option<String>,
}

impl Sender {
    pub(super) const fn new(database: Database, book: ForwardBook, clock: Clock, live: Arc<Live>) -> Self {
        Self { database, book, clock, live, most: AT_ONCE, fault: None }
    }

    /// Does what comes until nothing more comes.
    pub(super) async fn take(&mut self, mut steps: mpsc::Receiver<Step>) -> Result<(), StoreError> {
        while let Some(step) = steps.recv().await {
            match step {
                Step::Lines(lines) => self.send(&lines).await?,
                Step::Mark(day, parts) => self.book.mark(&day, &parts)?,
                Step::Anew(day, part) => self.book.anew(&day, &part)?,
                Step::Seen(revision) => self.book.see(revision)?,
            }
        }
        Ok(())
    }

    /// Sends a batch until every line of it was taken or is refused for good.
    async fn send(&mut self, lines: &[Ready]) -> Result<(), StoreError> {
        let day = lines.iter().find_map(|ready| ready.day.parse().ok());
        self.live.forwarded(|forwarded| forwarded.day = day.or(forwarded.day));
        let mut parts: Vec<&[Ready]> = lines.chunks(self.most).rev().collect();
        let mut refused = 0;
        while let Some(part) = parts.pop() {
            let (first, second) = part.split_at(part.len() / 2);
            match self.insist(part).await? {
                Answer::TooMany(_) if part.len() > 1 => {
                    self.most = second.len();
                    parts.extend([second, first]);
                }
                Answer::Refused(_) if part.len() > 1 && refused < ONE_BY_ONE => parts.extend([second, first]),
                Answer::Refused(why) | Answer::TooMany(why) => {
                    refused += 1;
                    self.refuse(part, &why)?;
                }
                _ => {}
            }
        }
        self.note()
    }

    /// Sends lines until the database says what becomes of them.
    async fn insist(&mut self, part: &[Ready]) -> Result<Answer, StoreError> {
        let lines: Vec<&str> = part.iter().map(|ready| ready.line.as_str()).collect();
        let body = lines.join("\n");
        for tries in 1.. {
            let (told, wait) = match self.database.post(body.clone()).await {
                Answer::Later(told) => (told, pause(tries, chance())),
                Answer::Barred(told) => (told, BARRED),
                answer => {
                    self.reached(&answer, part.len())?;
                    return Ok(answer);
                }
            };
            if self.fault.as_ref() != Some(&told) {
                warn!("InfluxDB {told}; what is due waits and is sent later");
            }
            self.book.failed(&told, self.clock.now())?;
            self.fault = Some(told);
            self.note()?;
            sleep(wait).await;
        }
        Ok(Answer::Taken)
    }

    fn reached(&mut self, answer: &Answer, lines: usize) -> Result<(), StoreError> {
        if self.fault.take().is_some() {
            info!("InfluxDB answers again");
        }
        let is_taken = *answer == Answer::Taken;
        if is_taken {
            self.live.forwarded(|forwarded| forwarded.lines += lines as u64);
        }
        self.book.reached(is_taken.then(|| self.clock.now()))
    }

    /// Keeps lines that are refused for good, those of a part together.
    fn refuse(&self, lines: &[Ready], why: &str) -> Result<(), StoreError> {
        for same in lines.chunk_by(|a, b| a.day == b.day && a.part == b.part) {
            let (first, lines) = (&same[0], same.len() as i64);
            warn!("InfluxDB {why}: {lines} of \"{}\" on {}: {}", first.part, first.day, first.line);
            let refused =
                RefusedLine { part: first.part.to_string(), line: first.line.clone(), reason: why.into(), lines };
            self.book.refuse(&first.day, &refused, self.clock.now())?;
        }
        Ok(())
    }

    /// Shows how it stands.
    fn note(&self) -> Result<(), StoreError> {
        let standing = self.book.standing()?;
        self.live.forwarded(|forwarded| forwarded.standing = standing);
        Ok(())
    }
}
