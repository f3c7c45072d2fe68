//! Findings on a terminal.

use super::Shown;
use crate::cli::columns::hanging;
use crate::time::{At, Zone};
use crate::units::{counted, fixed, places, significant};
use crate::watch::{Above, Answer, Kept, SAFETY};
use std::fmt::Write;

/// The findings, one after the other, and how far the charts can be trusted.
pub(super) fn told(shown: &Shown<'_>) -> String {
    let Shown { zone, currency, first, last, watched, .. } = *shown;
    let mut text = String::new();
    for finding in &watched.findings {
        let since = if finding.is_about { "since about" } else { "since" };
        let until = finding.until.map_or_else(|| "goes on".into(), |until| format!("until {}", clock(zone, until)));
        let _ = writeln!(
            text,
            "{}  {}  {since} {}, {until}",
            finding.about,
            finding.rule.word(),
            clock(zone, finding.since)
        );
        match shown.kept(finding) {
            Some(kept) => {
                let _ = writeln!(text, "  {}", hanging(&standing(zone, &kept), 2));
            }
            None => {
                let _ = writeln!(text, "  called {}; not kept yet", finding.id());
            }
        }
        if let Some(above) = &finding.above {
            let _ = writeln!(text, "  {}", hanging(&amounts(currency, above), 2));
        }
        for sentence in finding.evidence.iter().map(String::as_str).chain(finding.rule.questions().iter().copied()) {
            let _ = writeln!(text, "  {}", hanging(sentence, 2));
        }
        text.push('\n');
    }
    if watched.findings.iter().any(|finding| finding.station.is_some()) {
        let _ = writeln!(text, "{}\n", hanging(SAFETY, 0));
    }
    let _ = writeln!(text, "{} from {first} to {last}", counted(watched.findings.len(), "finding"));
    text.push_str(&hanging(&watched.trust(), 0));
    text
}

/// What a kept finding is called, and what was answered.
fn standing(zone: Zone, kept: &Kept) -> String {
    let Some(answered) = &kept.answer else { return format!("called {}", kept.id) };
    let until = match answered.answer {
        Answer::Snoozed { until } => format!(" until {}", clock(zone, until)),
        _ => String::new(),
    };
    let (word, at) = (answered.answer.word(), clock(zone, answered.at));
    format!("called {}; {word}{until} on {at} ({})", kept.id, answered.note)
}

fn clock(zone: Zone, at: At) -> String {
    zone.local(at).format("%Y-%m-%d %H:%M").to_string()
}

fn amounts(currency: &str, above: &Above) -> String {
    let watts = |watts: f64| fixed((watts * 1e6).round() as i128, 6, 0);
    let mut text = match above.watts_half {
        Some(half) => format!("{} ± {} W above its baseline (90 %)", watts(above.watts), watts(half)),
        None => format!("{} W", watts(above.watts)),
    };
    let energy = i128::from(above.energy.mwh());
    let decimals = places(energy, 6);
    let _ = write!(text, "; so far {}", fixed(energy, 6, decimals));
    if let Some(half) = above.energy_half {
        let _ = write!(text, " ± {}", fixed(half.mwh().into(), 6, decimals));
    }
    text.push_str(" kWh");
    let _ = write!(text, ", {} {currency}", fixed(above.cost.micros().into(), 6, 2));
    if let Some((energy, cost)) = above.ahead {
        let _ = write!(
            text,
            "; 28 days ahead {} kWh, {} {currency}",
            significant(energy.mwh().into(), 6),
            fixed(cost.micros().into(), 6, 2)
        );
    }
    text
}
