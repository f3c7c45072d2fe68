//! Certificates for the tests of TLS, made anew each time.

use rcgen::{BasicConstraints, CertificateParams, CertifiedIssuer, IsCa, KeyPair};

/// A certificate for localhost by an authority of its own, all as PEM.
pub struct Certified {
    pub certificate: String,
    pub key: String,
    pub authority: String,
}

impl Certified {
    pub fn new() -> Self {
        let mut params = CertificateParams::new(Vec::new()).expect("parameters");
        params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
        let authority =
            CertifiedIssuer::self_signed(params, KeyPair::generate().expect("a key")).expect("an authority");
        let key = KeyPair::generate().expect("a key");
        let own = CertificateParams::new(vec!["localhost".into()]).expect("parameters");
        let certificate = own.signed_by(&key, &authority).expect("a certificate");
        Self { certificate: certificate.pem(), key: key.serialize_pem(), authority: authority.as_ref().pem() }
    }
}
