//! The REST API: from a request to one submission or one read, and back.
//!
//! One table ([`routes::ROUTES`]) says what there is and who may call it; one pipeline answers all of it: who calls, may
//! they, then the deed. Text becomes types once, here; what does not fit is named by its JSON pointer.
//!
//! Deliberately absent: decisions (the book's), TLS and the start and stop of the server (`node`), the words of pages (`pages`).

mod accept;
mod access;
mod admission;
mod asked;
mod beside;
mod calculations;
mod codes;
mod commands;
mod comparisons;
mod conditions;
mod done_at;
mod entries;
mod figures;
mod find;
mod found;
mod json;
mod kept;
mod labels;
mod limits;
mod lists;
mod live;
mod located;
mod log_files;
mod losses;
mod metal_statement;
mod packing_lists;
mod page_forms;
mod pages;
mod photographs;
mod plans;
mod preflight;
mod prints;
mod private;
mod problem;
mod proofs;
mod proxies;
mod public_record;
mod query;
mod quotes;
mod readings;
mod reads;
mod router;
pub mod routes;
mod said;
mod sessions;
mod stock_value;
mod traced;
pub mod workshop;

pub use access::{Access, Caller, Role, TokenRow, Tokens};
pub use conditions::BODY_TIMEOUT;
pub use entries::Entries;
pub use limits::{Limits, Quotas};
pub use live::Streams;
pub use pages::{Page, Pages};
pub use photographs::Photographs;
pub use problem::{Problem, codes as problem_codes};
pub use proofs::Proofs;
pub use proxies::{PassedIn, Proxies};
pub use router::configure;
pub use said::Said;
pub use sessions::Sessions;
pub use workshop::WorkshopSettings;

use crate::accounts::Accounts;
use crate::domain::Timestamp;
use crate::log::{Store, TileFiles};
use crate::proof::Hash;
use crate::record::Entry;
use crate::views::Views;
use crate::writer::Writer;
use actix_web::http::header;
use actix_web::web::{self, Data, Payload};
use actix_web::{HttpRequest, HttpResponse};
use admission::{admit, is_open};
use asked::Asked;
use found::Found;
use routes::{Deed, Route};
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
    /// The full tiles that are kept as files.
    pub tiles: Arc<TileFiles>,
    /// The photographs that are kept as files.
    pub photographs: Arc<Photographs>,
    /// How often one address may ask.
    pub limits: Limits,
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

async fn answer(
    route: &'static Route,
    request: HttpRequest,
    payload: Payload,
    app: Data<App>,
) -> HttpResponse {
    if let Deed::Page(page) = route.deed {
        return pages::answer(page, route, &request, payload, &app).await;
    }
    if let Deed::Sheet(sheet) = route.deed {
        return workshop::answer(sheet, route, &request, payload, &app).await;
    }
    let outcome = handle(route, &request, payload, &app).await;
    let mut reply = outcome.unwrap_or_else(|problem| {
        log_failure(&problem, route);
        problem.reply(&app.settings.address)
    });
    let headers = reply.headers_mut();
    if is_open(route, &app) {
        let all = header::HeaderValue::from_static("*");
        headers.insert(header::ACCESS_CONTROL_ALLOW_ORIGIN, all);
        let exposed = header::HeaderValue::from_static("etag, link, retry-after");
        headers.insert(header::ACCESS_CONTROL_EXPOSE_HEADERS, exposed);
    } else {
        let vary = match route.deed {
            Deed::Events => "authorization, cookie, pourbook-form, accept",
            _ => "authorization, cookie, pourbook-form",
        };
        headers.insert(header::VARY, header::HeaderValue::from_static(vary));
    }
    headers.insert(
        header::X_CONTENT_TYPE_OPTIONS,
        header::HeaderValue::from_static("nosniff"),
    );
    reply
}

/// A failure of ours is logged once, here; the client is told no internals.
fn log_failure(problem: &Problem, route: &Route) {
    if problem.status.is_server_error() {
        tracing::error!(path = route.path, code = problem.code, "{}", problem.detail);
    }
}

