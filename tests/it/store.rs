//! Claims about store.

use inkwatt::attribute::{Amount, DayLedger, DaySums, Placed, Usage};
use inkwatt::found::Found;
use inkwatt::names::{PressId, RunId};
use inkwatt::readings::{Event, Happening, Quantity, Rank, Reading, Run, Series, Subject};
use inkwatt::store::{Access, Copied, Counts, Stamp, Store};
use inkwatt::time::{At, HOUR, MINUTE, Period, Zone};
use inkwatt::units::Energy;
use proptest::prelude::*;
use rusqlite::Connection;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use tempfile::TempDir;

/// Noon UTC on 1 June 2026.
const NOON: At = At(1_780_315_200_000);

fn london() -> Zone {
    Zone::parse("Europe/London").expect("a zone")
}

fn open(folder: &TempDir, access: Access) -> Store {
    Store::open(folder.path(), london(), access).expect("a store")
}

fn import_of(meter: &str) -> Series {
    Series::new(Subject::Meter(meter.into()), Quantity::Import)
}

fn at(series: &Series, minute: i64, count: i64) -> (Series, Reading) {
    (series.clone(), Reading { at: NOON + minute * MINUTE, count })
}

fn say(store: &mut Store, rank: Rank, readings: &[(Series, Reading)]) -> Counts {
    store.commit("test", rank, readings, &[], None).expect("committed")
}

/// The events in force, as whoever computes a day holds them.
fn told(store: &Store) -> Found<Vec<Event>> {
    store.events().expect("events")
}

/// Counts in force in an hour from noon, by minute.
fn counts(store: &Store, series: &Series) -> Vec<(i64, i64)> {
    let found = store.readings(series, Period::new(NOON, NOON + HOUR), false).expect("readings");
    found.value.iter().map(|r| ((r.at - NOON) / MINUTE, r.count)).collect()
}

#[test]
fn readings_come_back_as_they_were_said() {
    let folder = TempDir::new().expect("a folder");
    let m1 = import_of("m1");
    let mut store = open(&folder, Access::Agent);
    let done = say(&mut store, Rank::Live, &[at(&m1, 1, 101), at(&m1, 0, 100), at(&import_of("m2"), 0, 7)]);
    assert_eq!(done, Counts { fresh: 3, ..Counts::default() });
    drop(store);
    let store = open(&folder, Access::Read);
    assert_eq!(store.series().expect("series"), [m1.clone(), import_of("m2")]);
    assert_eq!(counts(&store, &m1), [(0, 100), (1, 101)]);
    assert_eq!(store.extent(&m1).expect("an extent"), Some((NOON, NOON + MINUTE)));
}

#[test]
fn the_same_reading_again_changes_nothing() {
    let folder = TempDir::new().expect("a folder");
    let m1 = import_of("m1");
    let mut store = open(&folder, Access::Agent);
    say(&mut store, Rank::Live, &[at(&m1, 0, 100)]);
    let stamp = store.day_stamp(Period::new(NOON, NOON + HOUR), &told(&store), b"").expect("a stamp");
    let again = say(&mut store, Rank::Live, &[at(&m1, 0, 100), at(&m1, 0, 100)]);
    assert_eq!(again, Counts { same: 2, ..Counts::default() });
    assert_eq!(store.day_stamp(Period::new(NOON, NOON + HOUR), &told(&store), b"").expect("a stamp"), stamp);
}

#[test]
fn contradictions_of_equal_rank_are_kept_and_none_is_used_until_a_higher_rank_decides() {
    let folder = TempDir::new().expect("a folder");
    let m1 = import_of("m1");
    let mut store = open(&folder, Access::Agent);
    say(&mut store, Rank::Live, &[at(&m1, 0, 100), at(&m1, 1, 101)]);
    let done = say(&mut store, Rank::Live, &[at(&m1, 0, 105)]);
    assert_eq!(done, Counts { contested: 1, ..Counts::default() });
    let found = store.readings(&m1, Period::new(NOON, NOON + HOUR), false).expect("readings");
    assert_eq!(found.value, [Reading { at: NOON + MINUTE, count: 101 }]);
    assert_eq!(store.contested(&m1, Period::new(NOON, NOON + HOUR)).expect("instants"), [(NOON, vec![100, 105])]);
    assert_eq!(found.issues.len(), 1);
    assert_eq!(
        found.issues[0].text,
        "import: sources of equal rank differ at 1 instant, first at 2026-06-01T12:00:00Z (100 or 105 counts); none of these \
         values is used"
    );
    let done = say(&mut store, Rank::Import, &[at(&m1, 0, 104)]);
    assert_eq!(done, Counts { corrected: 1, ..Counts::default() });
    assert_eq!(counts(&store, &m1), [(0, 104), (1, 101)]);
}

