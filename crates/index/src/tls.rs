//! Whom a server's certificate must lead up to, and which places need none.

use std::fs;
use std::net::IpAddr;
use std::path::Path;
use std::sync::Arc;

use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject;
use rustls::{ClientConfig, RootCertStore};

use crate::error::Error;

/// The certificates of a file in PEM form.
pub(crate) fn read_authorities(path: &Path) -> Result<Vec<CertificateDer<'static>>, Error> {
    let bytes = fs::read(path).map_err(Error::io(path, "reading its certificates"))?;
    let all: Result<Vec<_>, _> = CertificateDer::pem_slice_iter(&bytes).collect();
    match all {
        Ok(all) if !all.is_empty() => Ok(all),
        _ => Err(Error::Address(format!(
            "{}: no certificate in PEM form in it; --ca names the file of whoever signs the server's",
            path.display()
        ))),
    }
}

/// A connection that is verified: by these authorities, or without any by those that browsers trust.
pub(crate) fn verified(
    authorities: Option<&[CertificateDer<'static>]>,
) -> Result<ClientConfig, Error> {
    let mut roots = RootCertStore::empty();
    match authorities {
        Some(all) => {
            for one in all {
                roots
                    .add(one.clone())
                    .map_err(|e| Error::Address(format!("a certificate of --ca: {e}")))?;
            }
        }
        None => roots.extend(webpki_roots::TLS_SERVER_ROOTS.iter().cloned()),
    }
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .map_err(|e| Error::Address(format!("TLS: {e}")))?;
    Ok(config.with_root_certificates(roots).with_no_client_auth())
}

/// Whether a host by that name is this machine itself.
pub(crate) fn is_here(host: &str) -> bool {
    let bare = host.trim_start_matches('[').trim_end_matches(']');
    host == "localhost" || bare.parse::<IpAddr>().is_ok_and(|at| at.is_loopback())
}
