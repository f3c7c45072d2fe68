//! A local day of the ledger becomes a day of a scope.

use super::told::covered;
use super::{Aside, Cured, Currents, Day, DayType, Driver, LoadBy, Scope, Told, Worked, powers};
use crate::attribute::{Amount, Claim, DayLedger, LampState, PressState, Reactive, Slice};
use crate::names::{MeterId, StationId};
use crate::plant::{Dated, LampKind, Load, Plant};
use crate::time::{At, HOUR, Period, QUARTER};
use crate::units::Energy;
use std::collections::BTreeMap;

/// A state that is not known for longer than this leaves the day's hours unknown.
const UNKNOWN: i64 = QUARTER;
/// Nobody leaves a hall between two jobs for less than this (own judgement).
const PAUSE: i64 = 2 * HOUR;

/// What is known of a day beside its ledger.
#[derive(Clone, Debug, Default)]
pub struct Beside {
    /// What the press, its jobs and the weather say.
    pub told: Told,
    /// What the meters of its supplies show of reactive energy.
    pub reactive: BTreeMap<MeterId, Reactive>,
    /// What its meters record of currents and power factors.
    pub currents: Currents,
    /// The levels of its lamps in tenths of a per cent, each from its instant on.
    pub levels: BTreeMap<StationId, Dated<i64>>,
}

/// Condenses a day's ledger, with what is known beside it, to what it says about a scope at `now`.
pub fn observe(plant: &Plant, scope: &Scope, ledger: &DayLedger, beside: &Beside, now: At) -> Day {
    let told = &beside.told;
    let span = plant.zone.day(ledger.date);
    let meters = scope.meters(plant);
    let measured: Vec<&Slice> = ledger.slices.iter().filter(|slice| meters.contains(&slice.usage.meter)).collect();
    // What a shared load draws is all its own, whomever it is charged to; what they were doing says nothing about it.
    let own: Vec<&Slice> = measured.iter().filter(|slice| slice.owner.claim == Claim::Own).copied().collect();
    let energies = if scope.judged.press().is_some() { &own } else { &measured };
    let clock = Clock::of(&own, plant, span);
    let mut drivers = drivers(scope, &own, &clock, told);
    drivers.extend(attended(plant, scope, ledger, told).map(|millis| (Driver::AttendedH, hours(millis))));
    let closed = plant.calendar.is_closed(ledger.date);
    let kind = match drivers.get(&Driver::Ran) {
        Some(ran) if *ran > 0.0 => DayType::Running,
        _ if closed => DayType::Closed,
        _ => DayType::Idle,
    };
    Day {
        date: ledger.date,
        hours: hours(span.millis()),
        kind,
        energy: energies.iter().filter_map(|slice| slice.usage.energy).sum(),
        aside: aside(scope, &meters, energies, span, now),
        worked: worked(&own),
        on_job_h: clock.is_known().then(|| hours(clock.on_job)),
        outside_h: clock.outside.filter(|_| clock.is_known()).map(hours),
        curing: curing(&own, &beside.levels),
        loads: loads(plant, energies, &beside.currents),
        powers: powers(plant, scope, ledger, &beside.reactive),
        drivers,
    }
}

fn hours(millis: i64) -> f64 {
    millis as f64 / HOUR as f64
}

/// For how long the press was in which state, by the slices of one meter of the scope.
#[derive(Default)]
struct Clock {
    states: BTreeMap<Option<PressState>, i64>,
    on_job: i64,
    /// Milliseconds of a moving web outside the shifts; `None` where there are none.
    outside: Option<i64>,
    span: i64,
}

impl Clock {
    fn of(own: &[&Slice], plant: &Plant, span: Period) -> Self {
        let meter = own.first().map(|slice| &slice.usage.meter);
        let shifts = plant.calendar.shifts_of(plant.zone, span);
        let mut clock = Self { span: span.millis(), ..Self::default() };
        clock.outside = (!plant.calendar.shifts.is_empty()).then_some(0);
        for slice in own.iter().filter(|slice| Some(&slice.usage.meter) == meter) {
            let (period, owner) = (slice.usage.period, &slice.owner);
            *clock.states.entry(owner.press_state).or_default() += period.millis();
            if owner.run.is_some() {
                clock.on_job += period.millis();
            }
            // Slices are cut where shifts begin and end.
            let inside = shifts.iter().any(|shift| shift.contains(period.start));
            if moves(owner.press_state) && !inside {
                clock.outside = clock.outside.map(|outside| outside + period.millis());
            }
        }
        clock
    }

    fn in_state(&self, state: PressState) -> i64 {
        self.states.get(&Some(state)).copied().unwrap_or(0)
    }

