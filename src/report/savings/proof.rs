//! What a doubter may ask: the model with its statistics, the uncertainty, what was left out, what is open.

use super::figures::{capitalised, plain, signed, with_half};
use crate::plant::{Load, Plant};
use crate::report::month::grid::{Grid, Table};
use crate::report::number::UNKNOWN;
use crate::units::counted;
use crate::verify::statement::{Against, Statement};
use crate::verify::{Cause, Confidence, Estimate, Factors, listed};
use std::collections::BTreeMap;

/// What the baseline is, in words.
pub fn baseline(plant: &Plant, one: &Statement) -> Vec<String> {
    let (frozen, from) = (&one.frozen, &one.frozen.provenance);
    let unit = frozen.form.interval.unit();
    let by = format!("frozen {} by {}: {}.", plant.zone.stamp(from.at), from.author, from.reason.trim_end_matches('.'));
    let points = counted(frozen.points.len() as u64, unit);
    let mut texts = match &frozen.ratings {
        None => vec![
            format!("Baseline: {}; {} to {}.", frozen.kind, frozen.period.0, frozen.period.1),
            format!("Model: kWh a {unit} over {}, {points}, {by}", frozen.form),
        ],
        Some(ratings) => {
            let mut texts = vec![format!("Baseline: {}; lamps as fitted on {}, {by}", frozen.kind, frozen.period.0)];
            texts.extend(ratings.rule().iter().map(|rule| format!("{}.", capitalised(rule))));
            texts
        }
    };
    let of = if frozen.ratings.is_some() { "ratings" } else { "days" };
    texts.push(format!(
        "Frozen with inkwatt {} by rules {} of attribution; SHA-256 of its {of}: {}.",
        from.program, from.rules, from.data
    ));
    if !frozen.kind.is_measured() {
        texts.push("A saving against it is not a measured one in the sense of IPMVP.".into());
    }
    if one.is_changed {
        texts.push(format!(
            "Its days have been corrected since it was frozen: it rests on what was known then. inkwatt baseline fit {} shows \
             what they say now.",
            one.press
        ));
    }
    if one.savings.hours_converted {
        texts.push(
            "Speed or hours a job changed: run hours are converted to hours at the baseline's speed, which would else hide \
             part of the saving."
                .into(),
        );
    }
    texts
}

/// Factors as promised and as they were.
pub fn factors(against: &Against, is_measured: bool) -> Table {
    let mut grid = Grid::new("Factors of the promise's formula for the time covered")
        .words("Factor")
        .numbers("Promised", "")
        .numbers(if is_measured { "Measured" } else { "Measured, old lamps by ratings" }, "")
        .words("Unit");
    let (promised, actual) = (&against.promised, &against.operation.factors);
    let merged = |cause: Cause| against.operation.merged.iter().any(|(one, _)| *one == cause);
    let mut row = |label: &str, of: &dyn Fn(&Factors) -> f64, places: u32, unit: &str, unknown: bool| {
        let measured = if unknown { UNKNOWN.to_owned() } else { plain(of(actual), places) };
        grid.row("plain", vec![label.into(), plain(of(promised), places).into(), measured.into(), unit.into()]);
    };
    row("hours in which the press cured", &|f| f.curing_h, 0, "h", false);
    row("standby hours of an old lamp", &|f| f.standby_h, 0, "h a station", false);
    row("stations lit while it cured", &|f| f.lit, 2, "", merged(Cause::Lit));
    row("web speed after over before", &|f| f.speed, 3, "", merged(Cause::Speed));
    row("level of the old lamps", &|f| f.level.old, 2, "of full", merged(Cause::Level));
    row("level of the new lamps", &|f| f.level.new, 2, "of full", merged(Cause::Level));
    let at_level = |full: f64, level: f64| full * level;
    row("old lamp curing", &|f| at_level(f.old.full, f.level.old), 0, "W", false);
    row("old lamp on standby", &|f| f.old.standby, 0, "W", false);
    row("old lamp in other hours", &|f| f.old.off, 0, "W", false);
    row("new lamp curing", &|f| at_level(f.new.full, f.level.new), 0, "W", false);
    row("new lamp in other hours", &|f| f.new.off, 0, "W", false);
    grid.finish()
}

/// What was not metered by station in both periods, so that its step comes with its neighbour's.
pub fn merged(against: &Against) -> Vec<String> {
    let without: Vec<String> = against.without_level.iter().map(ToString::to_string).collect();
    let told = format!(
        "Level: not signalled before and after while the lamps of {} cured, so that it is in the draw of the lamps.",
        listed(&without)
    );
    if without.is_empty() { Vec::new() } else { vec![told] }
}

