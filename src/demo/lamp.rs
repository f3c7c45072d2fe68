//! What a lamp draws. All of it is common practice (no source); the numbers are those of the invented plant.

use super::hall::rated;
use crate::attribute::LampState;
use crate::plant::LampKind;

/// Minutes that an arc lamp needs to come up to its power.
pub const WARM_UP: i64 = 4;
/// Draw of an arc lamp on standby behind its shutter, in hundredths of its rating.
pub const STANDBY: i64 = 35;

/// The level of a lamp in a state, in thousandths, where it cures at `curing`.
pub const fn level(state: LampState, curing: i64) -> i64 {
    match state {
        LampState::Off => 0,
        LampState::WarmingUp | LampState::Standby => STANDBY * 10,
        LampState::Curing => curing,
    }
}

/// Watts of a lamp in a state; `warm` counts the minutes since an arc lamp was struck.
pub fn watts(kind: LampKind, state: LampState, level: i64, warm: i64) -> i64 {
    let full = rated(kind);
    match (kind, state) {
        (LampKind::Arc, LampState::Off) => 14,
        (LampKind::Led, LampState::Off | LampState::WarmingUp | LampState::Standby) => 26,
        (LampKind::Arc, LampState::WarmingUp) => full * (45 + 10 * warm) / 100,
        (LampKind::Arc, LampState::Standby) => full * STANDBY / 100,
        (_, LampState::Curing) => full * level / 1_000,
    }
}

/// Reactive draw of a lamp in vars, inductive: an arc lamp's ballast with the capacitor beside it at a power factor of
/// 0.95 while curing and 0.90 below full power, the driver of an LED array at 0.98; common practice, no source.
pub fn vars(kind: LampKind, state: LampState, watts: i64) -> i64 {
    // Thousandths of the active power: the tangent of the angle whose cosine is the power factor.
    let tangent = match (kind, state) {
        (LampKind::Arc, LampState::Curing) => 329,
        (LampKind::Arc, _) => 484,
        (LampKind::Led, _) => 203,
    };
    watts * tangent / 1_000
}

/// Reactive draw of a press beyond its lamps in vars: drives at a power factor of 0.95.
pub const fn vars_of_drives(watts: i64) -> i64 {
    watts * 329 / 1_000
}
