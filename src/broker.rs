//! How a broker is reached: where it is, as whom, over which road, and what it means when it is not.

use rumqttc::{ConnectionError, MqttOptions, StateError, TlsConfiguration, TlsError, Transport, mqttbytes};
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::{AlertDescription, CertificateError, ClientConfig, RootCertStore};
use std::fmt;
use std::sync::Arc;

/// The largest message that is taken and sent, in bytes; without a limit of our own it would be 10 KiB.
pub const LARGEST: usize = 256 * 1024;

/// Where the broker is, and as whom to speak to it.
#[derive(Clone)]
pub struct Endpoint {
    /// Host name or address.
    pub host: String,
    /// Port.
    pub port: u16,
    /// Client id: names the session, so it must be the same after a restart and no other client's.
    pub client_id: String,
    /// User name and password, where the broker wants them.
    pub credentials: Option<(String, String)>,
    /// What TLS is spoken by; `None` where the connection is in the clear.
    pub tls: Option<Arc<ClientConfig>>,
}

impl fmt::Debug for Endpoint {
    /// Without the credentials.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Endpoint({}@{}:{})", self.client_id, self.host, self.port)
    }
}

impl Endpoint {
    /// A connection of this kind, with nothing said yet of its session.
    pub fn options(&self) -> MqttOptions {
        let mut options = MqttOptions::new(&self.client_id, &self.host, self.port);
        options.set_max_packet_size(LARGEST, LARGEST);
        if let Some((user, password)) = &self.credentials {
            options.set_credentials(user, password);
        }
        if let Some(tls) = &self.tls {
            options.set_transport(Transport::tls_with_config(TlsConfiguration::Rustls(tls.clone())));
        }
        options
    }

    /// Why a connection was lost or not made, with what to do where that is not plain.
    pub fn told(&self, lost: &ConnectionError) -> String {
        if let ConnectionError::MqttState(StateError::Deserialization(mqttbytes::Error::PayloadSizeLimitExceeded(
            size,
        ))) = lost
        {
            return format!(
                "a message of {size} bytes is larger than the {LARGEST} that are taken; keep it out of the mapped topics"
            );
        }
        match refused(lost) {
            Some(fault) => self.insecure(fault),
            None => lost.to_string(),
        }
    }

    /// What a refusal of TLS means here.
    fn insecure(&self, fault: &rustls::Error) -> String {
        use CertificateError::{
            BadSignature, Expired, ExpiredContext, NotValidForName, NotValidForNameContext, NotValidYet,
            NotValidYetContext, UnknownIssuer,
        };
        let host = &self.host;
        match fault {
            rustls::Error::InvalidCertificate(NotValidForName | NotValidForNameContext { .. }) => format!(
                "the broker's certificate is not for {host}: write the name that stands in the certificate as host, or have one made for this name"
            ),
            rustls::Error::InvalidCertificate(Expired | ExpiredContext { .. }) => {
                "the broker's certificate has expired: have it renewed, and look at the clock of this machine".into()
            }
            rustls::Error::InvalidCertificate(NotValidYet | NotValidYetContext { .. }) => {
                "the broker's certificate is not valid yet: look at the clock of this machine".into()
            }
            // The other authority may go by the same name.
            rustls::Error::InvalidCertificate(UnknownIssuer | BadSignature) => {
                "the broker's certificate is from another authority than authority_file names".into()
            }
            rustls::Error::AlertReceived(AlertDescription::CertificateRequired) => {
                "the broker wants a certificate of this client: name certificate_file and key_file under [mqtt]".into()
            }
            rustls::Error::AlertReceived(alert) if is_about_our_certificate(*alert) => format!(
                "the broker does not accept the certificate of certificate_file ({alert:?}): it has expired, or is from an authority that the broker does not know"
            ),
            other => format!("TLS with {host} failed: {other}"),
        }
    }
}

const fn is_about_our_certificate(alert: AlertDescription) -> bool {
    matches!(
        alert,
        AlertDescription::UnknownCA
            | AlertDescription::DecryptError
            | AlertDescription::BadCertificate
            | AlertDescription::CertificateExpired
            | AlertDescription::CertificateRevoked
            | AlertDescription::CertificateUnknown
            | AlertDescription::UnsupportedCertificate
    )
}

/// The refusal of TLS that lies beneath an error of the connection.
fn refused(lost: &ConnectionError) -> Option<&rustls::Error> {
    let carrier = match lost {
        ConnectionError::Tls(TlsError::TLS(fault)) => return Some(fault),
        ConnectionError::Io(carrier)
        | ConnectionError::Tls(TlsError::Io(carrier))
        | ConnectionError::MqttState(
            StateError::Io(carrier) | StateError::Deserialization(mqttbytes::Error::Io(carrier)),
        ) => carrier,
        _ => return None,
    };
    carrier.get_ref()?.downcast_ref()
}

/// PEM that TLS cannot be spoken by, in words, and whose it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Unusable {
    /// The certificates of the authority.
    Authority(String),
    /// This client's certificate, or that it does not belong to the key.
    Own(String),
    /// Its key.
    Key(String),
}

/// What TLS is spoken by: the certificates of the authority that the broker's must be from and, where the broker wants to know
/// its clients, our own certificate with those up to its authority, and our key; all PEM.
///
/// # Errors
/// Where they cannot be used.
pub fn terms(authority: &[u8], own: Option<(&[u8], &[u8])>) -> Result<Arc<ClientConfig>, Unusable> {
    let mut roots = RootCertStore::empty();
    for certificate in certificates(authority).map_err(Unusable::Authority)? {
        roots.add(certificate).map_err(|fault| Unusable::Authority(fault.to_string()))?;
    }
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let builder = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .map_err(|fault| Unusable::Authority(fault.to_string()))?
        .with_root_certificates(roots);
    let Some((chain, key)) = own else { return Ok(Arc::new(builder.with_no_client_auth())) };
    let chain = certificates(chain).map_err(Unusable::Own)?;
    let key = PrivateKeyDer::from_pem_slice(key).map_err(|fault| Unusable::Key(fault.to_string()))?;
    builder.with_client_auth_cert(chain, key).map(Arc::new).map_err(|fault| Unusable::Own(fault.to_string()))
}

fn certificates(pem: &[u8]) -> Result<Vec<CertificateDer<'static>>, String> {
    let read: Result<Vec<_>, _> = CertificateDer::pem_slice_iter(pem).collect();
    let certificates = read.map_err(|fault| fault.to_string())?;
    if certificates.is_empty() { Err("there is no certificate in it".into()) } else { Ok(certificates) }
}
