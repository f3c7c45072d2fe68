//! Claims about closed months: they come out the same whatever the order of the facts, every change of a fact is found and
//! named, and what comes late alters none.

use crate::carbon::certificate;
use crate::report::command::{inkwatt, know, told};
use inkwatt::acquire::Clock;
use inkwatt::cli::{Audit, ToClose, audit_months, close_month, true_up};
use inkwatt::closing::{Cause, Closing, ENERGY, Figures, Verdict};
use inkwatt::config::{Configuration, load};
use inkwatt::demo::{Day, History, ZONE, configure, prepare};
use inkwatt::readings::{Event, Happening, Quantity, Rank, Reading, Series};
use inkwatt::store::{Access, Store};
use inkwatt::time::{At, Month};
use rusqlite::{Connection, params};
use std::net::{Ipv4Addr, SocketAddr};
use std::path::Path;
use tempfile::TempDir;

const JANUARY: Month = Month { year: 2025, month: 1 };
const FEBRUARY: Month = Month { year: 2025, month: 2 };

/// 2025-03-20.
const NOW: At = At(1_742_428_800_000);

pub fn configuration(folder: &Path) -> Configuration {
    load(folder).expect("a usable configuration")
}

pub fn asked(month: Month, restate: bool) -> ToClose {
    ToClose { month, restate, by: "anna".into(), why: "a test".into(), now: NOW }
}

pub fn close(folder: &Path, month: Month) -> Closing {
    close_month(folder, &configuration(folder), &asked(month, false)).expect("closed")
}

fn refusal(folder: &Path, asked: &ToClose) -> String {
    let refused = close_month(folder, &configuration(folder), asked).expect_err("refused");
    format!("{refused:?}")
}

fn audit(folder: &Path) -> Audit {
    audit_months(folder, &configuration(folder), None, NOW).expect("audited")
}

/// Two days of January, and one of February, of the invented plant.
fn days() -> impl Iterator<Item = Day> {
    History::default().enumerate().filter(|(k, _)| [5, 6, 33].contains(k)).map(|(_, day)| day).take(3)
}

pub fn known() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    know(folder.path(), days());
    folder
}

/// An empty folder of the invented plant.
fn empty() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    prepare(folder.path()).expect("an empty folder");
    let nowhere = |port| SocketAddr::from((Ipv4Addr::LOCALHOST, port));
    configure(folder.path(), &[1, 2, 3, 4].map(nowhere), nowhere(5), nowhere(6)).expect("a writable folder");
    folder
}

/// A file of the store, opened as some other program would.
fn other_program(folder: &Path, file: &str) -> Connection {
    Connection::open(folder.join("store").join(file)).expect("a file")
}

/// The same facts in several orders, in one piece or in many, packed or not, once or twice: the closing is the same to
/// the byte.
#[test]
fn a_month_closes_to_the_same_bytes_in_whatever_order_its_facts_came() {
    let mut readings: Vec<(Series, Reading)> = Vec::new();
    let mut events: Vec<Event> = Vec::new();
    for day in days().take(1) {
        for (series, of) in day.readings {
            readings.extend(of.into_iter().map(|reading| (series.clone(), reading)));
        }
        events.extend(day.events);
    }
    readings.sort_by_key(|(series, reading)| (reading.at, series.clone()));
    let closed = |chunks: Vec<Vec<(Series, Reading)>>, events: &[Event], seal: bool| {
        let folder = empty();
        let mut store = Store::open(folder.path(), ZONE, Access::Agent).expect("a store");
        for chunk in chunks {
            store.commit("history", Rank::Import, &chunk, &[], None).expect("a commit");
        }
        store.commit("history", Rank::Import, &[], events, None).expect("a commit");
        while seal && store.seal(NOW).expect("packed") {}
        drop(store);
        close(folder.path(), JANUARY);
        assert_eq!(audit(folder.path()).months[0].verdict, Verdict::Holds);
        Store::open(folder.path(), ZONE, Access::Read).expect("a store").closings().expect("a list")
    };
    let in_order = closed(vec![readings.clone()], &events, true);
    events.reverse();
    let half = readings.len() / 2;
    let (first, second) = (readings[..half].to_vec(), readings[half..].to_vec());
    let latest_first = closed(vec![second.clone(), first.clone()], &events, false);
    assert_eq!(latest_first, in_order);
    let every_third = |k: usize| readings.iter().skip(k).step_by(3).cloned().rev().collect::<Vec<_>>();
    let mixed = closed([2, 0, 1, 0].map(every_third).to_vec(), &events, true);
    assert_eq!(mixed, in_order);
}

