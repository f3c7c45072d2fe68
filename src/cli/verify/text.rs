//! The statement on 100 columns.

use crate::cli::columns::{WIDTH, broken};
use crate::report::month::Table;
use crate::report::savings::{PressPart, Savings};

/// The statement; of a press that was named with what it rests on.
pub fn page(view: &Savings, in_full: bool) -> String {
    let mut out = Vec::new();
    let title = view.promise.as_ref().map_or("no promise".to_owned(), |promise| format!("promise: {promise}"));
    out.push(format!("{}; {title}", view.span).trim_start_matches("; ").to_owned());
    out.push(String::new());
    for one in &view.verdicts {
        out.extend(wrapped(&format!("{}: {}", one.press, one.text), 0));
        out.extend(wrapped(&format!("{} Baseline: {}.", one.outcome, one.baseline), 2));
    }
    for line in &view.missing {
        out.extend(wrapped(line, 0));
    }
    if !view.verdicts.is_empty() {
        out.extend(table(&view.rates));
    }
    out.extend(view.why.iter().flat_map(table));
    for (term, texts) in &view.notes {
        out.push(String::new());
        out.push(term.clone());
        out.extend(texts.iter().flat_map(|text| wrapped(&format!("{text}."), 2)));
    }
    let open = view.presses.iter().flat_map(|press| press.questions.iter().map(move |q| (press, q)));
    let open: Vec<_> = open.filter(|(_, (is_open, _))| *is_open || in_full).collect();
    if !open.is_empty() {
        out.extend([String::new(), "Questions".into()]);
        out.extend(open.iter().flat_map(|(press, (_, text))| wrapped(&format!("{}: {text}", press.name), 2)));
    }
    let alike = view.presses.iter().flat_map(|press| press.alike.iter().map(move |text| (press, text)));
    out.extend(alike.flat_map(|(press, text)| wrapped(&format!("{}: {text}", press.name), 0)));
    if in_full {
        view.presses.iter().for_each(|press| full(&mut out, press));
    }
    out.extend(view.capacity.iter().flat_map(|capacity| table(&capacity.table)));
    if !view.remarks.is_empty() {
        out.extend([String::new(), "The promise against itself".into()]);
        out.extend(view.remarks.iter().flat_map(|remark| wrapped(&format!("{remark}."), 2)));
    }
    out.join("\n")
}

fn full(out: &mut Vec<String>, press: &PressPart) {
    out.push(String::new());
    out.extend(press.baseline.iter().flat_map(|text| wrapped(text, 0)));
    let tables = [&press.saved, &press.terms, &press.criteria, &press.uncertainty].into_iter();
    let tables = press.factors.iter().chain(tables).chain([&press.conditions, &press.aside, &press.banded]);
    for each in tables.chain(&press.sensitivity).chain([&press.adjustments]).filter(|table| !table.rows.is_empty()) {
        out.extend(table(each));
    }
    for text in press.merged.iter().chain(&press.parts).chain(&press.cautions).chain(&press.beyond) {
        out.extend(wrapped(&format!("- {text}"), 0));
    }
}

/// A table with its caption; a long cell of words at the end of a row is wrapped below it.
fn table(table: &Table) -> Vec<String> {
    let cells = |k: usize| table.rows.iter().map(move |row| indented(row.kind, k, &row.cells[k].text).chars().count());
    let head = |k: usize| {
        let head = &table.heads[k];
        if head.unit.is_empty() { head.label.clone() } else { format!("{}, {}", head.label, head.unit) }
    };
    let columns = table.heads.len();
    let mut widths: Vec<usize> = (0..columns).map(|k| cells(k).max().unwrap_or(0)).collect();
    // Heads are broken over lines as their column needs; the first column takes what is left.
    for (k, width) in widths.iter_mut().enumerate().skip(1) {
        let longest = head(k).split(' ').map(|word| word.chars().count()).max().unwrap_or(0);
        *width = longest.max(*width).min(40);
    }
    let others: usize = widths[1..].iter().map(|width| width + 2).sum();
    widths[0] = widths[0].max(head(0).chars().count()).min(WIDTH.saturating_sub(others).max(16));
    let mut out = vec![String::new(), table.caption.clone()];
    let heads: Vec<String> = (0..columns).map(head).collect();
    out.extend(lines(table, &widths, &heads));
    for row in &table.rows {
        let texts: Vec<String> =
            row.cells.iter().enumerate().map(|(k, cell)| indented(row.kind, k, &cell.text)).collect();
        out.extend(lines(table, &widths, &texts));
    }
    out
}

fn indented(kind: &str, column: usize, text: &str) -> String {
    if kind == "part" && column == 0 { format!("  {text}") } else { text.to_owned() }
}

/// A row, over as many lines as its longest cell needs.
fn lines(table: &Table, widths: &[usize], texts: &[String]) -> Vec<String> {
    let broken: Vec<Vec<String>> = texts.iter().zip(widths).map(|(text, width)| broken(text, *width)).collect();
    let deepest = broken.iter().map(Vec::len).max().unwrap_or(0);
    let line = |depth: usize| {
        let cells = broken.iter().zip(widths).zip(&table.heads).map(|((cell, width), head)| {
            let text = cell.get(depth).map_or("", String::as_str);
            if head.number { format!("{text:>width$}") } else { format!("{text:<width$}") }
        });
        cells.collect::<Vec<_>>().join("  ").trim_end().to_owned()
    };
    (0..deepest).map(line).collect()
}

fn wrapped(text: &str, indent: usize) -> Vec<String> {
    let lines = broken(text.trim(), WIDTH - indent - 2).into_iter().enumerate();
    lines.map(|(k, line)| format!("{}{line}", " ".repeat(if k == 0 { indent } else { indent + 2 }))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn later_lines_are_indented_and_none_is_longer_than_the_terminal() {
        assert_eq!(wrapped(&"word ".repeat(60), 2).iter().map(|line| line.chars().count()).max(), Some(98));
    }
}
