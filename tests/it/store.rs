//! Claims about store.

use inkwatt::names::{PressId, RunId};
use inkwatt::readings::{Event, Happening, Quantity, Rank, Reading, Run, Series, Subject};
use inkwatt::store::{Access, Counts, Store};
use inkwatt::time::{At, HOUR, MINUTE, Period, Zone};
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