#[test]
fn a_month_is_closed_once_in_its_turn_and_not_too_early() {
    let folder = known();
    let folder = folder.path();
    let early = ToClose { now: At(1_738_713_599_000), ..asked(JANUARY, false) };
    assert!(refusal(folder, &early).contains("2025-01 can be closed from 2025-02-06 on"), "2025-02-04T23:59:59Z");
    let nothing = Month { year: 2024, month: 12 };
    assert!(refusal(folder, &asked(nothing, false)).contains("no energy is known in 2024-12"));
    assert!(refusal(folder, &asked(JANUARY, true)).contains("2025-01 is not closed"));

    let closing = close(folder, JANUARY);
    assert_eq!((closing.sequence, closing.previous.as_str()), (0, ""));
    let parts: i64 = closing.figures.iter().filter(|(id, _)| is_part(id)).map(|(_, energy)| energy).sum();
    assert_eq!(parts, closing.figures[ENERGY], "presses and what is charged to none add up to the plant");
    let bands: i64 = closing.figures.iter().filter(|(id, _)| id.starts_with("energy/band/")).map(|(_, e)| e).sum();
    assert_eq!(bands, closing.figures[ENERGY]);
    assert!(refusal(folder, &asked(JANUARY, false)).contains("2025-01 was closed on 2025-03-20"));
    assert!(refusal(folder, &asked(JANUARY, true)).contains("there is nothing to restate"));
    assert!(refusal(folder, &asked(nothing, false)).contains("months are closed in their order"));
    let next = close(folder, FEBRUARY);
    assert_ne!(next.previous, "");
    assert!(next.carried.is_empty() && next.late.is_empty());
    let audit = audit(folder);
    assert_eq!(audit.months.iter().map(|month| month.verdict).collect::<Vec<_>>(), [Verdict::Holds; 2]);
}

/// A figure of an owner that no other one holds.
fn is_part(id: &str) -> bool {
    id.strip_prefix("energy/").is_some_and(|path| {
        path != "plant" && !path.starts_with("band/") && (path.contains('/') || !path.starts_with('p'))
    })
}

#[test]
fn a_month_left_open_is_closed_first() {
    let folder = tempfile::tempdir().expect("a folder");
    let wanted = [5, 33, 61];
    know(folder.path(), History::default().enumerate().filter(|(k, _)| wanted.contains(k)).map(|(_, day)| day).take(3));
    close(folder.path(), JANUARY);
    let late = ToClose { now: At(1_745_020_800_000), ..asked(Month { year: 2025, month: 3 }, false) };
    assert!(refusal(folder.path(), &late).contains("2025-02 comes first"));
}

