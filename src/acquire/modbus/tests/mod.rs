//! Timing and recovery on a paused clock, over streams in memory.

mod bench;

use super::course::seed;
use super::{Ask, Condition, Fault};
use crate::sources::{Block, Exception, Framing, Parity, Serial, Table};
use crate::time::At;
use bench::{Reply, Seen, all, bench};
use std::sync::{Arc, Mutex};
use tokio::sync::oneshot;

#[tokio::test(start_paused = true)]
async fn polls_fall_on_multiples_and_readings_are_stamped_in_the_middle() {
    let mut line = bench(&[1], |seen| Reply::After(40, vec![7; seen.block.count.into()])).start();
    let stamps: Vec<At> = [line.batch().await, line.batch().await].iter().map(|b| b.readings[0].1.at).collect();
    assert_eq!(stamps, [At(1_020), At(2_020)]);
    assert_eq!(line.asked(1)[..2], [At(1_000), At(2_000)]);
    assert_eq!(line.condition(0), Condition::Answering(40));
}

#[tokio::test(start_paused = true)]
async fn a_poll_gives_one_batch_of_raw_counts() {
    let mut line = bench(&[1], |_| Reply::After(0, vec![7, 0, 0, 0, 0, 9])).start();
    let batch = line.batch().await;
    assert_eq!(&*batch.source, "modbus gateway:502");
    let counts: Vec<_> = batch.readings.iter().map(|(series, reading)| (series.to_string(), reading.count)).collect();
    assert_eq!(counts, [("import of meter m1".to_owned(), 7), ("power of meter m1".to_owned(), 9)]);
}

#[tokio::test(start_paused = true)]
async fn an_overrun_skips_to_the_next_multiple_and_is_counted() {
    let mut bench = bench(&[1], |seen| Reply::After(1_300, vec![7; seen.block.count.into()]));
    bench.line.timeout = 3_000;
    let mut line = bench.start();
    line.until(At(10_900)).await;
    assert_eq!(line.asked(1), [1, 3, 5, 7, 9].map(|s| At(s * 1_000)));
    assert_eq!(line.state.borrow().meters[0].overruns, 5);
}

#[tokio::test(start_paused = true)]
async fn a_dead_meter_costs_its_neighbours_little() {
    let mut line = bench(&[1, 2, 3], |seen| match seen.unit {
        2 => Reply::Nothing,
        _ => all(seen.block, 1),
    })
    .start();
    line.until(At(600_500)).await;
    assert_eq!((line.asked(1).len(), line.asked(3).len()), (600, 600));
    let dead = line.asked(2);
    assert!((12..30).contains(&dead.len()), "{dead:?}");
    assert!(dead.windows(2).all(|pair| pair[1] - pair[0] <= 61_000), "{dead:?}");
    assert_eq!(line.condition(1), Condition::Silent);
    assert_eq!(line.state.borrow().meters[1].since, At(1_000));
}

#[tokio::test(start_paused = true)]
async fn a_meter_that_answers_again_is_polled_at_its_interval_again() {
    let mut line = bench(&[1], |seen| if seen.at < At(5_000) { Reply::Nothing } else { all(seen.block, 1) }).start();
    let first = line.batch().await.readings[0].1.at;
    let second = line.batch().await.readings[0].1.at;
    assert_eq!(second - first, 1_000);
    assert_eq!(line.condition(0), Condition::Answering(0));
}

const SERIAL: Serial = Serial { baud: 19_200, parity: Parity::Even, stop_bits: 1 };

/// The request's ordinal is its value, so that an answer taken for another's would show.
fn numbered(seen: &Seen, late: impl Fn(usize) -> bool) -> Reply {
    let delay = if late(seen.ordinal) { 350 } else { 10 };
    Reply::After(delay, vec![seen.ordinal as u16; seen.block.count.into()])
}

#[tokio::test(start_paused = true)]
async fn a_late_answer_is_never_taken_for_the_next_one() {
    for (framing, gateway_timeout) in [
        (Framing::RtuOverTcp, None),
        (Framing::RtuOverTcp, Some(1_000)),
        (Framing::Rtu(SERIAL), None),
        (Framing::Rtu(SERIAL), Some(1_000)),
        (Framing::Tcp, None),
        (Framing::Tcp, Some(1_000)),
    ] {
        let mut bench = bench(&[1, 2], |seen| numbered(seen, |k| k % 3 == 0));
        bench.line.framing = framing;
        bench.pipes.framing = framing;
        bench.line.gateway_timeout = gateway_timeout;
        let mut line = bench.start();
        let batches = line.until(At(60_500)).await;
        let requests = line.requests.lock().expect("a list").clone();
        // The one device of the test serves both units: on a serial line it is late for the neighbour as well.
        let least = if framing == Framing::Rtu(SERIAL) { 20 } else { 40 };
        assert!(batches.len() > least, "{framing:?} {gateway_timeout:?}: {}", batches.len());
        for batch in batches {
            let (series, reading) = &batch.readings[0];
            let (unit, at) = requests[reading.count as usize];
            assert_eq!(series.to_string(), format!("import of meter m{unit}"), "{framing:?} {gateway_timeout:?}");
            // A device on a serial line that is still busy with another request takes the next one later.
            let most = if framing == Framing::Rtu(SERIAL) { 200 } else { 10 };
            assert!((reading.at - at).abs() <= most && reading.count % 3 != 0, "{framing:?} {gateway_timeout:?}");
        }
    }
}

