//! The API, through HTTP: a book in memory with its writer and its views, and requests as a client makes them.

mod access;
mod bad_input;
mod broken;
mod calculations;
mod conditions;
mod corrections;
mod done_at;
mod edition;
pub mod find;
mod life;
mod limits;
mod lists;
mod live;
mod main_line;
pub mod pages;
pub mod photographs;
mod printed_sheets;
mod prints;
mod public;
mod quotes;
mod settings;
mod stock;
mod wire;
pub mod workshop;

use actix_web::body::{BodySize, MessageBody, to_bytes};
use actix_web::http::Method;
use actix_web::http::header::HeaderMap;
use actix_web::test::{self, TestRequest};
use base64::Engine as _;
use pourbook::accounts::Accounts;
use pourbook::domain::{Draw, Event, KeyAdded, KeyRole, MeltId, OperatorId, Timestamp};
use pourbook::http::{
    Access, App, Bodies, Entries, HashTiles, Limits, OwnRoot, Pages, Photographs, Proofs, Proxies, Quotas,
    Records, Role, Sessions, Settings, Streams, Tokens, WorkshopSettings,
};
use pourbook::log::{MemoryFiles, MemoryStore, PhotographFiles, Store, TileFiles};
use pourbook::metal::Mass;
use pourbook::proof::NoteSigner;
use pourbook::record::{KeyEntryDraft, Signer, seal_key_entry};
use pourbook::views::{Follower, Heard, Views};
use pourbook::writer::{Ask, Desk, DeskKeys, Observer, Submission, Surroundings, Writer};
use serde_json::{Value, json};
use std::future::Future;
use std::pin::Pin;
use std::rc::Rc;
use std::sync::atomic::{AtomicBool, AtomicI64, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;
use uuid::Uuid;

pub const ORIGIN: &str = "brackenfold.example/book";
pub const ADDRESS: &str = "https://book.brackenfold.example";
pub const NOW: i64 = 1_790_000_000;

/// A reply, read whole.
#[derive(Debug)]
pub struct Reply {
    pub status: u16,
    pub headers: HeaderMap,
    pub body: Vec<u8>,
}

impl Reply {
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap_or_else(|_| panic!("no JSON: {}", self.text()))
    }

    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.get(name).map(|value| value.to_str().unwrap())
    }

    /// The last part of a problem's type.
    pub fn problem(&self) -> String {
        assert_eq!(
            self.header("content-type"),
            Some("application/problem+json"),
            "{}",
            self.text()
        );
        let body = self.json();
        assert_eq!(body["status"], self.status);
        let kind = body["type"].as_str().unwrap();
        kind.strip_prefix(&format!("{ADDRESS}/problems/"))
            .unwrap()
            .to_owned()
    }

    pub fn pointer(&self) -> String {
        self.json()["errors"][0]["pointer"]
            .as_str()
            .unwrap_or("")
            .to_owned()
    }

    #[track_caller]
    pub fn expect(self, status: u16) -> Self {
        assert_eq!(self.status, status, "{}", self.text());
        self
    }

    #[track_caller]
    pub fn refused(self, status: u16, code: &str, pointer: &str) {
        let reply = self.expect(status);
        assert_eq!(
            (reply.problem().as_str(), reply.pointer().as_str()),
            (code, pointer),
            "{}",
            reply.text()
        );
    }
}

type Call = dyn Fn(TestRequest, bool) -> Pin<Box<dyn Future<Output = Reply>>>;

/// How a book is served in a test.
pub struct Served {
    pub entries_public: bool,
    /// No checkpoint is released.
    pub held: bool,
    pub body_timeout: Duration,
    /// The room for bodies of callers, and of strangers.
    pub bodies_bytes: usize,
    /// How many live streams may be open.
    pub streams: usize,
    pub quotas: Quotas,
    /// The log cannot be read through the API.
    pub unreadable: bool,
    /// How long a live stream is silent before it sends a comment.
    pub beat: Duration,
    /// The server states another root than the one that its log begins with.
    pub other_root: bool,
    /// The book does not say where it is reached.
    pub no_address: bool,
    /// The workshop's own pages.
    pub workshop: WorkshopSettings,
    pub proxies: Proxies,
    pub root: Option<OwnRoot>,
}

