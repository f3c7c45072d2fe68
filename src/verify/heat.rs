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
