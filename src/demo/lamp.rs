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
