//! A webhook: each alert is posted as JSON over HTTPS and signed.

use super::alert::Alert;
use super::signature::sign;
use crate::time::At;
use std::sync::Arc;
use std::time::Duration;
use ureq::Agent;
use ureq::tls::{Certificate, PemItem, RootCerts, TlsConfig, parse_pem};

/// How long an answer may take.
const PATIENCE: Duration = Duration::from_secs(10);

/// Where alerts are posted.
pub struct Webhook {
    name: String,
    url: String,
    key: Vec<u8>,
    agent: Agent,
}

impl Webhook {
    /// A webhook of a name, at a URL, that signs with a key and trusts the certificates of `authority` (PEM), or those that browsers
    /// trust where there are none.
    ///
    /// # Errors
    /// Where the certificates cannot be read, in words.
    pub fn new(name: &str, url: &str, key: &str, authority: Option<&[u8]>) -> Result<Self, String> {
        let roots = match authority {
            Some(pem) => RootCerts::Specific(Arc::new(certificates(pem)?)),
            None => RootCerts::WebPki,
        };
        let agent = Agent::config_builder()
            .timeout_global(Some(PATIENCE))
            // Whoever moves must say so to a person: a signed alert is not carried to where an answer points.
            .max_redirects(0)
            .http_status_as_error(false)
            .user_agent(concat!("inkwatt/", env!("CARGO_PKG_VERSION")))
            .tls_config(TlsConfig::builder().root_certs(roots).build())
            .build()
            .into();
        Ok(Self { name: name.into(), url: url.into(), key: key.into(), agent })
    }

    /// Posts an alert, and waits for the answer.
    ///
    /// # Errors
    /// Why it did not arrive, in words.
    pub fn send(&self, alert: &Alert, now: At) -> Result<(), String> {
        let body = alert.bytes();
        let signed = sign(&self.key, &self.name, &self.url, &body, now.0.div_euclid(1_000));
        let answer = self
            .agent
            .post(&self.url)
            .header("content-type", "application/json")
            .header("content-digest", &signed.digest)
            .header("signature-input", &signed.input)
            .header("signature", &signed.signature)
            .send(&body[..])
            .map_err(|fault| format!("not delivered: {fault}"))?;
        match answer.status() {
            status if status.is_success() => Ok(()),
            status => Err(format!("the receiver answered {status}")),
        }
    }
}

fn certificates(pem: &[u8]) -> Result<Vec<Certificate<'static>>, String> {
    let items: Result<Vec<PemItem<'static>>, _> = parse_pem(pem).collect();
    let items = items.map_err(|fault| fault.to_string())?;
    let certificates: Vec<_> = items
        .into_iter()
        .filter_map(|item| if let PemItem::Certificate(certificate) = item { Some(certificate) } else { None })
        .collect();
    if certificates.is_empty() { Err("there is no certificate in it".into()) } else { Ok(certificates) }
}
