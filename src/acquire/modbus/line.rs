//! The task of one line: polls its meters when they are due, the dead ones last, and serves requests in between.

use super::connection::{Connection, Open};
use super::course::{Course, seed};
use super::endpoint::Endpoint;
use super::{Answer, Condition, Fault, LineState};
use crate::acquire::{Batch, Clock};
use crate::readings::Rank;
use crate::sources::{Block, Framing, Line, Polled, RegisterMap, plan};
use crate::time::At;
use std::sync::Arc;
use tokio::sync::{mpsc, oneshot, watch};

/// A request to a running line: every meter's next answer, sorted by meter. Meters that are not due are asked between
/// the polls that are.
#[derive(Debug)]
pub struct Ask {
    /// Where the answers go.
    pub reply: oneshot::Sender<Vec<Answer>>,
}

/// Polls the meters of a line until `stop` says so or nobody takes the readings any more. Each poll becomes one batch
/// of raw counts, stamped at the middle of request and response. Nothing is asked twice in a cycle; a meter that does
/// not answer is asked last, with pauses that grow to a minute. `state` begins as [`LineState::unasked`].
pub async fn run_line(
    line: Line,
    clock: Clock,
    out: mpsc::Sender<Batch>,
    asks: mpsc::Receiver<Ask>,
    state: watch::Sender<LineState>,
    stop: watch::Receiver<bool>,
) {
    let (endpoint, is_serial) = (Endpoint::of(&line), matches!(line.framing, Framing::Rtu(_)));
    let polling = Task::new(line, endpoint, clock, state).run(out, asks, stop);
    if is_serial { alone(polling).await } else { polling.await }
}

/// Runs a serial line on a thread of its own, so that nothing else that is done stretches the silence between its frames.
async fn alone(line: impl Future<Output = ()> + Send + 'static) {
    let thread = tokio::task::spawn_blocking(|| {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
        runtime.block_on(line);
        std::io::Result::Ok(())
    });
    match thread.await {
        Ok(Ok(())) => {}
        Ok(Err(fault)) => tracing::error!("a serial line cannot be polled: {fault}"),
        Err(fault) => tracing::error!("a serial line ended before its time: {fault}"),
    }
}

/// A meter on its line.
struct Member {
    polled: Polled,
    /// How far its plan had to be broken up because the device refused larger requests: see [`blocks`].
    apart: u8,
    blocks: Vec<Block>,
    course: Course,
}

/// A request that still lacks answers.
struct Asking {
    answers: Vec<Answer>,
    reply: oneshot::Sender<Vec<Answer>>,
}

/// The task of one line.
pub(super) struct Task<O: Open> {
    connection: Connection<O>,
    clock: Clock,
    epoch: u32,
    source: Arc<str>,
    timeout: u64,
    members: Vec<Member>,
    asking: Vec<Asking>,
    state: watch::Sender<LineState>,
}

impl<O: Open> Task<O> {
    /// The task of a line whose streams come from `opener`.
    pub(super) fn new(line: Line, opener: O, clock: Clock, state: watch::Sender<LineState>) -> Self {
        let now = clock.now();
        let member = |polled: &Polled| Member {
            polled: polled.clone(),
            apart: 0,
            blocks: plan(&polled.map),
            course: Course::new(polled.interval, seed(polled.meter.as_str()), now),
        };
        Self {
            connection: Connection::new(opener, &line),
            epoch: clock.epoch(),
            clock,
            source: format!("modbus {}", line.endpoint).into(),
            timeout: line.timeout,
            members: line.meters.iter().map(member).collect(),
            asking: Vec::new(),
            state,
        }
    }

    /// Runs until told to stop.
    pub(super) async fn run(
        mut self,
        out: mpsc::Sender<Batch>,
        mut asks: mpsc::Receiver<Ask>,
        mut stop: watch::Receiver<bool>,
    ) {
        loop {
            while let Ok(ask) = asks.try_recv() {
                self.asking.push(Asking { answers: Vec::new(), reply: ask.reply });
            }
            if let Some(k) = self.next() {
                let answer = tokio::select! {
                    biased;
                    _ = stop.wait_for(|stop| *stop) => return,
                    answer = self.poll(k) => answer,
                };
                let batch = self.take(k, answer);
                if !batch.readings.is_empty() && out.send(batch).await.is_err() {
                    return;
                }
            } else {
                tokio::select! {
                    biased;
                    _ = stop.wait_for(|stop| *stop) => return,
                    Some(ask) = asks.recv() => self.asking.push(Asking { answers: Vec::new(), reply: ask.reply }),
                    () = self.clock.until(self.wakes()) => {}
                }
            }
        }
    }

