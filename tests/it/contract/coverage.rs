//! Every status of every operation that the description names is produced, and [`super::hold`] holds each reply to it.
//!
//! One test walks all of it by itself, so nothing depends on which tests ran before. Per status there is one way to ask
//! for it ([`Walk::ask`]); what is particular to an operation stands in the table of [`super::steps`].

use super::steps::{AFTER, STEPS, Step};
use super::{DESCRIPTION, fits};
use crate::http::photographs::picture;
use crate::http::{ORIGIN, Reply, Served, TestApp, bearer};
use actix_web::test::TestRequest;
use pourbook::domain::{Event, KeyAdded, KeyRole, OperatorId, Timestamp};
use pourbook::http::routes::{Deed, ROUTES, Recording, Route, Who};
use pourbook::http::{Quotas, Role};
use pourbook::photographs::SENT_BYTES_MAX;
use pourbook::record::{KeyEntryDraft, Signer, seal_key_entry};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::Ordering;
use std::time::Duration;
use uuid::Uuid;

const NOBODY: &str = "11111111-1111-4111-8111-111111111111";
const KEY: &str = "8e03978e-40d5-43e8-bc93-6894a57f9324";

/// An operation and a status.
type Shown = (String, u16);

fn operation(route: &Route) -> String {
    format!("{} {}", route.method, route.path.replace(":.+}", "}"))
}

/// All that the description names.
fn described() -> BTreeSet<Shown> {
    let mut all = BTreeSet::new();
    for (path, operations) in DESCRIPTION["paths"].as_object().unwrap() {
        for (method, operation) in operations.as_object().unwrap() {
            for status in operation["responses"].as_object().unwrap().keys() {
                all.insert((
                    format!("{} {path}", method.to_uppercase()),
                    status.parse().unwrap(),
                ));
            }
        }
    }
    all
}

fn recording(route: &Route) -> Option<&'static Recording> {
    match route.deed {
        Deed::Command(recording) => Some(recording),
        _ => None,
    }
}

/// Whether a route takes a body and records nothing.
fn is_question(route: &Route) -> bool {
    matches!(
        route.deed,
        Deed::FindPosted | Deed::Calculation(_) | Deed::Comparison | Deed::Code
    )
}

/// A role that may call a route, and one that may not.
fn roles(route: &Route) -> (Option<Role>, Option<Role>) {
    let may: &[Role] = match route.who {
        Who::Public => return (None, None),
        Who::Entries => &[Role::Auditor],
        Who::Roles(roles) => roles,
    };
    let other = Role::ALL.into_iter().find(|role| !may.contains(role));
    (may.first().copied(), other)
}

/// What a request is made of; each status bends one part.
struct Parts {
    address: String,
    token: Option<String>,
    headers: Vec<(&'static str, String)>,
    body: Option<Vec<u8>>,
}

impl Parts {
    fn without(mut self, name: &str) -> Self {
        self.headers.retain(|(known, _)| *known != name);
        self
    }

    fn with(self, name: &'static str, value: &str) -> Self {
        let mut parts = self.without(name);
        parts.headers.push((name, value.to_owned()));
        parts
    }

    fn body(mut self, body: impl AsRef<[u8]>) -> Self {
        self.body = Some(body.as_ref().to_vec());
        self
    }

    fn request(self, method: &str) -> TestRequest {
        let method = crate::http::method(method);
        let mut request = TestRequest::default().method(method).uri(&self.address);
        if let Some(token) = &self.token {
            request = request.insert_header(bearer(token));
        }
        for (name, value) in self.headers {
            request = request.insert_header((name, value));
        }
        match self.body {
            Some(body) => request.set_payload(body),
            None => request,
        }
    }
}

/// The books that are asked: one that works, and one per thing that must be wrong.
struct Walk {
    usual: TestApp,
    slow: TestApp,
    limited: TestApp,
    stopped: TestApp,
    held: TestApp,
    kept: BTreeMap<String, String>,
    seen: BTreeSet<Shown>,
    /// What was asked for and not given, for whoever reads a failure.
    otherwise: Vec<String>,
}

impl Walk {
    async fn start() -> Self {
        let served = Served::default;
        let once = Quotas {
            public_per_minute: 1,
            public_burst: 1,
            wrong_tokens_per_minute: 1,
            ..Quotas::OFF
        };
        Self {
            usual: TestApp::start().await,
            slow: TestApp::serve(Served {
                body_timeout: Duration::from_millis(5),
                ..served()
            })
            .await,
            limited: TestApp::serve(Served {
                quotas: once,
                ..served()
            })
            .await,
            stopped: TestApp::start().await,
            held: TestApp::serve(Served {
                held: true,
                ..served()
            })
            .await,
            kept: BTreeMap::new(),
            seen: BTreeSet::new(),
            otherwise: Vec::new(),
        }
    }

