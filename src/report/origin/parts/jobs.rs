//! Slices of jobs.

use super::{Chosen, From, Quantity, rules};
use crate::attribute::{PressState, Slice};
use crate::names::RunId;
use crate::report::month::joblist::largest;
use crate::units::Energy;
use std::collections::BTreeSet;

impl<'a> From<'_, 'a> {
    /// One run of a job.
    pub(super) fn job(&self, quantity: Quantity, run: &str) -> Option<Chosen<'a>> {
        let job = self.jobs.iter().find(|job| job.run.id.as_str() == run)?;
        let is_of = |slice: &Slice| slice.owner.run.as_ref() == Some(&job.run.id);
        let zone = self.input.plant.zone;
        let end = job.run.end.map_or("an end nobody recorded".into(), |end| zone.stamp(end));
        let name = format!("job {} on {}, {} to {end}", job.run.job, job.run.press, zone.stamp(job.run.start));
        let chosen = self.of_runs(quantity, &name, &is_of);
        let good = job.run.good_mm;
        let (total, size) = match quantity {
            Quantity::PerLength => {
                (job.per_length().map(Energy::mwh), good.map(|mm| rules::size(mm.into(), 1_000, "m")))
            }
            Quantity::PerArea => {
                let area = good.zip(job.run.width_mm).map(|(mm, wide)| i128::from(mm) * i128::from(wide));
                (job.per_area().map(Energy::mwh), area.map(|area| rules::size(area, 1_000_000, "m2")))
            }
            _ => return Some(chosen),
        };
        let mut rules = chosen.rules;
        rules.extend(
            size.map(|size| format!("Its {} kWh are divided by {size} of good web, times 1,000.", job.all.energy)),
        );
        rules.extend(
            job.no_figure().map(|why| format!("There is no such figure: {}.", crate::report::words::no_figure(why))),
        );
        Some(Chosen { total, rules, ..chosen })
    }

    /// Jobs together: all, those that the page lists in one row, or what belongs to none.
    pub(super) fn all_jobs(&self, quantity: Quantity, which: &str) -> Option<Chosen<'a>> {
        let listed: BTreeSet<&RunId> = self.jobs.iter().map(|job| &job.run.id).collect();
        let (_, others) = largest(self.jobs);
        let others: BTreeSet<&RunId> = others.into_iter().map(|job| &job.run.id).collect();
        let among =
            |slice: &Slice, runs: &BTreeSet<&RunId>| slice.owner.run.as_ref().is_some_and(|run| runs.contains(run));
        Some(match which {
            // Of the plant, all energy counts; of make-ready, what belongs to a job.
            "plant" if quantity == Quantity::MakeReady => self.of_runs(quantity, "all jobs", &|s| among(s, &listed)),
            "plant" => self.of_runs(quantity, "the plant", &|_| true),
            "others" => self.of_runs(quantity, "the jobs that the page lists in one row", &|s| among(s, &others)),
            "none" => self.of_runs(quantity, "what is charged to no job", &|s| !among(s, &listed)),
            _ => return None,
        })
    }

    fn of_runs(&self, quantity: Quantity, name: &str, is_of: &dyn Fn(&Slice) -> bool) -> Chosen<'a> {
        match quantity {
            Quantity::MakeReady => self.summed(quantity, name, &|slice| {
                is_of(slice) && slice.owner.press_state == Some(PressState::MakeReady)
            }),
            _ => self.summed(quantity, name, is_of),
        }
    }
}