    fn moving(&self) -> i64 {
        self.in_state(PressState::Running) + self.in_state(PressState::NoJob)
    }

    fn is_known(&self) -> bool {
        let known: i64 = self.states.iter().filter(|(state, _)| state.is_some()).map(|(_, millis)| millis).sum();
        self.span - known <= UNKNOWN
    }
}

fn moves(state: Option<PressState>) -> bool {
    state.is_some_and(PressState::is_moving)
}

fn drivers(scope: &Scope, own: &[&Slice], clock: &Clock, told: &Told) -> BTreeMap<Driver, f64> {
    let km = told.web_mm.map(|mm| mm as f64 / 1e6);
    let run = if clock.is_known() { Some(clock.moving()) } else { told.running };
    let ran = run.map(|run| run > 0).or(told.web_mm.map(|mm| mm > 0));
    let lit = if scope.stations.is_empty() { None } else { mean_lit(own, clock) };
    let station_km = match km {
        // Known on idle days alone, it would explain those only.
        _ if scope.stations.is_empty() => None,
        Some(0.0) => Some(0.0),
        km => km.zip(lit).map(|(km, lit)| km * lit),
    };
    let all = [
        (Driver::WebKm, km),
        (Driver::Jobs, told.jobs.map(f64::from)),
        (Driver::StationKm, station_km),
        (Driver::Ran, ran.map(|ran| f64::from(u8::from(ran)))),
        (Driver::RunH, run.map(hours)),
        (Driver::Outdoor, told.outdoor),
    ];
    all.into_iter().filter_map(|(driver, value)| Some((driver, value?))).collect()
}

/// For how long people were at any press that a load serves: while it moved or was made ready, and through pauses. A job
/// alone says nothing: nobody may have told of its end.
fn attended(plant: &Plant, scope: &Scope, ledger: &DayLedger, told: &Told) -> Option<i64> {
    let served = scope.judged.press().is_none().then(|| scope.presses(plant))?;
    let is_served = |slice: &&Slice| slice.owner.press.as_ref().is_some_and(|press| served.contains(press));
    let worked = |slice: &&Slice| {
        let state = slice.owner.press_state;
        moves(state) || state == Some(PressState::MakeReady)
    };
    let slices = ledger.slices.iter().filter(worked).filter(is_served);
    told.jobs.map(|_| covered(&mut slices.map(|slice| slice.usage.period).collect::<Vec<_>>(), PAUSE))
}

/// Stations curing while the web moved, on average; on a day that saw a make-ready only, during that. `None` where
/// nothing moved, or the state of lamps is not known for more than a twentieth of the time.
fn mean_lit(own: &[&Slice], clock: &Clock) -> Option<f64> {
    let only_make_ready = clock.moving() == 0;
    let moving = if only_make_ready { clock.in_state(PressState::MakeReady) } else { clock.moving() };
    let counts = |state| if only_make_ready { state == Some(PressState::MakeReady) } else { moves(state) };
    let during: Vec<&&Slice> = own.iter().filter(|slice| counts(slice.owner.press_state)).collect();
    let of = |wanted: Option<LampState>| -> i64 {
        let slices = during.iter().filter(|slice| slice.owner.lamp_state == wanted);
        slices.map(|slice| slice.usage.period.millis()).sum()
    };
    let all: i64 = during.iter().map(|slice| slice.usage.period.millis()).sum();
    (moving > 0 && of(None) * 20 <= all).then(|| of(Some(LampState::Curing)) as f64 / moving as f64)
}

fn worked(own: &[&Slice]) -> BTreeMap<(LampKind, LampState), Worked> {
    let mut worked: BTreeMap<(LampKind, LampState), Worked> = BTreeMap::new();
    for slice in own {
        let Some(key) = slice.owner.lamp.zip(slice.owner.lamp_state) else { continue };
        let entry = worked.entry(key).or_default();
        entry.energy += slice.usage.energy.unwrap_or(Energy::ZERO);
        entry.millis += slice.usage.period.millis();
    }
    worked
}

fn curing(own: &[&Slice], levels: &BTreeMap<StationId, Dated<i64>>) -> BTreeMap<(StationId, Option<LampKind>), Cured> {
    let mut curing: BTreeMap<_, Cured> = BTreeMap::new();
    for slice in own.iter().filter(|slice| slice.owner.lamp_state == Some(LampState::Curing)) {
        let (period, Some(station)) = (slice.usage.period, &slice.owner.station) else { continue };
        curing.entry((station.clone(), slice.owner.lamp)).or_default().take(period, levels.get(station));
    }
    curing
}

