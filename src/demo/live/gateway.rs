//! A simulated gateway: Modbus TCP with a meter behind each unit id. It reads and never writes.

use super::Live;
use super::image::image;
use std::future::{Ready, ready};
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio_modbus::server::Service;
use tokio_modbus::server::tcp::{Server, accept_tcp_connection};
use tokio_modbus::{ExceptionCode, Request, Response, SlaveRequest};

/// What answers on one connection.
#[derive(Clone)]
struct Gateway {
    live: Arc<Live>,
    units: Arc<[(u8, usize)]>,
}

impl Service for Gateway {
    type Request = SlaveRequest<'static>;
    type Response = Response;
    type Exception = ExceptionCode;
    type Future = Ready<Result<Response, ExceptionCode>>;

    fn call(&self, request: Self::Request) -> Self::Future {
        ready(self.answer(&request))
    }
}

impl Gateway {
    fn answer(&self, asked: &SlaveRequest<'_>) -> Result<Response, ExceptionCode> {
        let unit = self.units.iter().find(|(unit, _)| *unit == asked.slave);
        let (_, meter) = unit.ok_or(ExceptionCode::GatewayTargetDevice)?;
        let image = || self.live.look(|model, at| image(model, *meter, at));
        match asked.request {
            Request::ReadHoldingRegisters(from, count) => {
                part(&image().holding, from, count).map(Response::ReadHoldingRegisters)
            }
            Request::ReadInputRegisters(from, count) => {
                part(&image().input, from, count).map(Response::ReadInputRegisters)
            }
            _ => Err(ExceptionCode::IllegalFunction),
        }
    }
}

/// So many registers from an address on, as a device answers them.
fn part(table: &[u16], from: u16, count: u16) -> Result<Vec<u16>, ExceptionCode> {
    if !(1..=125).contains(&count) {
        return Err(ExceptionCode::IllegalDataValue);
    }
    let from = usize::from(from);
    table.get(from..from + usize::from(count)).map(<[u16]>::to_vec).ok_or(ExceptionCode::IllegalDataAddress)
}

/// Answers on a listener until the task is dropped.
pub async fn serve(listener: TcpListener, live: Arc<Live>, units: Vec<(u8, usize)>) {
    let gateway = Gateway { live, units: units.into() };
    let connected = |stream, from| {
        let gateway = gateway.clone();
        async move { accept_tcp_connection(stream, from, move |_| Ok(Some(gateway.clone()))) }
    };
    let failed = |error| tracing::debug!("a simulated gateway lost a connection: {error}");
    if let Err(error) = Server::new(listener).serve(&connected, failed).await {
        tracing::warn!("a simulated gateway stopped: {error}");
    }
}