    fn note(&mut self, route: &Route, wanted: u16, reply: &Reply) {
        self.seen.insert((operation(route), reply.status));
        if reply.status != wanted {
            let what = operation(route);
            let text = reply.text();
            self.otherwise.push(format!(
                "{what}: {wanted} was asked for, it gave {} {text}",
                reply.status
            ));
        }
    }

    /// A text with what was kept put in; longest names first, so that `$piece#2` is not read as `$piece`.
    fn filled(&self, text: &str) -> String {
        let mut text = text.to_owned();
        for (name, value) in self.kept.iter().rev() {
            text = text.replace(&format!("${name}"), value);
        }
        text
    }

    /// Takes the steps of the table on a book.
    async fn tell(&mut self, app: &TestApp, note: bool) {
        self.kept.clear();
        for step in STEPS.iter().chain(AFTER) {
            // A book that releases no checkpoint prints nothing.
            let of_prints = step.to.ends_with("/prints") || step.body.contains("$index");
            if of_prints && app.held.load(Ordering::SeqCst) {
                continue;
            }
            let (method, to) = step.to.split_once(' ').unwrap();
            let address = self.filled(to);
            let body = self.filled(step.body);
            assert!(
                !body.contains('$') && !address.contains('$'),
                "{}: {body}",
                step.to
            );
            let route = ROUTES
                .iter()
                .find(|route| {
                    let (path, _) = address.split_once('?').unwrap_or((&address, ""));
                    route.method == method && fits(route.path, path)
                })
                .unwrap_or_else(|| panic!("{} is no route", step.to));
            let mut body: Value = serde_json::from_str(&body).unwrap();
            let tray = recording(route).is_some_and(|command| command.tray);
            let items = body.get_mut("items").filter(|_| tray);
            for item in items.and_then(Value::as_array_mut).into_iter().flatten() {
                item["version"] = json!(app.version(item["piece"].as_str().unwrap()));
            }
            let role = roles(route).0.unwrap();
            let reply = match route.deed {
                Deed::AddPhotograph => app.photograph(role, &address, &picture()).await,
                _ => app.post_as(role, &address, body).await,
            };
            assert_eq!(reply.status, step.status, "{}: {}", step.to, reply.text());
            self.keep(step, &reply);
            if note {
                self.note(route, step.status, &reply);
            }
        }
    }

    fn keep(&mut self, step: &Step, reply: &Reply) {
        for name in step.keeps {
            let (name, member) = name.split_once('=').unwrap_or((name, name));
            let (member, place) = member.split_once('#').unwrap_or((member, "1"));
            let mut values: Vec<String> = Vec::new();
            if member == "index" {
                values.push(reply.json()["index"].to_string());
            }
            for event in reply.json()["events"].as_array().unwrap() {
                let value = event[member].as_str().unwrap_or_default().to_owned();
                if !value.is_empty() && !values.contains(&value) {
                    values.push(value);
                }
            }
            let place: usize = place.parse().unwrap();
            self.kept.insert(name.to_owned(), values[place - 1].clone());
        }
    }

    /// The address of a route, with what was kept.
    fn address(&self, route: &Route) -> String {
        let mut address = String::new();
        for part in route.path.split('/').skip(1) {
            address.push('/');
            let Some(name) = part.strip_prefix('{') else {
                address.push_str(part);
                continue;
            };
            let name = name.trim_end_matches('}').trim_end_matches(":.+");
            address.push_str(match name {
                "code" => "stale",
                "level" => "0",
                "tile" => "000.p/1",
                "metal" => "silver",
                "heading" => "received",
                name => self
                    .kept
                    .get(name)
                    .unwrap_or_else(|| panic!("no step keeps a {name:?}")),
            });
        }
        match route.deed {
            Deed::Find => address + "?q=TW",
            Deed::AddPhotograph => address + "?stage=from_mould&side=back",
            _ => address,
        }
    }

    /// The address of a route with members that nothing has.
    fn nowhere(route: &Route) -> String {
        let parts = route.path.split('/').skip(1).map(|part| match part {
            "{serial}" => "TW-9999",
            "{code}" | "{level}" | "{tile:.+}" | "{metal}" | "{heading}" => "nonsense",
            part if part.starts_with('{') => NOBODY,
            word => word,
        });
        let address = parts.fold(String::new(), |address, part| format!("{address}/{part}"));
        match route.deed {
            Deed::AddPhotograph => address + "?stage=from_mould&side=back",
            _ => address,
        }
    }

