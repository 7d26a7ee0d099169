//! The root of a book's own: made once, kept in `keys/tls-root.toml` with mode 0600, and bound to the names of the book.

use super::TlsError;
use crate::config::is_name;
use crate::domain::Timestamp;
use crate::log::StoreError;
use crate::log::files::MODE_PRIVATE;
use crate::node::{BookFolder, FolderError};
use rcgen::{
    BasicConstraints, CertificateParams, CidrSubnet, DnType, GeneralSubtree, IsCa, Issuer, KeyPair,
    KeyUsagePurpose, NameConstraints, date_time_ymd,
};
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;
use std::net::{IpAddr, SocketAddr};
use std::path::PathBuf;
use std::time::Duration;

/// How long a root holds: ten years. A tablet that trusts it is not touched again meanwhile.
const SECONDS: i64 = 3_652 * 86_400;
/// When another is made, seconds before its end: what is signed by it must not outlive it.
const BEFORE_ITS_END: i64 = 400 * 86_400;
/// How far it is dated back, for tablets whose clock is slow, seconds.
const DATED_BACK: i64 = 2 * 86_400;
/// Bits of a whole address: the constraint is to that one.
const WHOLE_V4: u8 = 32;
const WHOLE_V6: u8 = 128;

/// The root, with its key.
#[derive(Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Root {
    /// Names and addresses for which it may sign.
    names: Vec<String>,
    /// When it ends, seconds since 1970.
    ends: i64,
    /// PEM.
    certificate: String,
    /// PEM. Whoever has it can pose as this book's server to the tablets that trust it.
    key: String,
}

impl Root {
    /// The root that is kept, or a new one: when there is none, when it is about to end, or when it is not for all these
    /// names. Tablets have to trust a new one anew.
    ///
    /// # Errors
    /// [`TlsError`].
    pub fn kept_or_made(
        folder: &BookFolder,
        names: &BTreeSet<String>,
        now: Timestamp,
    ) -> Result<Self, TlsError> {
        let files = folder.files();
        let path = path(folder);
        let kept = Self::kept(folder)?;
        let fits = |root: &Self| {
            names.iter().all(|name| root.names.contains(name))
                && root.ends.saturating_sub(now.0) > BEFORE_ITS_END
        };
        if let Some(root) = kept.filter(fits) {
            return Ok(root);
        }
        let root = Self::make(names, now)?;
        let unfit = |why: String| TlsError::File {
            path: path.display().to_string(),
            why,
        };
        let text = toml::to_string(&root).map_err(|error| unfit(error.to_string()))?;
        let replaced = files.replace_synced(&path, text.as_bytes(), MODE_PRIVATE);
        replaced.map_err(|error| unfit(error.to_string()))?;
        Ok(root)
    }

    /// The root that is kept, if there is one.
    ///
    /// # Errors
    /// [`TlsError`] when its file is damaged, or others may read it.
    pub fn kept(folder: &BookFolder) -> Result<Option<Self>, TlsError> {
        let path = path(folder);
        let unfit = |why: String| TlsError::File {
            path: path.display().to_string(),
            why,
        };
        let files = folder.files();
        StoreError::refuse_open(&*files, &path).map_err(FolderError::from)?;
        if !files.exists(&path).map_err(|error| unfit(error.to_string()))? {
            return Ok(None);
        }
        let bytes = files
            .read_whole(&path)
            .map_err(|error| unfit(error.to_string()))?;
        let text = String::from_utf8(bytes).map_err(|error| unfit(error.to_string()))?;
        let root: Self = toml::from_str(&text).map_err(|error| unfit(error.to_string()))?;
        CertificateDer::from_pem_slice(root.certificate.as_bytes())
            .map_err(|error| unfit(error.to_string()))?;
        Ok(Some(root))
    }

