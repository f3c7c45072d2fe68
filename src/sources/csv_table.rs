//! Rows of a CSV file become readings or runs, by the file's mapping.

use crate::plant::{Plant, Ratio};
use crate::readings::{Instrument, Reading, Run, Series, SupplierBill};
use crate::sources::bill_table::BillTable;
use crate::sources::file_clock::FileClock;
use crate::sources::in_order::{InOrder, Row, Settled};
use crate::sources::instrument_table::InstrumentTable;
use crate::sources::job_table::JobTable;
use crate::sources::{CsvColumn, CsvMapping, CsvRows, Refusal, value};
use crate::time::At;
use crate::units::{Decimal, counted};
use std::borrow::Cow;

/// What a row says.
#[derive(Clone, Debug, PartialEq)]
pub enum RowSaid {
    /// Readings; none where every cell is empty.
    Readings(Vec<(Series, Reading)>),
    /// A job, and the source's own id of the run. Its identity is settled by [`crate::sources::Runs::import`].
    Job(Box<Run>, Option<String>),
    /// A certificate or contract.
    Instrument(Box<Instrument>),
    /// A bill of the supplier.
    Bill(Box<SupplierBill>),
}

/// What became of a row, with the number that it was given.
pub type Ruling = (u64, Result<RowSaid, Refusal>);

/// A file being read.
#[derive(Clone, Debug)]
pub struct CsvTable {
    form: Form,
    time: Column,
    rows: Rows,
    order: InOrder<Waiting>,
}

/// How cells are written.
#[derive(Clone, Debug)]
pub(super) struct Form {
    pub(super) clock: FileClock,
    decimal: char,
    /// Cells in a row.
    width: usize,
    now: At,
}

/// A column: its place and its name.
#[derive(Clone, Debug)]
pub(super) struct Column {
    place: usize,
    name: String,
}

#[derive(Clone, Debug)]
enum Rows {
    Readings(Vec<(Column, Series, Ratio)>),
    Jobs(Box<JobTable>),
    Instruments(Box<InstrumentTable>),
    Bills(Box<BillTable>),
}

/// A row of readings whose instant is not settled.
#[derive(Clone, Debug)]
struct Waiting {
    number: u64,
    time: String,
    counts: Vec<(Series, i64)>,
}

impl CsvTable {
    /// A file with this header, read at `now`: what it says is not of later.
    ///
    /// # Errors
    /// A column that the mapping names and the header does not have, or has twice.
    pub fn new(mapping: &CsvMapping, header: &[&str], plant: &Plant, now: At) -> Result<Self, Refusal> {
        let column = |name: &str| Column::find(header, name);
        let (rows, interval) = match &mapping.rows {
            CsvRows::Readings { columns, interval } => {
                let bind = |c: &CsvColumn| Ok((column(&c.column)?, c.series.clone(), c.factor));
                (Rows::Readings(columns.iter().map(bind).collect::<Result<_, _>>()?), *interval)
            }
            CsvRows::Bills => (Rows::Bills(Box::new(BillTable::new(header, plant)?)), None),
            CsvRows::Instruments => (Rows::Instruments(Box::new(InstrumentTable::new(header)?)), None),
            CsvRows::Jobs { press, columns, length_mm } => {
                let jobs = JobTable::new(press.clone(), columns, *length_mm, header, plant)?;
                (Rows::Jobs(Box::new(jobs)), None)
            }
        };
        let clock = FileClock { zone: plant.zone, format: mapping.format.clone(), rule: mapping.clock, interval };
        let form = Form { clock, decimal: mapping.decimal, width: header.len(), now };
        let order = InOrder::new(interval.map(|(length, _)| length));
        Ok(Self { form, time: column(&mapping.time)?, rows, order })
    }

    /// Reads a row. Gives what became of the rows that are settled now: a row of a repeated hour waits for later ones.
    pub fn push(&mut self, number: u64, cells: &[&str]) -> Vec<Ruling> {
        match self.read(number, cells) {
            Ok(Step::Settled(said)) => vec![(number, Ok(said))],
            Ok(Step::Waits(row)) => {
                let settled = self.order.push(row);
                settled.into_iter().map(|row| self.rule(row)).collect()
            }
            Err(refusal) => vec![(number, Err(refusal))],
        }
    }