    /// A request as it should be: what the description gives as an example.
    fn parts(&self, app: &TestApp, route: &Route) -> Parts {
        let mut parts = Parts {
            address: self.address(route),
            token: roles(route).0.map(|role| app.token(role).to_owned()),
            headers: Vec::new(),
            body: None,
        };
        if route.method == "POST" {
            let schema = match route.deed {
                Deed::Command(command) => Some(command.name),
                Deed::FindPosted => Some("Question"),
                Deed::Comparison => Some("Observed"),
                Deed::Code => Some("CodeQuestion"),
                Deed::Calculation(calculation) => Some(calculation.question),
                _ => None,
            };
            let body = match schema {
                Some(name) => &DESCRIPTION["components"]["schemas"][name]["example"],
                None => &Value::Null,
            };
            let (media, body) = match route.deed {
                Deed::AddPhotograph => ("image/png", picture()),
                Deed::KeyEntry => ("text/plain", body.to_string().into_bytes()),
                _ => ("application/json", body.to_string().into_bytes()),
            };
            parts = parts
                .with("idempotency-key", &app.fresh_key())
                .with("content-type", media)
                .body(body);
            let photograph = matches!(route.deed, Deed::AddPhotograph);
            if photograph || recording(route).is_some_and(|command| command.subject.is_some()) {
                parts = parts.with("if-match", "\"1\"");
            }
        }
        parts
    }

    /// Asks for a status that has one way for all operations. `None` if the table has to show it.
    async fn ask(&self, route: &Route, status: u16) -> Option<Reply> {
        let app = match status {
            408 => &self.slow,
            429 => &self.limited,
            503 if route.method == "POST" => &self.stopped,
            503 => &self.held,
            _ => &self.usual,
        };
        let parts = self.parts(app, route);
        let post = route.method == "POST";
        let bent = match status {
            200 | 503 => parts,
            304 => {
                let first = app.send(self.parts(app, route).request(route.method)).await;
                parts.with("if-none-match", first.header("etag")?)
            }
            400 if is_question(route) => parts.body("{"),
            400 if post => parts.without("idempotency-key"),
            400 => Parts {
                address: format!(
                    "{}{}nonsense=1",
                    parts.address,
                    if parts.address.contains('?') { '&' } else { '?' }
                ),
                ..parts
            },
            401 => Parts { token: None, ..parts },
            403 => Parts {
                token: roles(route).1.map(|role| app.token(role).to_owned()),
                ..parts
            },
            410 => Parts {
                address: format!("/v1/prints/{}", self.kept["index_gone"]),
                ..parts
            },
            404 => Parts {
                address: Self::nowhere(route),
                ..parts
            },
            406 => parts.with("accept", "image/png, application/json;q=0, text/*;q=0"),
            408 => return Some(app.send_slowly(parts.request(route.method)).await),
            412 if recording(route).is_some_and(|command| command.tray) => parts,
            412 => parts.with("if-match", "\"99\""),
            413 if matches!(route.deed, Deed::AddPhotograph) => parts.body("x".repeat(SENT_BYTES_MAX + 1)),
            413 => parts.body("x".repeat(300_000)),
            415 => parts.with("content-type", "text/csv"),
            422 if recording(route).is_some()
                || is_question(route)
                || matches!(route.deed, Deed::AddPhotograph) =>
            {
                parts.body("{\"nonsense\": 1}")
            }
            422 if route.path.contains("{serial}") => Parts {
                address: route.path.replace("{serial}", "hello"),
                ..parts
            },
            422 if matches!(route.deed, Deed::Figure(_)) => Parts {
                address: format!("{}?at=999999", parts.address),
                ..parts
            },
            422 => self.same_key_other_entry(parts).await,
            428 => parts.without("if-match"),
            429 => {
                let twice = || Parts {
                    token: roles(route).0.map(|_| "pb_wrong".to_owned()),
                    ..self.parts(app, route)
                };
                app.send(twice().request(route.method)).await;
                twice()
            }
            _ => return None,
        };
        Some(app.send(bent.request(route.method)).await)
    }

    /// A key entry under a key that a command had.
    async fn same_key_other_entry(&self, parts: Parts) -> Parts {
        let jar = json!({"metal": "gold", "fineness": "750", "residue": "sweeps"});
        let first = TestRequest::post()
            .uri("/v1/jars")
            .insert_header(bearer(self.usual.token(Role::Office)))
            .insert_header(("idempotency-key", KEY))
            .insert_header(("content-type", "application/json"))
            .set_payload(jar.to_string());
        self.usual.send(first).await.expect(201);
        parts.with("idempotency-key", KEY)
    }