/// Whichever bit of a packed block is flipped, the audit names its subject and day, and nothing else.
#[test]
fn a_flipped_bit_of_a_packed_reading_is_found_and_named() {
    let folder = known();
    let folder = folder.path();
    close(folder, JANUARY);
    let segments = other_program(folder, "segments-2025-01.db");
    let facts = other_program(folder, "facts.db");
    let (series, subject): (i64, String) = facts
        .query_row(
            "SELECT id, subject FROM series WHERE subject LIKE 'meter %' AND quantity = 'import' LIMIT 1",
            [],
            |r| r.try_into(),
        )
        .expect("a register");
    let (row, whole): (i64, Vec<u8>) = segments
        .query_row("SELECT id, blob FROM segment WHERE series = ?1 ORDER BY start LIMIT 1", [series], |r| r.try_into())
        .expect("a block");
    for byte in [0, 5, whole.len() / 3, whole.len() / 2, whole.len() - 1] {
        let mut blob = whole.clone();
        blob[byte] ^= 1 << (byte % 8);
        segments.execute("UPDATE segment SET blob = ?2 WHERE id = ?1", params![row, blob]).expect("written");
        let found = audit(folder);
        let month = &found.months[0];
        assert_eq!((month.verdict, month.is_finding()), (Verdict::Facts, true), "byte {byte}");
        let day = format!("{subject} 2025-01-06");
        assert!(month.facts.iter().all(|fact| fact.about.starts_with(&subject)), "{month:?}");
        assert!(month.facts.iter().any(|fact| fact.about == day && fact.what == Cause::Damaged), "{month:?}");
    }
    let (code, _) = told(&inkwatt(folder, &["close", "--audit"]));
    assert_eq!(code, Some(1));
    segments.execute("UPDATE segment SET blob = ?2 WHERE id = ?1", params![row, whole]).expect("written");
    assert_eq!(told(&inkwatt(folder, &["close", "--audit"])), (Some(0), String::new()));
}

/// Readings that are not packed, events and the texts of the configuration have no checksum of their own.
#[test]
fn a_flipped_bit_of_an_unpacked_reading_an_event_or_a_text_is_found_and_named() {
    let folder = empty();
    let folder = folder.path();
    let mut store = Store::open(folder, ZONE, Access::Agent).expect("a store");
    for day in days().take(1) {
        let readings: Vec<(Series, Reading)> = day
            .readings
            .into_iter()
            .flat_map(|(series, of)| of.into_iter().map(move |reading| (series.clone(), reading)))
            .collect();
        store.commit("history", Rank::Live, &readings, &day.events, None).expect("a commit");
    }
    drop(store);
    close(folder, JANUARY);
    let facts = other_program(folder, "facts.db");
    let (t, series, subject): (i64, i64, String) = facts
        .query_row(
            "SELECT hot.t, hot.series, series.subject FROM hot JOIN series ON series.id = hot.series \
             WHERE quantity = 'import' ORDER BY hot.series, hot.t LIMIT 1 OFFSET 100",
            [],
            |row| row.try_into(),
        )
        .expect("a reading");
    for bit in [0, 7, 40] {
        let flip = "UPDATE hot SET v = (v | ?3) - (v & ?3) WHERE t = ?1 AND series = ?2";
        facts.execute(flip, params![t, series, 1_i64 << bit]).expect("flipped");
        let found = audit(folder);
        let told: Vec<(&str, Cause)> = found.months[0].facts.iter().map(|f| (f.about.as_str(), f.what)).collect();
        assert_eq!(told, [(format!("{subject} 2025-01-06").as_str(), Cause::Changed)], "bit {bit}");
        facts.execute(flip, params![t, series, 1_i64 << bit]).expect("flipped back");
    }
    let event: String =
        facts.query_row("SELECT id FROM event WHERE kind = 'run' LIMIT 1", [], |r| r.get(0)).expect("a run");
    let flip = "UPDATE event SET at = (at | 1) - (at & 1) WHERE kind = 'run' AND id = ?1";
    facts.execute(flip, [&event]).expect("flipped");
    let about: Vec<String> = audit(folder).months[0].facts.iter().map(|fact| fact.about.clone()).collect();
    assert_eq!(about, [format!("event run {event}")]);
    facts.execute(flip, [&event]).expect("flipped back");
    assert_eq!(audit(folder).months[0].verdict, Verdict::Holds);

    let text = "UPDATE document SET text = replace(text, 'zone', 'zonf') WHERE hash IN \
                (SELECT hash FROM in_force WHERE path = 'config/plant.toml')";
    facts.execute(text, []).expect("changed");
    let month = &audit(folder).months[0];
    let fault = month.fault.as_deref().unwrap_or_default();
    assert_eq!(month.verdict, Verdict::Uncomputable);
    assert!(fault.starts_with("the text of config/plant.toml with which 2025-01 was closed is damaged"), "{fault}");
}