    /// The file has ended; gives what became of the rows that still waited.
    pub fn end(&mut self) -> Vec<Ruling> {
        let settled = self.order.end();
        settled.into_iter().map(|row| self.rule(row)).collect()
    }

    fn read(&self, number: u64, cells: &[&str]) -> Result<Step, Refusal> {
        if cells.len() != self.form.width {
            let expected = format!("{}, as the header has", self.form.width);
            return Err(Refusal::told("row", counted(cells.len(), "cell"), expected));
        }
        match &self.rows {
            Rows::Jobs(jobs) => {
                let (run, id) = jobs.read(&self.form, &self.time, cells)?;
                Ok(Step::Settled(RowSaid::Job(Box::new(run), id)))
            }
            Rows::Instruments(table) => {
                let instrument = table.read(&self.form, cells)?;
                Ok(Step::Settled(RowSaid::Instrument(Box::new(instrument))))
            }
            Rows::Bills(table) => Ok(Step::Settled(RowSaid::Bill(Box::new(table.read(&self.form, cells)?)))),
            Rows::Readings(columns) => {
                let time = self.time.cell(cells);
                let meanings = self.form.meanings(&self.time, cells)?;
                let counts = columns.iter().filter_map(|(column, series, factor)| {
                    let count = self.form.count(column, cells, |text| value::count(series.quantity, text, *factor));
                    count.map(|count| count.map(|count| (series.clone(), count))).transpose()
                });
                let row = Waiting { number, time: time.to_owned(), counts: counts.collect::<Result<_, _>>()? };
                Ok(Step::Waits(Row { row, meanings }))
            }
        }
    }

    fn rule(&self, (row, at): Settled<Waiting>) -> Ruling {
        let said = match at {
            Ok(at) => {
                let readings = row.counts.into_iter().map(|(series, count)| (series, Reading { at, count }));
                Ok(RowSaid::Readings(readings.collect()))
            }
            Err(meanings) => Err(self.form.undecided(&self.time.name, &row.time, &meanings)),
        };
        (row.number, said)
    }
}

/// How far the reading of a row has come.
enum Step {
    Settled(RowSaid),
    Waits(Row<Waiting>),
}

impl Column {
    /// Finds a column by its name.
    pub(super) fn find(header: &[&str], name: &str) -> Result<Self, Refusal> {
        let mut places = header.iter().enumerate().filter(|(_, cell)| cell.trim() == name).map(|(place, _)| place);
        match (places.next(), places.next()) {
            (Some(place), None) => Ok(Self { place, name: name.to_owned() }),
            (None, _) => Err(Refusal::new("header", &header.join(", "), format!("a column {name:?}"))),
            (Some(_), Some(_)) => Err(Refusal::new("header", name, "each mapped column once")),
        }
    }

    /// The cell of a row in this column, without space around it.
    pub(super) fn cell<'a>(&self, cells: &[&'a str]) -> &'a str {
        cells.get(self.place).map_or("", |cell| cell.trim())
    }

    /// Its name.
    pub(super) fn name(&self) -> &str {
        &self.name
    }

    /// What is wrong with the cell of a row.
    pub(super) fn refuse(&self, cells: &[&str], expected: impl Into<String>) -> Refusal {
        Refusal::new(&self.name, self.cell(cells), expected)
    }
}

impl Form {
    /// The instants that a time may mean, in order.
    pub(super) fn meanings(&self, column: &Column, cells: &[&str]) -> Result<Vec<At>, Refusal> {
        let meanings = self.clock.meanings(column.cell(cells)).map_err(|expected| column.refuse(cells, expected))?;
        let plausible = meanings.iter().try_for_each(|at| value::plausible(*at, self.now).map(drop));
        plausible.map(|()| meanings).map_err(|expected| column.refuse(cells, expected))
    }

