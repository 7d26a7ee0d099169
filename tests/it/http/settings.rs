//! The limits as the settings of a book have them, in a served book.

use crate::log::served::{Served, found_book, run};
use pourbook::config::{Load, Settings};
use pourbook::http::Quotas;
use std::path::Path;

const FOUNDED: i64 = 1_790_000_000;

/// Founds a book whose limits are these lines of `pourbook.toml`; an auditor is not needed.
fn book(dir: &Path, limits: &str) {
    found_book(dir, 5, FOUNDED);
    let path = dir.join("pourbook.toml");
    let text = std::fs::read_to_string(&path).unwrap();
    let (before, _) = text.split_once("[limits]").unwrap();
    std::fs::write(&path, format!("{before}{limits}")).unwrap();
}

#[test]
fn settings_without_limits_have_the_usual_ones_and_0_is_off() {
    let plain = "origin = \"book.example/log\"\naddress = \"https://book.example\"\ncurrency = \"GBP\"\n";
    let read = |limits: &str| Settings::read(&format!("{plain}{limits}"));
    assert_eq!(read("").unwrap().limits, Quotas::default());
    let some = read("[limits]\nwrong_tokens_per_minute = 0\n").unwrap().limits;
    assert_eq!(some.wrong_tokens_per_minute, 0);
    assert_eq!(some.public_burst, Quotas::default().public_burst);
    for (limits, says) in [
        ("[limits]\npublic_per_minute = -1\n", "public_per_minute"),
        ("[limits]\npublic_per_hour = 5\n", "public_per_hour"),
        ("[limits]\npublic_burst = \"many\"\n", "public_burst"),
    ] {
        let error = read(limits).unwrap_err().to_string();
        assert!(error.contains(says), "{error}");
    }
    let whole = read("[limits]\npublic_burst = 7\n").unwrap();
    assert_eq!(Settings::read(&whole.to_text().unwrap()).unwrap(), whole);
}

#[test]
fn a_served_book_keeps_its_limits_and_an_audit_waits_for_them() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path().join("book");
    book(&dir, "[limits]\npublic_per_minute = 60\npublic_burst = 1\n");
    let served = Served::start(&dir);
    let (first, ..) = served.get("/healthz");
    let (second, _, problem) = served.get("/healthz");
    assert_eq!((first, second), (200, 429));
    assert!(String::from_utf8_lossy(&problem).contains("/problems/too-often"));
    // It asks for the checkpoint and for one tile of entries, each a second after what came before.
    let audit = run(&["audit", &served.address]);
    assert!(
        audit.status.success(),
        "{}",
        String::from_utf8_lossy(&audit.stderr)
    );
    served.stop();
}

#[test]
fn what_a_server_bears_has_usual_bounds_and_no_member_can_be_without_one() {
    let plain = "origin = \"book.example/log\"\naddress = \"https://book.example\"\ncurrency = \"GBP\"\n";
    let read = |load: &str| Settings::read(&format!("{plain}[load]\n{load}"));
    assert_eq!(Settings::read(plain).unwrap().load, Load::default());
    let some = read("connections = 50\nconnections_per_address = 0\n").unwrap();
    assert_eq!(
        (some.load.connections, some.load.connections_per_address),
        (50, 0)
    );
    assert_eq!(some.load.streams, Load::default().streams);
    assert_eq!(Settings::read(&some.to_text().unwrap()).unwrap(), some);
    for member in [
        "connections",
        "request_seconds",
        "body_seconds",
        "idle_seconds",
        "stalled_seconds",
        "commands_waiting",
        "streams",
        "bodies_mebibytes",
    ] {
        for value in ["0", "1000001", "-1", "\"many\""] {
            let error = read(&format!("{member} = {value}\n")).unwrap_err().to_string();
            assert!(error.contains(member), "{member} = {value}: {error}");
        }
    }
    let error = read("conections = 5\n").unwrap_err().to_string();
    assert!(error.contains("conections"), "{error}");
}
