//! Mappings: which part of a topic, payload or table is which value.

use crate::names::{MeterId, PressId};
use crate::plant::Ratio;
use crate::readings::{Quantity, Series};

/// Which messages carry which values.
#[derive(Clone, Debug, PartialEq)]
pub struct TopicMapping {
    /// Topic with named levels: `site/{press}/{station}/power`. A name stands for one whole level.
    pub pattern: String,
    /// What a message becomes.
    pub target: TopicTarget,
    /// JSON Pointer (RFC 6901) to the value; the whole payload where absent.
    pub value: Option<String>,
    /// JSON Pointer to the time (RFC 3339, or a number of milliseconds since 1970); the time of arrival where absent.
    pub time: Option<String>,
}

/// What a message becomes.
#[derive(Clone, Debug, PartialEq)]
pub enum TopicTarget {
    /// A reading of a meter: the level `{meter}`, or a fixed one.
    Meter {
        /// The measuring point, where the pattern has no level `{meter}`.
        meter: Option<MeterId>,
        /// What it is.
        quantity: Quantity,
        /// What the value is multiplied by to give the series' count.
        factor: Ratio,
    },
    /// A signal of a press: the level `{press}`.
    Press {
        /// What it is.
        quantity: Quantity,
        /// What the value is multiplied by to give the unit of the quantity.
        factor: Ratio,
    },
    /// A signal of a station: the levels `{press}` and `{station}`.
    Station {
        /// What it is.
        quantity: Quantity,
        /// What the value is multiplied by to give the unit of the quantity.
        factor: Ratio,
    },
    /// A job begins or ends on a press: a JSON object with `event` (`start`, `ready`, `end`), `job`, and where known
    /// `id`, `product`, `width_mm`, `planned_m`, `good_m`, `time`.
    Job,
    /// Sparkplug B payloads of one sender, whose metric names are mapped to quantities of meters. The pattern names the
    /// sender; births and data are both taken, whichever it says.
    Sparkplug {
        /// Metric name, measuring point, quantity, factor.
        metrics: Vec<(String, MeterId, Quantity, Ratio)>,
    },
}

/// How the rows of a CSV file become readings or runs.
#[derive(Clone, Debug, PartialEq)]
pub struct CsvMapping {
    /// Its name, as `import --mapping NAME` refers to it.
    pub name: String,
    /// Column separator.
    pub separator: u8,
    /// Decimal sign: a point or a comma.
    pub decimal: char,
    /// Name of the time column.
    pub time: String,
    /// chrono format of the time, such as `%d/%m/%Y %H:%M`.
    pub format: String,
    /// How the file's clock runs.
    pub clock: ClockRule,
    /// What the rows are.
    pub rows: CsvRows,
}

/// How the clock of a file runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ClockRule {
    /// The time itself carries an offset.
    Stated,
    /// A fixed number of minutes east of UTC.
    UtcOffset(i32),
    /// The plant's standard time all year.
    StandardTime,
    /// The plant's local clock; the repeated hour is told apart by the order of evenly spaced rows.
    InOrder,
}

/// Which instant of an interval its stamp names.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stamp {
    /// Its first instant.
    Start,
    /// Its last instant.
    End,
    /// Its last instant, but 00:00 carries the date of the day that it ends.
    EndOldDate,
}

/// What the rows of a file are.
#[derive(Clone, Debug, PartialEq)]
pub enum CsvRows {
    /// Values of meters, one column each.
    Readings {
        /// Which column becomes which series.
        columns: Vec<CsvColumn>,
        /// For intervals: their length in milliseconds, and which instant is stamped.
        interval: Option<(i64, Stamp)>,
    },
    /// Certificates and contracts, one a row.
    Instruments,
    /// Bills of the supplier, one a row.
    Bills,
    /// Jobs, one a row; each field names its column.
    Jobs {
        /// The press of every row, where no column says.
        press: Option<PressId>,
        /// Columns: press, job, product, end, ready, width, planned length, good length, id.
        columns: Box<JobColumns>,
        /// Millimetres for each unit of the length columns (1000 for metres, 304.8 for feet).
        length_mm: Ratio,
    },
}

/// A column of values.
#[derive(Clone, Debug, PartialEq)]
pub struct CsvColumn {
    /// Its name in the header row.
    pub column: String,
    /// What it is of what.
    pub series: Series,
    /// What a value is multiplied by to give the count of the series.
    pub factor: Ratio,
}

/// The columns of a job table.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct JobColumns {
    /// The press.
    pub press: Option<String>,
    /// The job number.
    pub job: String,
    /// The source's own id of the run.
    pub id: Option<String>,
    /// What was printed.
    pub product: Option<String>,
    /// When make-ready ended.
    pub ready: Option<String>,
    /// When the run ended.
    pub end: Option<String>,
    /// Width of the web in millimetres.
    pub width: Option<String>,
    /// Planned length.
    pub planned: Option<String>,
    /// Good length.
    pub good: Option<String>,
}
