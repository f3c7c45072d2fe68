//! Claims about the list of jobs and the statement on one.

use super::{given, text};
use inkwatt::report::jobs_of::{jobs_of, statement, statement_files};
use inkwatt::units::Energy;
use std::collections::BTreeMap;

fn mwh(exact: &str) -> i64 {
    super::decimal(exact).scale(1_000_000, 1, 1).expect("a number")
}

/// Value of each figure of a statement; the parts by what they are.
fn figures(csv: &str) -> BTreeMap<(String, String), String> {
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let row = |row: csv::StringRecord| ((row[1].to_owned(), row[2].to_owned()), row[4].to_owned());
    reader.records().map(|record| row(record.expect("a row"))).collect()
}

#[test]
fn jobs_and_what_no_job_used_add_up_to_everything() {
    let given = given();
    let found = jobs_of(&given.input().basis());
    assert!(found.jobs.len() > 100, "{}", found.jobs.len());
    let slices = given.now.days.iter().flat_map(|day| &day.value.slices);
    let all: Energy = slices.filter_map(|slice| slice.usage.energy).sum();
    let charged: i64 = found.jobs.iter().map(|job| mwh(&job.energy_kwh)).sum();
    assert_eq!(charged + mwh(&found.charged_to_no_job_kwh), all.mwh());
}

#[test]
fn the_parts_of_a_statement_add_up_to_its_job_in_the_list() {
    let given = given();
    let list = jobs_of(&given.input().basis());
    for job in list.jobs.iter().step_by(40) {
        let made = statement(&given.input().basis(), &job.job).expect("a job");
        let files = statement_files(&made, &[]).expect("usable templates");
        let table = figures(&text(&files, "statement.csv"));
        let of = |wanted: &str| -> Vec<i64> {
            table.iter().filter(|((figure, _), _)| figure == wanted).map(|(_, value)| mwh(value)).collect()
        };
        let runs = list.jobs.iter().filter(|other| other.job == job.job);
        let energy: i64 = runs.clone().map(|run| mwh(&run.energy_kwh)).sum();
        assert_eq!(of("energy_kwh"), [energy], "{}", job.job);
        assert_eq!((of("part_energy_kwh").len(), of("part_energy_kwh").iter().sum()), (3, energy));
        assert_eq!(of("part_co2e_kg").iter().sum::<i64>(), of("co2e_kg")[0]);
        assert_eq!(of("co2e_kg")[0], runs.map(|run| mwh(run.co2e_kg.as_ref().expect("a factor"))).sum::<i64>());
    }
}

/// Counted by hand from what the list says of the same run: kWh x 1000 m / good m, kWh x 1000 m2 / (good m x width).
#[test]
fn a_statement_is_for_a_length_and_an_area() {
    let given = given();
    let list = jobs_of(&given.input().basis());
    let alone = |job: &&inkwatt::report::jobs_of::JobRow| {
        job.no_figure.is_none() && list.jobs.iter().filter(|other| other.job == job.job).count() == 1
    };
    let job = list.jobs.iter().find(alone).expect("a job of one whole run");
    let run = given.now.runs.iter().find(|run| run.id.as_str() == job.run).expect("its run");
    let energy: f64 = job.energy_kwh.parse().expect("a number");
    let metres = run.good_mm.expect("a length") as f64 / 1e3;
    let square = metres * run.width_mm.expect("a width") as f64 / 1e3;
    let made = statement(&given.input().basis(), &job.job).expect("a job");
    let table = figures(&text(&statement_files(&made, &[]).expect("usable templates"), "statement.csv"));
    for (figure, expected) in
        [("energy_per_1000_m_kwh", energy * 1e3 / metres), ("energy_per_1000_m2_kwh", energy * 1e3 / square)]
    {
        let value: f64 =
            table.iter().find(|((name, _), _)| name == figure).expect("a row").1.parse().expect("a number");
        assert!((value - expected).abs() < 2e-6, "{figure}: {value} against {expected}");
    }
}

#[test]
fn a_job_that_cannot_be_told_whole_has_no_figure_for_a_length_and_says_why() {
    let mut given = given();
    given.now.runs[3].end = None;
    let job = given.now.runs[3].job.clone();
    let made = statement(&given.input().basis(), &job).expect("a job");
    assert!(made.trust.iter().any(|line| line.contains("no end recorded")), "{:?}", made.trust);
    assert_eq!(made.figures[2].1.text, "–");
    assert!(statement(&given.input().basis(), "no such job").is_none());
}

#[test]
fn a_statement_says_what_is_inside_and_what_is_not_on_page_and_in_table() {
    let mut given = given();
    given.now.runs[0].job = "<script>alert(1)</script>".into();
    let made = statement(&given.input().basis(), "<script>alert(1)</script>").expect("a job");
    let files = statement_files(&made, &[]).expect("usable templates");
    let (page, table) = (text(&files, "statement.html"), text(&files, "statement.csv"));
    assert!(!page.contains("<script") && page.contains("&lt;script&gt;"));
    for heading in ["<h3>Inside</h3>", "<h3>Not inside</h3>", "make-ready", "scope 3"] {
        assert!(page.contains(heading), "{heading}");
    }
    let rows = |figure: &str| table.lines().filter(|line| line.contains(&format!(",{figure},"))).count();
    assert_eq!((rows("inside"), rows("not_inside")), (made.inside.len(), made.outside.len()));
}