/// Avoided energy and, apart from it, normalised savings.
pub fn saved(one: &Statement) -> Table {
    let savings = &one.savings;
    let mut grid =
        Grid::new("Savings at the conditions since the acceptance, and at those of the baseline; never to be mixed")
            .words("Kind")
            .numbers("Old lamps", "kWh")
            .numbers("New lamps", "kWh")
            .numbers("Adjusted", "kWh")
            .numbers("Saved", "kWh");
    let adjusted: f64 = savings.adjustments.iter().map(|adjusted| adjusted.kwh).sum();
    grid.row(
        "plain",
        vec![
            "avoided energy".into(),
            plain(savings.expected, 0).into(),
            plain(savings.actual, 0).into(),
            signed(-adjusted, 0).into(),
            with_half(savings.avoided, 0).into(),
        ],
    );
    if let Some(normalised) = &savings.normalised {
        grid.row(
            "plain",
            vec![
                "normalised savings".into(),
                plain(normalised.before, 0).into(),
                plain(normalised.after, 0).into(),
                "".into(),
                with_half(normalised.saved, 0).into(),
            ],
        );
    }
    grid.finish()
}

/// Coefficients.
pub fn terms(one: &Statement) -> Table {
    let model = &one.frozen.model;
    let mut grid = Grid::new("Coefficients of the baseline")
        .words("Term")
        .numbers("kWh a unit", "")
        .numbers("Standard error", "")
        .numbers("t", "")
        .numbers("VIF", "");
    let vif: BTreeMap<&str, f64> =
        one.fitted.iter().flat_map(|fitted| &fitted.inflation).map(|(name, vif)| (name.as_str(), *vif)).collect();
    let dash = |value: Option<f64>, places| value.map_or(UNKNOWN.into(), |value| plain(value, places));
    for term in &model.terms {
        grid.row(
            "plain",
            vec![
                term.name.clone().into(),
                plain(term.coefficient, 4).into(),
                plain(term.se, 4).into(),
                dash(term.t(), 1).into(),
                dash(vif.get(term.name.as_str()).copied(), 1).into(),
            ],
        );
    }
    grid.finish()
}

/// Statistics with the limits that protocols put on them.
pub fn criteria(one: &Statement) -> Table {
    let mut grid = Grid::new("Statistics, limits and who states them")
        .words("Statistic")
        .numbers("Found", "")
        .words("Limit")
        .words("Kept")
        .words("Source");
    let mut plain_row = |what: &str, found: String| {
        grid.row("plain", vec![what.into(), found.into(), "".into(), "".into(), "".into()]);
    };
    let Some(formulas) = &one.savings.formulas else { return grid.finish() };
    plain_row("RMSE, kWh", plain(one.frozen.model.rmse, 1));
    plain_row("carry from one point to the next (rho, sum form)", plain(one.frozen.rho, 3));
    plain_row("points that count as independent (n')", plain(formulas.effective, 1));
    if let Some(statistic) = one.fitted.as_ref().and_then(|fitted| fitted.durbin_watson) {
        plain_row("Durbin-Watson", plain(statistic, 3));
    }
    for each in one.fitted.iter().flat_map(|fitted| &fitted.criteria) {
        let found = match each.is_share() {
            true => format!("{} %", plain(each.found * 100.0, 2)),
            false => plain(each.found, 3),
        };
        let kept = if each.met { "yes" } else { "no" };
        grid.row("plain", vec![each.what.into(), found.into(), each.limit.into(), kept.into(), each.source.into()]);
    }
    grid.finish()
}

/// What must be known about the model.
pub fn cautions(one: &Statement) -> Vec<String> {
    one.fitted.iter().flat_map(|fitted| &fitted.cautions).map(ToString::to_string).collect()
}