impl Default for Served {
    fn default() -> Self {
        Self {
            entries_public: false,
            held: false,
            body_timeout: Duration::from_secs(10),
            bodies_bytes: 64 * 1024 * 1024,
            streams: 64,
            quotas: Quotas::OFF,
            unreadable: false,
            beat: Duration::from_secs(15),
            other_root: false,
            no_address: false,
            workshop: WorkshopSettings::default(),
            proxies: Proxies::default(),
            root: None,
        }
    }
}

/// One book in memory, served.
pub struct TestApp {
    call: Rc<Call>,
    pub app: Arc<App>,
    pub root: String,
    pub clock: Arc<AtomicI64>,
    /// Whether the writer's thread holds its checkpoints back.
    pub held: Arc<AtomicBool>,
    /// Whether the views stay behind: they follow again with the next entry after this is false.
    pub behind: Arc<AtomicBool>,
    /// The clock of the limits, milliseconds.
    pub ticks: Arc<AtomicU64>,
    tokens: Vec<(Role, String)>,
    pub expired: Vec<(Role, String)>,
    /// A token of an auditor that ends in a minute.
    pub passing: String,
    next_key: AtomicU64,
    /// The files of photographs.
    pub photographs: MemoryFiles,
}

impl TestApp {
    pub async fn start() -> Self {
        Self::start_with(false).await
    }

    pub async fn start_with(entries_public: bool) -> Self {
        Self::serve(Served {
            entries_public,
            ..Served::default()
        })
        .await
    }

    pub async fn serve(served: Served) -> Self {
        let clock = Arc::new(AtomicI64::new(NOW));
        let mut draw = Draw::new([7; 32]);
        let mut held = Tokens::default();
        let mut add = |role, ends| (role, held.add(&mut draw, role, name_of(role), ends));
        let tokens = Role::ALL.map(|role| add(role, None)).to_vec();
        let expired = Role::ALL.map(|role| add(role, Some(Timestamp(NOW - 1)))).to_vec();
        let passing = add(Role::Auditor, Some(Timestamp(NOW + 60))).1;
        let releases_held = Arc::new(AtomicBool::new(served.held));
        let ticks = Arc::new(AtomicU64::new(0));
        let behind = Arc::new(AtomicBool::new(false));
        let (writer, views, store, root, policy) = open_book(&clock, &releases_held, &behind);
        let policy = match served.other_root {
            true => policy.replace(&root, "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"),
            false => policy,
        };
        let store = if served.unreadable {
            Arc::new(broken::Broken)
        } else {
            store
        };
        let photographs = MemoryFiles::new();
        let app = Arc::new(App {
            writer,
            views,
            accounts: Accounts::new(Arc::clone(&store), ORIGIN),
            store,
            access: Access::fixed(held),
            settings: Settings {
                origin: ORIGIN.into(),
                address: if served.no_address { "" } else { ADDRESS }.into(),
                maker: "Brackenfold Pourhouse".into(),
                entries_public: served.entries_public,
                policy,
                body_timeout: served.body_timeout,
                currency: "GBP".into(),
                workshop: served.workshop,
                proxies: served.proxies,
                tls: false,
                root: served.root,
            },
            clock: {
                let clock = Arc::clone(&clock);
                Arc::new(move || Timestamp(clock.load(Ordering::SeqCst)))
            },
            entries: Entries::default(),
            proofs: Proofs::default(),
            pages: Pages::default(),
            records: Records::default(),
            hash_tiles: HashTiles::default(),
            tiles: Arc::new(TileFiles::new(Arc::new(MemoryFiles::new()), "/tiles".into())),
            photographs: Arc::new(Photographs::new(PhotographFiles::new(
                Arc::new(photographs.clone()),
                "/photos".into(),
            ))),
            limits: {
                let ticks = Arc::clone(&ticks);
                Limits::new(served.quotas, move || {
                    Duration::from_millis(ticks.load(Ordering::SeqCst))
                })
            },
            bodies: Bodies::new(served.bodies_bytes),
            streams: Streams::new(served.streams, served.beat),
            sessions: Sessions::new(served.workshop.session_hours),
            chance: {
                let draw = Mutex::new(Draw::new([6; 32]));
                Arc::new(move || draw.lock().unwrap().bytes())
            },
        });
        let configured = Arc::clone(&app);
        let service = test::init_service(
            actix_web::App::new().configure(move |config| pourbook::http::configure(config, &configured)),
        )
        .await;
        let service = Rc::new(service);
        let call = move |request: TestRequest, slow: bool| -> Pin<Box<dyn Future<Output = Reply>>> {
            let service = Rc::clone(&service);
            Box::pin(async move {
                let mut request = request.to_request();
                if slow {
                    request = request.replace_payload(broken::silence()).0;
                }
                let (asked, path) = (request.method().clone(), request.path().to_owned());
                let response = test::call_service(&*service, request).await;
                let (status, headers) = (response.status().as_u16(), response.headers().clone());
                let body = match response.into_body().try_into_bytes() {
                    Ok(body) => body,
                    // In parts, to a known end.
                    Err(body) if matches!(body.size(), BodySize::Sized(_)) => to_bytes(body)
                        .await
                        .unwrap_or_else(|_| panic!("a body that broke off")),
                    Err(_) => panic!("a body that streams"),
                };
                let body = body.to_vec();
                let reply = Reply {
                    status,
                    headers,
                    body,
                };
                crate::contract::hold(asked.as_str(), &path, &reply);
                reply
            })
        };
        Self {
            call: Rc::new(call),
            app,
            root,
            clock,
            held: releases_held,
            behind,
            ticks,
            tokens,
            expired,
            passing,
            next_key: AtomicU64::new(1),
            photographs,
        }
    }

