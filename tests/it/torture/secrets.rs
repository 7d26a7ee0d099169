//! No secret is where others look: not in what the server says of itself at its most talkative, not in a reply that refuses
//! something, not in the list of processes, not in `log/`. Secrets are tokens, sessions and their form tokens, the seeds of keys,
//! the secret and the keys of the vault, the codes of certificates, and all other private members.

use super::clients::{copy_folder, files_under};
use super::erased::{Needle, Search, disguises, private_of};
use crate::log::served::{Served, run};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use pourbook::domain::Draw;
use pourbook::http::{Role, Tokens};
use pourbook::node::BookFolder;
use serde_json::json;
use std::path::Path;
use std::process::Command;

/// A private value that is shorter stands by chance among figures and times.
const LONG: usize = 10;

/// Bytes as they are, in base64url wherever they begin, and in hexadecimal digits of both cases.
fn in_any_form(bytes: &[u8], what: &str) -> Vec<Needle> {
    let hex: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
    let mut all = disguises(bytes, what);
    for text in [hex.to_uppercase(), hex] {
        all.push(Needle {
            bytes: text.into_bytes(),
            what: what.to_owned(),
        });
    }
    all
}

/// What signs and what hides, as it stands in the folders that only their owner may read.
fn keys_of(dir: &Path) -> Vec<Needle> {
    let mut all = Vec::new();
    for (path, text) in files_under(&dir.join("keys")) {
        let text = String::from_utf8(text).unwrap();
        let Some(seed) = text
            .strip_prefix("pourbook-key ")
            .and_then(|line| line.split(' ').nth(2))
        else {
            continue;
        };
        let seed = URL_SAFE_NO_PAD.decode(seed.trim()).unwrap();
        all.extend(in_any_form(&seed, &format!("the seed in {}", path.display())));
    }
    assert!(!all.is_empty());
    let secret = std::fs::read(dir.join("vault/secret")).unwrap();
    all.extend(in_any_form(&secret[..32], "the vault's secret"));
    for (slot, key) in std::fs::read(dir.join("vault/keys"))
        .unwrap()
        .chunks_exact(40)
        .enumerate()
    {
        if key.iter().any(|byte| *byte != 0) {
            all.extend(in_any_form(&key[..32], &format!("key {slot} of the vault")));
        }
    }
    all
}

/// Every reply that refuses something, head and body, as text.
struct Asker<'a> {
    served: &'a Served,
    agent: ureq::Agent,
    /// Whether whoever asks now sees names and notes.
    sees: bool,
    refused: Vec<(bool, String, String)>,
}

impl Asker<'_> {
    fn ask(
        &mut self,
        method: &str,
        path: &str,
        headers: &[(&str, &str)],
        body: &str,
    ) -> (u16, String, String) {
        let address = format!("{}{path}", self.served.address);
        let mut request = ureq::http::Request::builder().method(method).uri(address);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let mut reply = match method {
            "GET" => self.agent.run(request.body(()).unwrap()).unwrap(),
            _ => self.agent.run(request.body(body.to_owned()).unwrap()).unwrap(),
        };
        let status = reply.status().as_u16();
        let head = format!("{:?}", reply.headers());
        let text = reply.body_mut().read_to_string().unwrap_or_default();
        if status >= 400 {
            self.refused.push((
                self.sees,
                format!("{method} {path} {status}"),
                format!("{head}\n{text}"),
            ));
        }
        (status, head, text)
    }
}