/// Half-widths by formula and confidence.
pub fn uncertainty(one: &Statement) -> Table {
    let savings = &one.savings;
    let mut grid = Grid::new("Uncertainty of the avoided energy: half-widths")
        .words("Formula")
        .numbers("68 %", "kWh")
        .numbers("90 %", "kWh")
        .numbers("95 %", "kWh")
        .numbers("90 %", "% of the saving");
    let mut row = |kind, label: &str, estimate: Option<Estimate>| {
        let half = |confidence| estimate.map(|estimate| estimate.half_width(confidence));
        let text = |half: Option<f64>, places| half.map_or(UNKNOWN.to_owned(), |half| plain(half, places));
        let share = half(Confidence::P90).filter(|_| savings.avoided.value != 0.0);
        let share = share.map(|half| half / savings.avoided.value.abs() * 100.0);
        let mut cells = vec![label.into()];
        cells.extend(Confidence::ALL.map(|confidence| text(half(confidence), 0).into()));
        cells.push(text(share, 2).into());
        grid.row(kind, cells);
    };
    let df = one.frozen.model.freedom();
    for (letter, se) in savings.formulas.iter().flat_map(|formulas| formulas.each()) {
        let label = match letter {
            'A' => "A: 1.26, independent points",
            'B' => "B: 1.26, fewer points where days carry over",
            'C' => "C: a polynomial in place of 1.26",
            'D' => "D: exact for independent points; never alone on daily data",
            _ => "E: exact where days carry over; the headline",
        };
        row("plain", label, se.map(|se| Estimate { value: 0.0, se, df }));
    }
    let all = match &savings.formulas {
        Some(_) => "E with meters and adjustments",
        None => "stated bound of the ratings (rectangular), with meters and adjustments",
    };
    row("sum", all, Some(savings.avoided));
    grid.finish()
}

/// What the standard uncertainty is made of.
pub fn parts(one: &Statement) -> Vec<String> {
    let parts = &one.savings.parts;
    let meters = parts.meters.map_or(
        "the meters: no limit of error is stated where they worked, so that nothing is counted".to_owned(),
        |meters| format!("the meters {} kWh", plain(meters, 0)),
    );
    let boundaries = match one.savings.alike.is_empty() {
        true => String::new(),
        false => format!("; corrections of boundaries {} kWh", plain(parts.boundaries, 0)),
    };
    let (model, lasts) = match one.frozen.ratings {
        None => ("model", "coefficients"),
        Some(_) => ("ratings, by the bound that was stated,", "the bound of the ratings"),
    };
    let how = if one.frozen.ratings.is_some() {
        "nothing was metered before: the meters are wrong about what was drawn only"
    } else if one.savings.metering.alike {
        "the same meters worked in the same bins of load before and after: their error multiplies the saving"
    } else {
        "the meters worked in other bins of load before than after: the error of each side counts"
    };
    vec![
        format!(
            "One standard error: the {model} {} kWh; {meters}; adjustments {} kWh{boundaries}.",
            plain(parts.model, 0),
            plain(parts.adjustments, 0)
        ),
        format!("{}.", capitalised(how)),
        format!(
            "Of the saving {} % stay open at 90 % however long one measures: {lasts}, meters and adjustments.",
            plain(one.floor() * 100.0, 1)
        ),
    ]
}

/// What each meter may be wrong by.
pub fn meters(one: &Statement) -> Table {
    let mut grid = Grid::new("Meters: standard uncertainty by load")
        .words("Meter")
        .words("Classes")
        .words("Load before")
        .words("Load after")
        .numbers("Before", "%")
        .numbers("After", "%")
        .words("Remarks");
    let loads = |shares: &BTreeMap<Load, f64>| {
        let told = shares.iter().filter(|(_, share)| **share >= 0.005);
        told.map(|(load, share)| format!("{} {} %", load.word(), plain(share * 100.0, 0)))
            .collect::<Vec<_>>()
            .join(", ")
    };
    let percent = |share: Option<f64>| share.map_or(UNKNOWN.to_owned(), |share| plain(share * 100.0, 2));
    for meter in &one.savings.metering.meters {
        grid.row(
            "plain",
            vec![
                meter.meter.clone().into(),
                meter.classes.clone().into(),
                loads(&meter.loads.0).into(),
                loads(&meter.loads.1).into(),
                percent(meter.relative.0).into(),
                percent(meter.relative.1).into(),
                meter.remarks.join("; ").into(),
            ],
        );
    }
    grid.finish()
}

/// Adjustments.
pub fn adjustments(one: &Statement) -> Table {
    let mut grid = Grid::new("Non-routine adjustments")
        .words("From")
        .words("To")
        .numbers("On days that count", "kWh")
        .numbers("Standard error", "kWh")
        .words("Who and why");
    for each in &one.savings.adjustments {
        let se = if each.is_stated { plain(each.se, 0) } else { "not stated".into() };
        let cells = [each.period.0.to_string(), each.period.1.to_string(), signed(each.kwh, 0), se, each.note.clone()];
        grid.row("plain", cells.into_iter().map(Into::into).collect());
    }
    grid.finish()
}