#[test]
fn a_correction_may_itself_be_corrected() {
    let folder = TempDir::new().expect("a folder");
    let m1 = import_of("m1");
    let mut store = open(&folder, Access::Command);
    say(&mut store, Rank::Live, &[at(&m1, 0, 100)]);
    for count in [90, 95, 90] {
        let done = say(&mut store, Rank::Correction, &[at(&m1, 0, count)]);
        assert_eq!(done, Counts { corrected: 1, ..Counts::default() });
        assert_eq!(counts(&store, &m1), [(0, count)]);
    }
    let kept = say(&mut store, Rank::Import, &[at(&m1, 0, 1)]);
    assert_eq!(kept, Counts { kept: 1, ..Counts::default() });
}

#[test]
fn the_nearest_readings_around_a_period_are_found_across_days() {
    let folder = TempDir::new().expect("a folder");
    let m1 = import_of("m1");
    let mut store = open(&folder, Access::Agent);
    let day = 24 * 60;
    say(&mut store, Rank::Live, &[at(&m1, -9 * day, 1), at(&m1, -8 * day, 2), at(&m1, 5, 3), at(&m1, 20 * day, 4)]);
    let found = store.readings(&m1, Period::new(NOON, NOON + HOUR), true).expect("readings");
    assert_eq!(found.value.iter().map(|r| r.count).collect::<Vec<_>>(), [2, 3, 4]);
    let found = store.readings(&m1, Period::new(NOON - HOUR, NOON), true).expect("readings");
    assert_eq!(found.value.iter().map(|r| r.count).collect::<Vec<_>>(), [2, 3]);
}

#[test]
fn readings_of_an_older_clock_epoch_give_way_where_the_clock_was_set_back() {
    let folder = TempDir::new().expect("a folder");
    let m1 = import_of("m1");
    let mut store = open(&folder, Access::Agent);
    say(&mut store, Rank::Live, &[at(&m1, 0, 100), at(&m1, 30, 101), at(&m1, 31, 102)]);
    let set = Event {
        id: "clock-1".into(),
        at: NOON + 20 * MINUTE,
        rank: Rank::Live,
        revision: 0,
        what: Happening::ClockEpoch { moved: -11 * MINUTE },
        note: None,
    };
    store.commit("clock", Rank::Live, &[at(&m1, 20, 103)], &[set], None).expect("committed");
    assert_eq!(counts(&store, &m1), [(0, 100), (20, 103)]);
}

#[test]
fn events_keep_every_version_and_show_the_one_in_force() {
    let folder = TempDir::new().expect("a folder");
    let mut store = open(&folder, Access::Agent);
    let job = |revision, end| Event {
        id: "r1".into(),
        at: NOON,
        rank: Rank::Live,
        revision,
        what: Happening::Run(Run {
            id: RunId::from("r1"),
            press: PressId::from("p1"),
            job: "4711".into(),
            product: Some("wine label".into()),
            start: NOON,
            ready: None,
            end,
            width_mm: Some(330),
            planned_mm: None,
            good_mm: None,
        }),
        note: None,
    };
    let (open_run, closed) = (job(0, None), job(1, Some(NOON + HOUR)));
    for (event, known) in [(&closed, 1), (&open_run, 1), (&closed, 0)] {
        let done = store.commit("mis", Rank::Live, &[], std::slice::from_ref(event), None).expect("committed");
        assert_eq!(done.events, known);
    }
    assert_eq!(store.events().expect("events").value, [closed]);
}

