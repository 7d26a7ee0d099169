//! HTTPS through the built program: the root that a book makes itself, what it is worth, and certificates that are given.

use crate::log::served::{PROGRAM, found_book, run};
use pourbook::domain::Timestamp;
use pourbook::node::{BookFolder, Root};
use rcgen::{CertificateParams, Issuer, KeyPair};
use rustls::client::WebPkiServerVerifier;
use rustls::client::danger::ServerCertVerifier;
use rustls::pki_types::{CertificateDer, ServerName, UnixTime};
use std::io::{BufRead, BufReader};
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::Duration;
use ureq::tls::{Certificate, RootCerts, TlsConfig};

/// 26 November 2026.
const NOW: i64 = 1_795_651_200;

/// A book that is served over TLS on a free port; killed at the end.
struct Served {
    child: Child,
    port: u16,
}

impl Served {
    fn start(dir: &Path) -> Result<Self, String> {
        let mut child = Command::new(PROGRAM)
            .args(["serve", dir.to_str().unwrap(), "--listen", "127.0.0.1:0", "--tls"])
            .env_remove("POURBOOK_LOG")
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut told = String::new();
        for line in BufReader::new(child.stderr.take().unwrap()).lines() {
            let line = line.unwrap();
            if let Some((_, address)) = line.split_once("serving on https://127.0.0.1:") {
                let port = address.trim().parse().unwrap();
                return Ok(Self { child, port });
            }
            told.push_str(&line);
        }
        assert!(!child.wait().unwrap().success());
        Err(told)
    }