    pub fn token(&self, role: Role) -> &str {
        &self.tokens.iter().find(|(known, _)| *known == role).unwrap().1
    }

    /// A key that no request had before.
    pub fn fresh_key(&self) -> String {
        let count = self.next_key.fetch_add(1, Ordering::SeqCst);
        Uuid::from_u64_pair(0x1111_1111_1111_4111, 0x8000_0000_0000_0000 | count).to_string()
    }

    pub async fn send(&self, request: TestRequest) -> Reply {
        (self.call)(request, false).await
    }

    /// As [`TestApp::send`], with a body that never ends.
    pub async fn send_slowly(&self, request: TestRequest) -> Reply {
        (self.call)(request, true).await
    }

    pub async fn get_as(&self, role: Role, path: &str) -> Reply {
        let request = TestRequest::get().uri(path);
        self.send(request.insert_header(bearer(self.token(role)))).await
    }

    pub async fn get(&self, path: &str) -> Reply {
        self.send(TestRequest::get().uri(path)).await
    }

    /// A command, with fresh key and, where the path names one subject, the version that it has.
    pub async fn post_as(&self, role: Role, path: &str, body: Value) -> Reply {
        self.post_bytes(role, path, body.to_string().into_bytes()).await
    }

    pub async fn post_bytes(&self, role: Role, path: &str, body: Vec<u8>) -> Reply {
        let mut request = TestRequest::post()
            .uri(path)
            .insert_header(bearer(self.token(role)))
            .insert_header(("idempotency-key", self.fresh_key()))
            .insert_header(("content-type", "application/json"))
            .set_payload(body);
        let named = path.split('/').find_map(|part| Uuid::try_parse(part).ok());
        if let Some(subject) = named {
            let version = self.app.views.version(subject).unwrap();
            request = request.insert_header(("if-match", format!("\"{version}\"")));
        }
        self.send(request).await
    }

    pub async fn post(&self, path: &str, body: Value) -> Reply {
        self.post_as(Role::Office, path, body).await
    }

    /// A command that must be recorded; the id that `Location` names.
    pub async fn done(&self, path: &str, body: Value) -> String {
        let reply = self.post(path, body).await.expect(201);
        let location = reply.header("location").unwrap();
        location.rsplit('/').next().unwrap().to_owned()
    }

    pub fn version(&self, id: &str) -> u64 {
        self.app.views.version(Uuid::try_parse(id).unwrap()).unwrap()
    }

    /// Waits until a released checkpoint covers all that was recorded.
    pub async fn released(&self) {
        for _ in 0..2_000 {
            let size = self
                .app
                .writer
                .published()
                .released()
                .map_or(0, |released| released.size);
            if size == self.app.views.position() {
                return;
            }
            actix_web::rt::time::sleep(Duration::from_millis(2)).await;
        }
        panic!("no checkpoint was released");
    }
}

/// What the people of the workshop call who has a role.
fn name_of(role: Role) -> Option<String> {
    (role == Role::Office).then(|| "Maud at the desk".to_owned())
}

impl Drop for TestApp {
    fn drop(&mut self) {
        self.app.writer.stop();
    }
}

pub fn bearer(token: &str) -> (&'static str, String) {
    ("authorization", format!("Bearer {token}"))
}

