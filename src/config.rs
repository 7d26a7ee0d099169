//! Settings of a book: `pourbook.toml`. No secret stands in it.

mod load;

pub use load::Load;

use crate::http::{Proxies, Quotas, WorkshopSettings};
use serde::{Deserialize, Serialize};
use std::net::IpAddr;
use std::path::PathBuf;

/// How long the maker's name may be, characters.
const MAKER_MAX: usize = 80;

/// Who may read the entries themselves; checkpoint and hash tiles are public either way.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum EntriesFor {
    /// Auditors only, since entries show stock and working hours.
    #[default]
    Auditors,
    /// Everybody.
    Public,
}

/// The settings.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// Name of the log: a schema-less address, for ever.
    pub origin: String,
    /// Where the book is reached, like `https://book.example`.
    pub address: String,
    /// Currency of its money, ISO 4217.
    pub currency: String,
    /// Who may read entries.
    #[serde(default)]
    pub entries: EntriesFor,
    /// Who is named as the maker on what is printed; without it the origin is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub maker: Option<String>,
    /// A second place for the pin, best on another disk.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second_pin: Option<PathBuf>,
    /// How often one address may ask; 0 switches a limit off, as behind a proxy that limits itself.
    #[serde(default)]
    pub limits: Quotas,
    /// The workshop's own pages.
    #[serde(default)]
    pub workshop: WorkshopSettings,
    /// What `serve --tls` shows.
    #[serde(default, skip_serializing_if = "Tls::is_default")]
    pub tls: Tls,
    /// The proxies before this server.
    #[serde(default, skip_serializing_if = "Proxies::is_empty")]
    pub proxy: Proxies,
    /// What the server bears at once.
    #[serde(default)]
    pub load: Load,
}

/// What `serve --tls` shows: a certificate that is given, or one of its own for more names than that of the address.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Tls {
    /// A chain in PEM, from the folder of the book on; with `key`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub certificate: Option<PathBuf>,
    /// Its private key in PEM, mode 0600.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub key: Option<PathBuf>,
    /// Names or addresses under which the workshop's tablets reach the book.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub names: Vec<String>,
}

impl Tls {
    fn is_default(&self) -> bool {
        *self == Self::default()
    }

    fn check(&self) -> Result<(), &'static str> {
        if self.certificate.is_some() != self.key.is_some() {
            return Err("certificate and key belong together: give both or neither");
        }
        if !self.names.iter().all(|name| is_name(name)) {
            return Err("names must be names of machines or IP addresses, without port");
        }
        Ok(())
    }
}

/// Whether it can stand in a certificate: a name of DNS (RFC 1123) or an IP address.
#[must_use]
pub fn is_name(name: &str) -> bool {
    let label = |label: &str| {
        (1..=63).contains(&label.len())
            && label
                .bytes()
                .all(|byte| byte.is_ascii_alphanumeric() || byte == b'-')
            && !label.starts_with('-')
            && !label.ends_with('-')
    };
    name.parse::<IpAddr>().is_ok() || (name.len() <= 253 && name.split('.').all(label))
}

/// Why settings are not usable.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SettingsError {
    /// The file has not the form.
    #[error("pourbook.toml: {0}")]
    Form(String),
    /// The origin cannot be one.
    #[error(
        "pourbook.toml: origin {0:?} must be a name without scheme, spaces or `+`, like `book.example/log`"
    )]
    Origin(String),
    /// The address cannot be one.
    #[error("pourbook.toml: address {0:?} must begin with http:// or https:// and have no path")]
    Address(String),
    /// The maker cannot be one.
    #[error("pourbook.toml: maker {0:?} must be a name of at most 80 characters in one line")]
    Maker(String),
    /// What is said of the workshop's pages cannot be.
    #[error("pourbook.toml: [workshop] {0}")]
    Workshop(&'static str),
    /// What is said of the load cannot be.
    #[error("pourbook.toml: [load] {0}")]
    Load(String),
    /// What is said of TLS cannot be.
    #[error("pourbook.toml: [tls] {0}")]
    Tls(&'static str),
    /// The currency cannot be one.
    #[error("pourbook.toml: currency {0:?} must be three capital letters of ISO 4217")]
    Currency(String),
}

impl Settings {
    /// Reads `pourbook.toml`.
    ///
    /// # Errors
    /// [`SettingsError`], naming the member.
    pub fn read(text: &str) -> Result<Self, SettingsError> {
        let settings: Self = toml::from_str(text).map_err(|error| SettingsError::Form(error.to_string()))?;
        settings.check()?;
        Ok(settings)
    }

    /// Holds each member against what it must be.
    ///
    /// # Errors
    /// [`SettingsError`], naming the member.
    pub fn check(&self) -> Result<(), SettingsError> {
        let plain = |c: char| c.is_ascii_graphic() && c != '+';
        if self.origin.is_empty() || self.origin.contains("://") || !self.origin.chars().all(plain) {
            return Err(SettingsError::Origin(self.origin.clone()));
        }
        let host = self
            .address
            .strip_prefix("https://")
            .or_else(|| self.address.strip_prefix("http://"));
        if !host.is_some_and(|host| !host.is_empty() && !host.contains('/') && host.chars().all(plain)) {
            return Err(SettingsError::Address(self.address.clone()));
        }
        let unfit = |maker: &&String| {
            maker.trim().is_empty() || maker.chars().count() > MAKER_MAX || maker.contains(char::is_control)
        };
        if let Some(maker) = self.maker.as_ref().filter(unfit) {
            return Err(SettingsError::Maker(maker.clone()));
        }
        if self.currency.len() != 3 || !self.currency.bytes().all(|b| b.is_ascii_uppercase()) {
            return Err(SettingsError::Currency(self.currency.clone()));
        }
        self.tls.check().map_err(SettingsError::Tls)?;
        self.load.check().map_err(SettingsError::Load)?;
        self.workshop.check().map_err(SettingsError::Workshop)
    }

    /// Writes `pourbook.toml`.
    ///
    /// # Errors
    /// [`SettingsError::Form`] if a value has no TOML form.
    pub fn to_text(&self) -> Result<String, SettingsError> {
        toml::to_string(self).map_err(|error| SettingsError::Form(error.to_string()))
    }
}
