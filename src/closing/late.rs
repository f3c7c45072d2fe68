//! What came late of a closed month: a line of the next one, or cause for a restatement.

use super::{Closing, ENERGY, Figures, carried, difference, sum};
use crate::units::Decimal;

/// When a month may be closed, and what is too little to restate it for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Terms {
    /// Days after its end before which a month stays open.
    pub after_days: u32,
    /// Part of a month's kWh, in per cent, up to which what comes late is a line of the next month.
    pub de_minimis_percent: Decimal,
}

impl Default for Terms {
    /// Common practice, no source: data of the supplier and of loggers are in by the fifth day.
    fn default() -> Self {
        Self { after_days: 5, de_minimis_percent: Decimal::parse("0.5").unwrap_or(Decimal::whole(0)) }
    }
}

/// What is known of a closed month today beside what was closed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Late {
    /// Nothing changed, or later months carry it already.
    Nothing,
    /// So little that the next month carries it.
    Line(Figures),
    /// So much that the month is to be restated.
    Restate(Figures),
}

/// Judges what came late of a month. Whether it is little is judged by all that came since the closing, however often some
/// was carried; what remains to carry is what no later month carries yet.
pub fn late(all: &[Closing], closed: &Closing, now: &Figures, terms: Terms) -> Late {
    let Some(month) = closed.month() else { return Late::Nothing };
    let since = difference(now, &closed.figures);
    let by = since.get(ENERGY).copied().unwrap_or(0);
    let (num, den) = terms.de_minimis_percent.fraction();
    let whole = closed.figures.get(ENERGY).copied().unwrap_or(0);
    if i128::from(by.abs()) * 100 * den > i128::from(whole.abs()) * num {
        return Late::Restate(since);
    }
    let open = difference(now, &sum(&closed.figures, &carried(all, month)));
    if open.is_empty() { Late::Nothing } else { Late::Line(open) }
}

#[cfg(test)]
mod tests {
    use super::super::tests::closing;
    use super::*;

    fn figures(energy: i64) -> Figures {
        [(ENERGY.to_owned(), energy)].into()
    }

    #[test]
    fn half_a_per_cent_is_a_line_and_a_count_more_is_a_restatement() {
        let closed = closing("2026-03", 0, 1_000_000);
        let judged = |now: i64| late(std::slice::from_ref(&closed), &closed, &figures(now), Terms::default());
        assert_eq!(judged(1_000_000), Late::Nothing);
        assert_eq!(judged(1_005_000), Late::Line(figures(5_000)));
        assert_eq!(judged(1_005_001), Late::Restate(figures(5_001)));
        assert_eq!(judged(994_999), Late::Restate(figures(-5_001)));
    }

    #[test]
    fn what_a_later_month_carries_is_not_carried_again_but_counts_towards_the_limit() {
        let closed = closing("2026-03", 0, 1_000_000);
        let mut next = closing("2026-04", 0, 7);
        next.carried = [("2026-03".to_owned(), figures(4_000))].into();
        let all = [closed.clone(), next];
        let judged = |now: i64| late(&all, &closed, &figures(now), Terms::default());
        assert_eq!(judged(1_004_000), Late::Nothing);
        assert_eq!(judged(1_004_500), Late::Line(figures(500)));
        assert_eq!(judged(1_006_000), Late::Restate(figures(6_000)));
    }

    /// Whatever is carried, all closings together come to what is known.
    #[test]
    fn after_a_restatement_the_next_month_takes_back_what_was_carried() {
        let closed = closing("2026-03", 0, 1_000_000);
        let mut next = closing("2026-04", 0, 7);
        next.carried = [("2026-03".to_owned(), figures(4_000))].into();
        let restated = closing("2026-03", 1, 1_010_000);
        let all = [closed, next, restated.clone()];
        assert_eq!(late(&all, &restated, &figures(1_010_000), Terms::default()), Late::Line(figures(-4_000)));
    }
}
