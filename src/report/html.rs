//! The page, by templates: embedded ones, each replaced by one of the same name where the plant has its own.

use super::input::Text;
use super::month::MonthView;
use serde::Serialize;
use tera::{Context, Tera};

/// The embedded templates. Names end in `.html` so that every value in them is escaped.
const EMBEDDED: [(&str, &str); 18] = [
    ("report/head.html", include_str!("../../templates/report/head.html")),
    ("report/report.html", include_str!("../../templates/report/report.html")),
    ("report/style.css", include_str!("../../templates/report/style.css")),
    ("report/parts.html", include_str!("../../templates/report/parts.html")),
    ("report/first.html", include_str!("../../templates/report/first.html")),
    ("report/statement.html", include_str!("../../templates/report/statement.html")),
    ("report/savings.html", include_str!("../../templates/report/savings.html")),
    ("report/load.html", include_str!("../../templates/report/load.html")),
    ("report/presses.html", include_str!("../../templates/report/presses.html")),
    ("report/cost.html", include_str!("../../templates/report/cost.html")),
    ("report/carbon.html", include_str!("../../templates/report/carbon.html")),
    ("report/methods.html", include_str!("../../templates/report/methods.html")),
    ("report/filing.html", include_str!("../../templates/report/filing.html")),
    ("report/job.html", include_str!("../../templates/report/job.html")),
    ("report/jobs.html", include_str!("../../templates/report/jobs.html")),
    ("report/quality.html", include_str!("../../templates/report/quality.html")),
    ("report/method.html", include_str!("../../templates/report/method.html")),
    ("report/files.html", include_str!("../../templates/report/files.html")),
];

/// A template that cannot be used.
#[derive(Debug, thiserror::Error)]
#[error("a template of the report cannot be used")]
pub struct TemplateError(#[source] tera::Error);

/// Renders the page of a month.
pub fn page(view: &MonthView, templates: &[Text]) -> Result<String, TemplateError> {
    render_as("report/report.html", view, templates)
}

/// Renders a view by the template of that name.
pub fn render_as(name: &str, view: &impl Serialize, templates: &[Text]) -> Result<String, TemplateError> {
    // Of two of the same name the later one holds; further ones may be included by those.
    let own = templates.iter().map(|t| (t.path.as_str(), t.text.as_str()));
    let mut tera = Tera::default();
    tera.add_raw_templates(EMBEDDED.into_iter().chain(own)).map_err(TemplateError)?;
    let context = Context::from_serialize(view).map_err(TemplateError)?;
    tera.render(name, &context).map_err(TemplateError)
}
