//! How a press was run in a period: what should not have changed, and what hours are worth.

use crate::attribute::LampState;
use crate::plant::{Plant, StationUse};
use crate::time::HOUR;
use crate::verify::{Day, Driver};

/// How a press was run over the days that count. What is `None` is not known.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Conditions {
    /// Kilometres run in an hour of a moving web.
    pub km_per_hour: Option<f64>,
    /// Hours of a moving web for each job.
    pub hours_per_job: Option<f64>,
    /// Stations curing at a time, on average over the hours of a moving web.
    pub stations_lit: Option<f64>,
    /// Hours a week of a moving web outside every shift of the calendar.
    pub outside_h_week: Option<f64>,
    /// Share of white and varnish in the time of curing.
    pub white_varnish: Option<f64>,
}

impl Conditions {
    /// The conditions of days.
    pub fn of<'a>(plant: &Plant, days: impl IntoIterator<Item = &'a Day>) -> Self {
        let days: Vec<&Day> = days.into_iter().filter(|day| day.aside.is_none()).collect();
        let ratio = |above: Driver, below: Driver| {
            let both = days.iter().filter_map(|day| Some((day.drivers.get(&above)?, day.drivers.get(&below)?)));
            let (above, below) = both.fold((0.0, 0.0), |(a, b), (x, y)| (a + x, b + y));
            (below > 0.0).then(|| above / below)
        };
        let curing = |wanted: &dyn Fn(StationUse) -> bool| -> f64 {
            let all = days.iter().flat_map(|day| &day.curing);
            let of = all.filter(|((station, _), _)| plant.station(station).is_some_and(|(_, s)| wanted(s.does)));
            of.map(|(_, cured)| cured.millis as f64 / HOUR as f64).sum()
        };
        let all = curing(&|_| true);
        let lit: f64 = days.iter().filter_map(|day| day.drivers.get(&Driver::RunH)).sum();
        let known = days.iter().any(|day| day.worked.keys().any(|(_, state)| *state == LampState::Curing));
        let outside: Vec<f64> = days.iter().filter_map(|day| day.outside_h).collect();
        Self {
            km_per_hour: ratio(Driver::WebKm, Driver::RunH),
            hours_per_job: ratio(Driver::RunH, Driver::Jobs),
            stations_lit: (known && lit > 0.0).then(|| all / lit),
            outside_h_week: (!outside.is_empty()).then(|| outside.iter().sum::<f64>() / outside.len() as f64 * 7.0),
            white_varnish: (all > 0.0).then(|| curing(&|does| does != StationUse::Ink) / all),
        }
    }
}
