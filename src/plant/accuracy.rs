//! Limits of error of meters and current transformers, by load.
//!
//! Static meters: IEC 62053-22 (0.2S, 0.5S) and 62053-21 (1, 2); active meters of directive 2014/32/EU, annex V (A, B, C);
//! current transformers: IEC 61869-2. What was not read in a stored copy of the text is said to be from memory.

use crate::plant::Meter;

/// What a meter's circuit is rated for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Circuit {
    /// Primary current of the transformers, or the basic current of a meter without any, in milliamperes, if stated.
    pub rated_ma: Option<i64>,
    /// One or three phases.
    pub phases: u8,
    /// Accuracy class of the current transformers; `None` where there are none, or nobody stated it.
    pub ct_class: Option<String>,
    /// Whether there are current transformers.
    pub has_ct: bool,
}

/// Current as a part of the rated one: the bins between which limits change.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Load {
    /// Below 1 %.
    Below1,
    /// 1 to 5 %.
    From1,
    /// 5 to 20 %.
    From5,
    /// 20 to 100 %.
    From20,
    /// 100 to 120 %.
    From100,
    /// Above 120 %.
    Above120,
    /// The circuit's rating is not stated.
    Unrated,
}

impl Load {
    /// Every bin.
    pub const ALL: [Self; 7] =
        [Self::Below1, Self::From1, Self::From5, Self::From20, Self::From100, Self::Above120, Self::Unrated];

    /// The bin in words.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Below1 => "below 1 %",
            Self::From1 => "1 to 5 %",
            Self::From5 => "5 to 20 %",
            Self::From20 => "20 to 100 %",
            Self::From100 => "100 to 120 %",
            Self::Above120 => "above 120 %",
            Self::Unrated => "rating not stated",
        }
    }

    /// The bin of a mean draw in watts. Where the current itself is not recorded it follows from 230 V against neutral and
    /// a power factor.
    pub fn of(circuit: Option<&Circuit>, watts: f64, power_factor: f64) -> Self {
        let phases = circuit.map_or(1, |circuit| circuit.phases);
        Self::at(circuit, watts.abs() / (230.0 * f64::from(phases) * power_factor) * 1e3)
    }

    /// The bin of a current in milliamperes.
    pub fn at(circuit: Option<&Circuit>, milliamperes: f64) -> Self {
        let Some(rated_ma) = circuit.and_then(|circuit| circuit.rated_ma) else { return Self::Unrated };
        match milliamperes / rated_ma as f64 {
            part if part < 0.01 => Self::Below1,
            part if part < 0.05 => Self::From1,
            part if part < 0.20 => Self::From5,
            part if part <= 1.00 => Self::From20,
            part if part <= 1.20 => Self::From100,
            _ => Self::Above120,
        }
    }
}

/// What a meter and its transformers may be wrong by at a load.
#[derive(Clone, Debug, PartialEq)]
pub struct Limit {
    /// Limit of the meter and of its transformers in per cent, zero without transformers; `None` where the standards
    /// state none.
    pub per_cent: Option<[f64; 2]>,
    /// What must be known about it.
    pub remarks: Vec<String>,
}

/// The limits of a meter at a load. Limits are those at unity power factor.
pub fn limit(meter: &Meter, load: Load) -> Limit {
    let mut remarks = Vec::new();
    let has_ct = meter.circuit.as_ref().is_some_and(|circuit| circuit.has_ct);
    let own = match (meter.class.as_deref().map(str::trim), load) {
        (None, _) => {
            remarks.push("its class is not stated: what it may be wrong by is not known".into());
            None
        }
        (Some(class), Load::Unrated) => {
            remarks.push("the rated current of its circuit is not stated: its class is taken at every load".into());
            of_class(class, Load::From20).map(|(limit, _)| limit)
        }
        (Some(class), load) => {
            let found = of_class(class, load);
            if found.is_some_and(|(_, memory)| memory) {
                remarks.push(format!("limits of class {class} from memory"));
            }
            if found.is_none() {
                let smaller = if has_ct && load < Load::From5 { ": smaller transformers would raise it" } else { "" };
                let at = load.word();
                remarks.push(format!("class {class} states no limit at a load {at} of the rated current{smaller}"));
            }
            found.map(|(limit, _)| limit)
        }
    };
    let transformers = match meter.circuit.as_ref().and_then(|circuit| circuit.ct_class.as_deref()) {
        _ if !has_ct => Some(0.0),
        None => {
            remarks.push("the class of its current transformers is not stated: what they add is not known".into());
            None
        }
        Some(class) => {
            let found = of_transformer(class.trim(), load);
            if found.is_none() {
                let better = if load == Load::Above120 { "larger" } else { "smaller" };
                remarks.push(format!(
                    "current transformers of class {class} have no limit at a load {} of their primary current: {better} \
                     transformers would measure it",
                    load.word()
                ));
            }
            found
        }
    };
    Limit { per_cent: own.zip(transformers).map(|(own, transformers)| [own, transformers]), remarks }
}

