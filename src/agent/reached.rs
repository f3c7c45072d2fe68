//! The broker of the configuration in the terms of a connection, with the files that TLS is spoken by.

use crate::broker::{Endpoint, Unusable, terms};
use crate::config::{Absent, Broker, BrokerTls, Secret};
use rustls::ClientConfig;
use std::fs;
use std::path::Path;
use std::sync::Arc;

/// Why no connection can be tried.
#[derive(Debug, thiserror::Error)]
pub enum Unreachable {
    /// The password is not where the configuration says.
    #[error(transparent)]
    Secret(#[from] Absent),
    /// TLS cannot be spoken by a file.
    #[error("{path}: {told}\nhelp: {key} under [mqtt] in config/plant.toml names a PEM file that the agent may read")]
    Tls {
        /// Which file.
        path: String,
        /// What is wrong with it.
        told: String,
        /// The key that names it.
        key: &'static str,
    },
}

impl Unreachable {
    fn tls(key: &'static str, path: &Path, told: impl ToString) -> Self {
        Self::Tls { path: path.display().to_string(), told: told.to_string(), key }
    }
}

/// The broker in the terms of a connection.
///
/// # Errors
/// A password or a file that is not at hand or cannot be used.
pub fn endpoint(broker: &Broker) -> Result<Endpoint, Unreachable> {
    let password = broker.password.as_ref().map(Secret::reveal).transpose()?.unwrap_or_default();
    Ok(Endpoint {
        host: broker.host.clone(),
        port: broker.port,
        client_id: broker.client_id.clone(),
        credentials: broker.username.clone().map(|user| (user, password.into())),
        tls: broker.tls.as_ref().map(secured).transpose()?,
    })
}

fn secured(tls: &BrokerTls) -> Result<Arc<ClientConfig>, Unreachable> {
    let authority = pem("authority_file", &tls.authority)?;
    let own = match &tls.own {
        Some(own) => Some((pem("certificate_file", &own.certificate)?, pem("key_file", &own.key)?)),
        None => None,
    };
    let made = terms(&authority, own.as_ref().map(|(chain, key)| (&chain[..], &key[..])));
    made.map_err(|fault| match (fault, &tls.own) {
        (Unusable::Key(told), Some(own)) => Unreachable::tls("key_file", &own.key, told),
        (Unusable::Own(told), Some(own)) => Unreachable::tls("certificate_file", &own.certificate, told),
        (Unusable::Authority(told) | Unusable::Own(told) | Unusable::Key(told), _) => {
            Unreachable::tls("authority_file", &tls.authority, told)
        }
    })
}

fn pem(key: &'static str, path: &Path) -> Result<Vec<u8>, Unreachable> {
    fs::read(path).map_err(|fault| Unreachable::tls(key, path, fault))
}