fn loads(plant: &Plant, own: &[&Slice], currents: &Currents) -> BTreeMap<(MeterId, Load, LoadBy), Energy> {
    let mut loads: BTreeMap<_, Energy> = BTreeMap::new();
    for slice in own {
        let (usage, known) = (&slice.usage, plant.meter(&slice.usage.meter));
        let (Some(energy), Some(meter)) = (usage.energy, known) else { continue };
        let watts = energy.mean_watts(usage.period.millis()).unwrap_or(0.0);
        let (load, by) = currents.load(meter, usage.period, watts, slice.owner.lamp);
        *loads.entry((usage.meter.clone(), load, by)).or_default() += energy;
    }
    loads
}

/// Why the day counts on no side, the plainest reason first.
fn aside(scope: &Scope, meters: &[MeterId], own: &[&Slice], span: Period, now: At) -> Option<Aside> {
    if span.end > now {
        return Some(Aside::Unfinished);
    }
    let other = match scope.implementation {
        Some(implementation) if implementation.overlap(span).is_some() => return Some(Aside::Implementation),
        Some(implementation) if span.end <= implementation.start => Some(LampKind::Led),
        Some(_) => Some(LampKind::Arc),
        None => None,
    };
    let known = |meter: &MeterId| -> i64 {
        let known = |slice: &&&Slice| slice.usage.energy.is_some() && slice.usage.amount < Amount::Estimated;
        let slices = own.iter().filter(|slice| slice.usage.meter == *meter).filter(known);
        covered(&mut slices.map(|slice| slice.usage.period).collect::<Vec<_>>(), 0)
    };
    if meters.is_empty() || meters.iter().any(|meter| known(meter) < span.millis()) {
        return Some(Aside::Lost);
    }
    let is_other =
        other.is_some() && scope.judged.press().is_some() && own.iter().any(|slice| slice.owner.lamp == other);
    is_other.then_some(Aside::OtherLamp)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::attribute::{Owner, Placed, Usage};
    use crate::plant::{Boundary, Calendar, Covers, Meter, Point, Press, Shift, Station, StationUse, example};
    use crate::time::Zone;
    use crate::verify::Judged;
    use chrono::{NaiveDate, NaiveTime};

    const NOW: At = At(1_800_000_000_000);

    fn day() -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 3, 2).expect("a date")
    }

    fn at(hour: i64) -> At {
        Zone::UTC.day(day()).start + hour * HOUR
    }

    /// A press with two metered stations; its one shift is from 06:00 to 14:00.
    fn plant() -> Plant {
        let station = |id: &str| Station {
            id: StationId::from(id),
            name: id.into(),
            does: StationUse::Ink,
            fitted: Dated::default(),
            implementation: Vec::new(),
        };
        let meter = |id: &str, station: &str| Meter {
            covers: Covers::Station(station.into()),
            boundary: Dated::always(Boundary { point: Point::LampSupply, includes: Vec::new() }),
            device: Dated::always(example::device("S")),
            max_watts: 8_000,
            native: 10_000,
            ..example::meter(id)
        };
        let hour = |hour| NaiveTime::from_hms_opt(hour, 0, 0).expect("a time");
        let shift = Shift { name: "early".into(), days: Vec::new(), starts: hour(6), ends: hour(14) };
        Plant {
            calendar: Calendar { shifts: vec![shift], ..Calendar::default() },
            presses: vec![Press {
                id: "p1".into(),
                name: "1".into(),
                stations: vec![station("p1/s1"), station("p1/s2")],
                moving_mm_min: 3_000,
            }],
            meters: vec![meter("m1", "p1/s1"), meter("m2", "p1/s2")],
            ..example::plant(Zone::UTC)
        }
    }

    /// An hour-wise ledger: idle, from 12:00 to 16:00 running with one of two stations curing.
    fn ledger() -> DayLedger {
        let mut slices = Vec::new();
        for (meter, station, cures) in [("m1", "p1/s1", true), ("m2", "p1/s2", false)] {
            for (from, to, runs) in [(0, 12, false), (12, 14, true), (14, 16, true), (16, 24, false)] {
                let lamp_state = if runs && cures { LampState::Curing } else { LampState::Standby };
                let usage = Usage {
                    meter: meter.into(),
                    period: Period::new(at(from), at(to)),
                    energy: Some(Energy::from_mwh(1_000 * (to - from))),
                    amount: Amount::Metered,
                    placed: Placed::Measured,
                };
                let owner = Owner {
                    press: Some("p1".into()),
                    station: Some(station.into()),
                    lamp: Some(LampKind::Arc),
                    press_state: Some(if runs { PressState::Running } else { PressState::Idle }),
                    lamp_state: Some(lamp_state),
                    run: runs.then(|| "r1".into()),
                    claim: Claim::Own,
                };
                slices.push(Slice { usage, owner });
            }
        }
        DayLedger { date: day(), usage: Vec::new(), slices }
    }

    fn scope(implementation: Option<Period>) -> Scope {
        Scope { judged: Judged::Press("p1".into()), stations: vec!["p1/s1".into(), "p1/s2".into()], implementation }
    }

    fn beside() -> Beside {
        let told = Told { web_mm: Some(12_000_000), running: Some(HOUR), jobs: Some(3), outdoor: Some(7.5) };
        Beside { told, ..Beside::default() }
    }

    #[test]
    fn a_day_of_a_scope_is_condensed_from_its_own_slices() {
        let mut ledger = ledger();
        let mut shared = ledger.slices[0].clone();
        shared.owner.claim = Claim::Shared;
        ledger.slices.push(shared);
        let day = observe(&plant(), &scope(None), &ledger, &beside(), NOW);
        assert_eq!((day.energy.mwh(), day.kind, day.aside), (48_000, DayType::Running, None));
        let drivers: Vec<(&str, f64)> = day.drivers.iter().map(|(driver, value)| (driver.word(), *value)).collect();
        // Four hours ran with one station curing on average: the signals' own hours are finer than the report's one.
        let expected =
            [("web_km", 12.0), ("jobs", 3.0), ("station_km", 12.0), ("ran", 1.0), ("run_h", 4.0), ("outdoor_c", 7.5)];
        assert_eq!(drivers, expected);
        assert_eq!((day.on_job_h, day.outside_h), (Some(4.0), Some(2.0)));
        let cured = Cured { millis: 4 * HOUR, ..Cured::default() };
        assert_eq!(day.curing.into_iter().collect::<Vec<_>>(), [(("p1/s1".into(), Some(LampKind::Arc)), cured)]);
        let curing = day.worked[&(LampKind::Arc, LampState::Curing)];
        assert_eq!((curing.energy.mwh(), curing.millis), (4_000, 4 * HOUR));
    }

    /// Two and three quarter hours at 80 %, half an hour at 100 %; before the first level and at level zero nothing is known.
    #[test]
    fn a_level_is_weighted_by_the_time_of_curing_for_which_it_was_signalled() {
        let half = HOUR / 2;
        let signals = [(at(12) + half / 2, 800), (at(15), 1_000), (at(15) + half, 0), (at(16), 300)];
        let levels = [("p1/s1".into(), Dated::new(signals.to_vec())), ("p1/s2".into(), Dated::always(350))];
        let beside = Beside { levels: levels.into(), ..beside() };
        let day = observe(&plant(), &scope(None), &ledger(), &beside, NOW);
        let signalled = 3 * HOUR - half / 2;
        let level_millis = signalled * 800 + half * 1_000;
        let cured = Cured { millis: 4 * HOUR, signalled: signalled + half, level_millis };
        assert_eq!(day.curing.into_iter().collect::<Vec<_>>(), [(("p1/s1".into(), Some(LampKind::Arc)), cured)]);
    }

    #[test]
    fn a_day_with_lost_energy_or_a_lamp_of_the_other_kind_is_set_aside() {
        let before = scope(Some(Period::new(at(48), at(72))));
        let after = scope(Some(Period::new(at(-72), at(-48))));
        let during = scope(Some(Period::new(at(12), at(72))));
        let asides = |ledger: &DayLedger, scope: &Scope| observe(&plant(), scope, ledger, &beside(), NOW).aside;
        assert_eq!(asides(&ledger(), &before), None);
        assert_eq!(asides(&ledger(), &after), Some(Aside::OtherLamp));
        assert_eq!(asides(&ledger(), &during), Some(Aside::Implementation));
        let mut lost = ledger();
        lost.slices[5].usage.energy = None;
        assert_eq!(asides(&lost, &before), Some(Aside::Lost));
        assert_eq!(observe(&plant(), &before, &ledger(), &beside(), at(20)).aside, Some(Aside::Unfinished));
    }

    #[test]
    fn hours_of_an_unknown_state_are_unknown_and_a_report_may_state_them() {
        let mut ledger = ledger();
        for slice in &mut ledger.slices {
            slice.owner.press_state = None;
        }
        let day = observe(&plant(), &scope(None), &ledger, &beside(), NOW);
        assert_eq!((day.drivers.get(&Driver::RunH), day.drivers.get(&Driver::StationKm)), (Some(&1.0), None));
        assert_eq!((day.on_job_h, day.outside_h), (None, None));
        let day = observe(&plant(), &scope(None), &ledger, &Beside::default(), NOW);
        assert!(day.drivers.is_empty());
    }
}