async fn handle(
    route: &'static Route,
    request: &HttpRequest,
    payload: Payload,
    app: &Data<App>,
) -> Result<HttpResponse, Problem> {
    let caller = admit(route, request, app)?;
    let live = matches!(route.deed, Deed::Events) && live::is_wanted(request.headers());
    let media = if live {
        live::MEDIA
    } else {
        accept::media(route.deed)
    };
    accept::check(request.headers(), media)?;
    let known = || caller.ok_or_else(|| Problem::internal("a command needs a caller"));
    match route.deed {
        Deed::Command(recording) => commands::record(app, recording, known()?, request, payload).await,
        Deed::KeyEntry => commands::record_key(app, known()?, request, payload).await,
        Deed::AddPhotograph => photographs::record(app, known()?, request, payload).await,
        Deed::ShowPhotograph => photographs::show(app, &Asked::of(request, caller), request.headers()).await,
        Deed::FindPosted => {
            let question = find::question(app, request, payload).await?;
            let app = Data::clone(app);
            let found = apart(move || find::find_posted(&app, &question)).await?;
            Ok(found.reply(request.headers()))
        }
        Deed::Calculation(calculation) => {
            let question = calculations::body(app, request, payload).await?;
            let found = apart(move || calculations::answer(calculation, &question)).await?;
            Ok(found.reply(request.headers()))
        }
        Deed::Comparison => {
            let question = calculations::body(app, request, payload).await?;
            let (app, asked) = (Data::clone(app), Asked::of(request, caller));
            let found = apart(move || comparisons::answer(&app, &asked, &question)).await?;
            Ok(found.reply(request.headers()))
        }
        Deed::Code => {
            let question = calculations::body(app, request, payload).await?;
            let (app, asked, peer) = (
                Data::clone(app),
                Asked::of(request, caller),
                proxies::caller(request, app),
            );
            let found = apart(move || codes::answer(&app, &asked, peer, &question)).await?;
            Ok(found.reply(request.headers()))
        }
        Deed::Events if live => live::begin(app, Asked::of(request, caller), request),
        deed => {
            let asked = Asked::of(request, caller);
            let found = read(deed, asked, app).await?;
            Ok(found.reply(request.headers()))
        }
    }
}

/// Reads that may take a while go to a thread of their own; the rest are a few look-ups in memory.
async fn read(deed: Deed, asked: Asked, app: &Data<App>) -> Result<Found, Problem> {
    match deed {
        Deed::Events
        | Deed::EntryTile
        | Deed::HashTile
        | Deed::History
        | Deed::List(_)
        | Deed::Print
        | Deed::Labels
        | Deed::PackingList
        | Deed::Figure(_) => {
            let app = Data::clone(app);
            apart(move || look_up(deed, &asked, &app)).await
        }
        Deed::Proof => proofs::proof_once_released(app, &asked).await,
        _ => look_up(deed, &asked, app),
    }
}

/// Work on a thread that may wait for the disk.
async fn apart<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Problem> + Send + 'static,
) -> Result<T, Problem> {
    let done = web::block(work).await;
    done.unwrap_or_else(|_| Err(Problem::internal("no thread was free to answer")))
}

fn look_up(deed: Deed, asked: &Asked, app: &App) -> Result<Found, Problem> {
    match deed {
        Deed::Command(_)
        | Deed::KeyEntry
        | Deed::AddPhotograph
        | Deed::ShowPhotograph
        | Deed::FindPosted
        | Deed::Calculation(_)
        | Deed::Comparison
        | Deed::Code
        | Deed::Page(_)
        | Deed::Sheet(_) => Err(Problem::internal("what has a body of its own is no plain read")),
        Deed::Figure(figure) => figure(app, asked),
        Deed::Find => find::find(app, asked),
        Deed::List(table) => lists::list(app, asked, table),
        Deed::Show(table) => reads::show(app, asked, table),
        Deed::History => reads::history(app, asked),
        Deed::Events => reads::events(app, asked),
        Deed::Record => public_record::record(app, asked),
        Deed::Proof => proofs::proof(app, asked),
        Deed::Print => prints::print(app, asked),
        Deed::Labels => labels::labels(app, asked),
        Deed::PackingList => packing_lists::packing_list(app, asked),
        Deed::Policy => log_files::policy(app, asked),
        Deed::Checkpoint => log_files::checkpoint(app, asked),
        Deed::HashTile => log_files::hash_tile(app, asked),
        Deed::EntryTile => log_files::entry_tile(app, asked),
        Deed::Description => log_files::description(asked),
        Deed::Health => log_files::health(app, asked),
        Deed::ProblemPage => log_files::problem_page(asked),
    }
}

/// A failure below: the views or the log.
fn failed(error: impl std::fmt::Display) -> Problem {
    Problem::internal(error.to_string())
}
