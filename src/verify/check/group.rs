//! Remarks on a group of stations.

use super::{a_year, agrees};
use crate::plant::RatedAt;
use crate::verify::factors::{Factors, YEAR};
use crate::verify::promise::{Equipment, Group, Side};
use crate::verify::words::{number, percent};

/// Label presses cure for a third to a half of their manned hours (common practice, no source). Above this share the
/// hours of a promise are asked about.
const CURING_SHARE: f64 = 0.6;
/// With standby and extraction counted, LED saves up to about 70 % (common practice, no source).
const CEILING: f64 = 0.7;
/// A supply of a lamp loses at least this share (common practice, no source).
const LEAST_LOSS: f64 = 0.02;

/// What is remarkable; each remark begins after the name of the group.
pub fn check(group: &Group) -> Vec<String> {
    [energy(group), ceiling(group)]
        .into_iter()
        .chain(hours(group))
        .chain(stations(group))
        .chain(ratings(group))
        .flatten()
        .collect()
}

/// What the group saves by its own numbers, kWh a year.
pub fn own(group: &Group) -> f64 {
    Factors::promised(&[group], &[], YEAR).saving()
}

/// What the ratings alone would save if every station were lit at full level in all manned hours.
fn upper_bound(group: &Group) -> f64 {
    let mut all = group.clone();
    all.lit = group.stations.len() as f64;
    (all.hours.curing, all.hours.standby) = (group.hours.manned, 0.0);
    (all.old.level, all.new.level, all.old.off_w, all.new.off_w) = (1.0, 1.0, 0.0, 0.0);
    own(&all)
}

fn energy(group: &Group) -> Option<String> {
    let (stated, own) = (group.kwh?, own(group));
    if agrees(stated, own) {
        return None;
    }
    let (stated_text, own) = (a_year(stated), a_year(own));
    Some(if agrees(stated, upper_bound(group)) {
        format!(
            "promises {stated_text}, which is every station lit at full level in all manned hours; its curing and \
             standby hours, stations lit and levels give {own}: ask the supplier to promise the figure at those"
        )
    } else {
        format!(
            "promises {stated_text}; its own watts, stations, levels and hours give {own}: ask the supplier how the \
             figure was reckoned"
        )
    })
}

fn ceiling(group: &Group) -> Option<String> {
    let year = Factors::promised(&[group], &[], YEAR);
    let before = year.used(Side::Before);
    let share = year.saving() / before;
    let rated = 1.0 - group.new.full_watts(group.length_cm) / group.old.full_watts(group.length_cm);
    (before > 0.0 && share > CEILING.max(rated)).then(|| {
        format!(
            "saves {} of what the old lamps use by its own numbers, {}; the ratings alone give {}, and with standby \
             and extraction up to about {} is common practice: ask the supplier what makes up the rest",
            percent(share),
            a_year(before),
            percent(rated),
            percent(CEILING)
        )
    })
}

fn hours(group: &Group) -> [Option<String>; 3] {
    let hours = group.hours;
    let share = hours.curing / hours.manned;
    let told = |h: f64| number(h, 0);
    let manned = (share > CURING_SHARE).then(|| {
        format!(
            "says that lamps cure in {} of {} manned hours, {}; label presses cure in a third to a half of them \
             (common practice): ask the supplier how the curing hours were counted, and compare them with the run \
             hours of the press",
            told(hours.curing),
            told(hours.manned),
            percent(share)
        )
    });
    let longest = hours.manned.max(hours.curing + hours.standby);
    let year = (longest > YEAR).then(|| {
        format!(
            "reckons with {} manned hours and {} of curing and standby together; a year has {}: ask the supplier for \
             the hours of one press in one year",
            told(hours.manned),
            told(hours.curing + hours.standby),
            told(YEAR)
        )
    });
    let standby = (hours.standby == 0.0 && group.old.standby_share > 0.0).then(|| {
        format!(
            "states a draw on standby, {} of full level, but no standby hours, so that standby saves nothing: ask the \
             supplier for the hours in which the old lamps were kept burning",
            percent(group.old.standby_share)
        )
    });
    [manned, year, standby]
}

