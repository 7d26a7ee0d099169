//! TLS in the workshop: with a certificate that is given, or with one of the book's own.
//!
//! Browsers give a page its queue, its worker and its camera over TLS only. Where nobody has a certificate the book makes a
//! root of its own, once, and a tablet comes to trust it by `/trust`. The root signs for the names under which the book is
//! reached and is worth nothing for any other (RFC 5280, 4.2.1.10), so that whoever steals its key cannot pose as somebody
//! else's site. What the server shows is signed by it at each start, and again when it is half a year old.
//!
//! Deliberately absent: certificates from an authority over the network; a proxy before the server does that better.

mod own;
mod root;

pub use root::Root;

use super::folder::{BookFolder, FolderError};
use crate::config::Tls;
use crate::domain::Timestamp;
use crate::log::{Files, StoreError};
use own::Own;
use rustls::crypto::ring;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::server::ServerConfig;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Why there is no TLS.
#[derive(Debug, thiserror::Error)]
pub enum TlsError {
    /// The folder.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// A file that is not what it should be.
    #[error("{path}: {why}")]
    File {
        /// The file.
        path: String,
        /// What is wrong with it.
        why: String,
    },
    /// A certificate cannot be made.
    #[error("the certificate of the book's own cannot be made: {0}")]
    Own(#[from] rcgen::Error),
    /// Certificate and key do not go together, or are of a kind that is not known.
    #[error("certificate and key cannot be used: {0}")]
    Unusable(#[from] rustls::Error),
}

/// Reads a clock.
type Now = Box<dyn Fn() -> Timestamp + Send + Sync>;

/// How a server speaks TLS: 1.2 and 1.3. The root that it made itself comes with it.
///
/// # Errors
/// [`TlsError`].
pub fn server_config(
    folder: &BookFolder,
    (address, tls): (&str, &Tls),
    listen: SocketAddr,
    now: Now,
) -> Result<(ServerConfig, Option<Root>), TlsError> {
    let provider = Arc::new(ring::default_provider());
    let config = ServerConfig::builder_with_provider(Arc::clone(&provider))
        .with_safe_default_protocol_versions()?
        .with_no_client_auth();
    if let Some((certificate, key)) = tls.certificate.as_ref().zip(tls.key.as_ref()) {
        let within = |path: &PathBuf| folder.path().join(path);
        let (chain, key) = given(&*folder.files(), &within(certificate), &within(key))?;
        return Ok((config.with_single_cert(chain, key)?, None));
    }
    let root = Root::kept_or_made(folder, &root::names(address, &tls.names, listen), now())?;
    let own = Own::new(root.clone(), provider, now)?;
    Ok((config.with_cert_resolver(Arc::new(own)), Some(root)))
}

type Given = (Vec<CertificateDer<'static>>, PrivateKeyDer<'static>);

/// A chain and its key from PEM files (RFC 7468).
fn given(files: &dyn Files, certificate: &Path, key: &Path) -> Result<Given, TlsError> {
    let unfit = |path: &Path, why: &dyn std::fmt::Display| TlsError::File {
        path: path.display().to_string(),
        why: why.to_string(),
    };
    StoreError::refuse_open(files, key).map_err(FolderError::from)?;
    let read = |path: &Path| files.read_whole(path).map_err(|error| unfit(path, &error));
    let chain: Result<Vec<_>, _> = CertificateDer::pem_slice_iter(&read(certificate)?).collect();
    let chain = chain.map_err(|error| unfit(certificate, &error))?;
    if chain.is_empty() {
        return Err(unfit(certificate, &"it holds no certificate in PEM"));
    }
    let key_read = PrivateKeyDer::from_pem_slice(&read(key)?);
    let key = key_read.map_err(|_| unfit(key, &"it holds no private key in PEM"))?;
    Ok((chain, key))
}