/// A figure rewritten together with its hash still breaks the chain, or comes out of no facts.
#[test]
fn a_closing_that_somebody_changes_is_found_and_no_further_month_is_closed_on_it() {
    let folder = known();
    let folder = folder.path();
    close(folder, JANUARY);
    let facts = other_program(folder, "facts.db");
    facts.execute("UPDATE closed SET text = replace(text, '\"by\":\"anna\"', '\"by\":\"hans\"')", []).expect("changed");
    assert_eq!(audit(folder).broken, ["the closing of 2025-01 was changed after it was written: its hash is another"]);
    assert!(refusal(folder, &asked(FEBRUARY, false)).contains("was changed after it was written"));
}

/// Rules are told by their version: what differs under the same one is a defect, under a newer one is not.
#[test]
fn other_figures_from_the_same_facts_are_told_apart_by_the_rules() {
    let folder = known();
    let folder = folder.path();
    close(folder, JANUARY);
    let facts = other_program(folder, "facts.db");
    let verdict = |rules: &str| {
        let text: String = facts.query_row("SELECT text FROM closed", [], |row| row.get(0)).expect("a text");
        let mut closing: Closing = serde_json::from_str(&text).expect("a closing");
        closing.rules = rules.parse().expect("a number");
        *closing.figures.get_mut("energy/p1").expect("a press") += 1;
        let text = serde_json::to_string(&closing).expect("JSON");
        let hash = inkwatt::closing::sha256(text.as_bytes());
        facts.execute("UPDATE closed SET text = ?1, hash = ?2", [text, hash]).expect("changed");
        let found = audit(folder);
        assert_eq!(found.months[0].figures[0].id, "energy/p1");
        found.months[0].verdict
    };
    assert_eq!(verdict(&inkwatt::attribute::RULES.to_string()), Verdict::SameRules);
    assert_eq!(verdict("1"), Verdict::NewerRules);
}

/// Corrects so many half hours of the supply meter, from the noon of 2025-01-06 on, by a part of each.
fn correct(folder: &Path, half_hours: usize, per_cent: i64) {
    let mut store = Store::open(folder, ZONE, Access::Command).expect("a store");
    let series = store.series().expect("series").into_iter().find(|s| s.quantity == Quantity::IntervalEnergy);
    let series = series.expect("the supply meter");
    let afternoon = inkwatt::time::Period::new(At(1_736_164_800_000), At(1_736_200_000_000));
    let read = store.readings(&series, afternoon, false).expect("readings").value;
    let more = |reading: &Reading| Reading { count: reading.count + reading.count * per_cent / 100, ..*reading };
    let all: Vec<(Series, Reading)> = read.iter().take(half_hours).map(|one| (series.clone(), more(one))).collect();
    store.commit("by hand", Rank::Correction, &all, &[], Some("anna: misread")).expect("a commit");
}

