//! Every meter once, without an agent: for the person who sets up a plant.

use super::connection::Connection;
use super::endpoint::Endpoint;
use super::line::{MOST_APART, blocks};
use super::{Answer, Fault};
use crate::acquire::Clock;
use crate::sources::Line;
use std::time::Duration;
use tokio::task::JoinSet;

/// A late answer is awaited this long at least, to tell a slow device from a dead one.
const LATEST: Duration = Duration::from_secs(3);

/// Asks every meter of the lines once, all lines at the same time; one answer for each meter, sorted by meter. Where a
/// device refuses a request for several values, each is asked for by itself, so that the refused register is known.
pub async fn poll_once(lines: &[Line], clock: &Clock) -> Vec<Answer> {
    let mut tasks = JoinSet::new();
    for line in lines {
        let (line, clock) = (line.clone(), clock.clone());
        tasks.spawn(async move { ask_line(&line, &clock).await });
    }
    let mut answers: Vec<Answer> = tasks.join_all().await.into_iter().flatten().collect();
    answers.sort_by(|a, b| a.polled.meter.cmp(&b.polled.meter));
    answers
}

/// Asks the meters of one line.
async fn ask_line(line: &Line, clock: &Clock) -> Vec<Answer> {
    let longer = LATEST.max(4 * Duration::from_millis(line.timeout));
    let mut connection = Connection::new(Endpoint::of(line), line).patiently(longer);
    let mut answers: Vec<Answer> = Vec::new();
    for polled in &line.meters {
        let gone = answers.last().and_then(|answer| answer.faults.last()).filter(|fault| fault.concerns_line());
        if let Some(fault) = gone.cloned() {
            let mut same = Answer::begun(polled, clock.now());
            same.faults.push(fault);
            answers.push(same);
            continue;
        }
        let mut answer = connection.poll(polled, &blocks(&polled.map, 0), clock).await;
        if answer.faults.iter().any(Fault::asks_for_less) {
            answer = connection.poll(polled, &blocks(&polled.map, MOST_APART), clock).await;
        }
        answers.push(answer);
    }
    answers
}
