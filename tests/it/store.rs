//! Claims about store.

use inkwatt::attribute::{Amount, DayLedger, Placed, Usage};
use inkwatt::found::Found;
use inkwatt::names::{PressId, RunId};
use inkwatt::readings::{Event, Happening, Quantity, Rank, Reading, Run, Series, Subject};
use inkwatt::store::{Access, Counts, Store};
use inkwatt::time::{At, HOUR, MINUTE, Period, Zone};
use inkwatt::units::Energy;
use rusqlite::Connection;
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
    let stamp = store.day_stamp(Period::new(NOON, NOON + HOUR), b"").expect("a stamp");
    let again = say(&mut store, Rank::Live, &[at(&m1, 0, 100), at(&m1, 0, 100)]);
    assert_eq!(again, Counts { same: 2, ..Counts::default() });
    assert_eq!(store.day_stamp(Period::new(NOON, NOON + HOUR), b"").expect("a stamp"), stamp);
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
    assert_eq!(found.issues.len(), 1);
    assert_eq!(
        found.issues[0].text,
        "import: sources of equal rank differ at 1 instants, first at 2026-06-01T12:00:00Z (100 or 105); none of these \
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
    let stamp = store.day_stamp(Period::new(NOON, NOON + 50 * HOUR), b"").expect("a stamp");
    let mut steps = 0;
    for hour in 0..60 {
        steps += pack_all(&mut store, NOON + hour * HOUR + 6 * MINUTE);
        assert_eq!(state(&store).map(|r| r.expect("readings")), before, "after hour {hour}");
    }
    assert!(steps >= 48, "{steps} steps");
    assert_eq!(store.day_stamp(Period::new(NOON, NOON + 50 * HOUR), b"").expect("a stamp"), stamp);
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

#[test]
fn a_computed_day_holds_until_a_fact_that_it_reads_changes() {
    let folder = TempDir::new().expect("a folder");
    let m1 = import_of("m1");
    let mut store = open(&folder, Access::Agent);
    say(&mut store, Rank::Live, &[at(&m1, 0, 0), at(&m1, 60, 9)]);
    let found = ledger("2026-06-01", 9_000);
    let (date, day) = (found.value.date, london().day(found.value.date));
    let stamp = |store: &Store, basis: &[u8]| store.day_stamp(day, basis).expect("a stamp");
    let first = stamp(&store, b"rules 1");
    assert_eq!(store.cached_day(date, &first), None);
    store.cache_day(date, &first, &found);
    assert_eq!(store.cached_day(date, &first), Some(found.clone()));
    assert_eq!(store.cached_day(date, &stamp(&store, b"rules 2")), None);
    // The next reading comes two days later: every day up to then lies between known instants now.
    say(&mut store, Rank::Live, &[at(&m1, 2_900, 20)]);
    let second = stamp(&store, b"rules 1");
    assert_eq!(store.cached_day(date, &second), None);
    store.cache_day(date, &second, &found);
    // A reading after the next known one does not concern the day.
    say(&mut store, Rank::Live, &[at(&m1, 2_901, 20)]);
    assert_eq!(store.cached_day(date, &stamp(&store, b"rules 1")), Some(found));
}

#[test]
fn an_event_changes_the_days_on_which_it_holds() {
    let folder = TempDir::new().expect("a folder");
    let mut store = open(&folder, Access::Agent);
    let day = |k: i64| Period::new(NOON + k * 24 * HOUR, NOON + (k + 1) * 24 * HOUR);
    let stamps = |store: &Store| (-1..2).map(|k| store.day_stamp(day(k), b"").expect("a stamp")).collect::<Vec<_>>();
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
fn a_damaged_or_strange_cache_begins_anew_without_a_word_to_the_caller() {
    let folder = TempDir::new().expect("a folder");
    let cache = folder.path().join("store/derived.db");
    let found = ledger("2026-06-01", 9_000);
    let date = found.value.date;
    let stamp = open(&folder, Access::Agent).day_stamp(london().day(date), b"").expect("a stamp");
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
        store.cache_day(date, &stamp, &found);
        assert_eq!(store.cached_day(date, &stamp), Some(found.clone()));
    }
    // Damage within a page that is met only later.
    let mut bytes = std::fs::read(&cache).expect("bytes");
    let end = bytes.len();
    bytes[end - 3_000..].fill(0xA5);
    std::fs::write(&cache, bytes).expect("written");
    let store = open(&folder, Access::Read);
    assert_eq!(store.cached_day(date, &stamp), None);
    store.cache_day(date, &stamp, &found);
    store.cache_day(date, &stamp, &found);
    assert_eq!(store.cached_day(date, &stamp), Some(found));
}