/// Asks wrongly in every way with secrets in hand, so that a careless reply or log would tell one.
///
/// Gives what must be nowhere: the ids of sessions; and what must be nowhere but in the pages of the session itself: form tokens.
fn ask_wrongly(
    asker: &mut Asker<'_>,
    tokens: &[(Role, String)],
    codes: &[String],
) -> (Vec<Needle>, Vec<Needle>) {
    let bearer = |token: &str| format!("Bearer {token}");
    let json = ("content-type", "application/json");
    let form = ("content-type", "application/x-www-form-urlencoded");
    let key = ("idempotency-key", "8e03978e-40d5-43e8-bc93-6894a57f9324");
    for (_, token) in tokens {
        let with = bearer(token);
        let token = token.as_str();
        for path in [
            "/v1/pieces",
            "/v1/events",
            "/v1/orders",
            "/v1/stock-value",
            "/v1/find?q=x",
            "/home",
            "/healthz",
        ] {
            asker.ask("GET", path, &[("authorization", &with)], "");
        }
        // A token in the wrong place: its own reply may say what is wrong with the place, never what was there.
        let shorter = bearer(&token[..token.len() - 1]);
        for wrong in [
            shorter.as_str(),
            &format!("{with} {with}"),
            &format!("Basic {token}"),
            token,
            "Bearer",
        ] {
            asker.ask("GET", "/v1/pieces", &[("authorization", wrong)], "");
        }
        asker.ask(
            "GET",
            "/v1/pieces",
            &[("authorization", &with), ("authorization", &with)],
            "",
        );
        let auth = ("authorization", with.as_str());
        for body in [
            "{",
            "[]",
            "{\"metal\": \"mithril\"}",
            "{\"metal\": 1, \"metal\": 2}",
            "{\"a\":{\"b\":1.5}}",
        ] {
            asker.ask("POST", "/v1/jars", &[auth, json, key], body);
        }
        asker.ask(
            "POST",
            "/v1/jars",
            &[auth, ("content-type", "text/plain"), key],
            "{}",
        );
        asker.ask(
            "POST",
            "/v1/jars",
            &[auth, json, ("idempotency-key", token)],
            "{}",
        );
        asker.ask(
            "POST",
            "/v1/keys",
            &[auth, ("content-type", "text/plain"), key],
            "a.b.c",
        );
        asker.ask(
            "POST",
            "/v1/pieces/11111111-1111-4111-8111-111111111111/fault",
            &[auth, json, key, ("if-match", token)],
            "{}",
        );
        asker.ask("POST", "/v1/pieces", &[auth], "");
        asker.ask("GET", "/v1/pieces", &[auth, ("accept", "text/html")], "");
        asker.ask("GET", "/v1/pieces/nobody", &[auth], "");
        asker.ask(
            "POST",
            "/sign-in",
            &[form],
            &format!("token={}", &token[..token.len() - 1]),
        );
    }
    let office = bearer(&tokens.iter().find(|(role, _)| *role == Role::Office).unwrap().1);
    for code in codes.iter().take(12) {
        let auth = ("authorization", office.as_str());
        asker.ask("GET", &format!("/v1/find?q={code}"), &[auth], "");
        let slip = format!(
            "{}{}",
            &code[..code.len() - 1],
            if code.ends_with('0') { '1' } else { '0' }
        );
        for question in [json!({"q": code, "code": code}), json!({"q": [code]})] {
            asker.ask("POST", "/v1/find", &[auth, json], &question.to_string());
        }
        for serial in ["TW-0001-07", "DW-0001-21", "XX-0001-00"] {
            for code in [code, &slip] {
                let question = json!({"code": code}).to_string();
                asker.ask("POST", &format!("/v1/serials/{serial}/code"), &[json], &question);
                asker.ask(
                    "POST",
                    &format!("/p/{serial}/code"),
                    &[form],
                    &format!("code={code}"),
                );
            }
        }
    }
    // Somebody signs in and is refused things: neither the session's id nor its form token is told again.
    let (mut ids, mut form_tokens) = (Vec::new(), Vec::new());
    for (role, token) in tokens {
        // A form that is refused is shown again, with what its role may see.
        asker.sees = role.sees_private();
        let (status, head, _) = asker.ask("POST", "/sign-in", &[form], &format!("token={token}"));
        assert_eq!(status, 303, "{role:?}: {head}");
        let cookie = head
            .split("set-cookie\": \"")
            .nth(1)
            .unwrap()
            .split(';')
            .next()
            .unwrap()
            .to_owned();
        let id = cookie.split('=').nth(1).unwrap();
        let (_, _, home) = asker.ask("GET", "/home", &[("cookie", &cookie)], "");
        let form_token = home
            .split("name=\"form_token\" value=\"")
            .nth(1)
            .unwrap()
            .split('"')
            .next()
            .unwrap();
        ids.extend(disguises(id.as_bytes(), &format!("the session of {role:?}")));
        form_tokens.extend(disguises(
            form_token.as_bytes(),
            &format!("the form token of {role:?}"),
        ));
        asker.ask(
            "POST",
            "/lots/new",
            &[form, ("cookie", &cookie)],
            &format!("form_token={form_token}x"),
        );
        asker.ask("POST", "/sign-out", &[form, ("cookie", &cookie)], "form_token=");
        asker.ask(
            "GET",
            "/v1/pieces",
            &[("cookie", &cookie), ("pourbook-form", "wrong")],
            "",
        );
        asker.ask(
            "GET",
            "/metal/gold/losses",
            &[("cookie", &format!("{cookie}; {cookie}"))],
            "",
        );
    }
    (ids, form_tokens)
}

