//! The drivers of a model over its points, and why a fit is refused.

use std::collections::BTreeSet;

/// Name of the term that does not depend on any driver.
pub const CONSTANT: &str = "constant";

/// A driver: its name and its value at each point.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// Name, as it appears in coefficients and messages.
    pub name: String,
    /// One value for each point, in the order of the points.
    pub values: Vec<f64>,
}

impl Column {
    /// A driver by its name and values.
    pub fn new(name: impl Into<String>, values: Vec<f64>) -> Self {
        Self { name: name.into(), values }
    }
}

/// Columns of equal length, finite, with names of their own. A constant is the first of them.
#[derive(Clone, Debug, PartialEq)]
pub struct Design {
    columns: Vec<Column>,
    constant: bool,
}

impl Design {
    /// A model with a constant: `rows` points, any number of drivers (none gives the mean).
    pub fn with_constant(rows: usize, drivers: Vec<Column>) -> Result<Self, Refusal> {
        let constant = Column::new(CONSTANT, vec![1.0; rows]);
        Self::checked(std::iter::once(constant).chain(drivers).collect(), true)
    }

    /// A model that is zero where all drivers are: such as monthly energy over days, hours and length.
    pub fn through_origin(drivers: Vec<Column>) -> Result<Self, Refusal> {
        Self::checked(drivers, false)
    }

    fn checked(columns: Vec<Column>, constant: bool) -> Result<Self, Refusal> {
        let rows = columns.first().ok_or(Refusal::NoColumns)?.values.len();
        let mut names = BTreeSet::new();
        for column in &columns {
            check(&column.name, &column.values, rows)?;
            if !names.insert(&column.name) {
                return Err(Refusal::Twice { name: column.name.clone() });
            }
        }
        Ok(Self { columns, constant })
    }

    /// The columns, the constant first where there is one.
    pub fn columns(&self) -> &[Column] {
        &self.columns
    }

    /// The values of the columns alone.
    pub fn values(&self) -> Vec<&[f64]> {
        self.columns.iter().map(|column| column.values.as_slice()).collect()
    }

    /// Names of the columns in their order.
    pub fn names(&self) -> Vec<String> {
        self.columns.iter().map(|column| column.name.clone()).collect()
    }

    /// Whether it has a constant.
    pub fn has_constant(&self) -> bool {
        self.constant
    }

    /// How many points it has.
    pub fn rows(&self) -> usize {
        self.columns[0].values.len()
    }
}

/// Refuses values that are not one finite number for each point.
pub(super) fn check(name: &str, values: &[f64], rows: usize) -> Result<(), Refusal> {
    if values.len() != rows {
        return Err(Refusal::Lengths { name: name.into(), found: values.len(), expected: rows });
    }
    match values.iter().position(|value| !value.is_finite()) {
        Some(at) => Err(Refusal::NotFinite { name: name.into(), row: at + 1 }),
        None => Ok(()),
    }
}

/// Why numbers cannot be fitted or predicted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// Nothing to explain with.
    #[error("the model has neither a constant nor a driver")]
    NoColumns,
    /// Two columns of the same name.
    #[error("driver {name} is there twice")]
    Twice {
        /// Name of the column.
        name: String,
    },
    /// A column of another length than the rest.
    #[error("{name} has {found} values where {expected} are expected, one for each point")]
    Lengths {
        /// Name of the column.
        name: String,
        /// Its length.
        found: usize,
        /// Number of points.
        expected: usize,
    },
    /// Infinity or not a number.
    #[error("{name} has no finite value at point {row}")]
    NotFinite {
        /// Name of the column.
        name: String,
        /// Which point, counted from 1.
        row: usize,
    },
    /// Not more points than terms.
    #[error("{points} points are too few for {terms} terms: at least {} are needed", terms + 1)]
    TooFew {
        /// Number of points.
        points: usize,
        /// Number of terms.
        terms: usize,
    },
    /// A column that is zero throughout or that others make up exactly.
    #[error("{name} {}: leave it out", combination(of))]
    Dependent {
        /// Name of the column.
        name: String,
        /// The columns of which it is a combination; none where it is zero throughout.
        of: Vec<String>,
    },
    /// No place for a change point.
    #[error("{form}: temperatures are too few or too alike, a change point needs {each_side} points on each side")]
    NoChangePoint {
        /// Name of the form.
        form: &'static str,
        /// Points needed on each side.
        each_side: usize,
    },
    /// Rows to predict that do not have the columns of the model.
    #[error("the model has the terms {}, found {}", expected.join(", "), found.join(", "))]
    OtherColumns {
        /// Terms of the model.
        expected: Vec<String>,
        /// Columns of the rows.
        found: Vec<String>,
    },
}

fn combination(of: &[String]) -> String {
    match of {
        [] => "is zero at every point".into(),
        [one] => format!("is a multiple of {one}"),
        many => format!("is a combination of {}", many.join(", ")),
    }
}