/// A book with its three keys, its writer's thread, and views that follow.
fn open_book(
    clock: &Arc<AtomicI64>,
    held: &Arc<AtomicBool>,
    behind: &Arc<AtomicBool>,
) -> (Writer, Views, Arc<dyn Store>, String, String) {
    let store: Arc<dyn Store> = Arc::new(MemoryStore::new([]));
    let views = Views::temporary().unwrap();
    let (root, recorder) = (Signer::from_seed(&[1; 32]), Signer::from_seed(&[2; 32]));
    let log = NoteSigner::new(ORIGIN, &[3; 32]).unwrap();
    let policy = format!("# root {}\nlog {}\nquorum none\n", root.kid(), log.verifier());
    let added = [
        (root.kid().to_owned(), KeyRole::Root, root.public().to_base64url()),
        (
            recorder.kid().to_owned(),
            KeyRole::Recorder,
            recorder.public().to_base64url(),
        ),
        {
            let public = log.verifier().public();
            let x = base64::engine::general_purpose::URL_SAFE_NO_PAD.encode(public);
            (pourbook::record::thumbprint(&public), KeyRole::Log, x)
        },
    ];
    let keys = DeskKeys {
        recorder,
        log,
        next_log: None,
        secret: [9; 32],
    };
    let mut follower = Follower::new(views.clone());
    let (behind, mut late) = (Arc::clone(behind), Vec::new());
    let observer = Observer::new(0, move |told| {
        late.push(told);
        if behind.load(Ordering::SeqCst) {
            return;
        }
        for told in late.drain(..) {
            follower
                .follow(Heard {
                    index: told.index,
                    leaf: told.leaf,
                    entry: &told.entry,
                    rows: &told.rows,
                    gone: &told.gone,
                })
                .unwrap();
        }
    });
    let mut desk = Desk::open(Arc::clone(&store), ORIGIN, keys, observer).unwrap();
    let mut draw = Draw::new([8; 32]);
    let mut newest = None;
    for (kid, role, x) in added {
        let draft = KeyEntryDraft {
            iss: ORIGIN,
            jti: draw.uuid(),
            iat: Timestamp(NOW),
            by: OperatorId(Uuid::nil()),
            keys: newest,
            event: Event::from(KeyAdded { kid, role, x }),
        };
        let submission = Submission {
            request: draft.jti,
            by: draft.by,
            at: None,
            expected: Vec::new(),
            ask: Ask::KeyEntry(seal_key_entry(&draft, &root).unwrap()),
        };
        let mut answers = desk.turn(Timestamp(NOW), draw.bytes(), vec![submission]).unwrap();
        newest = Some(answers.remove(0).unwrap().leaf);
    }
    let around = surroundings(clock, held);
    let (writer, _thread) = Writer::start(desk, around, 4_096).unwrap();
    (writer, views, store, root.kid().to_owned(), policy)
}

fn surroundings(clock: &Arc<AtomicI64>, held: &Arc<AtomicBool>) -> Surroundings {
    let clock = Arc::clone(clock);
    let held = Arc::clone(held);
    let mut ticks = 0;
    let draw = Mutex::new(Draw::new([5; 32]));
    Surroundings {
        now: Box::new(move || Timestamp(clock.load(Ordering::SeqCst))),
        // Every look at this clock is a second later, so that each turn releases its checkpoint.
        elapsed: Box::new(move || {
            ticks += u64::from(!held.load(Ordering::SeqCst));
            Duration::from_secs(ticks)
        }),
        chance: Box::new(move || draw.lock().unwrap().bytes()),
        failed: Box::new(|error| panic!("the store failed: {error}")),
    }
}

/// What a small workshop has before it pours: scale, session, a lot of silver, an edition, a jar.
pub struct Workshop {
    pub session: String,
    pub lot: String,
    pub series: String,
    pub jar: String,
}

impl Workshop {
    pub async fn open(app: &TestApp) -> Self {
        let scale = app.done("/v1/scales", scale()).await;
        let opening = json!({"scale": scale, "nominal": "50.00", "reading": "50.00"});
        let session = app.done("/v1/sessions", opening).await;
        let lot = app.done("/v1/lots", lot(&session)).await;
        let series = app.done("/v1/series", series("TW")).await;
        let jar = json!({"metal": "silver", "fineness": "999", "residue": "lemel"});
        let jar = app.done("/v1/jars", jar).await;
        Self {
            session,
            lot,
            series,
            jar,
        }
    }

