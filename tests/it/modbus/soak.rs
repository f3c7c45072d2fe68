//! A minute of 200 meters.

use super::{line, polled, register, run, soon};
use inkwatt::acquire::Clock;
use inkwatt::names::MeterId;
use inkwatt::readings::Quantity;
use inkwatt::sources::{Encoding, Framing};
use std::future::{Ready, ready};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use tokio_modbus::server::{Service, tcp::Server};
use tokio_modbus::{ExceptionCode, Request, Response};

/// 200 meters on 200 sockets, polled once a second for a minute: every request that was served came through as a batch,
/// once and in order. Lateness and memory are printed (`--nocapture`), not asserted.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_200_meters_serve_in_a_minute_is_delivered() {
    const METERS: usize = 200;
    const SECONDS: i64 = 60;
    let clock = Clock::start(0);
    let mut servers = Vec::new();
    let mut running = Vec::new();
    for unit in 0..METERS {
        let server = Counting::start().await;
        let registers = (0..30).map(|k| register(Quantity::Import, 2 * k, Encoding::U32)).collect();
        let mut meter = polled(1, registers);
        meter.meter = MeterId::from(format!("m{unit:03}").as_str());
        running.push(run(line(server.port, Framing::Tcp, vec![meter]), clock.clone()));
        servers.push(server);
    }
    let first = clock.now().ceil(1_000);
    // Half a second after the last poll nothing is under way.
    clock.until(first + SECONDS * 1_000 - 500).await;
    let mut late: Vec<i64> = Vec::new();
    for (server, mut line) in servers.iter().zip(running) {
        soon(line.state.wait_for(|state| state.meters[0].polls == state.meters[0].answers))
            .await
            .expect("the line runs");
        line.stop.send(true).expect("the line runs");
        line.task.await.expect("it ends well");
        let mut counts = Vec::new();
        while let Some(batch) = line.batches.recv().await {
            let reading = batch.readings[0].1;
            late.push(reading.at - reading.at.floor(1_000));
            counts.push(reading.count);
        }
        let served = server.served();
        assert_eq!(counts, (1..=served).collect::<Vec<_>>());
        let state = line.state.borrow().meters[0].clone();
        assert_eq!(state.answers as i64, served);
        assert!(served + state.overruns as i64 >= SECONDS, "{state:?}");
    }
    late.sort_unstable();
    let part = |percent: usize| late[(late.len() - 1) * percent / 100];
    println!("{} polls; ms after the second: p50 {}, p99 {}, worst {}", late.len(), part(50), part(99), part(100));
    println!("{}", memory());
}

/// A meter whose first value is the number of requests that it has served.
pub struct Counting {
    pub port: u16,
    served: Arc<AtomicI64>,
}

struct Count(Arc<AtomicI64>);

impl Service for Count {
    type Request = Request<'static>;
    type Response = Response;
    type Exception = ExceptionCode;
    type Future = Ready<Result<Response, ExceptionCode>>;

    fn call(&self, request: Self::Request) -> Self::Future {
        let Request::ReadHoldingRegisters(_, count) = request else {
            return ready(Err(ExceptionCode::IllegalFunction));
        };
        let served = self.0.fetch_add(1, Ordering::Relaxed) + 1;
        let mut words = vec![0; count.into()];
        words[..2].copy_from_slice(&[(served >> 16) as u16, served as u16]);
        ready(Ok(Response::ReadHoldingRegisters(words)))
    }
}

impl Counting {
    pub async fn start() -> Self {
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let port = listener.local_addr().expect("an address").port();
        let served = Arc::new(AtomicI64::new(0));
        let count = served.clone();
        tokio::spawn(async move {
            let connected = |stream, _| ready(Ok(Some((Count(count.clone()), stream))));
            Server::new(listener).serve(&connected, |error| panic!("{error}")).await
        });
        Self { port, served }
    }

    pub fn served(&self) -> i64 {
        self.served.load(Ordering::Relaxed)
    }
}

/// The resident memory of this process, servers and other tests included.
pub fn memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    status.lines().find(|line| line.starts_with("VmRSS")).unwrap_or("VmRSS: unknown here").to_owned()
}