#[test]
fn a_document_is_kept_once_and_is_in_force_under_its_path() {
    let folder = TempDir::new().expect("a folder");
    let mut store = open(&folder, Access::Command);
    let first = store.keep_document("config", "config/plant.toml", "abc").expect("kept");
    // FIPS 180-2, appendix B.1.
    assert_eq!(first, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    let second = store.keep_document("config", "config/plant.toml", "abd").expect("kept");
    assert_ne!(first, second);
    assert_eq!(store.document_in_force("config", "config/plant.toml").expect("a hash"), Some(second));
    assert_eq!(store.document(&first).expect("a text").as_deref(), Some("abc"));
}

#[test]
fn a_second_agent_is_refused_and_a_command_is_not() {
    let folder = TempDir::new().expect("a folder");
    let agent = open(&folder, Access::Agent);
    let second = Store::open(folder.path(), london(), Access::Agent).expect_err("refused");
    let lock = folder.path().join("store/agent.lock");
    assert_eq!(
        second.to_string(),
        format!("{}: another agent runs on this plant folder; stop it first", lock.display())
    );
    open(&folder, Access::Command);
    drop(agent);
    open(&folder, Access::Agent);
}

#[test]
fn a_folder_without_a_store_says_how_one_begins() {
    let folder = TempDir::new().expect("a folder");
    let error = Store::open(folder.path(), london(), Access::Read).expect_err("nothing there");
    let facts = folder.path().join("store/facts.db");
    assert_eq!(
        error.to_string(),
        format!("{}: there is no store here yet; `inkwatt run` or `inkwatt import` begins one", facts.display())
    );
}

/// All readings of a series, whatever lies where.
fn everything(store: &Store, series: &Series) -> Vec<Reading> {
    let found = store.readings(series, Period::new(At(0), NOON + 9_000 * HOUR), false).expect("readings");
    assert_eq!(found.issues, []);
    found.value
}

fn pack_all(store: &mut Store, now: At) -> usize {
    (0..).take_while(|_| store.seal(now).expect("a step")).count()
}

#[test]
fn packing_changes_nothing_that_is_read() {
    let folder = TempDir::new().expect("a folder");
    let (m1, m2, lamp) =
        (import_of("m1"), import_of("m2"), Series::new(Subject::Station("p1/s1".into()), Quantity::LampKind));
    let mut store = open(&folder, Access::Agent);
    // Two days: m1 each minute, m2 now and then, a lamp twice.
    let mut all: Vec<_> = (0..2_880).map(|k| at(&m1, k, 5 * k)).collect();
    all.extend((0..300).map(|k| at(&m2, k * k % 2_880, k)));
    all.dedup();
    all.extend([at(&lamp, 3, 1), at(&lamp, 2_000, 2)]);
    for part in all.chunks(700) {
        say(&mut store, Rank::Live, part);
    }
    let state = |store: &Store| [&m1, &m2, &lamp].map(|s| store.readings(s, Period::new(NOON, NOON + 50 * HOUR), true));
    let before = state(&store).map(|r| r.expect("readings"));
    let stamp = store.day_stamp(Period::new(NOON, NOON + 50 * HOUR), &told(&store), b"").expect("a stamp");
    let mut steps = 0;
    for hour in 0..60 {
        steps += pack_all(&mut store, NOON + hour * HOUR + 6 * MINUTE);
        assert_eq!(state(&store).map(|r| r.expect("readings")), before, "after hour {hour}");
    }
    assert!(steps >= 48, "{steps} steps");
    assert_eq!(store.day_stamp(Period::new(NOON, NOON + 50 * HOUR), &told(&store), b"").expect("a stamp"), stamp);
    drop(store);
    let store = open(&folder, Access::Read);
    assert_eq!(state(&store).map(|r| r.expect("readings")), before);
    assert_eq!(store.extent(&lamp).expect("an extent"), Some((NOON + 3 * MINUTE, NOON + 2_000 * MINUTE)));
}

#[test]
fn late_and_contradicting_readings_reach_packed_days() {
    let folder = TempDir::new().expect("a folder");
    let m1 = import_of("m1");
    let mut store = open(&folder, Access::Agent);
    let even: Vec<_> = (0..30).map(|k| at(&m1, 2 * k, 2 * k)).collect();
    say(&mut store, Rank::Live, &even);
    assert!(pack_all(&mut store, NOON + 72 * HOUR) > 0);
    let again = say(&mut store, Rank::Live, &[even[3].clone(), at(&m1, 7, 7), at(&m1, 8, 99)]);
    assert_eq!(again, Counts { same: 1, fresh: 1, contested: 1, ..Counts::default() });
    let in_force: Vec<_> = counts(&store, &m1).into_iter().filter(|(minute, _)| (5..=10).contains(minute)).collect();
    assert_eq!(in_force, [(6, 6), (7, 7), (10, 10)]);
    pack_all(&mut store, NOON + 72 * HOUR);
    let in_force: Vec<_> = counts(&store, &m1).into_iter().filter(|(minute, _)| (5..=10).contains(minute)).collect();
    assert_eq!(in_force, [(6, 6), (7, 7), (10, 10)]);
}

#[test]
fn history_written_packed_reads_as_history_committed() {
    let (folder, other) = (TempDir::new().expect("a folder"), TempDir::new().expect("a folder"));
    let history: Vec<(Series, Vec<Reading>)> = ["m1", "m2"]
        .iter()
        .map(|meter| (import_of(meter), (0..40_000).map(|k| Reading { at: NOON + k * MINUTE, count: k * 7 }).collect()))
        .collect();
    let mut packed = open(&folder, Access::Command);
    let done = packed.write_sealed("import", Rank::Import, &history, Some("a file")).expect("written");
    assert_eq!(done, Counts { fresh: 80_000, ..Counts::default() });
    let again = packed.write_sealed("import", Rank::Import, &history, Some("a file")).expect("written");
    assert_eq!(again, Counts { same: 80_000, ..Counts::default() });
    let mut committed = open(&other, Access::Command);
    for (series, readings) in &history {
        let all: Vec<_> = readings.iter().map(|r| (series.clone(), *r)).collect();
        say(&mut committed, Rank::Import, &all);
        assert_eq!(everything(&packed, series), *readings);
        assert_eq!(everything(&committed, series), *readings);
    }
}

#[test]
fn history_that_overlaps_what_is_known_is_judged_reading_by_reading() {
    let folder = TempDir::new().expect("a folder");
    let m1 = import_of("m1");
    let mut store = open(&folder, Access::Agent);
    say(&mut store, Rank::Live, &[at(&m1, 1, 1), at(&m1, 2, 5)]);
    let history = [(m1.clone(), (0..4).map(|k| at(&m1, k, k).1).collect())];
    let done = store.write_sealed("import", Rank::Import, &history, None).expect("written");
    assert_eq!(done, Counts { fresh: 2, same: 1, corrected: 1, ..Counts::default() });
    assert_eq!(counts(&store, &m1), [(0, 0), (1, 1), (2, 2), (3, 3)]);
}

fn ledger(day: &str, mwh: i64) -> Found<DayLedger> {
    let start = NOON;
    let usage = Usage {
        meter: "m1".into(),
        period: Period::new(start, start + HOUR),
        energy: Some(Energy::from_mwh(mwh)),
        amount: Amount::Metered,
        placed: Placed::Measured,
    };
    Found::clean(DayLedger { date: day.parse().expect("a date"), usage: vec![usage], slices: Vec::new() })
}

fn sums(found: &Found<DayLedger>) -> DaySums {
    let quarters = vec![None, Some(Energy::from_mwh(4))];
    DaySums { date: found.value.date, quarters, whole: false, worked: None, web: [("p1".into(), 4_711)].into() }
}

fn keep(store: &Store, stamp: &Stamp, found: &Found<DayLedger>) {
    store.cache_day(stamp, found, &sums(found));
}

#[test]
fn a_computed_day_holds_until_a_fact_that_it_reads_changes() {
    let folder = TempDir::new().expect("a folder");
    let m1 = import_of("m1");
    let mut store = open(&folder, Access::Agent);
    say(&mut store, Rank::Live, &[at(&m1, 0, 0), at(&m1, 60, 9)]);
    let found = ledger("2026-06-01", 9_000);
    let (date, day) = (found.value.date, london().day(found.value.date));
    let stamp = |store: &Store, basis: &[u8]| store.day_stamp(day, &told(store), basis).expect("a stamp");
    let first = stamp(&store, b"rules 1");
    assert_eq!(store.cached_day(date, &first), None);
    keep(&store, &first, &found);
    assert_eq!(store.cached_day(date, &first).map(|(day, _)| day), Some(found.clone()));
    assert_eq!(store.cached_sums(date, &first), Some(sums(&found)));
    let other = stamp(&store, b"rules 2");
    assert_eq!((store.cached_day(date, &other), store.cached_sums(date, &other)), (None, None));
    // The next reading comes two days later: every day up to then lies between known instants now.
    say(&mut store, Rank::Live, &[at(&m1, 2_900, 20)]);
    let second = stamp(&store, b"rules 1");
    assert_eq!(store.cached_day(date, &second), None);
    keep(&store, &second, &found);
    // A reading after the next known one does not concern the day.
    say(&mut store, Rank::Live, &[at(&m1, 2_901, 20)]);
    assert_eq!(store.cached_day(date, &stamp(&store, b"rules 1")).map(|(day, _)| day), Some(found));
}

#[test]
fn an_event_changes_the_days_on_which_it_holds() {
    let folder = TempDir::new().expect("a folder");
    let mut store = open(&folder, Access::Agent);
    let day = |k: i64| Period::new(NOON + k * 24 * HOUR, NOON + (k + 1) * 24 * HOUR);
    let stamps = |store: &Store| {
        (-1..2).map(|k| store.day_stamp(day(k), &told(store), b"").expect("a stamp")).collect::<Vec<_>>()
    };
    let before = stamps(&store);
    let fitted = Event {
        id: "lamp-1".into(),
        at: NOON + HOUR,
        rank: Rank::Correction,
        revision: 0,
        what: Happening::LampFitted { station: "p1/s1".into(), lamp: Some("led-1".into()) },
        note: Some("exchanged by hand".into()),
    };
    store.commit("record", Rank::Correction, &[], &[fitted], None).expect("committed");
    let after = stamps(&store);
    let changed: Vec<_> = before.iter().zip(&after).map(|(a, b)| a != b).collect();
    assert_eq!(changed, [false, true, true]);
}

#[test]
fn handles_that_begin_a_cache_at_the_same_time_all_keep_their_days() {
    const HANDLES: u32 = 4;
    for _ in 0..40 {
        let folder = TempDir::new().expect("a folder");
        let stamp = {
            let store = open(&folder, Access::Agent);
            store.day_stamp(Period::new(NOON, NOON + HOUR), &told(&store), b"").expect("a stamp")
        };
        let begin = std::sync::Barrier::new(HANDLES as usize);
        let day = |k: u32| ledger(&format!("2026-06-{:02}", k + 1), i64::from(k));
        std::thread::scope(|scope| {
            for k in 0..HANDLES {
                let (folder, begin) = (&folder, &begin);
                scope.spawn(move || {
                    let store = open(folder, Access::Read);
                    begin.wait();
                    keep(&store, &stamp, &day(k));
                });
            }
        });
        let store = open(&folder, Access::Read);
        let kept = (0..HANDLES)
            .filter(|&k| store.cached_day(day(k).value.date, &stamp).is_some_and(|(found, _)| found == day(k)))
            .count();
        assert_eq!(kept, HANDLES as usize);
    }
}

#[test]
fn a_damaged_or_strange_cache_begins_anew_without_a_word_to_the_caller() {
    let folder = TempDir::new().expect("a folder");
    let cache = folder.path().join("store/derived.db");
    let found = ledger("2026-06-01", 9_000);
    let date = found.value.date;
    let stamp = {
        let store = open(&folder, Access::Agent);
        store.day_stamp(london().day(date), &told(&store), b"").expect("a stamp")
    };
    let other_format = {
        let other = folder.path().join("other.db");
        let connection = Connection::open(&other).expect("a file");
        connection.pragma_update(None, "user_version", 99).expect("set");
        drop(connection);
        std::fs::read(&other).expect("bytes")
    };
    for bytes in [b"not a database at all, but long enough to be taken for one".repeat(90), other_format] {
        std::fs::write(&cache, bytes).expect("written");
        let store = open(&folder, Access::Read);
        assert_eq!(store.cached_day(date, &stamp), None);
        keep(&store, &stamp, &found);
        assert_eq!(store.cached_day(date, &stamp).map(|(day, _)| day), Some(found.clone()));
    }
    // Damage that is met only later: every page of the file but its first, which says what is in it.
    let mut bytes = std::fs::read(&cache).expect("bytes");
    bytes[4_096..].fill(0xA5);
    std::fs::write(&cache, bytes).expect("written");
    let store = open(&folder, Access::Read);
    assert_eq!(store.cached_day(date, &stamp), None);
    keep(&store, &stamp, &found);
    keep(&store, &stamp, &found);
    assert_eq!(store.cached_day(date, &stamp).map(|(day, _)| day), Some(found));
}

fn error_of(folder: &TempDir, access: Access) -> String {
    Store::open(folder.path(), london(), access).expect_err("refused").to_string()
}

fn set_format(file: &Path, format: i64) {
    let connection = Connection::open(file).expect("a file");
    connection.pragma_update(None, "user_version", format).expect("set");
}

#[test]
fn a_file_of_a_newer_program_is_refused() {
    let folder = TempDir::new().expect("a folder");
    let m1 = import_of("m1");
    let mut store = open(&folder, Access::Agent);
    store.write_sealed("test", Rank::Live, &[(m1.clone(), vec![at(&m1, 0, 1).1])], None).expect("written");
    drop(store);
    let facts = folder.path().join("store/facts.db");
    set_format(&facts, 99);
    let told = format!(
        "{}: has format 99, this program knows formats up to 3; use the newer program that wrote it",
        facts.display()
    );
    for access in [Access::Agent, Access::Command, Access::Read] {
        assert_eq!(error_of(&folder, access), told);
    }
    set_format(&facts, 3);
    let month = folder.path().join("store/segments-2026-06.db");
    set_format(&month, 7);
    let error = open(&folder, Access::Read).readings(&m1, Period::new(NOON, NOON + HOUR), false).expect_err("refused");
    assert_eq!(
        error.to_string(),
        format!(
            "{}: has format 7, this program knows formats up to 1; use the newer program that wrote it",
            month.display()
        )
    );
}

#[test]
fn a_store_of_format_1_is_brought_up_to_date_by_the_agent_and_keeps_its_readings() {
    let folder = TempDir::new().expect("a folder");
    let facts = folder.path().join("store/facts.db");
    std::fs::create_dir(folder.path().join("store")).expect("a folder");
    let old = Connection::open(&facts).expect("a file");
    old.execute_batch(include_str!("../../src/store/format-1.sql")).expect("tables");
    old.execute_batch(&format!(
        "INSERT INTO series VALUES (1, 'meter m1', 'import');
         INSERT INTO hot VALUES ({noon}, 1, 100, 0), ({later}, 1, 101, 0);
         INSERT INTO amend VALUES (1, {later}, 1, 0, 0, 107, 1);
         INSERT INTO batch VALUES (1, 'old', 1, '', 0, 0, 1, 0);
         INSERT INTO touched VALUES ('2026-06-01', 'meter m1', 1);
         PRAGMA user_version = 1;",
        noon = NOON.0,
        later = (NOON + MINUTE).0
    ))
    .expect("rows");
    drop(old);
    assert_eq!(
        error_of(&folder, Access::Read),
        format!(
            "{}: has format 1 and must be brought to format 3, which only the agent or an import does while no other \
             agent runs",
            facts.display()
        )
    );
    let mut store = open(&folder, Access::Agent);
    let m1 = import_of("m1");
    assert_eq!(counts(&store, &m1), [(0, 100), (1, 107)]);
    let done = say(&mut store, Rank::Import, &[at(&m1, 0, 99)]);
    assert_eq!(done, Counts { corrected: 1, ..Counts::default() });
    store.keep_document("config", "config/plant.toml", "text").expect("kept");
    assert_eq!(store.closings().expect("a list"), []);
}

#[test]
fn a_damaged_file_is_named_with_what_to_do() {
    let folder = TempDir::new().expect("a folder");
    let m1 = import_of("m1");
    let mut store = open(&folder, Access::Agent);
    let all: Vec<_> = (0..30_000).map(|k| at(&m1, k, k)).collect();
    say(&mut store, Rank::Live, &all);
    drop(store);
    let facts = folder.path().join("store/facts.db");
    let mut bytes = std::fs::read(&facts).expect("bytes");
    let end = bytes.len();
    bytes[end / 2..].fill(0xA5);
    std::fs::write(&facts, &bytes).expect("written");
    let store = open(&folder, Access::Read);
    let error = store.readings(&m1, Period::new(NOON, NOON + 600 * HOUR), false).expect_err("damaged");
    assert_eq!(
        error.to_string(),
        format!(
            "{}: is damaged (database disk image is malformed); put back this file from the last backup and delete \
             derived.db",
            facts.display()
        )
    );
    bytes[..100].fill(0xA5);
    std::fs::write(&facts, &bytes).expect("written");
    assert_eq!(
        error_of(&folder, Access::Read),
        format!(
            "{}: is damaged (file is not a database); put back this file from the last backup and delete derived.db",
            facts.display()
        )
    );
}

#[test]
fn a_damaged_block_is_named_with_file_series_and_day_and_leaves_the_other_days_readable() {
    let folder = TempDir::new().expect("a folder");
    let m1 = import_of("m1");
    let mut store = open(&folder, Access::Agent);
    let history = (0..3_000).map(|k| Reading { at: NOON + k * MINUTE, count: k }).collect();
    store.write_sealed("test", Rank::Import, &[(m1.clone(), history)], None).expect("written");
    drop(store);
    let month = folder.path().join("store/segments-2026-06.db");
    let file = Connection::open(&month).expect("a file");
    file.execute(
        "UPDATE segment SET blob = CAST(substr(blob, 1, 40) || x'A5A5' || substr(blob, 43) AS BLOB) WHERE start = (SELECT max(start) \
         FROM segment)",
        [],
    )
    .expect("damaged");
    drop(file);
    let store = open(&folder, Access::Read);
    let error = store.readings(&m1, Period::new(NOON, NOON + 600 * HOUR), false).expect_err("damaged");
    assert_eq!(
        error.to_string(),
        format!(
            "{}: import of meter m1 on 2026-06-03: the checksum of the block of readings is wrong; put back this file \
             from the last backup and delete derived.db",
            month.display()
        )
    );
    assert_eq!(counts(&store, &m1).len(), 60);
}

#[test]
fn a_reading_of_an_instant_that_cannot_be_is_refused() {
    let folder = TempDir::new().expect("a folder");
    let mut store = open(&folder, Access::Agent);
    let strange = (import_of("m1"), Reading { at: At(-1), count: 1 });
    let error = store.commit("test", Rank::Live, &[strange], &[], None).expect_err("refused");
    assert_eq!(
        error.to_string(),
        "import of meter m1: the instant of a reading is -1 ms since 1970, expected one between the years 1970 and 2200; \
         nothing was stored"
    );
}

#[test]
fn a_backup_into_the_plant_folder_itself_is_refused_and_touches_nothing() {
    let folder = TempDir::new().expect("a folder");
    drop(open(&folder, Access::Agent));
    let facts = folder.path().join("store/facts.db");
    let before = std::fs::read(&facts).expect("bytes");
    let store = open(&folder, Access::Read);
    let onto = folder.path().join("store/..");
    let told = store.backup(&onto).expect_err("refused").to_string();
    assert_eq!(
        told,
        format!(
            "{}: this is the plant folder itself, and a copy of the store onto itself is none; name another folder, best on \
             another disk",
            onto.display()
        )
    );
    assert_eq!(std::fs::read(&facts).expect("bytes"), before);
}

#[test]
fn a_backup_is_a_whole_store_and_later_copies_only_the_months_that_changed() {
    let (folder, copy) = (TempDir::new().expect("a folder"), TempDir::new().expect("a folder"));
    let m1 = import_of("m1");
    let mut store = open(&folder, Access::Agent);
    let history: Vec<_> = (0..60_000).map(|k| Reading { at: NOON + k * MINUTE, count: k }).collect();
    store.write_sealed("test", Rank::Import, &[(m1.clone(), history)], None).expect("written");
    say(&mut store, Rank::Live, &[at(&m1, 60_000, 60_000), at(&m1, 60_001, 60_001), at(&m1, 0, 5)]);
    let reader = open(&folder, Access::Read);
    assert_eq!(reader.backup(copy.path()).expect("copied"), Copied { months: 2, unchanged: 0 });
    assert_eq!(everything(&open(&copy, Access::Read), &m1), everything(&store, &m1));
    assert!(!copy.path().join("store/derived.db").exists());
    pack_all(&mut store, NOON + 60_200 * MINUTE);
    assert_eq!(reader.backup(copy.path()).expect("copied"), Copied { months: 1, unchanged: 1 });
    assert_eq!(reader.backup(copy.path()).expect("copied"), Copied { months: 0, unchanged: 2 });
    let mut restored = open(&copy, Access::Agent);
    assert_eq!(everything(&restored, &m1), everything(&store, &m1));
    let done = say(&mut restored, Rank::Live, &[at(&m1, 60_001, 60_001), at(&m1, 60_002, 60_002)]);
    assert_eq!(done, Counts { fresh: 1, same: 1, ..Counts::default() });
}

/// One thing that happens to a store.
#[derive(Clone, Debug)]
enum Said {
    Reading(Rank, i64, i64),
    History(Vec<(i64, i64)>),
}

fn said() -> impl Strategy<Value = Said> {
    // Few instants and few counts, so that statements meet: some minutes of two days.
    let minute = (0_i64..2, 0_i64..4).prop_map(|(day, k)| day * 1_440 + k);
    let rank = prop::sample::select(vec![Rank::Live, Rank::Import]);
    prop_oneof![
        4 => (rank, minute.clone(), 0_i64..3).prop_map(|(rank, minute, count)| Said::Reading(rank, minute, count)),
        1 => prop::collection::btree_map(minute, 0_i64..3, 1..4).prop_map(|all| Said::History(all.into_iter().collect())),
    ]
}

/// What a store says after all that, with packing after every third statement.
fn outcome(all: &[Said]) -> String {
    let folder = TempDir::new().expect("a folder");
    let m1 = import_of("m1");
    let mut store = open(&folder, Access::Agent);
    for (k, said) in all.iter().enumerate() {
        match said {
            Said::Reading(rank, minute, count) => drop(say(&mut store, *rank, &[at(&m1, *minute, *count)])),
            Said::History(history) => {
                let readings = history.iter().map(|(minute, count)| at(&m1, *minute, *count).1).collect();
                store.write_sealed("file", Rank::Import, &[(m1.clone(), readings)], None).expect("written");
            }
        }
        if k % 3 == 2 {
            pack_all(&mut store, NOON + k as i64 * 10 * HOUR);
        }
    }
    let found = store.readings(&m1, Period::new(NOON, NOON + 48 * HOUR), true).expect("readings");
    format!("{found:?}")
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 16, ..ProptestConfig::default() })]

    #[test]
    fn the_order_of_arrival_does_not_matter(
        (all, other) in prop::collection::vec(said(), 1..14)
            .prop_flat_map(|all| (Just(all.clone()), Just(all).prop_shuffle()))
    ) {
        prop_assert_eq!(outcome(&all), outcome(&other));
    }
}