fn stations(group: &Group) -> [Option<String>; 2] {
    let there = group.stations.len() as f64;
    let lit = (group.lit > there).then(|| {
        format!(
            "says that {} stations are lit, but names {}: ask the supplier which stations are meant",
            number(group.lit, 1),
            group.stations.len()
        )
    });
    let levels = [group.old.level, group.new.level];
    let level = levels.into_iter().find(|level| *level > 1.0).map(|level| {
        format!(
            "reckons with a level of {}; a lamp gives at most 100 %: ask the supplier what the level refers to",
            percent(level)
        )
    });
    [lit, level]
}

fn ratings(group: &Group) -> [Option<String>; 3] {
    let (old, new) = (group.old, group.new);
    let side = |lamp: Equipment| match lamp.rated_at {
        RatedAt::Lamp => "the lamp",
        RatedAt::Mains => "the mains",
    };
    let mixed = (old.rated_at != new.rated_at).then(|| {
        let bare = |lamp: Equipment| lamp.w_per_cm * group.length_cm;
        format!(
            "rates the old lamps at {} and the new ones at {}; at the mains its own numbers give {} W against {} W a \
             lamp, without the losses {} W against {} W: ask the supplier for both ratings at the mains",
            side(old),
            side(new),
            number(old.full_watts(group.length_cm), 0),
            number(new.full_watts(group.length_cm), 0),
            number(bare(old), 0),
            number(bare(new), 0)
        )
    });
    let lossless = [("old", old), ("new", new)]
        .into_iter()
        .find(|(_, lamp)| lamp.rated_at == RatedAt::Lamp && lamp.supply_factor < 1.0 + LEAST_LOSS)
        .map(|(which, lamp)| {
            format!(
                "rates the {which} lamps at the lamp with a supply factor of {}, so that its own numbers give a \
                 supply without losses: ask the supplier for the draw at the mains",
                number(lamp.supply_factor, 2)
            )
        });
    let forgotten = (new.standby_share == 0.0 && new.off_w == 0.0).then(|| {
        format!(
            "says that the new lamps draw nothing while they do not cure; supplies and controls of LED arrays draw \
             some watts in all {} other hours (common practice): ask the supplier for the draw in stand-by and off",
            number(YEAR - group.hours.curing, 0)
        )
    });
    [mixed, lossless, forgotten]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::verify::promise::example::{group, lamp};

    /// Sound: 8 x 40 cm x 87 W/cm x 1,800 h = 50,112 kWh, and 8 x 500 h of standby at 35 % of 5,600 W less 1 % of
    /// 2,120 W = 7,840 - 84.8.
    fn sound() -> Group {
        let mut group = group(8, lamp(140.0), lamp(53.0));
        (group.old.standby_share, group.new.standby_share, group.kwh) = (0.35, 0.01, Some(57_867.2));
        group
    }

    fn only(spoil: impl FnOnce(&mut Group)) -> String {
        let mut group = sound();
        spoil(&mut group);
        let remarks = check(&group);
        assert_eq!(remarks.len(), 1, "{remarks:#?}");
        remarks.into_iter().next().expect("one")
    }

    #[test]
    fn a_sound_group_is_left_alone() {
        assert_eq!(check(&sound()), Vec::<String>::new());
        assert!((own(&sound()) - 57_867.2).abs() < 1e-6, "{}", own(&sound()));
    }

    #[test]
    fn a_saving_that_does_not_multiply_out_is_told_with_what_it_should_be() {
        assert_eq!(
            only(|g| g.kwh = Some(50_000.0)),
            "promises 50,000 kWh a year; its own watts, stations, levels and hours give 57,867 kWh a year: ask the \
             supplier how the figure was reckoned"
        );
    }

    /// 8 x 40 cm x 87 W/cm x 2,600 h = 72,384 kWh.
    #[test]
    fn a_saving_that_is_really_the_upper_bound_is_recognised() {
        assert_eq!(
            only(|g| (g.kwh, g.hours.manned, g.hours.curing) = (Some(72_384.0), 2_600.0, 1_300.0)),
            "promises 72,384 kWh a year, which is every station lit at full level in all manned hours; its curing \
             and standby hours, stations lit and levels give 43,947 kWh a year: ask the supplier to promise the \
             figure at those"
        );
    }

    #[test]
    fn curing_hours_that_are_manned_hours_are_asked_about() {
        assert_eq!(
            only(|g| (g.kwh, g.hours.curing) = (None, 4_000.0)),
            "says that lamps cure in 4,000 of 4,000 manned hours, 100 %; label presses cure in a third to a half of \
             them (common practice): ask the supplier how the curing hours were counted, and compare them with the \
             run hours of the press"
        );
    }

    #[test]
    fn hours_beyond_a_year_are_told() {
        assert_eq!(
            only(|g| g.hours.manned = 9_000.0),
            "reckons with 9,000 manned hours and 2,300 of curing and standby together; a year has 8,760: ask the \
             supplier for the hours of one press in one year"
        );
    }

    #[test]
    fn more_stations_or_level_than_there_is_are_told() {
        assert_eq!(
            only(|g| (g.kwh, g.lit) = (None, 9.5)),
            "says that 9.5 stations are lit, but names 8: ask the supplier which stations are meant"
        );
        assert_eq!(
            only(|g| (g.kwh, g.old.level) = (None, 1.1)),
            "reckons with a level of 110 %; a lamp gives at most 100 %: ask the supplier what the level refers to"
        );
    }

    #[test]
    fn ratings_of_different_sides_are_told_with_their_watts() {
        assert_eq!(
            only(|g| (g.kwh, g.new.rated_at, g.new.supply_factor) = (None, RatedAt::Lamp, 1.12)),
            "rates the old lamps at the mains and the new ones at the lamp; at the mains its own numbers give 5,600 W \
             against 2,374 W a lamp, without the losses 5,600 W against 2,120 W: ask the supplier for both ratings \
             at the mains"
        );
    }

    #[test]
    fn a_rating_at_the_lamp_without_losses_is_asked_about() {
        let remark = only(|g| {
            (g.kwh, g.old.rated_at, g.new.rated_at) = (None, RatedAt::Lamp, RatedAt::Lamp);
            (g.old.supply_factor, g.new.supply_factor) = (1.1, 1.0);
        });
        assert_eq!(
            remark,
            "rates the new lamps at the lamp with a supply factor of 1.00, so that its own numbers give a supply \
             without losses: ask the supplier for the draw at the mains"
        );
    }

    #[test]
    fn standby_that_was_forgotten_on_either_side_is_asked_about() {
        assert_eq!(
            only(|g| (g.kwh, g.new.standby_share) = (None, 0.0)),
            "says that the new lamps draw nothing while they do not cure; supplies and controls of LED arrays draw \
             some watts in all 6,960 other hours (common practice): ask the supplier for the draw in stand-by and off"
        );
        assert_eq!(
            only(|g| (g.kwh, g.hours.standby) = (None, 0.0)),
            "states a draw on standby, 35 % of full level, but no standby hours, so that standby saves nothing: ask \
             the supplier for the hours in which the old lamps were kept burning"
        );
    }

    /// 8 x 1,800 h x 5,600 W + 8 x 2,600 h x 1,960 W = 121,408 kWh before, 50,112 + 40,327 saved: 74 %.
    #[test]
    fn a_saving_beyond_what_the_trade_knows_is_asked_about() {
        assert_eq!(
            only(|g| (g.kwh, g.hours.standby) = (None, 2_600.0)),
            "saves 74 % of what the old lamps use by its own numbers, 121,408 kWh a year; the ratings alone give \
             62 %, and with standby and extraction up to about 70 % is common practice: ask the supplier what makes \
             up the rest"
        );
    }
}
