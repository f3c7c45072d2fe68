//! From the view to files.

use super::html::{TemplateError, page};
use super::input::Text;
use super::manifest::manifest;
use super::month::MonthView;

/// A file of a report.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReportFile {
    /// Its name in the folder of the month.
    pub name: String,
    /// What it holds.
    pub bytes: Vec<u8>,
}

/// The files of a month: the page, the tables with their metadata, and the manifest of them all.
///
/// `templates` replace the embedded ones of the same name, such as `report/style.css`.
pub fn render(view: &MonthView, templates: &[Text]) -> Result<Vec<ReportFile>, TemplateError> {
    let mut files = vec![ReportFile { name: "report.html".into(), bytes: page(view, templates)?.into_bytes() }];
    for table in &view.tables {
        files.push(ReportFile { name: format!("{}.csv", table.name), bytes: table.bytes.clone() });
        files.push(ReportFile { name: format!("{}.csv-metadata.json", table.name), bytes: table.metadata.clone() });
    }
    let bytes = manifest(&view.plant, &view.month, &view.sources, &files);
    files.push(ReportFile { name: "manifest.json".into(), bytes });
    Ok(files)
}