/// What a bad line does with a request, by the ordinal of the request: half of them are answered well.
fn badly(seen: &Seen) -> Reply {
    let mut registers = vec![0; seen.block.count.into()];
    registers[0] = seen.ordinal as u16;
    registers.iter_mut().skip(5).for_each(|high| *high = (seen.ordinal >> 16) as u16);
    let chance = seed(&seen.ordinal.to_string());
    let (kind, much) = (chance % 16, (chance >> 8) % 1_000);
    match kind {
        0..8 => Reply::After(much % 20, registers),
        8 | 9 => Reply::After(201 + much, registers),
        10 => Reply::After(201 + 8 * much, registers),
        11 => Reply::Cut(much % 400, registers, (much % 17) as usize),
        12 => Reply::Twice(registers),
        13 => Reply::Refuse(6),
        14 => Reply::Raw(vec![4, 12, much as u8]),
        _ => Reply::Nothing,
    }
}

#[tokio::test(start_paused = true)]
async fn no_wrong_value_is_taken_in_a_hundred_thousand_requests_on_a_bad_line() {
    for framing in [Framing::Rtu(SERIAL), Framing::RtuOverTcp] {
        let mut bench = bench(&[1, 2, 3], badly);
        bench.line.framing = framing;
        bench.pipes.framing = framing;
        let (mut line, mut taken, mut requests) = (bench.start(), 0, 0);
        let mut now = At(0);
        while requests < 100_000 {
            now = now + 1_000_000;
            let batches = line.until(now).await;
            let seen = line.requests.lock().expect("a list").clone();
            for batch in &batches {
                let (low, high) = (batch.readings[0].1, batch.readings[1].1);
                let (unit, at) = seen[(low.count | high.count << 16) as usize];
                assert_eq!(batch.readings[0].0.to_string(), format!("import of meter m{unit}"), "{framing:?}");
                // The reading stands in the middle of its own request and answer, which took at most the time-out of 200 ms; a
                // busy device takes a request later than it was sent. The request before was a second earlier.
                assert!((-200..=100).contains(&(low.at - at)), "{framing:?}: asked {at:?}, read {:?}", low.at);
            }
            taken += batches.len();
            requests = seen.len();
        }
        assert!(taken > requests / 4, "{framing:?}: {taken} of {requests}");
    }
}

#[tokio::test(start_paused = true)]
async fn a_slow_device_on_a_gateway_is_waited_for_on_the_same_connection() {
    let mut bench = bench(&[1], |seen| {
        assert_eq!(seen.connection, 1);
        numbered(seen, |_| true)
    })
    .rtu();
    bench.line.gateway_timeout = Some(1_000);
    let mut line = bench.start();
    assert_eq!(line.until(At(10_000)).await.len(), 0);
    assert_eq!(line.condition(0), Condition::Slow(350));
}

#[tokio::test(start_paused = true)]
async fn bytes_that_lie_on_the_line_are_thrown_away() {
    let stray = b"\x01\x04\x0c\x11\x11\x11\x11\x11\x11".to_vec();
    let mut bench = bench(&[1], |seen| all(seen.block, 7)).rtu();
    bench.pipes.stray = stray;
    let mut line = bench.start();
    assert_eq!(line.batch().await.readings[0].1.count, 7);
}

#[tokio::test(start_paused = true)]
async fn an_answer_of_another_length_unit_or_function_is_no_answer() {
    for framing in [Framing::Tcp, Framing::RtuOverTcp] {
        let bodies: [(&[u8], &str, &str); 3] = [
            (&[4, 2, 0, 7], "1 register instead of 6", "no answer"),
            (&[3, 12, 0, 7, 0, 7, 0, 7, 0, 7, 0, 7, 0, 7], "", "an answer to function 3"),
            (&[4, 10, 0, 7, 0, 7, 0, 7, 0, 7, 0, 7, 0, 7], "bytes that are not Modbus", "an answer of 10 bytes"),
        ];
        for (body, by_tcp, by_rtu) in bodies {
            let mut bench =
                bench(&[1], |seen| Reply::Raw(if seen.connection > 1 { vec![0x84, 4] } else { body.into() }));
            bench.line.framing = framing;
            bench.pipes.framing = framing;
            let mut line = bench.start();
            line.until(At(1_900)).await;
            let expected = if framing == Framing::Tcp { by_tcp } else { by_rtu };
            match line.condition(0) {
                Condition::Garbled(what) => assert!(what.starts_with(expected), "{what}"),
                Condition::Silent => assert_eq!(expected, "no answer"),
                other => panic!("{framing:?} {body:?}: {other:?}"),
            }
        }
    }
}

