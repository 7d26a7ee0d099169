//! What a server shows that made its own root: a certificate signed by it, whose key never leaves memory, made anew in time.

use super::root::{Root, hold};
use super::{Now, TlsError};
use crate::domain::Timestamp;
use rcgen::{CertificateParams, DnType, ExtendedKeyUsagePurpose, KeyPair, KeyUsagePurpose};
use rustls::crypto::CryptoProvider;
use rustls::pki_types::{PrivateKeyDer, PrivatePkcs8KeyDer};
use rustls::server::{ClientHello, ResolvesServerCert};
use rustls::sign::CertifiedKey;
use std::sync::{Arc, Mutex, PoisonError};

/// How long one holds, days: some devices take none above 398.
const DAYS: i64 = 390;
/// After how many days another is made.
const RENEWED_AFTER: i64 = 180;
/// How far it is dated back, for tablets whose clock is slow, days.
const DATED_BACK: i64 = 2;
const DAY: i64 = 86_400;

/// The certificates of a server that made its own root.
pub(super) struct Own {
    root: Root,
    provider: Arc<CryptoProvider>,
    now: Now,
    shown: Mutex<(Timestamp, Arc<CertifiedKey>)>,
}

impl std::fmt::Debug for Own {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Own").finish_non_exhaustive()
    }
}

impl Own {
    /// Makes the first one.
    ///
    /// # Errors
    /// [`TlsError`].
    pub fn new(root: Root, provider: Arc<CryptoProvider>, now: Now) -> Result<Self, TlsError> {
        let made = now();
        let shown = Mutex::new((made, sign(&root, &provider, made)?));
        Ok(Self {
            root,
            provider,
            now,
            shown,
        })
    }

    /// The one to show now.
    fn newest(&self) -> Arc<CertifiedKey> {
        let now = (self.now)();
        let mut shown = self.shown.lock().unwrap_or_else(PoisonError::into_inner);
        if now.0.saturating_sub(shown.0.0) >= RENEWED_AFTER.saturating_mul(DAY) {
            match sign(&self.root, &self.provider, now) {
                Ok(newer) => *shown = (now, newer),
                // The one that is shown still holds for half a year.
                Err(error) => tracing::error!("no newer certificate: {error}"),
            }
        }
        Arc::clone(&shown.1)
    }
}

impl ResolvesServerCert for Own {
    fn resolve(&self, _: ClientHello<'_>) -> Option<Arc<CertifiedKey>> {
        Some(self.newest())
    }
}

/// A fresh key, and a certificate for it.
fn sign(root: &Root, provider: &CryptoProvider, now: Timestamp) -> Result<Arc<CertifiedKey>, TlsError> {
    let mut params = CertificateParams::new(root.names().to_vec())?;
    params
        .distinguished_name
        .push(DnType::CommonName, "Pourbook server");
    params.key_usages = vec![KeyUsagePurpose::DigitalSignature];
    params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
    params.use_authority_key_identifier_extension = true;
    let days = |count: i64| Timestamp(now.0.saturating_add(count.saturating_mul(DAY)));
    hold(&mut params, days(-DATED_BACK), days(DAYS));
    let key = KeyPair::generate()?;
    let certificate = params.signed_by(&key, &root.issuer()?)?;
    let private = PrivateKeyDer::Pkcs8(PrivatePkcs8KeyDer::from(key.serialize_der()));
    let chain = vec![certificate.der().clone(), root.certificate()];
    let signing = provider.key_provider.load_private_key(private)?;
    Ok(Arc::new(CertifiedKey::new(chain, signing)))
}

#[cfg(test)]
mod tests {
    use super::{DAY, Own, RENEWED_AFTER};
    use crate::domain::Timestamp;
    use crate::node::{BookFolder, Root};
    use rustls::crypto::ring;
    use std::sync::Arc;
    use std::sync::atomic::{AtomicI64, Ordering};

    #[test]
    fn a_server_that_runs_long_shows_another_certificate_in_time() {
        let dir = tempfile::tempdir().unwrap();
        let folder = BookFolder::at(dir.path());
        folder.lay_out().unwrap();
        let begun = 1_795_651_200;
        let names = ["localhost".to_owned()].into();
        let root = Root::kept_or_made(&folder, &names, Timestamp(begun)).unwrap();
        let clock = Arc::new(AtomicI64::new(begun));
        let now = Arc::clone(&clock);
        let own = Own::new(
            root,
            Arc::new(ring::default_provider()),
            Box::new(move || Timestamp(now.load(Ordering::SeqCst))),
        )
        .unwrap();
        let shown = || own.newest().cert[0].to_vec();
        let first = shown();
        clock.fetch_add(RENEWED_AFTER * DAY - 1, Ordering::SeqCst);
        assert_eq!(shown(), first);
        clock.fetch_add(1, Ordering::SeqCst);
        let second = shown();
        assert_ne!(second, first);
        assert_eq!(shown(), second);
    }
}