const CHILD: &str = "INKWATT_TEST_COMMIT_IN";
const METERS: [&str; 5] = ["m1", "m2", "m3", "m4", "m5"];

/// The readings of a numbered batch: five meters, ten minutes after the batch before.
fn batch(number: i64) -> Vec<(Series, Reading)> {
    METERS.iter().map(|meter| at(&import_of(meter), number * 10, number)).collect()
}

/// Not a claim of its own: the process that the next test kills. It commits numbered batches, packs, and says each
/// number once its batch is on disk.
#[test]
fn a_process_that_commits_until_it_is_killed() {
    let Ok(told) = std::env::var(CHILD) else { return };
    let (first, folder) = told.split_once(' ').expect("a number and a folder");
    let mut store = Store::open(Path::new(folder), london(), Access::Agent).expect("a store");
    for number in first.parse::<i64>().expect("a number").. {
        let readings = batch(number);
        if number % 5 == 4 {
            let history: Vec<_> = readings.into_iter().map(|(series, reading)| (series, vec![reading])).collect();
            store.write_sealed("child", Rank::Live, &history, None).expect("written");
        } else {
            say(&mut store, Rank::Live, &readings);
        }
        println!("\nack {number}");
        while store.seal(NOON + number * 10 * MINUTE).expect("a step") {}
    }
}