    /// A number in a cell, by what makes a count of it; `None` for an empty cell: unknown is not zero.
    pub(super) fn count(
        &self,
        column: &Column,
        cells: &[&str],
        count: impl Fn(&str) -> Result<i64, value::Expected>,
    ) -> Result<Option<i64>, Refusal> {
        let text = column.cell(cells);
        if text.is_empty() {
            return Ok(None);
        }
        let refuse = |expected: value::Expected| column.refuse(cells, self.written(&expected));
        let plain = self.plain(text).ok_or_else(|| "a decimal number".to_owned());
        plain.and_then(|text| count(&text)).map(Some).map_err(refuse)
    }

    /// What is expected of a number, with its decimal sign where that is no point.
    pub(super) fn written(&self, expected: &str) -> String {
        match self.decimal {
            '.' => expected.to_owned(),
            sign => format!("{expected} with the decimal sign {sign}"),
        }
    }

    /// An exact decimal number.
    pub(super) fn exact(&self, text: &str) -> Option<Decimal> {
        self.plain(text).and_then(|text| Decimal::parse(&text))
    }

    /// A number with a point as its decimal sign. A point in a file with decimal commas parts thousands.
    fn plain<'t>(&self, text: &'t str) -> Option<Cow<'t, str>> {
        match self.decimal {
            '.' => Some(text.into()),
            _ if text.contains('.') => None,
            sign => Some(text.replacen(sign, ".", 1).into()),
        }
    }

    /// Why a time of a repeated hour is not taken.
    pub(super) fn undecided(&self, column: &str, time: &str, meanings: &[At]) -> Refusal {
        let written: Vec<String> = meanings.iter().map(|at| self.clock.written(*at)).collect();
        let expected = format!(
            "a time that can be told apart: it is {}, and neither the order nor the number of the rows around it says which",
            written.join(" or ")
        );
        Refusal::new(column, time, expected)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::names::PressId;
    use crate::plant::{Press, example};
    use crate::readings::{Quantity, Subject};
    use crate::sources::{ClockRule, JobColumns, Stamp};
    use crate::time::{HOUR, Period, QUARTER, Zone};
    use chrono::{Duration, NaiveDate, NaiveDateTime};
    use proptest::prelude::*;

    const NOW: At = At(1_830_000_000_000);
    const KWH: Ratio = Ratio { num: 1_000, den: 1 };

    fn plant(zone: Zone) -> Plant {
        let press = Press { id: "p1".into(), name: "1".into(), stations: Vec::new(), moving_mm_min: 1_000 };
        Plant { presses: vec![press], ..example::plant(zone) }
    }

    fn berlin() -> Zone {
        Zone::parse("Europe/Berlin").expect("a zone")
    }

    fn energy() -> Series {
        Series::new(Subject::Meter("m7".into()), Quantity::IntervalEnergy)
    }

    /// Quarter hours in a file with decimal commas.
    fn quarters(clock: ClockRule, stamp: Stamp) -> CsvMapping {
        CsvMapping {
            name: "quarters".into(),
            separator: b';',
            decimal: ',',
            time: "Time".into(),
            format: "%Y-%m-%d %H:%M".into(),
            clock,
            rows: CsvRows::Readings {
                columns: vec![CsvColumn { column: "kWh".into(), series: energy(), factor: KWH }],
                interval: Some((QUARTER, stamp)),
            },
        }
    }

    fn read(mapping: &CsvMapping, zone: Zone, header: &[&str], rows: &[Vec<String>]) -> Vec<Ruling> {
        let mut table = CsvTable::new(mapping, header, &plant(zone), NOW).expect("a table");
        let mut rulings = Vec::new();
        for (number, row) in rows.iter().enumerate() {
            let cells: Vec<&str> = row.iter().map(String::as_str).collect();
            rulings.extend(table.push(number as u64, &cells));
        }
        rulings.extend(table.end());
        rulings
    }

    fn row(time: &str, value: &str) -> Vec<String> {
        vec![time.to_owned(), value.to_owned()]
    }

    fn told(rulings: &[Ruling]) -> Vec<String> {
        rulings.iter().filter_map(|(_, said)| said.as_ref().err()).map(Refusal::to_string).collect()
    }

    fn instants(rulings: &[Ruling]) -> Vec<At> {
        let readings = rulings.iter().filter_map(|(_, said)| match said {
            Ok(RowSaid::Readings(readings)) => Some(readings),
            _ => None,
        });
        readings.flatten().map(|(_, reading)| reading.at).collect()
    }

    /// The days of `tests/reference/dst_days.csv`, computed with Python's zoneinfo: zone, quarter hours, period.
    fn days() -> Vec<(Zone, Period)> {
        let table = include_str!("../../tests/reference/dst_days.csv");
        let days = table.lines().skip(1).map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            let at = |k: usize| At::parse(cells[k]).expect("an instant");
            (Zone::parse(cells[0]).expect("a zone"), Period::new(at(4), at(5)))
        });
        days.collect()
    }

    /// What is written for the quarter hour that ends at `end`.
    fn written(zone: Zone, rule: ClockRule, stamp: Stamp, end: At) -> String {
        let instant = if stamp == Stamp::Start { end - QUARTER } else { end };
        let local: NaiveDateTime = match rule {
            ClockRule::InOrder | ClockRule::Stated => zone.local(instant).naive_local(),
            ClockRule::UtcOffset(minutes) => instant.utc().naive_utc() + Duration::minutes(minutes.into()),
            ClockRule::StandardTime => {
                let january = NaiveDate::from_ymd_opt(2025, 1, 1).and_then(|d| d.and_hms_opt(0, 0, 0)).expect("a time");
                let standard = january - zone.first(january).utc().naive_utc();
                instant.utc().naive_utc() + standard
            }
        };
        let midnight = local.format("%H:%M").to_string() == "00:00";
        let shown = if stamp == Stamp::EndOldDate && midnight { local - Duration::days(1) } else { local };
        match rule {
            ClockRule::Stated => format!("{}{}", shown.format("%Y-%m-%d %H:%M"), zone.local(instant).format("%z")),
            _ => shown.format("%Y-%m-%d %H:%M").to_string(),
        }
    }

    #[test]
    fn every_quarter_hour_of_a_clock_change_day_is_read_by_every_rule_and_stamp() {
        let rules = [
            ClockRule::Stated,
            ClockRule::UtcOffset(0),
            ClockRule::UtcOffset(330),
            ClockRule::StandardTime,
            ClockRule::InOrder,
        ];
        for (zone, day) in days() {
            let ends: Vec<At> = (1..=day.millis() / QUARTER).map(|k| day.start + k * QUARTER).collect();
            for (rule, stamp) in
                rules.into_iter().flat_map(|r| [Stamp::Start, Stamp::End, Stamp::EndOldDate].map(|s| (r, s)))
            {
                let mut mapping = quarters(rule, stamp);
                if rule == ClockRule::Stated {
                    mapping.format += "%z";
                }
                let rows: Vec<_> = ends.iter().map(|end| row(&written(zone, rule, stamp, *end), "1,5")).collect();
                let rulings = read(&mapping, zone, &["Time", "kWh"], &rows);
                assert_eq!((told(&rulings), instants(&rulings)), (vec![], ends.clone()), "{zone:?} {rule:?} {stamp:?}");
            }
        }
    }

    #[test]
    fn registers_without_a_stated_spacing_are_read_through_the_repeated_hour() {
        for (zone, day) in days() {
            let mut mapping = quarters(ClockRule::InOrder, Stamp::End);
            let import = Series::new(Subject::Meter("m7".into()), Quantity::Import);
            let column = CsvColumn { column: "kWh".into(), series: import, factor: KWH };
            mapping.rows = CsvRows::Readings { columns: vec![column], interval: None };
            let times: Vec<At> = (0..day.millis() / HOUR).map(|k| day.start + k * HOUR).collect();
            let rows: Vec<_> =
                times.iter().map(|t| row(&written(zone, ClockRule::InOrder, Stamp::End, *t), "7")).collect();
            let rulings = read(&mapping, zone, &["Time", "kWh"], &rows);
            assert_eq!((told(&rulings), instants(&rulings)), (vec![], times), "{zone:?}");
        }
    }

    #[test]
    fn ends_written_as_start_plus_length_are_read_through_the_repeated_hour() {
        // The quarter hours from 02:00 to 03:00, twice, each under its start plus 15 minutes.
        let hour = ["02:15", "02:30", "02:45", "03:00"];
        let times: Vec<&str> =
            ["01:45", "02:00"].into_iter().chain(hour).chain(hour).chain(["03:15", "03:30"]).collect();
        let rows: Vec<_> = times.iter().map(|time| row(&format!("2025-10-26 {time}"), "1")).collect();
        let rulings = read(&quarters(ClockRule::InOrder, Stamp::End), berlin(), &["Time", "kWh"], &rows);
        let first = At::parse("2025-10-25T23:45:00Z").expect("an instant");
        let expected: Vec<At> = (0..12).map(|k| first + k * QUARTER).collect();
        assert_eq!((told(&rulings), instants(&rulings)), (vec![], expected));
    }

    #[test]
    fn an_hour_that_is_written_once_is_refused_with_both_offsets() {
        let times = ["01:30", "01:45", "02:00", "02:15", "02:30", "02:45", "03:00", "03:15"];
        let rows: Vec<_> = times.iter().map(|time| row(&format!("2025-10-26 {time}"), "1")).collect();
        let rulings = read(&quarters(ClockRule::InOrder, Stamp::Start), berlin(), &["Time", "kWh"], &rows);
        assert_eq!(instants(&rulings).len(), 4);
        assert_eq!(
            told(&rulings)[0],
            "Time: found \"2025-10-26 02:00\", expected a time that can be told apart: it is 02:00+02:00 or \
             02:00+01:00, and neither the order nor the number of the rows around it says which"
        );
    }

    #[test]
    fn empty_cells_are_unknown_and_bad_cells_refuse_their_row() {
        let mapping = quarters(ClockRule::StandardTime, Stamp::End);
        let rows = [
            row("2025-06-01 00:15", ""),
            row("2025-06-01 00:30", "1.5"),
            row("2025-06-01 00:45", "1,5,0"),
            row("01.06.2025 01:00", "1"),
            row("2099-06-01 01:15", "1"),
            vec!["2025-06-01 01:30".into()],
            row("2025-06-01 01:45", "-0,25"),
        ];
        let rulings = read(&mapping, berlin(), &["Time", "kWh"], &rows);
        assert_eq!(rulings[0], (0, Ok(RowSaid::Readings(Vec::new()))));
        assert_eq!(
            told(&rulings),
            [
                r#"kWh: found "1.5", expected a decimal number with the decimal sign ,"#,
                r#"kWh: found "1,5,0", expected a decimal number with the decimal sign ,"#,
                r#"Time: found "01.06.2025 01:00", expected a time in the format %Y-%m-%d %H:%M"#,
                r#"Time: found "2099-06-01 01:15", expected a time at most a day after 2027-12-28T13:20:00Z"#,
                r#"row: found 1 cell, expected 2, as the header has"#,
            ]
        );
        let at = At::parse("2025-06-01T00:45:00Z").expect("an instant");
        assert_eq!(rulings[6], (6, Ok(RowSaid::Readings(vec![(energy(), Reading { at, count: -250 })]))));
    }

    #[test]
    fn a_header_without_a_mapped_column_is_refused() {
        let mapping = quarters(ClockRule::InOrder, Stamp::End);
        let told =
            |header: &[&str]| CsvTable::new(&mapping, header, &plant(berlin()), NOW).expect_err("bad").to_string();
        assert_eq!(told(&["Time", "MWh"]), r#"header: found "Time, MWh", expected a column "kWh""#);
        assert_eq!(told(&["Time", "kWh", "kWh"]), r#"header: found "kWh", expected each mapped column once"#);
    }

    fn jobs() -> CsvMapping {
        let some = |name: &str| Some(name.to_owned());
        let columns = JobColumns {
            press: some("Press"),
            job: "Job".into(),
            ready: some("Ready"),
            end: some("End"),
            planned: some("Feet"),
            ..JobColumns::default()
        };
        // A foot is 304.8 mm exactly (international yard and pound agreement, 1959).
        let rows = CsvRows::Jobs { press: None, columns: Box::new(columns), length_mm: Ratio { num: 1_524, den: 5 } };
        CsvMapping { rows, time: "Start".into(), ..quarters(ClockRule::InOrder, Stamp::End) }
    }

    fn job(cells: [&str; 6]) -> Result<RowSaid, String> {
        let header = ["Press", "Job", "Start", "Ready", "End", "Feet"];
        let rows = [cells.map(str::to_owned).to_vec()];
        let mut rulings = read(&jobs(), berlin(), &header, &rows);
        rulings.remove(0).1.map_err(|refusal| refusal.to_string())
    }

    #[test]
    fn a_row_of_a_job_table_becomes_a_run() {
        let said = job(["p1", "4711", "2025-06-01 06:00", "", "2025-06-01 08:30", "1000"]).expect("a run");
        let RowSaid::Job(run, None) = said else { panic!("a run without an id was expected, found {said:?}") };
        let at = |text| At::parse(text).expect("an instant");
        assert_eq!((run.press.clone(), run.job.as_str()), (PressId::from("p1"), "4711"));
        assert_eq!((run.start, run.ready), (at("2025-06-01T04:00:00Z"), None));
        assert_eq!((run.end, run.planned_mm), (Some(at("2025-06-01T06:30:00Z")), Some(304_800)));
    }

    #[test]
    fn the_times_of_a_run_decide_about_a_repeated_hour_where_they_can() {
        // From 02:50 to 02:10 only leads from summer into winter time.
        let said = job(["p1", "4711", "2025-10-26 02:50", "", "2025-10-26 02:10", ""]).expect("a run");
        let RowSaid::Job(run, _) = said else { panic!("a run") };
        assert_eq!(run.end.map(|end| end - run.start), Some(20 * 60_000));
        assert_eq!(
            job(["p1", "4711", "2025-10-26 02:10", "", "2025-10-26 04:00", ""]),
            Err("Start: found \"2025-10-26 02:10\", expected a time that can be told apart: it is 02:10+02:00 or \
                 02:10+01:00, and neither the order nor the number of the rows around it says which"
                .to_owned())
        );
    }

    #[test]
    fn a_bad_row_of_a_job_table_says_what_is_wrong() {
        let start = "2025-06-01 06:00";
        let cases = [
            (["p9", "1", start, "", "", ""], r#"Press: found "p9", expected a press of the plant"#),
            (["p1", "", start, "", "", ""], r#"Job: found "", expected a job number"#),
            (
                ["p1", "1", start, "", "2025-06-01 05:00", ""],
                r#"End: found "2025-06-01 05:00", expected a time after 2025-06-01 06:00"#,
            ),
            (
                ["p1", "1", start, "", "", "-3"],
                r#"Feet: found "-3", expected a length of 0 or more with the decimal sign ,"#,
            ),
        ];
        for (cells, expected) in cases {
            assert_eq!(job(cells), Err(expected.to_owned()));
        }
    }

    proptest! {
        #[test]
        fn no_cell_makes_it_panic(cells in prop::collection::vec("\\PC{0,20}", 0..5), rule in 0..4_usize) {
            let rule = [ClockRule::Stated, ClockRule::UtcOffset(60), ClockRule::StandardTime, ClockRule::InOrder][rule];
            read(&quarters(rule, Stamp::EndOldDate), berlin(), &["Time", "kWh"], &[cells]);
        }

        #[test]
        fn no_time_makes_it_panic(year in 0..9_999_u32, month in 1..13_u32, day in 1..32_u32, hour in 0..25_u32) {
            for (rule, stamp) in [(ClockRule::InOrder, Stamp::Start), (ClockRule::StandardTime, Stamp::EndOldDate)] {
                let time = format!("{year:04}-{month:02}-{day:02} {hour:02}:00");
                read(&quarters(rule, stamp), berlin(), &["Time", "kWh"], &[row(&time, "1")]);
            }
        }
    }
}
