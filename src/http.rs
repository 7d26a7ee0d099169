//! The REST API: from a request to one submission or one read, and back.
//!
//! One table ([`routes::ROUTES`]) says what there is and who may call it; one pipeline answers all of it: who calls, may
//! they, then the deed. Text becomes types once, here; what does not fit is named by its JSON pointer.
//!
//! Deliberately absent: decisions (the book's), TLS and the start and stop of the server (`node`), the words of pages (`pages`).

mod accept;
mod access;
mod admission;
mod app;
mod asked;
mod beside;
mod bodies;
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
mod per_address;
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
pub use app::{App, OwnRoot, Settings};
pub use bodies::Bodies;
pub use commands::{Given, Understood, members, understood};
pub use entries::Entries;
pub use limits::{Limits, Quotas};
pub use live::Streams;
pub use log_files::HashTiles;
pub use pages::{Page, Pages};
pub use per_address::{PerAddress, share_of};
pub use photographs::Photographs;
pub use problem::{Problem, codes as problem_codes};
pub use proofs::Proofs;
pub use proxies::{PassedIn, Proxies};
pub use public_record::Records;
pub use router::configure;
pub use said::Said;
pub use sessions::Sessions;
pub use workshop::WorkshopSettings;

use actix_web::http::{StatusCode, header};
use actix_web::web::{self, Data, Payload};
use actix_web::{HttpRequest, HttpResponse};
use admission::{admit, is_open};
use asked::Asked;
use found::Found;
use routes::{Deed, Route};

/// What a reply of the API may load and do: nothing.
const CLOSED: &str = "default-src 'none'; frame-ancestors 'none'";
/// What holds for every reply.
const UNFRAMED: &str = "frame-ancestors 'none'";

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
    guarded(reply)
}

/// The headers of every reply that is no page: its media type is what it says, nothing in it is run, and nobody frames it.
fn guarded(mut reply: HttpResponse) -> HttpResponse {
    let headers = reply.headers_mut();
    let of_text = headers
        .get(header::CONTENT_TYPE)
        .is_none_or(|media| !media.as_bytes().starts_with(b"application/pdf"));
    // A browser shows a PDF by parts of its own, which a closed policy would keep out.
    let policy = if of_text { CLOSED } else { UNFRAMED };
    for (name, value) in [
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::CONTENT_SECURITY_POLICY, policy),
    ] {
        headers.insert(name, header::HeaderValue::from_static(value));
    }
    reply
}

/// A failure of ours is logged once, here; the client is told no internals.
fn log_failure(problem: &Problem, route: &Route) {
    let (path, code) = (route.path, problem.code);
    if problem.status == StatusCode::SERVICE_UNAVAILABLE {
        // Whoever asks for too much must not fill the server's log as well.
        tracing::debug!(path, code, "{}", problem.detail);
    } else if problem.status.is_server_error() {
        tracing::error!(path, code, "{}", problem.detail);
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
    if matches!(deed, Deed::HashTile)
        && let Some(found) = log_files::kept_hash_tile(app, &asked)
    {
        return Ok(found);
    }
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