#[tokio::test(start_paused = true)]
async fn a_request_over_a_hole_is_broken_up_until_the_values_come() {
    let mut line = bench(&[1], |seen| match (seen.block.address, seen.block.count) {
        (0, 1) => Reply::After(0, vec![7]),
        _ => Reply::Refuse(2),
    })
    .start();
    let counts: Vec<i64> = line.until(At(5_500)).await.iter().map(|batch| batch.readings[0].1.count).collect();
    assert!(!counts.is_empty() && counts.iter().all(|count| *count == 7), "{counts:?}");
    let refused = Block { table: Table::Input, address: 5, count: 1 };
    assert_eq!(line.condition(0), Condition::Refusing(refused, Exception::ILLEGAL_ADDRESS));
}

#[tokio::test(start_paused = true)]
async fn a_connection_that_was_closed_while_idle_costs_no_poll() {
    let answered = Arc::new(Mutex::new(0));
    let mut line = bench(&[1], move |seen| {
        // The first request on each connection is answered, the next finds it closed.
        let mut last = answered.lock().expect("a number");
        if std::mem::replace(&mut *last, seen.connection) == seen.connection {
            return Reply::Close;
        }
        all(seen.block, 7)
    })
    .start();
    assert_eq!(line.until(At(20_500)).await.len(), 20);
}

#[tokio::test(start_paused = true)]
async fn a_gateway_that_misses_a_unit_is_not_blamed_for_it() {
    let mut line = bench(&[1, 2], |seen| match seen.unit {
        2 => Reply::Refuse(0x0B),
        _ => all(seen.block, 7),
    })
    .start();
    assert_eq!(line.until(At(60_500)).await.len(), 60);
    assert!(line.asked(2).len() < 12);
}

#[tokio::test(start_paused = true)]
async fn a_gateway_without_a_path_is_left_alone_as_a_whole() {
    let mut line =
        bench(&[1, 2], |seen| if seen.at < At(30_000) { Reply::Refuse(0x0A) } else { all(seen.block, 7) }).start();
    line.until(At(30_000)).await;
    assert!(line.asked(1).len() + line.asked(2).len() < 16);
    // The first answer frees both.
    let first = line.batch().await.readings[0].1.at;
    line.until(first + 2_500).await;
    let recent = |unit| line.asked(unit).into_iter().filter(|at| *at > first).count();
    assert!(recent(1) >= 2 && recent(2) >= 2);
}

#[tokio::test(start_paused = true)]
async fn a_line_without_a_connection_is_tried_with_growing_pauses() {
    let mut bench = bench(&[1, 2, 3], |seen| all(seen.block, 7));
    bench.pipes.refusals = 4;
    let mut line = bench.start();
    line.until(At(1_900)).await;
    assert_eq!(line.condition(2), Condition::Unreachable("connection refused".into()));
    let first = line.batch().await.readings[0].1.at;
    assert!(first > At(5_000) && first < At(20_000), "{first:?}");
}

#[tokio::test(start_paused = true)]
async fn a_request_for_all_values_is_served_between_the_polls() {
    let mut bench = bench(&[1, 2], |seen| match seen.unit {
        1 => all(seen.block, 7),
        _ => Reply::Nothing,
    });
    bench.line.meters.iter_mut().for_each(|polled| polled.interval = 600_000);
    let line = bench.start();
    line.clock.until(At(2_000)).await;
    let (reply, answers) = oneshot::channel();
    line.asks.send(Ask { reply }).await.expect("the line runs");
    let answers = answers.await.expect("answers");
    assert_eq!(answers.iter().map(|a| a.polled.meter.as_str()).collect::<Vec<_>>(), ["m1", "m2"]);
    assert_eq!(answers[0].values().map(|(_, value)| value.map(|(_, count)| count)).collect::<Vec<_>>(), [Ok(7), Ok(7)]);
    assert_eq!(answers[1].faults, [Fault::Silent]);
    assert!(line.clock.now() < At(3_000));
}

#[tokio::test(start_paused = true)]
async fn a_line_stops_in_the_middle_of_a_request() {
    let mut bench = bench(&[1], |_| Reply::Nothing);
    bench.line.timeout = 600_000;
    let line = bench.start();
    line.clock.until(At(1_500)).await;
    line.stop.send(true).expect("the line runs");
    line.task.await.expect("it ends well");
    assert_eq!(line.clock.now(), At(1_500));
}

#[tokio::test(start_paused = true)]
async fn after_the_clock_was_set_back_polls_go_on_at_its_multiples() {
    let mut line = bench(&[1], |seen| all(seen.block, 7)).start();
    line.until(At(60_100)).await;
    // Wall time stood still while paused time ran: following it sets the clock back by a minute.
    assert!(line.clock.follow().is_some());
    let now = line.clock.now();
    assert!(now < At(2_000));
    assert_eq!(line.batch().await.readings[0].1.at, now.ceil(1_000));
}
