//! The one place where the crate influxdb2 is used: it posts lines that were built and checked here. What it lacks is around it, a limit
//! of time by the builder of its connection, pauses and halving by whoever calls.

use super::answer::Answer;
use influxdb2::api::write::TimestampPrecision;
use influxdb2::{ClientBuilder, RequestError};
use reqwest::redirect::Policy;
use reqwest::{Certificate, Url};
use std::error::Error;
use std::time::Duration;

/// How long an answer may take, where nobody says otherwise: a batch of thousands of lines over a slow line.
pub const PATIENCE: Duration = Duration::from_secs(30);

/// A bucket of an InfluxDB.
pub struct Database {
    client: influxdb2::Client,
    organisation: String,
    bucket: String,
}

impl Database {
    /// A bucket of an organisation at a URL without a path, that is written to with a token; its server is trusted by the certificates of
    /// `authority` (PEM) as well as by those that browsers trust.
    ///
    /// # Errors
    /// Where the URL or the certificates cannot be read, in words.
    pub fn new(
        url: &str,
        organisation: &str,
        bucket: &str,
        token: &str,
        authority: Option<&[u8]>,
        patience: Duration,
    ) -> Result<Self, String> {
        // The crate panics where a URL is none, and writes beside the path of one that has a path.
        let base = Url::parse(url).map_err(|fault| format!("url: {fault}"))?;
        if base.path() != "/" {
            return Err(format!("url has the path {}; InfluxDB is written to at the root of its server", base.path()));
        }
        let mut builder = reqwest::Client::builder()
            .timeout(patience)
            // The token is not carried to where an answer points.
            .redirect(Policy::none())
            .user_agent(concat!("inkwatt/", env!("CARGO_PKG_VERSION")));
        for certificate in certificates(authority)? {
            builder = builder.add_root_certificate(certificate);
        }
        let client = ClientBuilder::with_builder(builder, url, organisation, token).build();
        let client = client.map_err(|fault| fault.to_string())?;
        Ok(Self { client, organisation: organisation.into(), bucket: bucket.into() })
    }

    /// Posts lines, their time in milliseconds, and waits for the answer.
    pub async fn post(&self, lines: String) -> Answer {
        let (organisation, bucket) = (&self.organisation, &self.bucket);
        let precision = TimestampPrecision::Milliseconds;
        let sent = self.client.write_line_protocol_with_precision(organisation, bucket, lines, precision);
        match sent.await {
            Ok(()) => Answer::Taken,
            Err(RequestError::Http { status, text }) => Answer::of(status.as_u16(), &text),
            Err(RequestError::ReqwestProcessing { source }) => Answer::Later(unreached(&source)),
            Err(fault) => Answer::Later(fault.to_string()),
        }
    }
}

fn certificates(authority: Option<&[u8]>) -> Result<Vec<Certificate>, String> {
    let Some(pem) = authority else { return Ok(Vec::new()) };
    let certificates = Certificate::from_pem_bundle(pem).map_err(|fault| fault.to_string())?;
    if certificates.is_empty() { Err("there is no certificate in it".into()) } else { Ok(certificates) }
}

/// Why no answer came, by its innermost cause and without the address, which [influx] states.
fn unreached(fault: &reqwest::Error) -> String {
    if fault.is_timeout() {
        return "did not answer in time".into();
    }
    let mut cause: &dyn Error = fault;
    while let Some(inner) = cause.source() {
        cause = inner;
    }
    format!("could not be reached: {cause}")
}