#[test]
fn a_little_that_comes_late_is_a_line_of_the_next_month_and_much_is_a_restatement() {
    let folder = known();
    let folder = folder.path();
    let closed = close(folder, JANUARY);

    correct(folder, 1, 10);
    let found = audit(folder);
    assert!(found.months[0].is_finding());
    assert_eq!(
        found.months[0].to_do.as_deref(),
        Some("the next month that is closed carries the difference as a line")
    );
    let next = close(folder, FEBRUARY);
    let line = &next.carried["2025-01"];
    assert!(line[ENERGY] > 0 && line[ENERGY] * 200 < closed.figures[ENERGY], "{line:?}");
    let found = audit(folder);
    assert_eq!(found.months.iter().map(|month| month.is_finding()).collect::<Vec<_>>(), [false, false]);
    assert!(found.months[0].settled);

    correct(folder, 16, 25);
    let month = &audit(folder).months[0];
    assert!(month.is_finding());
    assert!(month.to_do.as_deref().unwrap_or_default().contains("inkwatt close --restate 2025-01 --why TEXT"));
    let restated = close_month(folder, &configuration(folder), &asked(JANUARY, true)).expect("restated");
    assert_eq!((restated.sequence, restated.why.as_str()), (1, "a test"));
    let by: i64 = restated.difference[ENERGY];
    assert_eq!(closed.figures[ENERGY] + by, restated.figures[ENERGY]);
    let store = Store::open(folder, ZONE, Access::Read).expect("a store");
    let kept = store.closings().expect("a list");
    assert_eq!(serde_json::from_str::<Closing>(&kept[0].text).expect("a closing"), closed, "the first is as it was");
    assert_eq!(audit(folder).months[0].verdict, Verdict::Holds);
    let figures = |closing: &Closing| -> Figures { closing.figures.clone() };
    assert_ne!(figures(&restated), figures(&closed));
}

/// Late data above the limit stop the next closing until the month is restated.
#[test]
fn the_next_month_waits_for_a_restatement() {
    let folder = known();
    let folder = folder.path();
    close(folder, JANUARY);
    correct(folder, 16, 25);
    let refused = refusal(folder, &asked(FEBRUARY, false));
    assert!(refused.contains("2025-01 comes first") && refused.contains("more than 0.5 % of its kWh"), "{refused}");
    close_month(folder, &configuration(folder), &asked(JANUARY, true)).expect("restated");
    assert!(close(folder, FEBRUARY).carried.is_empty());
}

/// Carbon is provisional: other factors are told and are no finding, and what was closed stands.
#[test]
fn texts_that_change_later_alter_no_closed_month() {
    let folder = known();
    let folder = folder.path();
    close(folder, JANUARY);
    let own = include_str!("../../config/factors/gb.toml");
    std::fs::create_dir_all(folder.join("config/factors")).expect("a folder");
    let text = own.replace("0.177", "0.187");
    assert_ne!(text, own);
    std::fs::write(folder.join("config/factors/gb.toml"), text).expect("written");
    let found = audit(folder);
    let month = &found.months[0];
    assert_eq!((month.verdict, month.is_finding()), (Verdict::Holds, false));
    assert!(month.under_texts["carbon/plant"] > 0);
    assert!(month.texts.contains(&"config/factors/gb.toml".to_owned()), "{:?}", month.texts);
}

#[test]
fn the_command_closes_lists_and_audits() {
    let folder = known();
    let folder = folder.path();
    assert_eq!(told(&inkwatt(folder, &["close"])), (Some(0), String::new()));
    let closed = inkwatt(folder, &["close", "2025-01", "--by", "anna"]);
    assert_eq!(told(&closed), (Some(0), String::new()));
    let said = String::from_utf8_lossy(&closed.stdout).into_owned();
    assert!(said.starts_with("2025-01 is closed: ") && said.contains("carbon is provisional"), "{said}");
    let listed = inkwatt(folder, &["close", "--json"]);
    let listed: serde_json::Value = serde_json::from_slice(&listed.stdout).expect("JSON");
    assert_eq!((&listed[0]["month"], &listed[0]["by"]), (&"2025-01".into(), &"anna".into()));
    let audited = inkwatt(folder, &["close", "--audit", "--json"]);
    let audited: serde_json::Value = serde_json::from_slice(&audited.stdout).expect("JSON");
    assert_eq!((&audited["months"][0]["verdict"], &audited["broken"]), (&"holds".into(), &serde_json::json!([])));
    for (arguments, words) in [
        (&["close", "2025-13"][..], "a month is written like 2026-03"),
        (&["close", "--audit", "2025-02"], "2025-02 is not closed"),
        (&["close", "--restate", "2025-01"], "--why"),
    ] {
        let (code, found) = told(&inkwatt(folder, arguments));
        assert_eq!(code, Some(2), "{arguments:?}");
        assert!(found.contains(words), "{found}");
    }
    assert!(Clock::start(0).now() > NOW);
}