#[test]
fn nothing_acknowledged_is_lost_and_nothing_is_doubled_when_the_process_is_killed() {
    let folder = TempDir::new().expect("a folder");
    let mut next = 0_i64;
    for round in 0..24_u64 {
        let mut child = Command::new(std::env::current_exe().expect("this program"))
            .args(["--exact", "store::a_process_that_commits_until_it_is_killed", "--nocapture"])
            .env(CHILD, format!("{next} {}", folder.path().display()))
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("a process");
        let mut lines = BufReader::new(child.stdout.take().expect("its output")).lines();
        let mut acks = lines.by_ref().map_while(Result::ok).filter_map(|line| line.strip_prefix("ack ")?.parse().ok());
        let mut acknowledged: Option<i64> = acks.by_ref().take(1 + (round * 7 % 11) as usize).last();
        child.kill().expect("killed");
        child.wait().expect("ended");
        acknowledged = acks.last().or(acknowledged);
        let last = acknowledged.expect("it got as far as one batch");

        let store = open(&folder, Access::Agent);
        let stored: Vec<Vec<Reading>> = METERS.iter().map(|meter| everything(&store, &import_of(meter))).collect();
        let n = stored[0].len() as i64;
        assert!(n > last, "round {round}: {last} was acknowledged, {n} batches are stored");
        assert!(n <= last + 2, "round {round}: at most one batch was under way");
        let expected: Vec<Reading> = (0..n).map(|k| batch(k)[0].1).collect();
        for readings in &stored {
            assert_eq!(*readings, expected, "round {round}");
        }
        next = n;
    }
    assert!(next >= 24);
}