    /// The meter to ask now: one that is due, those that answer first; else one that somebody asks for.
    fn next(&mut self) -> Option<usize> {
        let now = self.clock.now();
        if self.epoch != self.clock.epoch() {
            self.epoch = self.clock.epoch();
            self.members.iter_mut().for_each(|member| member.course.restart(now));
        }
        let dead = |k: &usize| self.members[*k].course.failures > 0;
        let all = || 0..self.members.len();
        let due = all().filter(|&k| self.members[k].course.due <= now);
        due.min_by_key(|k| (dead(k), self.members[*k].course.due))
            .or_else(|| all().filter(|&k| self.is_wanted(k)).min_by_key(dead))
    }

    fn is_wanted(&self, k: usize) -> bool {
        let meter = &self.members[k].polled.meter;
        self.asking.iter().any(|asking| asking.answers.iter().all(|answer| answer.polled.meter != *meter))
    }

    /// When the next meter is due; far away where there is none.
    fn wakes(&self) -> At {
        let hour = self.clock.now() + crate::time::HOUR;
        self.members.iter().map(|member| member.course.due).min().unwrap_or(hour).min(hour)
    }

    async fn poll(&mut self, k: usize) -> Answer {
        let member = &self.members[k];
        let lateness = (self.clock.now() - member.course.due).max(0) as u64;
        self.state.send_modify(|state| state.meters[k].begins(lateness));
        self.connection.poll(&member.polled, &member.blocks, &self.clock).await
    }

    /// Draws the consequences of a poll for the meter, the line and those who ask; its readings.
    fn take(&mut self, k: usize, answer: Answer) -> Batch {
        let batch = Batch {
            source: self.source.clone(),
            rank: Rank::Live,
            // The one in which the poll began: were the clock set meanwhile, its readings would be of two minds, and
            // those of the older epoch do not count from there on.
            epoch: self.epoch,
            readings: answer.readings(),
            events: Vec::new(),
            receipt: None,
        };
        match answer.faults.last().filter(|fault| fault.concerns_line()).cloned() {
            // Whoever is on this line would meet the same: nobody else is asked before the pause is over.
            Some(fault) => {
                for j in (0..self.members.len()).filter(|j| *j != k) {
                    let mut same = Answer::begun(&self.members[j].polled, answer.at);
                    same.faults.push(fault.clone());
                    self.judge(j, same);
                }
            }
            None => self.revive(),
        }
        self.judge(k, answer);
        batch
    }

    /// Once one meter is reached again, the others need not wait for their pauses to end.
    fn revive(&mut self) {
        let now = self.clock.now();
        let unreachable = |k: usize| matches!(self.state.borrow().meters[k].condition, Condition::Unreachable(_));
        let cut_off: Vec<usize> = (0..self.members.len()).filter(|&k| unreachable(k)).collect();
        cut_off.into_iter().for_each(|k| self.members[k].course.restart(now));
    }

    /// Draws the consequences of an answer for one meter.
    fn judge(&mut self, k: usize, answer: Answer) {
        let (now, member) = (self.clock.now(), &mut self.members[k]);
        if answer.faults.iter().any(Fault::asks_for_less) && member.apart < MOST_APART {
            member.apart += 1;
            member.blocks = blocks(&member.polled.map, member.apart);
            tracing::warn!(meter = %answer.polled.meter, requests = member.blocks.len(),
                "the device refuses a request; smaller ones from now on");
        }
        let passed = match answer.round_trip {
            Some(_) => member.course.answered(now),
            None => member.course.failed(now),
        };
        let timeout = self.timeout;
        self.state.send_modify(|state| {
            let meter = &mut state.meters[k];
            meter.overruns += passed;
            if meter.take(&answer, timeout) {
                tracing::info!(meter = %meter.meter, condition = %meter.condition, "the meter's condition has changed");
            }
        });
        self.reply(&answer);
    }

    /// Hands an answer to those who still lack it.
    fn reply(&mut self, answer: &Answer) {
        let all = self.members.len();
        for asking in &mut self.asking {
            if asking.answers.iter().all(|other| other.polled.meter != answer.polled.meter) {
                asking.answers.push(answer.clone());
            }
        }
        for mut asking in self.asking.extract_if(.., |asking| asking.answers.len() == all) {
            asking.answers.sort_by(|a, b| a.polled.meter.cmp(&b.polled.meter));
            // Whoever asked may have gone.
            let _ = asking.reply.send(asking.answers);
        }
    }
}

/// The finest plan: every value by itself.
pub(super) const MOST_APART: u8 = 2;

/// The requests for a map: as planned; without bridging gaps, once the device has refused one; each value by itself,
/// once it has refused again, so that the others come through and the refused register is known.
pub(super) fn blocks(map: &RegisterMap, apart: u8) -> Vec<Block> {
    let finer = |max_block| plan(&RegisterMap { bridge: 0, max_block, ..map.clone() });
    match apart {
        0 => plan(map),
        1 => finer(map.max_block),
        _ => finer(1),
    }
}
