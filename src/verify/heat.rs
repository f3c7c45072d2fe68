//! What the lamps' heat means for heating and cooling the hall.

/// What a plant states about the heat of its lamps; nothing here is measured.
#[derive(Clone, Debug, PartialEq)]
pub struct HeatStated {
    /// Months in which the hall is heated, 1 to 12.
    pub heating_months: Vec<u32>,
    /// Months in which it is cooled.
    pub cooling_months: Vec<u32>,
    /// Share of the old lamps' heat that leaves the hall with their exhaust. Arc exhaust carries ozone and goes outside.
    pub old_ducted_out: Seasons,
    /// Share of the new lamps' heat that leaves the hall.
    pub new_ducted_out: Seasons,
    /// Useful heat for each kWh of fuel, or of electricity of a heat pump.
    pub heating_efficiency: f64,
    /// Heat removed for each kWh of electricity; `None` where the hall is not cooled by machine.
    pub cooling_cop: Option<f64>,
    /// Exhaust that heated air replaces, where it is stated.
    pub make_up_air: Option<MakeUpAir>,
}

/// A share in each season, 0 to 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seasons {
    /// While the hall is heated.
    pub heating: f64,
    /// While it is cooled.
    pub cooling: f64,
}

/// Air drawn off while the press cures, which the heating replaces.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MakeUpAir {
    /// Cubic metres an hour with the old lamps.
    pub before_m3_h: f64,
    /// With the new ones.
    pub after_m3_h: f64,
    /// Temperature of the hall in degrees Celsius.
    pub hall_c: f64,
}

/// Heat that a cubic metre of air takes up for a kelvin, in Wh (0.34 as in EN 12831, from memory).
const AIR: f64 = 0.34;

/// A day as the hall feels it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeatDay {
    /// Month, 1 to 12.
    pub month: u32,
    /// What the old lamps would have used, kWh: the adjusted baseline.
    pub old_kwh: f64,
    /// What the new lamps used, kWh.
    pub new_kwh: f64,
    /// Hours in which the press cured.
    pub curing_h: f64,
    /// Mean outdoor temperature in degrees Celsius, where it is known.
    pub outdoor_c: Option<f64>,
}

/// What the conversion saves in heating and cooling, before less after: an estimate from stated assumptions, of either
/// sign, never part of the saving. Fuel is apart from electricity, and its carbon is scope 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Heat {
    /// Fuel for the heating, on account of the heat that the lamps give to the hall, kWh.
    pub lamps_kwh: f64,
    /// Fuel for the heating of make-up air, kWh; `None` where the air or an outdoor temperature is not known.
    pub air_kwh: Option<f64>,
    /// Electricity for the cooling, kWh; `None` where the hall is not cooled by machine.
    pub cooling_kwh: Option<f64>,
}

impl HeatStated {
    /// The effect over days.
    pub fn effect(&self, days: &[HeatDay]) -> Heat {
        let heated: Vec<&HeatDay> = days.iter().filter(|day| self.heating_months.contains(&day.month)).collect();
        let cooled = days.iter().filter(|day| self.cooling_months.contains(&day.month));
        let gains = |day: &HeatDay, old: f64, new: f64| (day.old_kwh * (1.0 - old), day.new_kwh * (1.0 - new));
        let (old, new) = (self.old_ducted_out, self.new_ducted_out);
        let lamps: f64 = heated
            .iter()
            .map(|day| {
                let (before, after) = gains(day, old.heating, new.heating);
                (after - before) / self.heating_efficiency
            })
            .sum();
        let cooling = cooled.map(|day| {
            let (before, after) = gains(day, old.cooling, new.cooling);
            before - after
        });
        let cooling: f64 = cooling.sum();
        Heat {
            lamps_kwh: lamps,
            air_kwh: self
                .make_up_air
                .and_then(|air| heated.iter().map(|day| air.kwh(day)).sum::<Option<f64>>())
                .map(|kwh| kwh / self.heating_efficiency),
            cooling_kwh: self.cooling_cop.map(|cop| cooling / cop),
        }
    }
}

impl MakeUpAir {
    /// Heat that less air saves on a day; `None` where the outdoor temperature is not known. A press that did not cure
    /// drew off nothing.
    fn kwh(&self, day: &HeatDay) -> Option<f64> {
        if day.curing_h == 0.0 {
            return Some(0.0);
        }
        let kelvin = (self.hall_c - day.outdoor_c?).max(0.0);
        Some((self.before_m3_h - self.after_m3_h) * day.curing_h * AIR * kelvin / 1e3)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stated() -> HeatStated {
        HeatStated {
            heating_months: vec![1],
            cooling_months: vec![7],
            old_ducted_out: Seasons { heating: 0.9, cooling: 0.9 },
            new_ducted_out: Seasons { heating: 0.0, cooling: 0.8 },
            heating_efficiency: 0.9,
            cooling_cop: Some(3.0),
            make_up_air: Some(MakeUpAir { before_m3_h: 3_000.0, after_m3_h: 1_000.0, hall_c: 20.0 }),
        }
    }

    fn day(month: u32) -> HeatDay {
        HeatDay { month, old_kwh: 100.0, new_kwh: 36.0, curing_h: 5.0, outdoor_c: Some(5.0) }
    }

    /// Winter: the hall got 10 kWh and gets 36: 26 / 0.9 of fuel saved; air 2,000 x 5 x 0.34 x 15 = 51 kWh, over 0.9.
    /// Summer: 10 less 7.2 = 2.8 kWh of heat less, over 3. In spring nothing.
    #[test]
    fn heat_that_stays_indoors_saves_fuel_in_winter() {
        let heat = stated().effect(&[day(1), day(4), day(7)]);
        assert!((heat.lamps_kwh - 26.0 / 0.9).abs() < 1e-9, "{heat:?}");
        assert!((heat.air_kwh.expect("known") - 51.0 / 0.9).abs() < 1e-9, "{heat:?}");
        assert!((heat.cooling_kwh.expect("cooled") - 2.8 / 3.0).abs() < 1e-9, "{heat:?}");
    }

    #[test]
    fn it_costs_fuel_where_the_old_lamps_warmed_the_hall() {
        let indoors = HeatStated { old_ducted_out: Seasons { heating: 0.0, cooling: 0.0 }, ..stated() };
        let heat = indoors.effect(&[day(1), day(7)]);
        assert!((heat.lamps_kwh + 64.0 / 0.9).abs() < 1e-9, "{heat:?}");
        assert!((heat.cooling_kwh.expect("cooled") - 92.8 / 3.0).abs() < 1e-9, "{heat:?}");
    }

    #[test]
    fn what_nobody_knows_is_not_estimated() {
        let unknown = HeatDay { outdoor_c: None, ..day(1) };
        assert_eq!(stated().effect(&[unknown]).air_kwh, None);
        let bare = HeatStated { make_up_air: None, cooling_cop: None, ..stated() };
        let heat = bare.effect(&[day(1)]);
        assert_eq!((heat.air_kwh, heat.cooling_kwh), (None, None));
        assert_eq!(stated().effect(&[HeatDay { curing_h: 0.0, ..unknown }]).air_kwh, Some(0.0));
    }
}
