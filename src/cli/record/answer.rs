//! A finding of the watch is answered: somebody looks into it, it rests, or it is closed.

use super::{Checked, Ground, Told};
use crate::readings::{Answer, Happening};
use crate::watch::Findings;
use anyhow::{anyhow, bail};
use clap::{ArgGroup, Args};

/// The answer.
#[derive(Args)]
#[command(after_help = "Examples:
  inkwatt record finding higher-draw/p1/s6/2026-04-20T22:00Z --acknowledge --why \"window is being cleaned\" --by anna
  inkwatt record finding higher-draw/p1/s6/2026-04-20T22:00Z --snooze 2026-08-01 --why \"spare part is ordered\" --by anna
`inkwatt watch` shows the findings and what each is called. An answer given later takes the place of the former.")]
#[command(group(ArgGroup::new("answer").required(true).args(["acknowledge", "snooze", "close", "reopen"])))]
pub struct Finding {
    /// What the finding is called.
    finding: String,
    /// Somebody looks into it.
    #[arg(long)]
    acknowledge: bool,
    /// It rests until the first moment of this day, or until this instant.
    #[arg(long, value_name = "INSTANT")]
    snooze: Option<String>,
    /// It needs nobody any more.
    #[arg(long)]
    close: bool,
    /// The answer that was given is taken back.
    #[arg(long)]
    reopen: bool,
    #[command(flatten)]
    told: Told,
}

impl Finding {
    pub(super) fn check(self, ground: &Ground) -> anyhow::Result<Checked> {
        let findings = Findings::of(&ground.events);
        let kept = findings.get(&self.finding).ok_or_else(|| match findings.is_empty() {
            true => anyhow!(
                "no finding is kept yet\nhelp: the agent keeps what its watch finds; without an agent, `inkwatt watch --keep` does"
            ),
            false => {
                let known: Vec<String> = findings.iter().map(|kept| kept.id).collect();
                crate::cli::unknown("finding", &self.finding, known.iter().map(String::as_str))
            }
        })?;
        let zone = ground.zone();
        let (what, line) = match (&self.snooze, self.acknowledge, self.close) {
            (Some(until), ..) => {
                let at = crate::config::instant(zone, until).map_err(|told| anyhow!("--snooze {told}"))?;
                if at <= ground.now {
                    bail!("--snooze {until} is over already; name a day to come");
                }
                (Happening::Answered(Answer::Snoozed { until: at }), format!("rests until {}", zone.stamp(at)))
            }
            (None, true, _) => (Happening::Answered(Answer::Acknowledged), "acknowledged".into()),
            (None, _, true) => (Happening::Answered(Answer::Closed), "closed".into()),
            (None, ..) => match kept.answer {
                Some(answered) => (
                    Happening::Withdrawn(Box::new(Happening::Answered(answered.answer))),
                    format!("no longer {}", answered.answer.word()),
                ),
                None => bail!("nobody has answered {} yet, so that nothing can be taken back", self.finding),
            },
        };
        let line = format!("{}: {line}", self.finding);
        Ok(Checked { at: ground.now, what: vec![(self.finding, what)], line, note: self.told.note()? })
    }
}
