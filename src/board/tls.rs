//! TLS by files: connections that have shaken hands, one slow visitor not keeping the others.

use crate::config::Tls;
use axum::serve::Listener;
use rustls::ServerConfig;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use std::io;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, mpsc};
use tokio::time::{sleep, timeout};
use tokio_rustls::TlsAcceptor;
use tokio_rustls::server::TlsStream;

/// How long a visitor may take to shake hands.
const PATIENCE: Duration = Duration::from_secs(10);
/// Visitors that shake hands at a time.
const AT_ONCE: usize = 64;
/// How long after the machine had no connection left it is tried again.
const PAUSE: Duration = Duration::from_millis(100);

/// Files that TLS cannot be served with.
#[derive(Debug, thiserror::Error)]
#[error(
    "{path}: {told}\nhelp: certificate_file and key_file under [board] in config/plant.toml name PEM files that the agent may read"
)]
pub struct TlsFault {
    path: String,
    told: String,
}

impl TlsFault {
    fn of(path: &Path, told: impl ToString) -> Self {
        Self { path: path.display().to_string(), told: told.to_string() }
    }
}

/// What TLS is served with.
///
/// # Errors
/// Files that cannot be read, or do not belong together.
pub fn terms(tls: &Tls) -> Result<Arc<ServerConfig>, TlsFault> {
    let chain: Result<Vec<CertificateDer<'static>>, _> =
        CertificateDer::pem_file_iter(&tls.certificate).and_then(Iterator::collect);
    let chain = chain.map_err(|fault| TlsFault::of(&tls.certificate, fault))?;
    if chain.is_empty() {
        return Err(TlsFault::of(&tls.certificate, "there is no certificate in it"));
    }
    let key = PrivateKeyDer::from_pem_file(&tls.key).map_err(|fault| TlsFault::of(&tls.key, fault))?;
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let builder = ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .map_err(|fault| TlsFault::of(&tls.certificate, fault))?;
    let made = builder.with_no_client_auth().with_single_cert(chain, key);
    made.map(Arc::new).map_err(|fault| TlsFault::of(&tls.certificate, fault))
}

/// Connections that have shaken hands.
pub(super) struct Secured {
    ready: mpsc::Receiver<(TlsStream<TcpStream>, SocketAddr)>,
    address: SocketAddr,
    accepting: tokio::task::JoinHandle<()>,
}

impl Secured {
    /// Takes connections from a listener.
    pub(super) fn new(listener: TcpListener, terms: Arc<ServerConfig>) -> io::Result<Self> {
        let address = listener.local_addr()?;
        let (done, ready) = mpsc::channel(AT_ONCE);
        Ok(Self { ready, address, accepting: tokio::spawn(accept(listener, TlsAcceptor::from(terms), done)) })
    }
}

impl Drop for Secured {
    fn drop(&mut self) {
        self.accepting.abort();
    }
}

async fn accept(listener: TcpListener, acceptor: TlsAcceptor, done: mpsc::Sender<(TlsStream<TcpStream>, SocketAddr)>) {
    let places = Arc::new(Semaphore::new(AT_ONCE));
    loop {
        let Ok(place) = places.clone().acquire_owned().await else { return };
        let Ok((stream, from)) = listener.accept().await else {
            sleep(PAUSE).await;
            continue;
        };
        let (acceptor, done) = (acceptor.clone(), done.clone());
        tokio::spawn(async move {
            let _place = place;
            if let Ok(Ok(stream)) = timeout(PATIENCE, acceptor.accept(stream)).await {
                // Whoever comes while the board ends is not served.
                let _ = done.send((stream, from)).await;
            }
        });
    }
}

impl Listener for Secured {
    type Io = TlsStream<TcpStream>;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Self::Io, Self::Addr) {
        match self.ready.recv().await {
            Some(ready) => ready,
            // The task that accepts never ends before this does.
            None => std::future::pending().await,
        }
    }

    fn local_addr(&self) -> io::Result<SocketAddr> {
        Ok(self.address)
    }
}
