//! Jobs of any days: a list, and a statement on one job for the customer.

mod statement;

pub use statement::{JobStatement, statement, statement_files};

use super::input::Basis;
use super::jobs::{Coverages, Job, coverage, jobs};
use super::lines::Ledger;
use super::words;
use crate::units::{Energy, decimal};
use serde::Serialize;

/// The jobs of some days.
#[derive(Clone, Debug, Serialize)]
pub struct JobsOf {
    /// First and last day with readings; `None` where there is none.
    pub days: Option<(String, String)>,
    /// ISO 4217 code of the money.
    pub currency: String,
    /// `CO2e`, or `CO2` where a factor set is of carbon dioxide alone.
    pub gases: &'static str,
    /// Whether the carbon may be restated: `provisional` or `final`.
    pub carbon_status: &'static str,
    /// The jobs, by press and start.
    pub jobs: Vec<JobRow>,
    /// Energy that no job was charged with, in kWh.
    pub charged_to_no_job_kwh: String,
}

/// One run, in exact numbers; what is not known is absent.
#[derive(Clone, Debug, Serialize)]
pub struct JobRow {
    /// Identity of the run.
    pub run: String,
    /// Its press.
    pub press: String,
    /// The job number.
    pub job: String,
    /// What was printed.
    pub product: Option<String>,
    /// When it began, with its make-ready.
    pub start: String,
    /// When it ended.
    pub end: Option<String>,
    /// Good length in metres.
    pub good_m: Option<String>,
    /// Energy, own and shared.
    pub energy_kwh: String,
    /// Of this, shares of shared loads.
    pub shared_kwh: String,
    /// Of this, during make-ready.
    pub make_ready_kwh: String,
    /// What the energy costs.
    pub cost: Option<String>,
    /// Scope 2, location-based.
    pub co2e_kg: Option<String>,
    /// Energy for 1,000 m of good length.
    pub energy_per_1000_m_kwh: Option<String>,
    /// Energy for 1,000 m2 of good web.
    pub energy_per_1000_m2_kwh: Option<String>,
    /// Why there is no energy per length.
    pub no_figure: Option<&'static str>,
    /// Whether web and job records of its press differ by more than 5 %, so that a single job is indicative.
    pub indicative: bool,
}

/// The ledger of days and their jobs.
fn with_jobs<'a, R>(basis: &Basis<'a>, then: impl FnOnce(&Ledger<'a>, &Coverages, &[Job<'a>]) -> R) -> R {
    let ledger = Ledger::new(basis);
    let coverage = coverage(&ledger);
    let span = match (ledger.days.first(), ledger.days.last()) {
        (Some(first), Some(last)) => basis.plant.zone.days(*first, *last),
        _ => basis.period,
    };
    let jobs = jobs(basis.facts.runs, &ledger.accounts, &coverage, span);
    then(&ledger, &coverage, &jobs)
}

/// Lists the jobs of days.
pub fn jobs_of(basis: &Basis) -> JobsOf {
    with_jobs(basis, |ledger, _, jobs| {
        let charged: Energy = jobs.iter().map(|job| job.all.energy).sum();
        let all: Energy = ledger.lines.iter().map(super::lines::Line::energy).sum();
        JobsOf {
            days: ledger
                .days
                .first()
                .zip(ledger.days.last())
                .map(|(first, last)| (first.to_string(), last.to_string())),
            currency: basis.plant.currency.clone(),
            gases: if ledger.footprint.co2_only() { "CO2" } else { "CO2e" },
            carbon_status: words::status(ledger.footprint.status()),
            jobs: jobs.iter().map(|job| row(basis, job)).collect(),
            charged_to_no_job_kwh: (all - charged).to_string(),
        }
    })
}

fn row(basis: &Basis, job: &Job) -> JobRow {
    let (run, zone) = (job.run, basis.plant.zone);
    JobRow {
        run: run.id.to_string(),
        press: run.press.to_string(),
        job: run.job.clone(),
        product: run.product.clone(),
        start: zone.stamp(run.start),
        end: run.end.map(|end| zone.stamp(end)),
        good_m: run.good_mm.map(|mm| decimal(mm, 3)),
        energy_kwh: job.all.energy.to_string(),
        shared_kwh: job.shared.to_string(),
        make_ready_kwh: job.make_ready.to_string(),
        cost: job.all.cost().map(|cost| cost.to_string()),
        co2e_kg: job.all.co2e().map(|co2e| co2e.to_string()),
        energy_per_1000_m_kwh: job.per_length().map(|energy| energy.to_string()),
        energy_per_1000_m2_kwh: job.per_area().map(|energy| energy.to_string()),
        no_figure: job.no_figure().map(words::no_figure),
        indicative: job.indicative,
    }
}