/// The factors of 2025 as they may come out in the end: another value, and final.
pub fn final_factors(folder: &Path, kg: &str) {
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/factors/gb.toml");
    let text = std::fs::read_to_string(shipped).expect("the shipped factors");
    let (before, from) = text.split_once("publication = \"UK government conversion factors 2025\"").expect("a set");
    let from = from.replacen("status = \"provisional\"", "status = \"final\"", 1);
    let from = from.replacen("generation = 0.17700", &format!("generation = {kg}"), 1);
    let text = format!("{before}publication = \"UK government conversion factors 2025\"{from}");
    std::fs::create_dir_all(folder.join("config/factors")).expect("a folder");
    std::fs::write(folder.join("config/factors/gb.toml"), text).expect("a file");
}

/// 2026-03-01.
const NEXT_YEAR: At = At(1_772_323_200_000);

pub fn trued_up(folder: &Path, why: &str) -> Result<Vec<Closing>, String> {
    let asked = ToClose { now: NEXT_YEAR, why: why.into(), ..asked(JANUARY, true) };
    true_up(folder, &configuration(folder), 2025, &asked).map_err(|refused| format!("{refused:?}"))
}

fn is_of_carbon(id: &str) -> bool {
    id.starts_with("carbon/") || id.starts_with("without-factor/")
}

/// kWh and money stay to the unit, carbon is that of the final factor: 0.17700 kg a kWh provisionally, 0.20000 in the end.
#[test]
fn a_year_is_trued_up_once_when_its_factors_are_final() {
    let folder = known();
    let folder = folder.path();
    let closed = close(folder, JANUARY);
    assert!(trued_up(folder, "").expect_err("refused").contains("2025-02 has readings and is not closed"));
    close(folder, FEBRUARY);
    let provisional = trued_up(folder, "").expect_err("refused");
    assert!(
        provisional.contains("the factors of 2025 are provisional: UK government conversion factors 2025, 2025"),
        "{provisional}"
    );
    let early = ToClose { why: String::new(), ..asked(JANUARY, true) };
    final_factors(folder, "0.20000");
    let early = format!("{:?}", true_up(folder, &configuration(folder), 2025, &early).expect_err("refused"));
    assert!(early.contains("2025 is not over"), "{early}");

    let added = trued_up(folder, "").expect("trued up");
    assert_eq!(
        added.iter().map(|one| (one.month.as_str(), one.sequence, one.true_up)).collect::<Vec<_>>(),
        [("2025-01", 1, true), ("2025-02", 1, true)]
    );
    let finals = |closing: &Closing| -> Figures {
        closing.figures.iter().filter(|(id, _)| !is_of_carbon(id)).map(|(id, count)| (id.clone(), *count)).collect()
    };
    assert_eq!(finals(&added[0]), finals(&closed));
    let (carbon, energy) = (added[0].figures["carbon/plant"], added[0].figures[ENERGY]);
    assert!((carbon * 5 - energy).abs() <= 2, "0.2 kg a kWh, rounded once: {carbon} for {energy}");
    assert_eq!(closed.figures["carbon/plant"] + added[0].difference["carbon/plant"], added[0].figures["carbon/plant"]);
    assert!(added[0].difference.keys().all(|id| is_of_carbon(id)));
    let ground = "UK government conversion factors 2025, version 2025, 0.20000 kg/kWh, final in the place of UK government \
                  conversion factors 2025, version 2025, 0.17700 kg/kWh, provisional";
    assert_eq!([&added[0].grounds, &added[1].grounds], [&[ground], &[ground]]);

    let found = audit_months(folder, &configuration(folder), None, NEXT_YEAR).expect("audited");
    assert_eq!(found.months.iter().map(|month| month.verdict).collect::<Vec<_>>(), [Verdict::Holds; 2]);
    assert!(
        trued_up(folder, "")
            .expect_err("refused")
            .contains("2025 was trued up on 2026-03-01, and nothing changed since")
    );

    // The publisher corrects it once more: that takes a reason.
    final_factors(folder, "0.20001");
    assert!(trued_up(folder, "").expect_err("refused").contains("to do so again takes a reason: --why TEXT"));
    let again = trued_up(folder, "corrected edition").expect("trued up");
    assert_eq!((again[0].sequence, again[0].why.as_str()), (2, "corrected edition"));
    assert_eq!(finals(&again[0]), finals(&closed));
}

