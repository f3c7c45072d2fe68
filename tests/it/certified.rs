//! Certificates for the tests of TLS, made anew each time.

use rcgen::{BasicConstraints, CertificateParams, CertifiedIssuer, DnType, IsCa, KeyPair, date_time_ymd};

/// An authority of our own.
pub struct Authority(CertifiedIssuer<'static, KeyPair>);

impl Authority {
    pub fn new() -> Self {
        Self::called("authority")
    }

    pub fn called(name: &str) -> Self {
        let mut params = CertificateParams::new(Vec::new()).expect("parameters");
        params.distinguished_name.push(DnType::CommonName, name);
        params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
        Self(CertifiedIssuer::self_signed(params, KeyPair::generate().expect("a key")).expect("an authority"))
    }

    /// Its own certificate, as PEM.
    pub fn pem(&self) -> String {
        self.0.as_ref().pem()
    }

    /// A certificate for a name, valid to the end of a year.
    pub fn signs(&self, name: &str, to: i32) -> Certified {
        let key = KeyPair::generate().expect("a key");
        let mut params = CertificateParams::new(vec![name.into()]).expect("parameters");
        params.distinguished_name.push(DnType::CommonName, name);
        params.not_before = date_time_ymd(2020, 1, 1);
        params.not_after = date_time_ymd(to, 12, 31);
        let certificate = params.signed_by(&key, &self.0).expect("a certificate");
        Certified { certificate: certificate.pem(), key: key.serialize_pem(), authority: self.pem() }
    }
}

/// A certificate, its key and its authority's certificate, all as PEM.
pub struct Certified {
    pub certificate: String,
    pub key: String,
    pub authority: String,
}

impl Certified {
    /// One for localhost by an authority of its own.
    pub fn new() -> Self {
        Authority::new().signs("localhost", 2099)
    }
}