/// Static factors, in the baseline and now.
pub fn conditions(one: &Statement) -> Table {
    let (before, now) = (&one.frozen.conditions, &one.savings.conditions);
    let mut grid =
        Grid::new("What should not have changed").words("Condition").numbers("Baseline", "").numbers("Now", "");
    let mut row = |label: &str, before: Option<f64>, now: Option<f64>, places| {
        let text = |value: Option<f64>| value.map_or(UNKNOWN.to_owned(), |value| plain(value, places));
        grid.row("plain", vec![label.into(), text(before).into(), text(now).into()]);
    };
    let per_cent = |share: Option<f64>| share.map(|share| share * 100.0);
    row("km of web an hour of moving web", before.km_per_hour, now.km_per_hour, 2);
    row("hours of moving web a job", before.hours_per_job, now.hours_per_job, 2);
    row("stations curing at a time", before.stations_lit, now.stations_lit, 2);
    row("hours a week outside the shifts", before.outside_h_week, now.outside_h_week, 1);
    row("white and varnish, % of curing time", per_cent(before.white_varnish), per_cent(now.white_varnish), 1);
    grid.finish()
}

/// Questions: whether each is open, and its text.
pub fn questions(one: &Statement) -> Vec<(bool, String)> {
    let told = |question: &crate::verify::savings::Question| {
        let answer = match &question.answer {
            Some(answer) => format!("answered: {answer}"),
            None => format!(
                "open; answer it with inkwatt record static \"{}\" and --baseline-holds, or adjust for it with inkwatt \
                 record adjustment and a reason that names it",
                question.factor
            ),
        };
        (question.answer.is_none(), format!("{}: {answer}.", question.found))
    };
    one.savings.questions.iter().map(told).collect()
}

/// Days that count on neither side, by reason.
pub fn aside(one: &Statement) -> Table {
    let mut grid = Grid::new("Days that count on neither side")
        .words("Reason")
        .numbers("Baseline", "days")
        .numbers("Since the acceptance", "days");
    let (before, after) = (&one.frozen.points.aside, &one.savings.aside);
    for reason in crate::verify::Aside::ALL {
        let of = |asides: &BTreeMap<crate::verify::Aside, usize>| asides.get(&reason).copied().unwrap_or(0);
        if of(before) + of(after) > 0 {
            grid.row("plain", vec![reason.words().into(), of(before).to_string().into(), of(after).to_string().into()]);
        }
    }
    let counts = [one.frozen.points.day_count(), one.savings.counted];
    grid.row("sum", vec!["days that count".into(), counts[0].to_string().into(), counts[1].to_string().into()]);
    grid.finish()
}

/// As many days beyond the baseline as are named one by one.
const NAMED: usize = 8;

/// Days beyond what the baseline has seen.
pub fn beyond(one: &Statement) -> Vec<String> {
    let all = &one.savings.beyond;
    let told = |each: &crate::verify::savings::Beyond| {
        let drivers: Vec<String> =
            each.drivers.iter().map(|(name, value)| format!("{name} {}", plain(*value, 1))).collect();
        match drivers.is_empty() {
            true => format!(
                "{}: each driver within its range, their combination new (leverage {} times the largest of the baseline)",
                each.date,
                plain(each.leverage, 2)
            ),
            false => format!("{}: {} beyond its range", each.date, drivers.join(", ")),
        }
    };
    let mut texts: Vec<String> = all.iter().take(NAMED).map(told).collect();
    if all.len() > NAMED {
        texts.push(format!("and {} more", counted((all.len() - NAMED) as u64, "day")));
    }
    texts
}

/// The yearly saving over price and curing hours.
pub fn sensitivity(against: &Against, currency: &str, is_measured: bool) -> Table {
    let all = &against.sensitivity;
    let draws =
        if is_measured { "that were measured" } else { "by ratings of the old lamps and as measured of the new" };
    let mut grid = Grid::new(&format!("Yearly saving by price and curing hours, at the draws {draws}"))
        .words(&format!("Price, {currency}/kWh"));
    let first: Vec<_> = all.iter().take_while(|at| Some(at.price) == all.first().map(|f| f.price)).collect();
    grid = first.iter().fold(grid, |grid, at| grid.numbers(&format!("{} h", plain(at.curing_h, 0)), currency));
    for row in all.chunks(first.len().max(1)) {
        let price = format!("{:.3}", row[0].price);
        let cells = row.iter().map(|at| plain(at.money, 0).into());
        grid.row("plain", std::iter::once(price.into()).chain(cells).collect());
    }
    grid.finish()
}
