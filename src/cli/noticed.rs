//! What the watch found in a month, for its report.

use crate::agent::{Books, BooksError, watched};
use crate::config::Configuration;
use crate::report::Noticed;
use crate::store::Store;
use crate::time::{At, Month};
use crate::watch::{Finding, Findings};

/// What the watch finds by the end of a month, or until now, that lasted in it; `None` where nothing is known by then.
pub(super) fn noticed(
    books: &Books,
    store: &Store,
    configuration: &Configuration,
    month: Month,
    now: At,
) -> Result<Option<Vec<Noticed>>, BooksError> {
    let zone = books.plant().zone;
    let Some(found) = watched(books, store, configuration, month.last().min(zone.date(now)), |_| {})? else {
        return Ok(None);
    };
    let kept = Findings::of(&store.events_stated()?);
    let lasting = found.findings.into_iter().filter(|finding| finding.touches(zone.month(month)));
    let noticed = |finding: Finding| {
        let same = kept.same(&finding);
        Noticed {
            id: same.as_ref().map_or_else(|| finding.id(), |kept| kept.id.clone()),
            standing: same.as_ref().map(|kept| kept.standing(now).word()),
            answer: same.and_then(|kept| kept.answer).map(|answered| answered.note),
            finding,
        }
    };
    Ok(Some(lasting.map(noticed).collect()))
}
