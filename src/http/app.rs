//! What handlers work with: the book that is served, and what is known of it.

use super::access::Access;
use super::bodies::Bodies;
use super::entries::Entries;
use super::limits::Limits;
use super::live::Streams;
use super::log_files::{self, HashTiles};
use super::pages::Pages;
use super::photographs::Photographs;
use super::problem::Problem;
use super::proofs::Proofs;
use super::proxies::Proxies;
use super::public_record::Records;
use super::sessions::Sessions;
use super::workshop::WorkshopSettings;
use crate::accounts::Accounts;
use crate::domain::Timestamp;
use crate::log::{Store, TileFiles};
use crate::proof::Hash;
use crate::record::Entry;
use crate::views::Views;
use crate::writer::Writer;
use std::sync::Arc;
use std::time::Duration;

/// What the API needs to know of the book and of its own place.
#[derive(Clone, Debug)]
pub struct Settings {
    /// The log's origin.
    pub origin: String,
    /// Where the server is reached from outside, like `https://book.example`, without a slash at the end; may be empty.
    pub address: String,
    /// Who is named as the maker on what is printed.
    pub maker: String,
    /// Whether entries may be read by everybody.
    pub entries_public: bool,
    /// The policy by which a stranger checks, with its `# root` line.
    pub policy: String,
    /// How long a body may take to arrive.
    pub body_timeout: Duration,
    /// Currency of the book's money, ISO 4217.
    pub currency: String,
    /// The workshop's own pages.
    pub workshop: WorkshopSettings,
    /// The proxies before the server.
    pub proxies: Proxies,
    /// Whether the server itself speaks TLS.
    pub tls: bool,
    /// The root that the server made itself, where it speaks TLS with one.
    pub root: Option<OwnRoot>,
}

/// The root of a server that made its own, as a tablet comes to trust it.
#[derive(Clone, Debug)]
pub struct OwnRoot {
    /// The certificate, DER.
    pub certificate: Vec<u8>,
    /// Its SHA-256, pairs of hexadecimal digits with colons between.
    pub fingerprint: String,
    /// Names and addresses for which it can vouch.
    pub names: Vec<String>,
    /// When it ends.
    pub ends: Timestamp,
}

/// Everything that handlers use.
pub struct App {
    /// Where submissions go.
    pub writer: Writer,
    /// What is shown.
    pub views: Views,
    /// What is reckoned from the log.
    pub accounts: Accounts,
    /// Where entries and private members are read.
    pub store: Arc<dyn Store>,
    /// Who may call.
    pub access: Access,
    /// What is known of the book.
    pub settings: Settings,
    /// The clock: for the end of tokens and the age of proofs only.
    pub clock: Arc<dyn Fn() -> Timestamp + Send + Sync>,
    /// The entries that are kept.
    pub entries: Entries,
    /// The proofs that are kept.
    pub proofs: Proofs,
    /// The pages that are kept.
    pub pages: Pages,
    /// The public records that are kept.
    pub records: Records,
    /// The full tiles that are kept as files.
    pub tiles: Arc<TileFiles>,
    /// The tiles of hashes that were handed out lately.
    pub hash_tiles: HashTiles,
    /// The photographs that are kept as files.
    pub photographs: Arc<Photographs>,
    /// How often one address may ask.
    pub limits: Limits,
    /// The room for bodies that are coming in.
    pub bodies: Bodies,
    /// The streams of entries that are open.
    pub streams: Streams,
    /// Who is signed in.
    pub sessions: Sessions,
    /// 32 random bytes: for sessions, and for the keys of forms.
    pub chance: Arc<dyn Fn() -> [u8; 32] + Send + Sync>,
}

impl App {
    /// An entry's bytes, which are not kept: who copies the log reads each once.
    ///
    /// # Errors
    /// 500 when the log cannot be read.
    pub fn bytes(&self, index: u64) -> Result<Arc<[u8]>, Problem> {
        log_files::bytes(self, index)
    }

    /// Leaf hash of an entry; none for one that is not there.
    #[must_use]
    pub fn leaf(&self, index: u64) -> Option<Hash> {
        self.writer.published().tree().leaf(index)
    }

    /// An entry.
    ///
    /// # Errors
    /// 500 when the log cannot be read, or holds what this version cannot.
    pub fn entry(&self, index: u64) -> Result<Arc<Entry>, Problem> {
        Ok(self.entries.find(&*self.store, index)?.entry)
    }
}
