//! Job tables: one run a row.

use crate::names::PressId;
use crate::plant::{Plant, Ratio};
use crate::readings::Run;
use crate::sources::csv_table::{Column, Form};
use crate::sources::{JobColumns, Number, Refusal, value};
use crate::time::At;
use std::collections::BTreeSet;

/// The columns of a job table, found in its header.
#[derive(Clone, Debug)]
pub(super) struct JobTable {
    presses: BTreeSet<PressId>,
    fixed: Option<PressId>,
    length_mm: Ratio,
    press: Option<Column>,
    job: Column,
    id: Option<Column>,
    product: Option<Column>,
    ready: Option<Column>,
    end: Option<Column>,
    width: Option<Column>,
    planned: Option<Column>,
    good: Option<Column>,
}

impl JobTable {
    pub(super) fn new(
        fixed: Option<PressId>,
        columns: &JobColumns,
        length_mm: Ratio,
        header: &[&str],
        plant: &Plant,
    ) -> Result<Self, Refusal> {
        let maybe = |name: &Option<String>| name.as_deref().map(|name| Column::find(header, name)).transpose();
        Ok(Self {
            presses: plant.presses.iter().map(|press| press.id.clone()).collect(),
            fixed,
            length_mm,
            press: maybe(&columns.press)?,
            job: Column::find(header, &columns.job)?,
            id: maybe(&columns.id)?,
            product: maybe(&columns.product)?,
            ready: maybe(&columns.ready)?,
            end: maybe(&columns.end)?,
            width: maybe(&columns.width)?,
            planned: maybe(&columns.planned)?,
            good: maybe(&columns.good)?,
        })
    }

    /// The run of a row, its identity still empty, and the source's own id of it.
    pub(super) fn read(&self, form: &Form, time: &Column, cells: &[&str]) -> Result<(Run, Option<String>), Refusal> {
        let text = |column: &Option<Column>| {
            column.as_ref().map(|column| column.cell(cells)).filter(|text| !text.is_empty()).map(str::to_owned)
        };
        let length = |column: &Option<Column>, factor: Ratio| match column {
            None => Ok(None),
            Some(column) => form.count(column, cells, |text| length(text, factor)),
        };
        let job = self.job.cell(cells);
        if job.is_empty() {
            return Err(self.job.refuse(cells, "a job number"));
        }
        let (start, ready, end) = self.times(form, time, cells)?;
        let run = Run {
            id: "".into(),
            press: self.press(cells)?,
            job: job.to_owned(),
            product: text(&self.product),
            start,
            ready,
            end,
            width_mm: length(&self.width, Ratio::ONE)?,
            planned_mm: length(&self.planned, self.length_mm)?,
            good_mm: length(&self.good, self.length_mm)?,
        };
        Ok((run, text(&self.id)))
    }

    fn press(&self, cells: &[&str]) -> Result<PressId, Refusal> {
        match (&self.press, &self.fixed) {
            (Some(column), _) => {
                let known = self.presses.get(&PressId::from(column.cell(cells)));
                known.cloned().ok_or_else(|| column.refuse(cells, "a press of the plant"))
            }
            (None, Some(press)) => Ok(press.clone()),
            (None, None) => Err(Refusal::new("mapping", "no press", "a press, or a column that names it")),
        }
    }

    /// Start, end of make-ready and end. In a repeated hour their order within the row decides, or nothing does: the
    /// rows of several presses follow each other in no order.
    fn times(&self, form: &Form, time: &Column, cells: &[&str]) -> Result<(At, Option<At>, Option<At>), Refusal> {
        let maybe = |column: &Option<Column>| match column.as_ref().filter(|column| !column.cell(cells).is_empty()) {
            None => Ok(vec![None]),
            Some(column) => Ok(form.meanings(column, cells)?.into_iter().map(Some).collect::<Vec<_>>()),
        };
        let (starts, readies, ends) = (form.meanings(time, cells)?, maybe(&self.ready)?, maybe(&self.end)?);
        let all = starts.iter().flat_map(|start| {
            let (readies, ends) = (&readies, &ends);
            readies.iter().flat_map(move |ready| ends.iter().map(move |end| (*start, *ready, *end)))
        });
        let in_order = |(start, ready, end): &(At, Option<At>, Option<At>)| {
            let ready = ready.unwrap_or(*start);
            *start <= ready && end.is_none_or(|end| ready <= end && *start < end)
        };
        let possible: Vec<_> = all.filter(in_order).collect();
        match possible.as_slice() {
            [one] => Ok(*one),
            [] => Err(self.last_time(time).refuse(cells, format!("a time after {}", time.cell(cells)))),
            [(start, ..), .., (other, ..)] if start != other => {
                Err(form.undecided(time.name(), time.cell(cells), &starts))
            }
            _ => {
                let (column, meanings) = match (&self.end, ends.len()) {
                    (Some(end), 2..) => (end, ends),
                    _ => (self.ready.as_ref().unwrap_or(time), readies),
                };
                let meanings: Vec<At> = meanings.into_iter().flatten().collect();
                Err(form.undecided(column.name(), column.cell(cells), &meanings))
            }
        }
    }

    fn last_time<'a>(&'a self, time: &'a Column) -> &'a Column {
        self.end.as_ref().or(self.ready.as_ref()).unwrap_or(time)
    }
}

/// A length of 0 or more.
fn length(text: &str, factor: Ratio) -> Result<i64, value::Expected> {
    let length = Number::parse(text).and_then(|number| number.count(factor));
    length.filter(|length| *length >= 0).ok_or_else(|| "a length of 0 or more".to_owned())
}