/// A plant folder with the example's configuration.
fn example() -> TempDir {
    let folder = TempDir::new().expect("a folder");
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
    let copied = Command::new("cp").arg("-r").arg(from).arg(folder.path()).status().expect("cp");
    assert!(copied.success());
    folder
}

fn inkwatt(folder: &TempDir, arguments: &[&str]) -> (Option<i32>, String, String) {
    let done = Command::new(env!("CARGO_BIN_EXE_inkwatt"))
        .arg("--plant")
        .arg(folder.path())
        .args(arguments)
        .output()
        .expect("the program");
    let text = |bytes| String::from_utf8(bytes).expect("UTF-8");
    (done.status.code(), text(done.stdout), text(done.stderr))
}

#[test]
fn readings_are_exported_as_csv_with_local_times() {
    let folder = example();
    let mut store = open(&folder, Access::Agent);
    let (meter, other) = (import_of("p1-s1"), import_of("p1-s2"));
    // The clock goes forward on 29 March 2026 at 01:00 UTC.
    let change = At::parse("2026-03-29T01:00:00Z").expect("an instant");
    let reading = |series: &Series, at, count| (series.clone(), Reading { at, count });
    say(
        &mut store,
        Rank::Live,
        &[
            reading(&meter, change, 11),
            reading(&meter, change - 1, 10),
            reading(&other, change, 7),
            reading(&other, change, 8),
        ],
    );
    let day = ["--from", "2026-03-29", "--to", "2026-03-29"];
    let (code, out, told) = inkwatt(&folder, &[&["export", "readings"], &day[..]].concat());
    assert_eq!(code, Some(0), "{told}");
    assert_eq!(
        out,
        "time,subject,quantity,count\r\n\
         2026-03-29T00:59:59.999+00:00,meter p1-s1,import,10\r\n\
         2026-03-29T02:00:00+01:00,meter p1-s1,import,11\r\n"
    );
    assert_eq!(
        told,
        "meter p1-s2: import: sources of equal rank differ at 1 instant, first at 2026-03-29T01:00:00Z (7 or 8 counts); none of \
         these values is used\n"
    );
    let (code, _, told) = inkwatt(&folder, &[&["export", "readings", "--meter", "p9"], &day[..]].concat());
    assert_eq!(code, Some(2));
    assert!(told.starts_with("error: no meter is named \"p9\"; there are "), "{told}");
    let (code, out, told) = inkwatt(&folder, &[&["export", "slices", "--meter", "p1-s1"], &day[..]].concat());
    assert_eq!(code, Some(0), "{told}");
    let head =
        "start,end,meter,press,station,lamp_kind,press_state,lamp_state,run,claim,energy_kwh,amount_known,place_known";
    assert_eq!(out.lines().next(), Some(head));
    let (code, _, told) = inkwatt(&folder, &["export", "readings", "--from", "2026-03-29", "--to", "2026-03-28"]);
    assert_eq!(code, Some(2));
    assert_eq!(told, "error: --to 2026-03-28 lies before --from 2026-03-29; expected the last day, included\n");
}

#[test]
fn a_backup_by_the_command_says_what_it_copied() {
    let (folder, copy) = (example(), TempDir::new().expect("a folder"));
    let mut store = open(&folder, Access::Agent);
    say(&mut store, Rank::Live, &[at(&import_of("p1-s1"), 0, 1)]);
    let to = copy.path().to_str().expect("a path");
    let (code, out, told) = inkwatt(&folder, &["backup", to]);
    assert_eq!(code, Some(0), "{told}");
    assert_eq!(out, format!("copied the facts and 0 months of packed readings to {to}; 0 months had not changed\n"));
    assert_eq!(counts(&open(&copy, Access::Read), &import_of("p1-s1")), [(0, 1)]);
}
