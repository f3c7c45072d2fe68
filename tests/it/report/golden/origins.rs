//! Claims about how each figure of the golden report came about.

use super::with_input;
use inkwatt::report::month::view;
use inkwatt::report::origin::{Closer, Origin, ids, origin};
use inkwatt::units::Decimal;

/// Millionths of an exact number.
fn count(exact: &str) -> i64 {
    Decimal::parse(exact).and_then(|exact| exact.scale(1_000_000, 1, 1)).unwrap_or_else(|| panic!("{exact}"))
}

/// Whether a printed figure, such as `2,680` or `1.25 tCO2e`, is an exact one rounded.
fn is_rounded(printed: &str, exact: i64) -> bool {
    let (number, unit) = printed.split_once(' ').unwrap_or((printed, ""));
    let number = number.replace([',', '+'], "").replace('−', "-");
    let Some(decimal) = Decimal::parse(&number) else { return false };
    let times = if unit.starts_with('t') || unit == "MWh" { 1_000 } else { 1 };
    let shown = decimal.scale(1_000_000 * times, 1, 1).expect("it fits");
    let decimals = number.split_once('.').map_or(0, |(_, after)| after.len()) as u32;
    // Three significant digits of a large number end in zeros.
    let zeros = if decimals == 0 { (number.len() - number.trim_end_matches('0').len()) as u32 } else { 0 };
    let last = 1_000_000 * times * 10_i64.pow(zeros) / 10_i64.pow(decimals);
    (shown - exact).abs() * 2 <= last
}

/// Whether the figure is a plain sum of its slices.
fn is_sum(path: &str) -> bool {
    !["peak/", "energy-per-", "cost/plant/total", "savings/"].iter().any(|of| path.starts_with(of))
}

/// What is wrong with how a figure is explained.
fn faults(path: &str, found: &Origin) -> Vec<String> {
    let mut faults = Vec::new();
    let mut claim = |holds: bool, what: String| faults.extend((!holds).then(|| format!("{path}: {what}")));
    claim(!found.about.is_empty() && !found.rules.is_empty() && !found.shown.is_empty(), format!("{found:?}"));
    let exact = found.exact.as_deref().map(count);
    let printed: Vec<&str> = found.shown.iter().filter(|s| s.file == "report.html").map(|s| s.text.as_str()).collect();
    match exact {
        Some(exact) => {
            let is_shown = printed.is_empty() || printed.iter().any(|text| is_rounded(text, exact));
            claim(is_shown, format!("{exact} is shown as {printed:?}"));
        }
        None => claim(printed.iter().all(|text| text.trim() == "–"), format!("not known, and shown as {printed:?}")),
    }
    if is_sum(path) && !found.meters.is_empty() {
        let meters: i64 = found.meters.iter().map(|of| count(&of.amount)).sum();
        let days: i64 = found.days.iter().map(|of| count(&of.amount)).sum();
        claim((meters, days) == (exact.unwrap_or(0), exact.unwrap_or(0)), format!("{meters}, {days} for {exact:?}"));
    }
    if !found.prices.is_empty() && path != "cost/plant/total" {
        let prices: i64 = found.prices.iter().map(|of| count(&of.amount)).sum();
        claim(Some(prices) == exact, format!("prices come to {prices} for {exact:?}"));
    }
    faults
}

#[test]
fn every_figure_of_page_and_tables_is_explained_by_slices_that_add_up_to_it() {
    with_input(|input| {
        let view = view(input).expect("a month with data");
        let all = ids(&view);
        assert!(all.len() > 150, "{}", all.len());
        let of = |id: &String| {
            let path = id.strip_prefix("2025-03/").expect("an id of the month");
            match origin(input, &view, path, Closer::Whole) {
                Some(found) => faults(path, &found),
                None => vec![format!("{id} is not explained")],
            }
        };
        let faults: Vec<String> = all.iter().flat_map(of).collect();
        assert!(faults.is_empty(), "{} of {}:\n{}", faults.len(), all.len(), faults.join("\n"));
        assert!(origin(input, &view, "energy/p9", Closer::Whole).is_none());
        assert!(origin(input, &view, "wattage/p1", Closer::Whole).is_none());
    });
}

#[test]
fn the_slices_of_a_day_and_of_an_instant_add_up_to_what_the_day_adds() {
    with_input(|input| {
        let view = view(input).expect("a month with data");
        let day = "2025-03-31".parse().expect("a date");
        for path in ["energy/p1", "cost/p1", "carbon/plant", "energy/job/p1-4711"] {
            let found = origin(input, &view, path, Closer::Day(day)).expect("a figure");
            let slices: i64 = found.slices.iter().map(|slice| count(&slice.amount)).sum();
            let of_day = found.days.iter().find(|of| of.day == "2025-03-31").expect("the day");
            assert_eq!(slices, count(&of_day.amount), "{path}");
            assert!(slices > 0 && found.slices.iter().all(|slice| slice.start.starts_with("2025-03-3")), "{path}");
        }
        // The lamp cures from 7:10 UTC, which is 8:10 by the clock of London in summer time, to 9:40.
        let at = inkwatt::time::At::parse("2025-03-31T07:20:00Z").expect("an instant");
        let found = origin(input, &view, "energy/p1/s1", Closer::At(at)).expect("a figure");
        let told: Vec<_> = found.slices.iter().map(|s| (s.start.as_str(), s.lamp_state, s.run.as_str())).collect();
        assert_eq!(told, [("2025-03-31T08:15:00+01:00", "curing", "p1-4711")]);
    });
}

/// What falls to presses and to none is the bill, line by line and in all.
#[test]
fn the_shares_of_the_bill_in_table_and_page_add_up_to_it() {
    with_input(|input| {
        let view = view(input).expect("a month with data");
        let of = |path: &str| {
            let found = origin(input, &view, path, Closer::Whole).unwrap_or_else(|| panic!("{path}"));
            count(found.exact.as_deref().expect("known"))
        };
        let shares: i64 = ["bill/p1", "bill/p2", "bill/none"].map(of).iter().sum();
        let lines: i64 = ["bill/line/1", "bill/line/2", "bill/line/3"].map(of).iter().sum();
        assert_eq!((shares, lines), (of("bill/total"), of("bill/total")));
        let table = super::files().into_iter().find(|file| file.name == "bill.csv").expect("a table");
        let mut reader = csv::Reader::from_reader(table.bytes.as_slice());
        let rows: i64 = reader.records().map(|row| count(&row.expect("a row")[7])).sum();
        assert_eq!(rows, of("bill/total"));
    });
}
