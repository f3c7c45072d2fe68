//! The live side of the invented plant: meters on real Modbus TCP and press signals over a real MQTT broker, all on
//! this machine only. The model goes on where the history ended.

mod broker;
mod gateway;
mod image;
mod signals;

use super::hall::{CHILLER, FAN, MAIN, PRESSES, first_station};
use super::model::Model;
use crate::time::At;
use signals::Told;
use std::io;
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::{Arc, Mutex, PoisonError};
use tokio::net::TcpListener;
use tokio::task::JoinSet;

/// The gateways: one for each press, and one for what serves them all.
pub const GATEWAYS: usize = PRESSES.len() + 1;

/// The model at the present moment of a clock.
pub struct Live {
    model: Mutex<Model>,
    now: Box<dyn Fn() -> At + Send + Sync>,
}

impl Live {
    /// Brings the model to the present and looks at it.
    fn look<T>(&self, see: impl FnOnce(&Model, At) -> T) -> T {
        // A panic in a look leaves the model between two minutes at worst; it goes on from there.
        let mut model = self.model.lock().unwrap_or_else(PoisonError::into_inner);
        let at = (self.now)();
        model.advance(at);
        see(&model, at)
    }
}

/// The peers with their ports taken, not yet answering.
#[derive(Debug)]
pub struct Bound {
    gateways: Vec<TcpListener>,
    broker: SocketAddr,
}

impl Bound {
    /// Takes free ports on 127.0.0.1 for the gateways and the broker.
    ///
    /// # Errors
    /// No port could be had.
    pub async fn bind() -> io::Result<Self> {
        let mut gateways = Vec::new();
        for _ in 0..GATEWAYS {
            gateways.push(TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await?);
        }
        // The broker opens its port itself and cannot be handed an open one: a free port is found and let go again.
        let broker = std::net::TcpListener::bind((Ipv4Addr::LOCALHOST, 0))?.local_addr()?;
        Ok(Self { gateways, broker })
    }

    /// Where the gateways listen, in the order of the lines `gateway-1`, `gateway-2`, `gateway-3`, `services`.
    ///
    /// # Errors
    /// The system does not know its own socket.
    pub fn gateways(&self) -> io::Result<Vec<SocketAddr>> {
        self.gateways.iter().map(TcpListener::local_addr).collect()
    }

    /// Where the broker will listen.
    pub fn broker(&self) -> SocketAddr {
        self.broker
    }

    /// Starts to answer and to publish. `now` is the clock of the plant, which ends its history at [`super::END`].
    ///
    /// # Errors
    /// The broker does not come up.
    pub async fn serve(self, model: Model, now: impl Fn() -> At + Send + Sync + 'static) -> io::Result<Peers> {
        let told = Told::before(&model);
        let live = Arc::new(Live { model: Mutex::new(model), now: Box::new(now) });
        let mut tasks = JoinSet::new();
        for (k, listener) in self.gateways.into_iter().enumerate() {
            tasks.spawn(gateway::serve(listener, Arc::clone(&live), units(k)));
        }
        broker::start(self.broker).await?;
        tasks.spawn(signals::publish(self.broker, live, told));
        Ok(Peers { _tasks: tasks })
    }
}

/// The running peers. Dropping them stops the meters and the signals; the broker stays until the process ends, since it
/// knows no way to stop.
#[derive(Debug)]
pub struct Peers {
    _tasks: JoinSet<()>,
}

/// The meters behind a gateway: unit id and position.
fn units(gateway: usize) -> Vec<(u8, usize)> {
    if gateway == PRESSES.len() {
        return vec![(1, FAN), (2, CHILLER)];
    }
    let first = first_station(gateway);
    let lamps = (0..PRESSES[gateway].stations()).map(|s| (s as u8 + 1, first + s));
    lamps.chain([(100, MAIN + gateway)]).collect()
}
