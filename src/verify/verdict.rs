//! The verdict on a promise: at 90 %, on fixed dates, in words.

use super::words::percent;
use super::{Confidence, Estimate};
use chrono::NaiveDate;
use std::fmt;

/// Which rate is judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rate {
    /// Against the promise at the operation that took place.
    Performance,
    /// Against the promise pro rata.
    Outcome,
}

impl Rate {
    /// What is compared with.
    pub const fn of(self) -> &'static str {
        match self {
            Self::Performance => "the promise at the operation that took place",
            Self::Outcome => "the promise for the days covered",
        }
    }
}

/// What can be said of a promise.
#[derive(Clone, Debug, PartialEq)]
pub enum Verdict {
    /// The whole interval lies at or above the promise.
    Met,
    /// The whole interval lies below it.
    Short,
    /// Its first date has not come.
    NotDue(NaiveDate),
    /// The interval lies on both sides; it is looked at again on that date.
    Open(NaiveDate),
    /// It would lie on both sides however long one measures: baseline and meters leave that much on either side.
    Never(f64),
    /// Questions have to be answered first.
    Blocked(Vec<String>),
}

/// A verdict with what it rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// Which rate.
    pub of: Rate,
    /// The rate: 1 for exactly what was promised.
    pub rate: Estimate,
    /// What follows.
    pub verdict: Verdict,
}

/// Judges a rate of which the share `lasting` (a relative standard uncertainty: of baseline coefficients and meters)
/// does not shrink however long one measures. `due` is the last fixed date that has come, `next` the one after it; data
/// count up to `due`, since a look at every month would make error more frequent than the 10 % that is stated.
pub fn judge(
    of: Rate,
    rate: Estimate,
    lasting: f64,
    (due, next): (Option<NaiveDate>, NaiveDate),
    questions: &[String],
) -> Judgement {
    let (low, high) = rate.interval(Confidence::P90);
    // With ever more data only what lasts remains, around about the same rate.
    let floor = Estimate { se: lasting * rate.value.abs(), ..rate }.half_width(Confidence::P90);
    let verdict = if !questions.is_empty() {
        Verdict::Blocked(questions.to_vec())
    } else if due.is_none() {
        Verdict::NotDue(next)
    } else if low >= 1.0 {
        Verdict::Met
    } else if high < 1.0 {
        Verdict::Short
    } else if (rate.value - 1.0).abs() <= floor {
        Verdict::Never(floor)
    } else {
        Verdict::Open(next)
    };
    Judgement { of, rate, verdict }
}

impl fmt::Display for Judgement {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (low, high) = self.rate.interval(Confidence::P90);
        let rate = format!(
            "{} of {} (90 % interval {} to {})",
            percent(self.rate.value),
            self.of.of(),
            percent(low),
            percent(high)
        );
        match &self.verdict {
            Verdict::Met => write!(f, "Met: {rate}."),
            Verdict::Short => write!(f, "Short: {rate}."),
            Verdict::NotDue(on) => write!(f, "Not decided, first judged on {on}: so far {rate}."),
            Verdict::Open(on) => write!(f, "Not decided, looked at again on {on}: {rate}."),
            Verdict::Never(floor) => write!(
                f,
                "Not decided, and more data will not decide it: {rate}; baseline and meters leave {} points on either \
                 side however long one measures.",
                percent(*floor).trim_end_matches(" %")
            ),
            Verdict::Blocked(questions) if questions.len() == 1 => {
                write!(f, "Not decided, an open question blocks the verdict: {}. So far {rate}.", questions[0])
            }
            Verdict::Blocked(questions) => write!(
                f,
                "Not decided, {} open questions block the verdict: {}. So far {rate}.",
                questions.len(),
                questions.join("; ")
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().expect("a day")
    }

    fn judged(value: f64, se: f64, lasting: f64, questions: &[&str]) -> String {
        let rate = Estimate { value, se, df: f64::INFINITY };
        let dates = (Some(day("2026-05-01")), day("2026-08-01"));
        let questions: Vec<String> = questions.iter().map(ToString::to_string).collect();
        judge(Rate::Performance, rate, lasting, dates, &questions).to_string()
    }

    /// Two-sided 90 %, normal: 1.6449 standard errors.
    #[test]
    fn a_verdict_is_told_with_its_rate_and_interval() {
        assert_eq!(
            judged(1.06, 0.03, 0.01, &[]),
            "Met: 106 % of the promise at the operation that took place (90 % interval 101 % to 111 %)."
        );
        assert_eq!(
            judged(0.91, 0.03, 0.01, &[]),
            "Short: 91 % of the promise at the operation that took place (90 % interval 86 % to 96 %)."
        );
        assert_eq!(
            judged(0.97, 0.03, 0.01, &[]),
            "Not decided, looked at again on 2026-08-01: 97 % of the promise at the operation that took place (90 % \
             interval 92 % to 102 %)."
        );
    }

    /// 1.6449 x 0.025 x 0.97 = 0.0399: wider than the 0.03 to the promise.
    #[test]
    fn where_baseline_and_meters_set_the_floor_more_data_are_not_promised() {
        assert_eq!(
            judged(0.97, 0.03, 0.025, &[]),
            "Not decided, and more data will not decide it: 97 % of the promise at the operation that took place (90 % \
             interval 92 % to 102 %); baseline and meters leave 4 points on either side however long one measures."
        );
    }

    #[test]
    fn open_questions_block_even_a_clear_verdict() {
        assert_eq!(
            judged(1.3, 0.03, 0.01, &["a shift was added on 2026-03-02"]),
            "Not decided, an open question blocks the verdict: a shift was added on 2026-03-02. So far 130 % of the \
             promise at the operation that took place (90 % interval 125 % to 135 %)."
        );
        assert_eq!(
            judged(1.3, 0.03, 0.01, &["a", "b"]),
            "Not decided, 2 open questions block the verdict: a; b. So far 130 % of the promise at the operation that \
             took place (90 % interval 125 % to 135 %)."
        );
    }

    #[test]
    fn nothing_is_decided_before_the_first_date() {
        let rate = Estimate { value: 1.3, se: 0.03, df: f64::INFINITY };
        let judgement = judge(Rate::Outcome, rate, 0.0, (None, day("2026-05-01")), &[]);
        assert_eq!(
            judgement.to_string(),
            "Not decided, first judged on 2026-05-01: so far 130 % of the promise for the days covered (90 % interval \
             125 % to 135 %)."
        );
    }
}
