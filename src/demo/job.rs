//! The jobs of a press: what is printed in a production day, and how the web moves minute by minute.

use super::chance::Chance;
use super::dates;
use super::hall::{PRESSES, Press};
use chrono::{Datelike, NaiveDate, Weekday};

/// A product that comes back from time to time.
#[derive(Debug)]
pub struct Product {
    /// Its name.
    pub name: &'static str,
    /// Width of its web in millimetres.
    pub width_mm: i64,
    /// How many colours it has.
    pub inks: usize,
    /// Whether it needs opaque white.
    pub white: bool,
    /// Whether it is varnished.
    pub varnish: bool,
}

/// The products. Names are invented.
const PRODUCTS: [Product; 8] = [
    Product { name: "elderflower 330 ml", width_mm: 330, inks: 5, white: false, varnish: true },
    Product { name: "elderflower 750 ml", width_mm: 330, inks: 6, white: false, varnish: true },
    Product { name: "clear shampoo front", width_mm: 280, inks: 5, white: true, varnish: true },
    Product { name: "clear shampoo back", width_mm: 280, inks: 3, white: true, varnish: false },
    Product { name: "parcel mark two-colour", width_mm: 250, inks: 2, white: false, varnish: false },
    Product { name: "oat drink wrap", width_mm: 330, inks: 7, white: false, varnish: true },
    Product { name: "cheese round", width_mm: 300, inks: 4, white: false, varnish: true },
    Product { name: "paint tin", width_mm: 330, inks: 6, white: true, varnish: true },
];

/// A job on a press. Times are minutes since 1970.
#[derive(Debug)]
pub struct Job {
    /// Its number, as the scheduling system prints it.
    pub number: String,
    /// What is printed.
    pub product: &'static Product,
    /// Make-ready begins.
    pub start: i64,
    /// Printing begins.
    pub ready: i64,
    /// Web speed in millimetres a minute for every minute from the start; the job ends with the last.
    pub speed: Vec<i64>,
    /// One bit for each station that is lit.
    pub lit: u32,
    /// Level of its arc lamps in thousandths.
    pub arc_level: i64,
    /// Level of its LED lamps in thousandths.
    pub led_level: i64,
}

impl Job {
    /// The minute after its last.
    pub fn end(&self) -> i64 {
        self.start + self.speed.len() as i64
    }

    /// Web speed in a minute; standing outside the job.
    pub fn speed_at(&self, minute: i64) -> i64 {
        usize::try_from(minute - self.start).ok().and_then(|k| self.speed.get(k)).copied().unwrap_or(0)
    }

    /// Length printed after make-ready, in millimetres.
    pub fn printed_mm(&self) -> i64 {
        self.speed[(self.ready - self.start) as usize..].iter().sum()
    }

    /// The first minute in which the web moves.
    pub fn first_move(&self) -> i64 {
        self.start + self.speed.iter().position(|v| *v > 0).unwrap_or(0) as i64
    }
}

/// The jobs of a press in the production day that begins at 06:00 of a date, in order of time.
pub fn jobs(press: usize, day: NaiveDate) -> Vec<Job> {
    let mut jobs = Vec::new();
    let mut chance = Chance::of(day.num_days_from_ce() as u64 * 8 + press as u64);
    let Some((from, until)) = dates::manned(press, day) else { return jobs };
    if chance.one_in(24) && day.weekday() != Weekday::Sat {
        return jobs; // no order, or a day of maintenance
    }
    let mut start = from + chance.between(4, 18);
    while start + 70 < until {
        let job = job(&mut chance, press, start, until - 6, format!("{}-{}", day.format("%y%m%d"), jobs.len() + 1));
        // Cleaning, waiting for an approval, for paper, for a person.
        start = job.end() + if chance.one_in(4) { chance.between(30, 90) } else { chance.between(2, 14) };
        jobs.push(job);
    }
    jobs
}

/// One job that starts at a minute and has to end before another.
fn job(chance: &mut Chance, press: usize, start: i64, until: i64, number: String) -> Job {
    let (hall, led) = (&PRESSES[press], start >= dates::converted(press));
    let suits = |p: &&Product| p.inks <= hall.inks && (hall.white || !p.white);
    let choice: Vec<&'static Product> = PRODUCTS.iter().filter(suits).collect();
    let product = choice[chance.between(0, choice.len() as i64 - 1) as usize];
    let metres = chance.between(1_200, 7_500);
    let target = chance.about(if led { hall.led_speed } else { hall.arc_speed }, 150) * 1_000;
    let mut speed = make_ready(chance, 8 + 3 * product.inks as i64 / 2);
    let ready = start + speed.len() as i64;
    print(chance, &mut speed, target, metres * 1_000, (until - start) as usize);
    Job {
        number: format!("{number}{}", ["a", "b", "c"][press]),
        product,
        start,
        ready,
        speed,
        lit: lit(hall, product, chance),
        arc_level: chance.between(780, 960),
        led_level: chance.between(820, 1_000),
    }
}

/// Make-ready: the web stands while plates and anilox are changed, then moves slowly in bursts until the register fits.
fn make_ready(chance: &mut Chance, setting: i64) -> Vec<i64> {
    let mut speed = vec![0; chance.between(setting, setting + 12) as usize];
    for _ in 0..chance.between(2, 4) {
        speed.resize(speed.len() + chance.between(1, 3) as usize, 26_000);
        speed.resize(speed.len() + chance.between(1, 3) as usize, 0);
    }
    speed
}

/// Printing at about the target speed with a stop now and then, until the length is reached or the time is up.
fn print(chance: &mut Chance, speed: &mut Vec<i64>, target: i64, length: i64, limit: usize) {
    let mut done = 0;
    while done < length && speed.len() < limit {
        if done > 0 && chance.one_in(45) {
            let stop = chance.between(3, 11) as usize;
            speed.resize((speed.len() + stop).min(limit), 0);
        } else {
            let now = if done == 0 { target / 2 } else { chance.about(target, 12) };
            speed.push(now);
            done += now;
        }
    }
}

/// The stations that a product needs: some of the colour stations, beginning anywhere.
fn lit(hall: &Press, product: &Product, chance: &mut Chance) -> u32 {
    let first = hall.white as usize;
    let shift = chance.between(0, (hall.inks - product.inks) as i64) as usize;
    let inks = ((1_u32 << product.inks) - 1) << (first + shift);
    let white = u32::from(product.white && hall.white);
    inks | white | u32::from(product.varnish) << (hall.stations() - 1)
}