    fn make(names: &BTreeSet<String>, now: Timestamp) -> Result<Self, TlsError> {
        let names: Vec<String> = names.iter().cloned().collect();
        let ends = now.0.saturating_add(SECONDS);
        let mut params = params();
        hold(
            &mut params,
            Timestamp(now.0.saturating_sub(DATED_BACK)),
            Timestamp(ends),
        );
        params.name_constraints = Some(NameConstraints {
            permitted_subtrees: names.iter().map(|name| subtree(name)).collect(),
            excluded_subtrees: Vec::new(),
        });
        let key = KeyPair::generate()?;
        let certificate = params.self_signed(&key)?;
        Ok(Self {
            names,
            ends,
            certificate: certificate.pem(),
            key: key.serialize_pem(),
        })
    }

    /// Names and addresses for which it may sign.
    #[must_use]
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// When it ends.
    #[must_use]
    pub fn ends(&self) -> Timestamp {
        Timestamp(self.ends)
    }

    /// The certificate, as a tablet takes it: DER.
    #[must_use]
    pub fn certificate(&self) -> CertificateDer<'static> {
        CertificateDer::from_pem_slice(self.certificate.as_bytes()).unwrap_or_else(|_| Vec::new().into())
    }

    /// SHA-256 of the certificate, as devices show it: pairs of hexadecimal digits.
    #[must_use]
    pub fn fingerprint(&self) -> String {
        let hash = Sha256::digest(self.certificate());
        let pairs: Vec<String> = hash.iter().map(|byte| format!("{byte:02X}")).collect();
        pairs.join(":")
    }

    /// What signs for it.
    pub(super) fn issuer(&self) -> Result<Issuer<'static, KeyPair>, TlsError> {
        Ok(Issuer::new(params(), KeyPair::from_pem(&self.key)?))
    }
}

fn path(folder: &BookFolder) -> PathBuf {
    folder.path().join("keys").join("tls-root.toml")
}

/// What is the same whenever the root is made or signs.
fn params() -> CertificateParams {
    let mut params = CertificateParams::default();
    params
        .distinguished_name
        .push(DnType::CommonName, "Pourbook workshop root");
    params.is_ca = IsCa::Ca(BasicConstraints::Constrained(0));
    params.key_usages = vec![KeyUsagePurpose::KeyCertSign, KeyUsagePurpose::CrlSign];
    params
}

fn subtree(name: &str) -> GeneralSubtree {
    match name.parse() {
        Ok(IpAddr::V4(address)) => {
            GeneralSubtree::IpAddress(CidrSubnet::from_v4_prefix(address.octets(), WHOLE_V4))
        }
        Ok(IpAddr::V6(address)) => {
            GeneralSubtree::IpAddress(CidrSubnet::from_v6_prefix(address.octets(), WHOLE_V6))
        }
        Err(_) => GeneralSubtree::DnsName(name.to_owned()),
    }
}

/// Says from when and until when a certificate holds.
pub(super) fn hold(params: &mut CertificateParams, from: Timestamp, to: Timestamp) {
    let since_1970 = |at: Timestamp| Duration::from_secs(u64::try_from(at.0).unwrap_or_default());
    params.not_before = date_time_ymd(1970, 1, 1) + since_1970(from);
    params.not_after = date_time_ymd(1970, 1, 1) + since_1970(to);
}

/// The names under which a book is reached: that of its address, those of the settings, where it listens, and this machine.
pub(super) fn names(address: &str, more: &[String], listen: SocketAddr) -> BTreeSet<String> {
    let authority = address.split("://").nth(1).unwrap_or_default();
    let host = match authority.strip_prefix('[') {
        Some(bracketed) => bracketed.split(']').next().unwrap_or_default(),
        None => authority.split(':').next().unwrap_or_default(),
    };
    let listens = (!listen.ip().is_unspecified()).then(|| listen.ip().to_string());
    let here = ["localhost", "127.0.0.1", "::1"].map(str::to_owned);
    let all = std::iter::once(host.to_owned())
        .chain(more.iter().cloned())
        .chain(listens)
        .chain(here);
    all.map(|name| name.to_ascii_lowercase())
        .filter(|name| is_name(name))
        .collect()
}
