//! A reading as it is forwarded.

use super::line::{Field, Line};
use crate::readings::{Reading, Series, Subject};

/// The line of a reading: its raw count, and its value in the unit in which people read the quantity. `per_count` is what a count is
/// worth in the base unit of the quantity; `None` where no device is known that counted it, and then only the count is told.
pub fn reading_line(plant: &str, series: &Series, reading: Reading, per_count: Option<f64>) -> Option<String> {
    let (unit, base, _) = series.quantity.unit();
    let line = Line::of("reading").tag("plant", plant);
    let line = match &series.subject {
        Subject::Meter(meter) => line.tag("meter", meter.as_str()),
        Subject::Press(press) => line.tag("press", press.as_str()),
        Subject::Station(station) => line.tag("station", station.as_str()),
        Subject::Site => line,
    };
    let value = per_count.map(|worth| Field::Number(reading.count as f64 * worth / base as f64));
    line.tag("quantity", &series.quantity.to_string())
        .tag("unit", unit)
        .field("count", Field::Whole(reading.count))
        .maybe("value", value)
        .at(reading.at)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::Quantity;
    use crate::time::At;

    #[test]
    fn a_reading_tells_its_count_and_its_value_in_the_unit_of_people() {
        let series = Series::new(Subject::Meter("m1".into()), Quantity::Import);
        let reading = Reading { at: At(1_000), count: 1_234 };
        // A count of 100 Wh: 123.4 kWh.
        assert_eq!(
            reading_line("A, B", &series, reading, Some(100_000.0)).expect("a line"),
            "reading,plant=A\\,\\ B,meter=m1,quantity=import,unit=kWh count=1234i,value=123.4 1000"
        );
        assert_eq!(
            reading_line("A", &series, reading, None).expect("a line"),
            "reading,plant=A,meter=m1,quantity=import,unit=kWh count=1234i 1000"
        );
        let series = Series::new(Subject::Station("p1/s2".into()), Quantity::LampState);
        assert_eq!(
            reading_line("A", &series, reading, Some(1.0)).expect("a line"),
            "reading,plant=A,station=p1/s2,quantity=lamp-state count=1234i,value=1234.0 1000"
        );
    }
}