    fn get(&self, agent: &ureq::Agent, host: &str, path: &str) -> Result<Vec<u8>, ureq::Error> {
        let mut reply = agent.get(format!("https://{host}:{}{path}", self.port)).call()?;
        reply.body_mut().read_to_vec()
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Somebody who trusts this root and no other, or looks at none.
fn client(root: Option<&[u8]>) -> ureq::Agent {
    let tls = match root {
        Some(root) => {
            let root = Certificate::from_der(root).to_owned();
            TlsConfig::builder().root_certs(RootCerts::new_with_certs(&[root]))
        }
        None => TlsConfig::builder().disable_verification(true),
    };
    ureq::Agent::config_builder()
        .tls_config(tls.build())
        .timeout_global(Some(Duration::from_secs(20)))
        .build()
        .into()
}

fn book() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    found_book(dir.path(), 21, NOW);
    dir
}

fn settings(dir: &Path, more: &str) {
    let path = dir.join("pourbook.toml");
    let text = std::fs::read_to_string(&path).unwrap();
    std::fs::write(&path, format!("{text}\n{more}")).unwrap();
}

#[test]
fn a_tablet_that_trusts_the_root_of_the_book_reads_it_and_others_do_not() {
    let dir = book();
    let at = dir.path().to_str().unwrap();
    assert_eq!(run(&["tls", at]).status.code(), Some(1), "there is no root yet");
    settings(
        dir.path(),
        "[tls]\nnames = [\"pourhouse.home.arpa\", \"192.0.2.17\"]",
    );
    let served = Served::start(dir.path()).unwrap();

    // A first visit, before anything is trusted: the root, and what it should be compared by.
    let root = served.get(&client(None), "localhost", "/trust/root.crt").unwrap();
    let page = served.get(&client(None), "localhost", "/trust").unwrap();
    let page = String::from_utf8(page).unwrap();
    let told: serde_json::Value = serde_json::from_slice(&run(&["tls", at, "--json"]).stdout).unwrap();
    let fingerprint = told["fingerprint"].as_str().unwrap();
    let kept = Root::kept(&BookFolder::at(dir.path())).unwrap().unwrap();
    assert_eq!(
        (fingerprint.len(), kept.fingerprint().as_str()),
        (95, fingerprint)
    );
    assert!(
        page.contains(fingerprint) && page.contains("pourhouse.home.arpa"),
        "{page}"
    );

    let trusting = client(Some(&root));
    for host in ["localhost", "127.0.0.1"] {
        served.get(&trusting, host, "/healthz").unwrap();
    }
    let stranger = rcgen::generate_simple_self_signed(["localhost".to_owned()]).unwrap();
    let others = client(Some(stranger.cert.der()));
    served.get(&others, "localhost", "/healthz").unwrap_err();
    let plain = ureq::get(format!("http://localhost:{}/healthz", served.port)).call();
    assert!(plain.is_err(), "it answers without TLS");

    // Trusted once, trusted after the next start.
    drop(served);
    let served = Served::start(dir.path()).unwrap();
    served.get(&trusting, "localhost", "/healthz").unwrap();
}

#[test]
fn the_cookie_of_a_session_over_tls_is_bound_to_this_host_and_to_tls() {
    let dir = tempfile::tempdir().unwrap();
    let token = found_book(dir.path(), 22, NOW);
    let served = Served::start(dir.path()).unwrap();
    let agent: ureq::Agent = ureq::Agent::config_builder()
        .tls_config(TlsConfig::builder().disable_verification(true).build())
        .max_redirects(0)
        .max_redirects_will_error(false)
        .build()
        .into();
    let reply = agent
        .post(format!("https://localhost:{}/sign-in", served.port))
        .send_form([("token", token.as_str())])
        .unwrap();
    let cookie = reply.headers()["set-cookie"].to_str().unwrap();
    assert!(cookie.starts_with("__Host-pourbook="), "{cookie}");
    for part in ["; Secure", "; HttpOnly", "; SameSite=Strict", "; Path=/"] {
        assert!(cookie.contains(part), "{part} is not in {cookie}");
    }
}

/// What whoever stole the key of a root can do with it: vouch for the book's own names, and for none else.
#[test]
fn the_root_vouches_for_the_names_of_the_book_and_for_no_others() {
    let dir = book();
    drop(Served::start(dir.path()).unwrap());
    let text = std::fs::read_to_string(dir.path().join("keys/tls-root.toml")).unwrap();
    let kept: toml::Table = toml::from_str(&text).unwrap();
    let root = Root::kept(&BookFolder::at(dir.path())).unwrap().unwrap();
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let mut roots = rustls::RootCertStore::empty();
    roots.add(root.certificate()).unwrap();
    let verifier = WebPkiServerVerifier::builder_with_provider(Arc::new(roots), provider)
        .build()
        .unwrap();

    let mut params = CertificateParams::default();
    params
        .distinguished_name
        .push(rcgen::DnType::CommonName, "Pourbook workshop root");
    let stolen = KeyPair::from_pem(kept["key"].as_str().unwrap()).unwrap();
    let issuer = Issuer::new(params, stolen);
    let vouched = |name: &str| {
        let leaf = CertificateParams::new([name.to_owned()]).unwrap();
        let leaf = leaf.signed_by(&KeyPair::generate().unwrap(), &issuer).unwrap();
        let seconds = Duration::from_secs(u64::try_from(NOW).unwrap());
        let name = ServerName::try_from(name.to_owned()).unwrap();
        let leaf: CertificateDer<'_> = leaf.der().clone();
        verifier
            .verify_server_cert(&leaf, &[], &name, &[], UnixTime::since_unix_epoch(seconds))
            .is_ok()
    };
    for (name, wanted) in [
        ("localhost", true),
        ("127.0.0.1", true),
        ("shop.example", false),
        ("192.0.2.1", false),
        ("127.0.0.2", false),
    ] {
        assert_eq!(vouched(name), wanted, "{name}");
    }
}

#[test]
fn a_root_is_made_anew_for_another_name_and_before_it_ends_and_at_no_other_time() {
    let dir = book();
    let folder = BookFolder::at(dir.path());
    let names = |names: &[&str]| names.iter().map(|&name| name.to_owned()).collect();
    let made = |wanted: &[&str], days: i64| {
        let now = Timestamp(NOW + days * 86_400);
        Root::kept_or_made(&folder, &names(wanted), now)
            .unwrap()
            .fingerprint()
    };
    let first = made(&["localhost", "shop.example"], 0);
    assert_eq!(made(&["localhost"], 3_000), first);
    let second = made(&["localhost", "bench.example"], 3_000);
    assert_ne!(second, first);
    assert_eq!(made(&["localhost"], 3_000 + 3_200), second);
    assert_ne!(made(&["localhost"], 3_000 + 3_300), second);
}

#[test]
fn keys_that_others_may_read_and_settings_that_cannot_be_are_refused_by_name() {
    let dir = book();
    drop(Served::start(dir.path()).unwrap());
    let key = dir.path().join("keys/tls-root.toml");
    let mode = |mode| std::fs::set_permissions(&key, std::fs::Permissions::from_mode(mode)).unwrap();
    assert_eq!(
        std::fs::metadata(&key).unwrap().permissions().mode() & 0o777,
        0o600
    );
    mode(0o640);
    let told = Served::start(dir.path()).err().unwrap();
    assert!(
        told.contains("tls-root.toml") && told.contains("640") && told.contains("chmod 600"),
        "{told}"
    );
    mode(0o600);
    std::fs::write(&key, "names = [").unwrap();
    let told = Served::start(dir.path()).err().unwrap();
    assert!(told.contains("tls-root.toml"), "{told}");

    for (wrong, says) in [
        (
            "[tls]\ncertificate = \"a.pem\"",
            "certificate and key belong together",
        ),
        ("[tls]\nnames = [\"https://shop.example\"]", "names must be"),
        ("[tls]\ncertificate = \"a.pem\"\nkey = \"a.key\"", "a.pem"),
    ] {
        let dir = book();
        settings(dir.path(), wrong);
        let told = Served::start(dir.path()).err().unwrap();
        assert!(told.contains(says), "{told}");
    }
}

#[test]
fn a_certificate_that_is_given_is_shown_and_then_no_root_is_offered() {
    let dir = book();
    let given = rcgen::generate_simple_self_signed(["localhost".to_owned()]).unwrap();
    let (certificate, key) = (dir.path().join("shop.pem"), dir.path().join("shop.key"));
    std::fs::write(&certificate, given.cert.pem()).unwrap();
    std::fs::write(&key, given.signing_key.serialize_pem()).unwrap();
    settings(
        dir.path(),
        "[tls]\ncertificate = \"shop.pem\"\nkey = \"shop.key\"",
    );
    std::fs::set_permissions(&key, std::fs::Permissions::from_mode(0o644)).unwrap();
    let told = Served::start(dir.path()).err().unwrap();
    assert!(told.contains("shop.key") && told.contains("chmod 600"), "{told}");
    std::fs::set_permissions(&key, std::fs::Permissions::from_mode(0o600)).unwrap();
    let served = Served::start(dir.path()).unwrap();
    let trusting = client(Some(given.cert.der()));
    served.get(&trusting, "localhost", "/healthz").unwrap();
    let offered = served.get(&trusting, "localhost", "/trust").unwrap_err();
    assert!(matches!(offered, ureq::Error::StatusCode(404)), "{offered}");
    assert!(!dir.path().join("keys/tls-root.toml").exists());
}