    /// A melt of this lot with ovals of these masses, weighed from the mould; the melt and its pieces.
    pub async fn pour(&self, app: &TestApp, masses: &[&str]) -> (String, Vec<String>) {
        let charge = json!({"metal": "silver", "session": self.session, "lots": [{"lot": self.lot, "mass": "250.00"}]});
        let melt = app.done("/v1/melts", charge).await;
        let pours: Vec<Value> = masses
            .iter()
            .map(|_| json!({"series": self.series, "shape": "oval"}))
            .collect();
        let reply = app
            .post(&format!("/v1/melts/{melt}/pours"), json!({"pours": pours}))
            .await
            .expect(201);
        let pieces: Vec<String> = reply.json()["events"]
            .as_array()
            .unwrap()
            .iter()
            .map(|event| event["piece"].as_str().unwrap().to_owned())
            .collect();
        let items: Vec<Value> = pieces
            .iter()
            .zip(masses)
            .map(|(piece, mass)| item(app, piece, mass))
            .collect();
        app.post("/v1/weighings", self.tray("from_mould", items))
            .await
            .expect(201);
        (melt, pieces)
    }

    /// Weighs a melt out with a loss of 0.50 g.
    pub async fn close(&self, app: &TestApp, melt: &str) {
        let row = app
            .app
            .views
            .melt(MeltId(Uuid::try_parse(melt).unwrap()))
            .unwrap()
            .unwrap();
        let masses = row
            .pieces
            .iter()
            .map(|piece| app.app.views.piece(*piece).unwrap().unwrap().mass().unwrap());
        let out = Mass::checked_sum(masses)
            .unwrap()
            .checked_add(Mass::parse("0.50").unwrap())
            .unwrap();
        let heel = row.charge.checked_sub(out).unwrap().to_text(2);
        let closing = json!({"session": self.session, "heel": heel});
        app.post(&format!("/v1/melts/{melt}/closing"), closing)
            .await
            .expect(201);
    }

    pub fn tray(&self, stage: &str, items: Vec<Value>) -> Value {
        json!({"session": self.session, "stage": stage, "items": items})
    }

    /// Takes the first piece of a melt all the way to its certificate; its serial.
    pub async fn certify(&self, app: &TestApp, melt: &str, piece: &str, mass: &str) -> String {
        self.close(app, melt).await;
        let serials = app
            .post("/v1/serials", json!({"pieces": [piece]}))
            .await
            .expect(201);
        let serial = serials.json()["events"][0]["serial"].as_str().unwrap().to_owned();
        app.post("/v1/weighings", self.tray("final", vec![item(app, piece, mass)]))
            .await
            .expect(201);
        app.post("/v1/numbers", json!({"pieces": [piece]}))
            .await
            .expect(201);
        let check = json!({"nominal": "50.00", "reading": "50.00"});
        app.post(&format!("/v1/sessions/{}/closing", self.session), check)
            .await
            .expect(201);
        app.post("/v1/certificates", json!({"pieces": [piece]}))
            .await
            .expect(201);
        serial
    }
}

pub fn scale() -> Value {
    json!({"class": "II", "e": "0.01", "d": "0.01", "max": "600", "verified": true, "repeatability": "0.003",
           "label": "bench scale by the window"})
}

pub fn lot(session: &str) -> Value {
    json!({"metal": "silver", "fineness": "999.9", "basis": "declared", "session": session, "mass": "500.00",
           "seller": "Pellworth Metals Counter", "document": "PMC 1207", "price": {"amount": "431.20", "currency": "GBP"}})
}

pub fn series(code: &str) -> Value {
    json!({"code": code, "kind_of": "edition", "metal": "silver", "fineness": "999", "unit": "g",
           "shapes": [{"shape": "oval", "size": 4}], "limits": {"nominal": "50.00", "lower": "50.00", "upper": "51.20"},
           "digits": 4, "marking": "exempt", "ground": "bullion", "title": "Tidewheel",
           "commissioner": "The Lantern & Loom Society"})
}

pub fn item(app: &TestApp, piece: &str, mass: &str) -> Value {
    json!({"piece": piece, "mass": mass, "version": app.version(piece)})
}

pub fn method(name: &str) -> Method {
    Method::from_bytes(name.as_bytes()).unwrap()
}
