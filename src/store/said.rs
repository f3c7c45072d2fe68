//! Events as they are written: JSON of structs of its own, so that the file does not change when a type in the program does.

use super::bill_paper::BillPaper;
use super::finding_paper::{AnswerPaper, FindingPaper};
use super::paper::Paper;
use crate::names::Judged;
use crate::readings::{Happening, Run};
use crate::time::At;
use serde::{Deserialize, Serialize};

/// The payload of an event.
#[derive(Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
enum Said {
    Run(Job),
    Lamp {
        station: String,
        lamp: Option<String>,
    },
    Device {
        meter: String,
        serial: String,
        end_count: Option<i64>,
        start_count: Option<i64>,
    },
    Ratio {
        meter: String,
        num: i64,
        den: i64,
    },
    Clock {
        moved: i64,
    },
    /// `press` is the key of a press or of a load.
    Adjustment {
        press: String,
        until: i64,
        mwh: i64,
        uncertainty_mwh: Option<i64>,
    },
    Static {
        factor: String,
        value: String,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        holds: Option<String>,
    },
    Boundary {
        meter: String,
        of: String,
        like: String,
        factor_ppm: i64,
        uncertainty_ppm: i64,
    },
    Instrument(Box<Paper>),
    Bill(Box<BillPaper>),
    Finding(Box<FindingPaper>),
    Answer(AnswerPaper),
    Withdrawn {
        former: Box<Said>,
    },
}

/// A run; instants in milliseconds since 1970.
#[derive(Serialize, Deserialize)]
struct Job {
    run: String,
    press: String,
    job: String,
    product: Option<String>,
    start: i64,
    ready: Option<i64>,
    end: Option<i64>,
    width_mm: Option<i64>,
    planned_mm: Option<i64>,
    good_mm: Option<i64>,
}

/// The payload as JSON.
pub(super) fn write(what: &Happening) -> serde_json::Result<String> {
    serde_json::to_string(&said(what))
}

/// The payload read back.
pub(super) fn read(json: &str) -> serde_json::Result<Happening> {
    serde_json::from_str(json).map(happening)
}

fn said(what: &Happening) -> Said {
    match what.clone() {
        Happening::Run(run) => Said::Run(Job {
            run: run.id.to_string(),
            press: run.press.to_string(),
            job: run.job,
            product: run.product,
            start: run.start.0,
            ready: run.ready.map(|at| at.0),
            end: run.end.map(|at| at.0),
            width_mm: run.width_mm,
            planned_mm: run.planned_mm,
            good_mm: run.good_mm,
        }),
        Happening::LampFitted { station, lamp } => {
            Said::Lamp { station: station.to_string(), lamp: lamp.map(|id| id.to_string()) }
        }
        Happening::DeviceExchanged { meter, serial, end_count, start_count } => {
            Said::Device { meter: meter.to_string(), serial, end_count, start_count }
        }
        Happening::RatioCorrected { meter, num, den } => Said::Ratio { meter: meter.to_string(), num, den },
        Happening::ClockEpoch { moved } => Said::Clock { moved },
        Happening::Adjustment { judged, until, mwh, uncertainty_mwh } => {
            Said::Adjustment { press: judged.key(), until: until.0, mwh, uncertainty_mwh }
        }
        Happening::StaticFactor { factor, value, holds } => Said::Static { factor, value, holds },
        Happening::BoundaryCorrected { meter, of, like, factor_ppm, uncertainty_ppm } => {
            Said::Boundary { meter: meter.to_string(), of, like, factor_ppm, uncertainty_ppm }
        }
        Happening::Instrument(instrument) => Said::Instrument(Box::new((*instrument).into())),
        Happening::SupplierBill(bill) => Said::Bill(Box::new((*bill).into())),
        Happening::Found(finding) => Said::Finding(Box::new((*finding).into())),
        Happening::Answered(answer) => Said::Answer(answer.into()),
        Happening::Withdrawn(former) => Said::Withdrawn { former: Box::new(said(&former)) },
    }
}

