//! How often the chart of drift tells of a rise where there is none, by simulation of the whole procedure, and the decision interval
//! that keeps to a rate.
//!
//! The table comes of [`false_rises`](super::drift::false_rises) with 3,000 stations of 500 days for each cell; a test makes some of
//! them anew. Whole simulations at each start would take minutes.

/// Days of curing that a reference needs.
pub const REFERENCE: usize = 40;
/// Days after an alarm until the step is fitted.
pub const SETTLE: usize = 14;
/// Days together that end a rise.
pub const RECOVER: usize = 7;

/// The least decision interval of the table; each further column is one wider.
const LEAST: usize = 4;
/// False rises in ten million days of a station: a row for each tenth of rho from 0 on, a column for each decision interval.
const RATES: [[u32; 37]; 9] = [
    [
        25_950, 19_820, 14_850, 10_990, 8_373, 6_287, 4_800, 3_920, 3_253, 2_707, 2_260, 1_827, 1_627, 1_367, 1_220,
        1_033, 900, 813, 700, 620, 567, 527, 453, 367, 347, 320, 267, 247, 233, 220, 207, 193, 193, 173, 167, 153, 147,
    ],
    [
        29_920, 23_320, 17_860, 13_730, 10_720, 8_327, 6_473, 5_313, 4_380, 3_553, 2_993, 2_400, 2_033, 1_813, 1_553,
        1_347, 1_167, 1_000, 907, 813, 753, 667, 580, 527, 440, 420, 367, 353, 333, 307, 260, 233, 220, 220, 207, 200,
        187,
    ],
    [
        33_100, 26_010, 20_150, 15_500, 12_370, 9_760, 7_820, 6_267, 5_073, 4_200, 3_600, 2_960, 2_587, 2_227, 1_833,
        1_627, 1_440, 1_327, 1_167, 1_040, 927, 833, 787, 747, 707, 667, 580, 527, 487, 433, 427, 413, 373, 320, 307,
        300, 287,
    ],
    [
        36_510, 28_630, 22_540, 17_870, 14_350, 11_390, 9_240, 7_353, 6_020, 5_047, 4_273, 3_613, 3_140, 2_740, 2_387,
        2_153, 1_873, 1_727, 1_573, 1_413, 1_293, 1_140, 1_067, 980, 907, 833, 773, 713, 680, 620, 553, 533, 500, 467,
        460, 447, 413,
    ],
    [
        39_050, 31_220, 24_610, 19_410, 15_940, 13_020, 10_610, 8_547, 7_100, 5_973, 5_013, 4_353, 3_773, 3_293, 2_867,
        2_593, 2_287, 2_053, 1_927, 1_687, 1_520, 1_387, 1_247, 1_160, 1_107, 1_020, 927, 873, 840, 780, 747, 707, 660,
        640, 607, 567, 527,
    ],
    [
        42_860, 33_910, 27_550, 22_030, 17_910, 14_770, 12_210, 10_400, 8_567, 7_220, 6_200, 5_300, 4_667, 4_020,
        3_633, 3_240, 2_933, 2_640, 2_407, 2_220, 2_013, 1_827, 1_640, 1_533, 1_447, 1_327, 1_233, 1_160, 1_093, 1_020,
        987, 953, 907, 827, 780, 740, 707,
    ],
    [
        47_210, 38_010, 30_720, 25_210, 20_750, 17_450, 14_570, 12_130, 10_390, 8_973, 7_813, 6_887, 5_893, 5_167,
        4_540, 4_113, 3_680, 3_447, 3_247, 3_007, 2_753, 2_533, 2_333, 2_140, 1_993, 1_853, 1_740, 1_667, 1_593, 1_480,
        1_413, 1_327, 1_293, 1_233, 1_180, 1_107, 1_040,
    ],
    [
        51_280, 42_360, 35_270, 29_330, 24_870, 21_130, 18_120, 15_540, 13_390, 11_730, 10_320, 8_953, 8_100, 7_453,
        6_767, 5_993, 5_653, 5_173, 4_740, 4_453, 4_113, 3_887, 3_600, 3_353, 3_067, 2_893, 2_727, 2_587, 2_380, 2_293,
        2_133, 2_013, 1_900, 1_840, 1_747, 1_693, 1_633,
    ],
    [
        56_550, 48_510, 41_830, 35_880, 31_370, 27_220, 23_970, 21_480, 19_190, 17_260, 15_620, 14_230, 13_050, 11_890,
        10_960, 10_060, 9_160, 8_547, 8_007, 7_487, 7_007, 6_620, 6_187, 5_860, 5_547, 5_333, 5_053, 4_833, 4_620,
        4_413, 4_233, 4_027, 3_867, 3_613, 3_460, 3_353, 3_187,
    ],
];

/// The least whole decision interval at which no more than so many false rises are told of in a day of a station, where a day carries the
/// part `rho` of the day before; at most 40, beyond which nothing but a breakdown would be found.
pub fn decision(rho: f64, a_day: f64) -> f64 {
    let row = &RATES[((rho * 10.0).round().max(0.0) as usize).min(RATES.len() - 1)];
    let place = row.iter().position(|rate| f64::from(*rate) / 1e7 <= a_day).unwrap_or(row.len() - 1);
    (LEAST + place) as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::drift::{Rule, false_rises};

    /// Cells made anew from a tenth of the stations: within what so few alarms leave unsure.
    #[test]
    fn the_table_is_what_the_simulation_gives() {
        for (tenths, decision) in [(0, 8), (3, 12), (5, 16), (8, 20)] {
            let rule = Rule { decision: decision as f64, settle: SETTLE, recover: RECOVER };
            let found = false_rises(REFERENCE, tenths as f64 / 10.0, rule, 300);
            let expected = f64::from(RATES[tenths][decision - LEAST]) / 1e7;
            assert!(
                (0.75..1.33).contains(&(found / expected)),
                "rho 0.{tenths}, h = {decision}: {found} for {expected}"
            );
        }
    }

    #[test]
    fn a_stricter_rate_and_a_greater_rho_need_a_wider_interval() {
        assert!(decision(0.2, 1e-2) < decision(0.2, 1e-4));
        assert!(decision(0.0, 1e-4) < decision(0.6, 1e-4));
        assert_eq!(decision(0.8, 1e-9), 40.0);
        assert_eq!(decision(0.3, 1.0), 4.0);
    }
}