    /// Key entries are made elsewhere, so no table can hold one.
    async fn record_a_key(&mut self) {
        let Some(route) = ROUTES.iter().find(|route| matches!(route.deed, Deed::KeyEntry)) else {
            return;
        };
        let new = Signer::from_seed(&[4; 32]);
        let draft = KeyEntryDraft {
            iss: ORIGIN,
            jti: Uuid::try_parse(&self.usual.fresh_key()).unwrap(),
            iat: Timestamp(1_790_000_000),
            by: OperatorId(Uuid::nil()),
            keys: {
                let published = self.usual.app.writer.published();
                let newest = published.key_entries().last().copied().unwrap();
                published.tree().leaf(newest)
            },
            event: Event::from(KeyAdded {
                kid: new.kid().to_owned(),
                role: KeyRole::Recorder,
                x: new.public().to_base64url(),
            }),
        };
        let entry = seal_key_entry(&draft, &Signer::from_seed(&[1; 32])).unwrap();
        for (status, body) in [
            (409, "no entry".to_owned()),
            (201, String::from_utf8(entry).unwrap()),
        ] {
            let parts = self
                .parts(&self.usual, route)
                .with("idempotency-key", &draft.jti.to_string());
            let reply = self.usual.send(parts.body(&body).request("POST")).await;
            self.note(route, status, &reply);
        }
    }
}

#[actix_web::test]
async fn every_status_of_every_operation_is_produced() {
    let mut walk = Walk::start().await;
    let held = TestApp::serve(Served {
        held: true,
        ..Served::default()
    })
    .await;
    walk.tell(&held, false).await;
    walk.held = held;
    let usual = TestApp::start().await;
    walk.tell(&usual, true).await;
    walk.usual = usual;
    walk.usual.released().await;
    walk.record_a_key().await;
    walk.usual.released().await;
    walk.stopped.app.writer.stop();

    // Every operation is asked for every status that any has, so that one which is not described shows itself as well.
    let wanted = described();
    let statuses: BTreeSet<u16> = wanted.iter().map(|(_, status)| *status).collect();
    for route in ROUTES.iter().filter(|route| !route.is_page()) {
        for status in &statuses {
            if let Some(reply) = walk.ask(route, *status).await {
                let hoped = wanted.contains(&(operation(route), *status));
                walk.note(route, if hoped { *status } else { reply.status }, &reply);
            }
        }
    }
    let missing: Vec<String> = wanted
        .difference(&walk.seen)
        .map(|(operation, status)| format!("{operation} {status}"))
        .collect();
    assert!(
        missing.is_empty(),
        "openapi.yaml names these, and nothing produces them (a step in tests/it/contract/steps.rs shows a 201 or 409; a \
         status that no code gives must leave the description):\n{}\nWhat was given instead:\n{}",
        missing.join("\n"),
        walk.otherwise.join("\n")
    );
    assert!(wanted.len() > 400, "only {} statuses are described", wanted.len());
}

#[actix_web::test]
async fn every_path_names_its_methods_when_it_is_asked_with_another() {
    let mut walk = Walk::start().await;
    let usual = TestApp::start().await;
    walk.tell(&usual, false).await;
    let mut tried = 0;
    for route in ROUTES.iter().filter(|route| !route.is_page()) {
        let address = walk.address(route);
        let allowed = pourbook::http::routes::allowed(route.path);
        for method in ["DELETE", "PUT", "PATCH", "POST", "GET", "OPTIONS"] {
            if allowed.split(", ").any(|known| known == method) {
                continue;
            }
            let request = TestRequest::default()
                .method(crate::http::method(method))
                .uri(&address);
            let reply = usual.send(request).await.expect(405);
            assert_eq!(
                reply.header("allow"),
                Some(allowed.as_str()),
                "{method} {address}"
            );
            assert_eq!(reply.problem(), "method-not-allowed");
            tried += 1;
        }
    }
    assert!(tried > 150, "only {tried} were tried");
}

/// Version 0 is what nothing has, so the rules themselves must say that the subject is not there.
#[actix_web::test]
async fn a_subject_that_is_not_there_is_not_found_even_at_version_0() {
    let walk = Walk::start().await;
    let mut tried = 0;
    for route in ROUTES {
        let Some(command) = recording(route).filter(|command| command.subject.is_some()) else {
            continue;
        };
        let mut body = DESCRIPTION["components"]["schemas"][command.name]["example"].clone();
        // A session that is not there either may be told first.
        if body["session"].is_string() || body["outturn"].is_object() {
            continue;
        }
        // So may other things that only the example knows.
        if let Some(members) = body.as_object_mut() {
            members.remove("order");
        }
        let parts = Parts {
            address: Walk::nowhere(route),
            token: roles(route).0.map(|role| walk.usual.token(role).to_owned()),
            headers: Vec::new(),
            body: Some(body.to_string().into_bytes()),
        };
        let parts = parts
            .with("idempotency-key", &walk.usual.fresh_key())
            .with("content-type", "application/json")
            .with("if-match", "\"0\"");
        let reply = walk.usual.send(parts.request("POST")).await;
        assert_eq!(reply.status, 404, "{}: {}", operation(route), reply.text());
        tried += 1;
    }
    assert!(tried >= 20, "only {tried} were tried");
}