#[test]
fn secrets_are_not_where_others_look() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path().join("book");
    pourbook::cli::demo::make(&BookFolder::at(&dir)).unwrap_or_else(|_| panic!("no demo"));
    let mut tokens = Tokens::read(&BookFolder::at(&dir).tokens()).unwrap();
    let mut draw = Draw::new([77; 32]);
    let made = Role::ALL.map(|role| (role, tokens.add(&mut draw, role, None, None)));
    tokens.write(&BookFolder::at(&dir).tokens()).unwrap();

    let private = private_of(&dir);
    let codes: Vec<String> = private
        .iter()
        .filter(|record| record.member == "code")
        .map(|record| record.value.clone())
        .collect();
    assert!(codes.len() > 10, "{} certificates", codes.len());
    let out = folder.path().join("stdout");
    let script = format!("POURBOOK_LOG=trace exec \"$@\" >{}", out.display());
    let served = Served::start_under(&["sh", "-c", &script, "sh"], &dir).unwrap();
    let mut asker = Asker {
        served: &served,
        agent: ureq::Agent::config_builder()
            .http_status_as_error(false)
            .max_redirects(0)
            .build()
            .into(),
        sees: false,
        refused: Vec::new(),
    };
    let (sessions, form_tokens) = ask_wrongly(&mut asker, &made, &codes);
    let refused = asker.refused;
    assert!(
        refused.len() > 150,
        "only {} replies refuse something",
        refused.len()
    );

    let mut needles = keys_of(&dir);
    for (role, token) in &made {
        needles.extend(disguises(token.as_bytes(), &format!("the token of {role:?}")));
        let bytes = URL_SAFE_NO_PAD
            .decode(token.strip_prefix("pb_").unwrap())
            .unwrap();
        needles.extend(in_any_form(&bytes, &format!("the token of {role:?}")));
    }
    needles.extend(sessions);
    let of_those_who_see = Search::new(needles.iter().cloned());
    let values = private.iter().flat_map(|record| record.clear.iter().cloned());
    needles.extend(values.filter(|needle| needle.bytes.len() >= LONG));
    let of_replies = Search::new(needles.iter().cloned());
    needles.extend(form_tokens);
    let count = needles.len();
    let search = Search::new(needles);

    let process = format!("/proc/{}", served.number());
    let listed = std::fs::read(format!("{process}/cmdline")).unwrap();
    let environment = std::fs::read(format!("{process}/environ")).unwrap();
    served.stop_keeping(|told| {
        assert!(
            told.contains("TRACE") && told.len() > 100_000,
            "{} bytes were said",
            told.len()
        );
        assert_eq!(
            search.within(told.as_bytes()),
            [].into(),
            "in what the server says of itself"
        );
    });
    assert_eq!(
        search.within(&std::fs::read(&out).unwrap()),
        [].into(),
        "on standard output"
    );
    assert_eq!(
        search.within(&[listed, environment].concat()),
        [].into(),
        "in the list of processes"
    );
    for (sees, asked, reply) in &refused {
        let of_replies = if *sees { &of_those_who_see } else { &of_replies };
        assert_eq!(of_replies.within(reply.as_bytes()), [].into(), "{asked}: {reply}");
    }
    let of_log = [
        private
            .iter()
            .flat_map(|record| record.clear.iter().chain(&record.stored).cloned())
            .collect(),
        keys_of(&dir),
    ];
    let found = Search::new(of_log.concat()).found(&dir.join("log"));
    assert!(found.is_empty(), "in log/: {found:#?}");

    // The search does find them: in a log that tells a token, and in a folder that has the keys.
    let told = format!("GET /home authorization: Bearer {}", made[1].1);
    assert_eq!(search.within(told.as_bytes()).len(), 1);
    let probe = folder.path().join("probe");
    copy_folder(&dir.join("keys"), &probe);
    assert!(!search.found(&probe).is_empty());
    println!(
        "{count} forms of secrets sought in what the server said, {} refusals, the process list and log/: none found",
        refused.len()
    );
}

/// What is typed behind a command stands in the list of processes, so no command takes a secret there.
#[test]
fn no_command_takes_a_secret_as_an_argument() {
    let told = |words: &[&str]| String::from_utf8(run(&[words, &["--help"]].concat()).stdout).unwrap();
    let named = |text: &str| -> Vec<String> {
        let list = text
            .split("Commands:\n")
            .nth(1)
            .unwrap_or_default()
            .split("\n\n")
            .next()
            .unwrap_or_default();
        let lines = list
            .lines()
            .filter(|line| line.starts_with("  ") && !line.starts_with("   "));
        lines
            .filter_map(|line| line.split_whitespace().next().map(str::to_owned))
            .collect()
    };
    let mut seen = 0;
    for command in named(&told(&[])) {
        let mut pages = vec![told(&[&command])];
        pages.extend(named(&pages[0]).iter().map(|part| told(&[&command, part])));
        for page in pages {
            seen += 1;
            for secret in ["token", "code", "secret", "seed", "password"] {
                assert!(
                    !page.contains(&format!("--{secret} <")),
                    "pourbook {command}: --{secret}\n{page}"
                );
            }
        }
    }
    assert!(seen > 40, "{seen} commands");
    let outcome = Command::new(crate::log::served::PROGRAM)
        .args(["audit", "http://127.0.0.1:1", "--token", "pb_x"])
        .output()
        .unwrap();
    assert_eq!(outcome.status.code(), Some(2));
}
