//! Job messages: a job starts, is ready after its make-ready, or ends on a press.

use crate::plant::Ratio;
use crate::sources::{Number, Refusal, pointer, value};
use crate::time::At;

/// What a job message tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum JobStep {
    /// The job is set up from here on.
    Start,
    /// Make-ready is over.
    Ready,
    /// The job is done.
    End,
}

/// A job message.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct JobMessage {
    /// What it tells.
    pub step: JobStep,
    /// The job number.
    pub job: String,
    /// The source's own id of the run.
    pub id: Option<String>,
    /// When; `None` where the message does not say.
    pub at: Option<At>,
    /// What is printed.
    pub product: Option<String>,
    /// Width of the web in millimetres.
    pub width_mm: Option<i64>,
    /// Planned length in millimetres.
    pub planned_mm: Option<i64>,
    /// Good length in millimetres.
    pub good_mm: Option<i64>,
}

impl JobMessage {
    /// Reads a JSON object with `event`, `job` and, where known, `id`, `time`, `product`, `width_mm`, `planned_m`,
    /// `good_m`. The time stands at `time`, a JSON Pointer, or in the member `time`.
    ///
    /// # Errors
    /// The member that cannot be read.
    pub fn parse(object: &str, time: Option<&str>, topic: &str, arrived: At) -> Result<Self, Refusal> {
        let refuse = |found: &str, expected: &str| Refusal::new(topic, found, expected);
        if !object.trim_start().starts_with('{') || pointer::find(object, "").is_none() {
            return Err(refuse(object, "a JSON object with event and job"));
        }
        let raw = |place: &str| pointer::find(object, place).filter(|raw| *raw != "null");
        let text = |place: &str| match raw(place) {
            None => Ok(None),
            Some(raw) => match pointer::scalar(raw) {
                Some(text) => Ok(Some(text)),
                None => Err(refuse(raw, &format!("a text or a number at {place}"))),
            },
        };
        let length = |place: &str, millimetres: i64| match text(place)? {
            None => Ok(None),
            Some(text) => match Number::parse(&text).and_then(|n| n.count(Ratio { num: millimetres, den: 1 })) {
                Some(length) if length >= 0 => Ok(Some(length)),
                _ => Err(refuse(&text, &format!("a length of 0 or more at {place}"))),
            },
        };
        let step = match text("/event")?.as_deref() {
            Some("start") => JobStep::Start,
            Some("ready") => JobStep::Ready,
            Some("end") => JobStep::End,
            other => return Err(refuse(other.unwrap_or(object), "start, ready or end at /event")),
        };
        let at = match text(time.unwrap_or("/time"))? {
            None => None,
            Some(text) => Some(value::instant(&text, arrived).map_err(|expected| refuse(&text, &expected))?),
        };
        Ok(Self {
            step,
            job: text("/job")?.filter(|job| !job.is_empty()).ok_or_else(|| refuse(object, "a job number at /job"))?,
            id: text("/id")?.filter(|id| !id.is_empty()),
            at,
            product: text("/product")?,
            width_mm: length("/width_mm", 1)?,
            planned_mm: length("/planned_m", 1_000)?,
            good_mm: length("/good_m", 1_000)?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOON: At = At(1_771_416_000_000);

    fn parse(object: &str) -> Result<JobMessage, String> {
        JobMessage::parse(object, None, "hall/p1/job", NOON).map_err(|refusal| refusal.to_string())
    }

    #[test]
    fn a_job_message_is_read_whole() {
        let object = r#"{"event": "end", "job": 4711, "id": "a-9", "time": "2026-02-18T12:00:00Z", "product": "Lids",
                         "width_mm": 330, "planned_m": 1500.5, "good_m": null}"#;
        let message = JobMessage {
            step: JobStep::End,
            job: "4711".into(),
            id: Some("a-9".into()),
            at: Some(NOON),
            product: Some("Lids".into()),
            width_mm: Some(330),
            planned_mm: Some(1_500_500),
            good_mm: None,
        };
        assert_eq!(parse(object), Ok(message));
    }

    #[test]
    fn a_bad_job_message_says_what_is_missing() {
        let cases = [
            ("start", r#"hall/p1/job: found "start", expected a JSON object with event and job"#),
            (r#"{"event":"stop"}"#, r#"hall/p1/job: found "stop", expected start, ready or end at /event"#),
            (r#"{"event":"end"}"#, r#"hall/p1/job: found "{\"event\":\"end\"}", expected a job number at /job"#),
            (
                r#"{"event":"end","job":"1","good_m":"-1"}"#,
                r#"hall/p1/job: found "-1", expected a length of 0 or more at /good_m"#,
            ),
        ];
        for (object, told) in cases {
            assert_eq!(parse(object), Err(told.to_owned()));
        }
    }
}
