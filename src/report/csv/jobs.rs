//! `jobs.csv`: the energy, cost and carbon of each job.

use super::table::{CsvTable, Kind, Writer, column, measured};
use crate::report::input::MonthInput;
use crate::report::jobs::Job;
use crate::report::number::Ids;
use crate::report::words;
use crate::units::{Energy, decimal};

/// One row for each run, sorted by press and start.
pub fn table(input: &MonthInput, jobs: &[Job]) -> CsvTable {
    let money = input.plant.currency.to_lowercase();
    let mut table = Writer::new(
        "jobs",
        "Energy, cost and carbon of each job in the month, own and shared",
        vec![
            column("id", Kind::Words, "Id of the figure"),
            column("run", Kind::Words, "Identity of the run"),
            column("press", Kind::Words, "Press"),
            column("job", Kind::Words, "Job number"),
            column("product", Kind::Words, "What was printed"),
            column("start", Kind::Instant, "When it began, with its make-ready"),
            column("ready", Kind::Instant, "When its make-ready ended"),
            column("end", Kind::Instant, "When it ended; empty while it runs"),
            measured("width_mm", Kind::Number, "mm", "Width of the web"),
            measured("good_m", Kind::Number, "m", "Good length"),
            measured("energy_kwh", Kind::Number, "kWh", "Energy in the month"),
            measured("own_kwh", Kind::Number, "kWh", "Of this, from the press's own meters"),
            measured("shared_kwh", Kind::Number, "kWh", "Of this, shares of shared loads"),
            measured("make_ready_kwh", Kind::Number, "kWh", "Of this, during make-ready"),
            measured(&format!("cost_{money}"), Kind::Number, &input.plant.currency, "Cost of the energy"),
            measured("co2e_kg", Kind::Number, "kg", "Scope 2, location-based"),
            measured("energy_per_1000_m_kwh", Kind::Number, "kWh", "Energy for 1,000 m of good length"),
            measured("energy_per_1000_m2_kwh", Kind::Number, "kWh", "Energy for 1,000 m2 of good web"),
            column(
                "no_figure",
                Kind::Words,
                "Why there is no energy per length, such as: no end recorded; empty where there is one",
            ),
            column("within_month", Kind::Flag, "Whether the whole run, up to a recorded end, lies in the days known"),
            column("indicative", Kind::Flag, "Whether web and job records of its press differ by more than 5 %"),
        ],
    );
    let stamp = |at| input.plant.zone.stamp(at);
    let metres = |mm: Option<i64>| mm.map_or_else(String::new, |mm| decimal(mm, 3));
    let energy = |energy: Option<Energy>| energy.map_or_else(String::new, |e| e.to_string());
    for job in jobs {
        let run = job.run;
        table.row([
            Ids(input.month).of(&["energy", "job", run.id.as_str()]).as_str(),
            run.id.as_str(),
            run.press.as_str(),
            &run.job,
            run.product.as_deref().unwrap_or(""),
            &stamp(run.start),
            &run.ready.map_or_else(String::new, stamp),
            &run.end.map_or_else(String::new, stamp),
            &run.width_mm.map_or_else(String::new, |mm| mm.to_string()),
            &metres(run.good_mm),
            &job.all.energy.to_string(),
            &job.own.to_string(),
            &job.shared.to_string(),
            &job.make_ready.to_string(),
            &job.all.cost().map_or_else(String::new, |c| c.to_string()),
            &job.all.co2e().map_or_else(String::new, |c| c.to_string()),
            &energy(job.per_length()),
            &energy(job.per_area()),
            job.no_figure().map_or("", words::no_figure),
            if job.whole { "true" } else { "false" },
            if job.indicative { "true" } else { "false" },
        ]);
    }
    table.finish()
}
