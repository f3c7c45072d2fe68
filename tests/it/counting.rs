//! Meters on Modbus TCP that count what they serve.

use std::future::{Ready, ready};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use tokio_modbus::server::{Service, tcp::Server};
use tokio_modbus::{ExceptionCode, Request, Response};

/// A meter whose first value is the number of requests that it has served.
pub struct Counting {
    pub port: u16,
    served: Arc<AtomicI64>,
    connections: Arc<AtomicI64>,
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
        let connections = Arc::new(AtomicI64::new(0));
        let (count, seen) = (served.clone(), connections.clone());
        tokio::spawn(async move {
            let connected = |stream, _| {
                seen.fetch_add(1, Ordering::Relaxed);
                ready(Ok(Some((Count(count.clone()), stream))))
            };
            Server::new(listener).serve(&connected, |error| panic!("{error}")).await
        });
        Self { port, served, connections }
    }

    /// How many connections were made to it.
    pub fn connections(&self) -> i64 {
        self.connections.load(Ordering::Relaxed)
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
