//! Pages from templates, in one frame.

use super::access::Visitor;
use super::present::short;
use super::shown::{BoardError, Shown};
use crate::agent::Now;
use crate::time::At;
use crate::watch::Standing;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use serde::Serialize;
use std::borrow::Cow;
use std::path::Path;
use tera::{Context, Tera};

/// The embedded templates. Names end in `.html` so that every value in them is escaped.
const EMBEDDED: [(&str, &str); 12] = [
    ("page.html", include_str!("../../templates/board/page.html")),
    ("hall.html", include_str!("../../templates/board/hall.html")),
    ("press.html", include_str!("../../templates/board/press.html")),
    ("station.html", include_str!("../../templates/board/station.html")),
    ("job.html", include_str!("../../templates/board/job.html")),
    ("findings.html", include_str!("../../templates/board/findings.html")),
    ("finding.html", include_str!("../../templates/board/finding.html")),
    ("data.html", include_str!("../../templates/board/data.html")),
    ("reports.html", include_str!("../../templates/board/reports.html")),
    ("configuration.html", include_str!("../../templates/board/configuration.html")),
    ("enter.html", include_str!("../../templates/board/enter.html")),
    ("told.html", include_str!("../../templates/board/told.html")),
];

/// The templates, read once.
pub(super) struct Pages(Tera);

impl Pages {
    /// The embedded templates, each replaced by one of the same name in a folder, where there is one.
    pub(super) fn new(own: &Path) -> Result<Self, BoardError> {
        let mut tera = Tera::default();
        let mut texts = Vec::new();
        for (name, text) in EMBEDDED {
            texts.push((name, own_text(own, name)?.map_or(Cow::Borrowed(text), Cow::Owned)));
        }
        tera.add_raw_templates(texts)?;
        Ok(Self(tera))
    }
}

/// The plant's own text of that name; `None` where it has none.
pub(super) fn own_text(own: &Path, name: &str) -> Result<Option<String>, BoardError> {
    let path = own.join(name);
    match std::fs::read_to_string(&path) {
        Ok(text) => Ok(Some(text)),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(BoardError::File(path, error)),
    }
}

/// What every page shows around its content.
#[derive(Serialize)]
struct Around<'a> {
    title: &'a str,
    plant: String,
    clock: String,
    links: Vec<Link>,
    /// Seconds after which a page without scripts is loaded again; `None` for a page that stays as it is.
    reload: Option<u32>,
    fault: Option<String>,
    version: &'a str,
    /// Whether the visitor can leave.
    leave: bool,
    who: &'a str,
    /// What a form carries, by which it is known to come from this page.
    form: String,
    /// Whether the visitor may answer findings.
    acts: bool,
}

#[derive(Serialize)]
struct Link {
    href: &'static str,
    name: &'static str,
    here: bool,
    live: Option<&'static str>,
    count: String,
}

/// The pages that are linked from every other.
const LINKS: [(&str, &str); 5] = [
    ("/", "Hall"),
    ("/findings", "Findings"),
    ("/reports", "Reports"),
    ("/data", "Data and meters"),
    ("/configuration", "Configuration"),
];

/// A page and where it belongs.
pub(super) struct Page<'a> {
    pub(super) template: &'static str,
    pub(super) title: &'a str,
    /// The link that it stands under.
    pub(super) under: &'static str,
    pub(super) reload: Option<u32>,
}

impl Shown {
    /// A page for a visitor.
    pub(super) fn page(&self, visitor: &Visitor, page: &Page<'_>, content: &impl Serialize) -> Response {
        self.page_with(StatusCode::OK, visitor, page, content)
    }

    /// A page that says what went wrong, and what to do.
    pub(super) fn told(&self, status: StatusCode, visitor: &Visitor, title: &str, words: &str) -> Response {
        #[derive(Serialize)]
        struct Told<'a> {
            title: &'a str,
            words: &'a str,
        }
        let page = Page { template: "told.html", title, under: "", reload: None };
        self.page_with(status, visitor, &page, &Told { title, words })
    }

    /// A page of something that there is not.
    pub(super) fn missing(&self, visitor: &Visitor, what: &str) -> Response {
        let words = format!("There is no {what}. The hall lists the presses and their stations.");
        self.told(StatusCode::NOT_FOUND, visitor, "Not here", &words)
    }

    fn page_with(&self, status: StatusCode, visitor: &Visitor, page: &Page<'_>, content: &impl Serialize) -> Response {
        let (now, at) = (self.of.live.now(), self.of.clock.now());
        let link = |(href, name): (&'static str, &'static str)| Link {
            href,
            name,
            here: page.under == href,
            live: (href == "/findings").then_some("findings.open"),
            count: open(&now, at),
        };
        let around = Around {
            title: page.title,
            plant: short(&now.plant.name),
            clock: clock(&now, at),
            links: if visitor.may_see() { LINKS.map(link).into() } else { Vec::new() },
            reload: page.reload,
            fault: now.store.fault.clone(),
            version: self.assets.version(),
            leave: visitor.has_session(),
            who: visitor.name(),
            form: visitor.form(),
            acts: visitor.may_act(),
        };
        let rendered = Context::from_serialize(content).and_then(|mut context| {
            context.insert("page", &around);
            self.pages.0.render(page.template, &context)
        });
        match rendered {
            Ok(html) => (status, Html(html)).into_response(),
            Err(fault) => {
                tracing::error!("the page {} cannot be made: {fault}", page.template);
                (StatusCode::INTERNAL_SERVER_ERROR, "The page cannot be made; the log says why.\n").into_response()
            }
        }
    }
}

/// The clock of the plant.
pub(super) fn clock(now: &Now, at: At) -> String {
    now.plant.zone.local(at).format("%a %-d %b %Y, %H:%M:%S").to_string()
}

/// How many findings nobody has answered; empty where there is none.
pub(super) fn open(now: &Now, at: At) -> String {
    match now.findings.iter().filter(|kept| kept.standing(at) == Standing::Open).count() {
        0 => String::new(),
        open => format!("({open})"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_template_can_be_read() {
        Pages::new(Path::new("no such folder")).map(drop).expect("templates");
    }
}