/// The limit of a meter's class in per cent at unity power factor, and whether it is from memory.
fn of_class(class: &str, load: Load) -> Option<(f64, bool)> {
    let above5 = load >= Load::From5;
    match (class, load) {
        ("0.5S", Load::From1) => Some((1.0, false)),
        ("0.5S", _) if above5 => Some((0.5, false)),
        ("0.2S", Load::From1) => Some((0.4, true)),
        ("0.2S", _) if above5 => Some((0.2, true)),
        // Below 5 % a class without S has no limit that holds throughout the bin: its first one begins within it.
        ("1", _) if above5 => Some((1.0, true)),
        ("2", _) if above5 => Some((2.0, true)),
        // From the transitional current on, which is taken as 5 %.
        ("A", _) if above5 => Some((3.5, false)),
        ("B", _) if above5 => Some((2.0, false)),
        ("C", _) if above5 => Some((0.7, false)),
        _ => None,
    }
}

/// The ratio error of current transformers in per cent, IEC 61869-2: that of the lower end of the bin, the larger one.
fn of_transformer(class: &str, load: Load) -> Option<f64> {
    let at = |row: [Option<f64>; 4]| match load {
        Load::From1 => row[0],
        Load::From5 => row[1],
        Load::From20 => row[2],
        Load::From100 => row[3],
        // The figure after which the class is named.
        Load::Unrated => row[3],
        Load::Below1 | Load::Above120 => None,
    };
    match class {
        "0.1" => at([None, Some(0.4), Some(0.2), Some(0.1)]),
        "0.2" => at([None, Some(0.75), Some(0.35), Some(0.2)]),
        "0.2S" => at([Some(0.75), Some(0.35), Some(0.2), Some(0.2)]),
        "0.5" => at([None, Some(1.5), Some(0.75), Some(0.5)]),
        "0.5S" => at([Some(1.5), Some(0.75), Some(0.5), Some(0.5)]),
        "1" => at([None, Some(3.0), Some(1.5), Some(1.0)]),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ratio errors as IEC 61869-2 tabulates them (a vendor's copy of the table): 1, 5, 20 and 100 % of rated current.
    #[test]
    fn transformers_have_their_limits_and_none_below_them() {
        let row = |class| {
            [Load::Below1, Load::From1, Load::From5, Load::From20, Load::From100].map(|l| of_transformer(class, l))
        };
        assert_eq!(row("0.5"), [None, None, Some(1.5), Some(0.75), Some(0.5)]);
        assert_eq!(row("0.5S"), [None, Some(1.5), Some(0.75), Some(0.5), Some(0.5)]);
        assert_eq!(row("0.2S"), [None, Some(0.75), Some(0.35), Some(0.2), Some(0.2)]);
        assert_eq!(row("1"), [None, None, Some(3.0), Some(1.5), Some(1.0)]);
        assert_eq!(of_transformer("5P", Load::From20), None);
    }

    /// IEC 62053-22, class 0.5S at unity power factor: 1.0 from 1 %, 0.5 from 5 % (a vendor's manual quotes the table).
    #[test]
    fn meters_have_their_limits_and_what_is_from_memory_says_so() {
        assert_eq!(
            [Load::From1, Load::From5, Load::Below1].map(|l| of_class("0.5S", l)),
            [Some((1.0, false)), Some((0.5, false)), None]
        );
        assert_eq!(of_class("1", Load::From20), Some((1.0, true)));
        assert_eq!(of_class("B", Load::From20), Some((2.0, false)));
    }

    /// Domain rule of the trade: below 5 % only the classes with S state a limit, of meters as of transformers.
    #[test]
    fn below_five_per_cent_a_class_without_s_has_no_limit_and_smaller_transformers_are_advised() {
        let found = |class: &str, ct: &str| {
            let ct_class = Some(ct.into());
            let circuit = Circuit { rated_ma: Some(200_000), phases: 3, ct_class, has_ct: true };
            let meter =
                Meter { class: Some(class.into()), circuit: Some(circuit), ..crate::plant::example::meter("m") };
            limit(&meter, Load::From1)
        };
        assert_eq!(found("0.5S", "0.5S").per_cent, Some([1.0, 1.5]));
        for (class, ct, told) in [
            (
                "1",
                "0.5S",
                "class 1 states no limit at a load 1 to 5 % of the rated current: smaller transformers would raise it",
            ),
            (
                "B",
                "0.2S",
                "class B states no limit at a load 1 to 5 % of the rated current: smaller transformers would raise it",
            ),
            (
                "0.5S",
                "0.5",
                "current transformers of class 0.5 have no limit at a load 1 to 5 % of their primary current: smaller \
                 transformers would measure it",
            ),
        ] {
            assert_eq!((found(class, ct).per_cent, found(class, ct).remarks), (None, vec![told.to_owned()]));
        }
    }

    #[test]
    fn a_load_is_found_from_the_draw_at_230_volts() {
        // 2.1 kW at 0.95 on three phases is 3.2 A.
        let circuit =
            |amperes: i64| Circuit { rated_ma: Some(amperes * 1_000), phases: 3, ct_class: None, has_ct: true };
        assert_eq!(
            [200, 40, 5, 3].map(|a| Load::of(Some(&circuit(a)), 2_100.0, 0.95)),
            [Load::From1, Load::From5, Load::From20, Load::From100]
        );
        assert_eq!(Load::of(None, 2_100.0, 0.95), Load::Unrated);
    }
}