/// A certificate of the year that comes after the true-up is ground for another one; that of another year is none.
#[test]
fn a_certificate_that_comes_later_is_a_ground_of_another_true_up() {
    let folder = known();
    let folder = folder.path();
    close(folder, JANUARY);
    close(folder, FEBRUARY);
    final_factors(folder, "0.20000");
    let first = trued_up(folder, "").expect("trued up");
    let record = |id: &str, year: i32| {
        let what = Happening::Instrument(Box::new(certificate(id, "GB", year, 100)));
        let event = Event { id: id.into(), at: NOW, rank: Rank::Import, revision: 0, what, note: None };
        let mut store = Store::open(folder, ZONE, Access::Command).expect("a store");
        store.commit("certificates", Rank::Import, &[], &[event], None).expect("a commit");
    };
    record("of-2024", 2024);
    assert!(trued_up(folder, "again").expect_err("refused").contains("nothing changed since"));
    record("of-2025", 2025);
    assert!(trued_up(folder, "").expect_err("refused").contains("takes a reason"));
    let again = trued_up(folder, "the supplier cancelled more").expect("trued up");
    assert_eq!(again.iter().map(|one| one.grounds.clone()).collect::<Vec<_>>(), [["certificate of-2025 is new"]; 2]);
    assert!(again.iter().all(|one| one.difference.is_empty()), "by location nothing differs");
    assert_eq!(again[0].figures, first[0].figures);
    assert!(!audit(folder).months.iter().any(|month| month.is_finding()));
}

/// What came late and is carried by the next month stays there: all closings together come to what is known.
#[test]
fn a_true_up_leaves_late_data_where_they_are_carried() {
    let folder = known();
    let folder = folder.path();
    let closed = close(folder, JANUARY);
    correct(folder, 1, 10);
    let next = close(folder, FEBRUARY);
    final_factors(folder, "0.20000");
    let added = trued_up(folder, "").expect("trued up");
    assert_eq!(added[0].figures[ENERGY], closed.figures[ENERGY]);
    assert_eq!(added[1].carried, next.carried);
    let carbon = added[0].figures["carbon/plant"] + added[1].carried["2025-01"]["carbon/plant"];
    let energy = closed.figures[ENERGY] + next.carried["2025-01"][ENERGY];
    assert!((carbon * 5 - energy).abs() <= 2, "0.2 kg a kWh, rounded once: {carbon} for {energy}");
    let found = audit_months(folder, &configuration(folder), None, NEXT_YEAR).expect("audited");
    assert_eq!(found.months.iter().map(|month| month.is_finding()).collect::<Vec<_>>(), [false, false], "{found:?}");
}

/// Data that came late and that no closing took account of come first.
#[test]
fn a_true_up_waits_for_late_data_and_its_record_is_part_of_the_chain() {
    let folder = known();
    let folder = folder.path();
    close(folder, JANUARY);
    close(folder, FEBRUARY);
    final_factors(folder, "0.20000");
    correct(folder, 16, 25);
    let refused = trued_up(folder, "").expect_err("refused");
    assert!(refused.contains("data of 2025-01 came late and move 2025-01/"), "{refused}");
    close_month(folder, &configuration(folder), &asked(JANUARY, true)).expect("restated");
    trued_up(folder, "").expect("trued up");
    let facts = other_program(folder, "facts.db");
    facts
        .execute("UPDATE closed SET text = replace(text, '\"true_up\":true', '\"true_up\":null')", [])
        .expect("changed");
    assert!(!audit(folder).broken.is_empty());
}
