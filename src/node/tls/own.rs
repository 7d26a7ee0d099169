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
            let left = self.root.ends().0.saturating_sub(now.0) / DAY;
            if left < DAYS {
                tracing::warn!(
                    "the root of the book's own ends in {left} days, and nothing that it signs holds longer: start the server \
                     again, and trust the new root that it makes then (/trust)"
                );
            }
            let newer = sign(&self.root, &self.provider, now).unwrap_or_else(|error| {
                // The one that is shown still holds for half a year; said once, not at every handshake.
                tracing::error!("no newer certificate: {error}");
                Arc::clone(&shown.1)
            });
            *shown = (now, newer);
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
    // Longer than its root it would be trusted by nobody, or by those who look at the leaf only.
    hold(&mut params, days(-DATED_BACK), days(DAYS).min(root.ends()));
    let key = KeyPair::generate()?;
    let certificate = params.signed_by(&key, &root.issuer()?)?;
    let private = PrivateKeyDer::Pkcs8(PrivatePkcs8KeyDer::from(key.serialize_der()));
    let chain = vec![certificate.der().clone(), root.certificate()];
    let signing = provider.key_provider.load_private_key(private)?;
    Ok(Arc::new(CertifiedKey::new(chain, signing)))
}

#[cfg(test)]
mod tests {
    use super::{DAY, DAYS, Own, RENEWED_AFTER};
    use crate::domain::Timestamp;
    use crate::node::{BookFolder, Root};
    use rustls::RootCertStore;
    use rustls::client::WebPkiServerVerifier;
    use rustls::client::danger::ServerCertVerifier;
    use rustls::crypto::ring;
    use rustls::pki_types::{ServerName, UnixTime};
    use std::sync::Arc;
    use std::sync::atomic::{AtomicI64, Ordering};
    use std::time::Duration;

    const BEGUN: i64 = 1_795_651_200;

    /// A server that began then, its root, and its clock.
    fn running() -> (Own, Root, Arc<AtomicI64>) {
        let dir = tempfile::tempdir().unwrap();
        let folder = BookFolder::at(dir.path());
        folder.lay_out().unwrap();
        let names = ["localhost".to_owned()].into();
        let root = Root::kept_or_made(&folder, &names, Timestamp(BEGUN)).unwrap();
        let clock = Arc::new(AtomicI64::new(BEGUN));
        let now = Arc::clone(&clock);
        let own = Own::new(
            root.clone(),
            Arc::new(ring::default_provider()),
            Box::new(move || Timestamp(now.load(Ordering::SeqCst))),
        );
        (own.unwrap(), root, clock)
    }

    /// The verifier of the library looks at the end of what is shown, not at that of the root which it was told to trust.
    #[test]
    fn what_a_server_shows_that_runs_for_years_ends_with_its_root() {
        let (own, root, clock) = running();
        let mut roots = RootCertStore::empty();
        roots.add(root.certificate()).unwrap();
        let provider = Arc::new(ring::default_provider());
        let verifier = WebPkiServerVerifier::builder_with_provider(Arc::new(roots), provider)
            .build()
            .unwrap();
        let holds_at = |at: i64| {
            let at = UnixTime::since_unix_epoch(Duration::from_secs(at.try_into().unwrap()));
            let name = ServerName::try_from("localhost").unwrap();
            let shown = own.newest();
            verifier
                .verify_server_cert(&shown.cert[0], &[], &name, &[], at)
                .is_ok()
        };
        assert!(holds_at(BEGUN + DAYS * DAY) && !holds_at(BEGUN + DAYS * DAY + 1));
        let ends = root.ends().0;
        clock.store(ends - 100 * DAY, Ordering::SeqCst);
        assert!(holds_at(ends - 100 * DAY) && holds_at(ends));
        assert!(!holds_at(ends + 1), "it holds longer than its root");
    }

    #[test]
    fn a_server_that_runs_long_shows_another_certificate_in_time() {
        let (own, _, clock) = running();
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