fn happening(said: Said) -> Happening {
    match said {
        Said::Run(job) => Happening::Run(Run {
            id: job.run.as_str().into(),
            press: job.press.as_str().into(),
            job: job.job,
            product: job.product,
            start: At(job.start),
            ready: job.ready.map(At),
            end: job.end.map(At),
            width_mm: job.width_mm,
            planned_mm: job.planned_mm,
            good_mm: job.good_mm,
        }),
        Said::Lamp { station, lamp } => {
            Happening::LampFitted { station: station.as_str().into(), lamp: lamp.as_deref().map(Into::into) }
        }
        Said::Device { meter, serial, end_count, start_count } => {
            Happening::DeviceExchanged { meter: meter.as_str().into(), serial, end_count, start_count }
        }
        Said::Ratio { meter, num, den } => Happening::RatioCorrected { meter: meter.as_str().into(), num, den },
        Said::Clock { moved } => Happening::ClockEpoch { moved },
        Said::Adjustment { press, until, mwh, uncertainty_mwh } => {
            Happening::Adjustment { judged: Judged::of_key(&press), until: At(until), mwh, uncertainty_mwh }
        }
        Said::Static { factor, value, holds } => Happening::StaticFactor { factor, value, holds },
        Said::Boundary { meter, of, like, factor_ppm, uncertainty_ppm } => {
            Happening::BoundaryCorrected { meter: meter.as_str().into(), of, like, factor_ppm, uncertainty_ppm }
        }
        Said::Instrument(paper) => Happening::Instrument(Box::new((*paper).into())),
        Said::Bill(paper) => Happening::SupplierBill(Box::new((*paper).into())),
        Said::Finding(paper) => Happening::Found(Box::new((*paper).into())),
        Said::Answer(paper) => Happening::Answered(paper.into()),
        Said::Withdrawn { former } => Happening::Withdrawn(Box::new(happening(*former))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::{Above, Answer, Fate, Finding, Instrument, InstrumentKind, Rule, SupplierBill};
    use crate::units::{Decimal, Energy, Money};
    use chrono::NaiveDate;

    #[test]
    fn the_words_in_the_file_are_these() {
        let lamp = Happening::LampFitted { station: "p1/s3".into(), lamp: None };
        assert_eq!(write(&lamp).expect("JSON"), r#"{"what":"lamp","station":"p1/s3","lamp":null}"#);
        let clock = Happening::ClockEpoch { moved: -3_600_000 };
        assert_eq!(write(&clock).expect("JSON"), r#"{"what":"clock","moved":-3600000}"#);
    }

    #[test]
    fn every_event_is_read_back_as_it_was() {
        let run = Run {
            id: "r1".into(),
            press: "p1".into(),
            job: "4711".into(),
            product: Some("label \"A\"".into()),
            start: At(1),
            ready: Some(At(2)),
            end: None,
            width_mm: Some(330),
            planned_mm: None,
            good_mm: Some(-1),
        };
        let all = [
            Happening::Run(run),
            Happening::LampFitted { station: "p1/s3".into(), lamp: Some("l1".into()) },
            Happening::DeviceExchanged {
                meter: "m1".into(),
                serial: "s".into(),
                end_count: Some(9),
                start_count: None,
            },
            Happening::RatioCorrected { meter: "m1".into(), num: 250, den: 200 },
            Happening::ClockEpoch { moved: 5_000 },
            Happening::Adjustment { judged: Judged::Load("fan".into()), until: At(7), mwh: -8, uncertainty_mwh: None },
            Happening::Instrument(Box::new(Instrument {
                id: "GO-1..400".into(),
                kind: InstrumentKind::Certificate,
                energy: Energy::from_mwh(400_000_000_000),
                from: NaiveDate::default(),
                to: NaiveDate::default(),
                market: "DE".into(),
                source: "wind".into(),
                factor: Decimal::parse("0.0120").expect("a number"),
                fate: Fate::Cancelled { on: NaiveDate::default(), beneficiary: "Example Labels".into() },
                own_site: false,
                bundled: Some(false),
                carries_rate: None,
                only_claim: Some(true),
            })),
            Happening::SupplierBill(Box::new(SupplierBill {
                id: "R-1".into(),
                meter: "S-1".into(),
                from: NaiveDate::default(),
                to: NaiveDate::default(),
                energy: Energy::from_mwh(1),
                peak_kw: Some(2),
                peak_kva: None,
                amount: Money::from_micros(-3),
                estimated: true,
            })),
            Happening::StaticFactor { factor: "shifts a week".into(), value: "10".into(), holds: None },
            Happening::StaticFactor {
                factor: "ink system".into(),
                value: "low migration".into(),
                holds: Some("same lamps, same levels".into()),
            },
            Happening::BoundaryCorrected {
                meter: "m1".into(),
                of: "lamp-supply".into(),
                like: "cabinet with blower".into(),
                factor_ppm: 1_080_000,
                uncertainty_ppm: 20_000,
            },
            Happening::Withdrawn(Box::new(Happening::LampFitted { station: "p1/s3".into(), lamp: None })),
            Happening::Found(Box::new(Finding {
                rule: Rule::HigherDraw,
                about: "p1/s6".into(),
                station: Some("p1/s6".into()),
                since: At(1),
                is_about: true,
                raised: At(2),
                until: None,
                above: Some(Above {
                    watts: 339.125,
                    watts_half: Some(2.5),
                    energy: Energy::from_mwh(90_300_000),
                    energy_half: None,
                    cost: Money::from_micros(12),
                    ahead: Some((Energy::from_mwh(-1), Money::from_micros(-2))),
                }),
                evidence: vec!["it draws \"more\"".into()],
            })),
            Happening::Answered(Answer::Acknowledged),
            Happening::Answered(Answer::Snoozed { until: At(9) }),
            Happening::Withdrawn(Box::new(Happening::Answered(Answer::Closed))),
        ];
        for what in all {
            assert_eq!(read(&write(&what).expect("JSON")).expect("an event"), what);
        }
    }
}
