//! An entry has one spelling: everything else is refused, and nothing makes the reader panic.

use super::golden::golden;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use pourbook::record::{ENTRY_BYTES_MAX, Entry, Malformed, RecordedEvent, read};
use proptest::prelude::*;

fn parts(entry: &str) -> [String; 3] {
    let mut parts = entry.split('.').map(str::to_owned);
    [
        parts.next().unwrap(),
        parts.next().unwrap(),
        parts.next().unwrap(),
    ]
}

fn decoded(part: &str) -> String {
    String::from_utf8(URL_SAFE_NO_PAD.decode(part).unwrap()).unwrap()
}

/// The entry with another text as its payload; its signature is left as it was, since reading does not look at it.
pub fn respell(entry: &str, change: impl Fn(String) -> String) -> String {
    let [header, payload, signature] = parts(entry);
    format!(
        "{header}.{}.{signature}",
        URL_SAFE_NO_PAD.encode(change(decoded(&payload)))
    )
}

fn reheader(entry: &str, change: impl Fn(String) -> String) -> String {
    let [header, payload, signature] = parts(entry);
    format!(
        "{}.{payload}.{signature}",
        URL_SAFE_NO_PAD.encode(change(decoded(&header)))
    )
}

fn named(name: &str) -> String {
    golden()
        .into_iter()
        .find(|golden| golden.name == name)
        .unwrap()
        .entry
}

fn lot() -> String {
    named("lot.received.v1")
}

fn refused(entry: &str) -> Malformed {
    read(entry.as_bytes()).expect_err(entry)
}

fn read_changed(from: &str, to: &str) -> Result<Entry, Malformed> {
    let changed = respell(&lot(), |text| {
        assert!(text.contains(from), "{from} is in {text}");
        text.replacen(from, to, 1)
    });
    read(changed.as_bytes())
}

#[test]
fn only_the_one_header_passes() {
    for (from, to) in [
        ("Ed25519", "EdDSA"),
        ("Ed25519", "none"),
        ("Ed25519", "ed25519"),
        ("Ed25519", "HS256"),
        ("pourbook-entry+sd-jwt", "jwt"),
        ("\"}", "\",\"crit\":[\"b64\"],\"b64\":false}"),
        ("\"}", "\",\"jwk\":{\"kty\":\"OKP\"}}"),
        ("\"}", "\",\"jku\":\"https://x.example\"}"),
        ("\"}", "\",\"kid\":\"x\"}"),
        ("\"}", "\" }"),
        (":\"Ed", ": \"Ed"),
        ("{\"alg\"", "{\"alg\":\"none\",\"alg\""),
        ("\"kid\":\"", "\"kid\":\"A"),
    ] {
        let changed = reheader(&lot(), |header| {
            assert!(header.contains(from));
            header.replacen(from, to, 1)
        });
        assert_eq!(refused(&changed).at, "header", "{to}");
    }
}

#[test]
fn only_three_canonical_parts_pass() {
    let entry = lot();
    let [header, payload, signature] = parts(&entry);
    assert_eq!(refused(&format!("{entry}~")).at, "signature");
    assert_eq!(refused(&format!("{entry}=")).at, "signature");
    assert_eq!(refused(&format!("{entry}\n")).at, "signature");
    assert_eq!(refused(&format!("{entry}.")).at, "entry");
    assert_eq!(refused(&format!("{header}.{payload}")).at, "entry");
    assert_eq!(refused(&format!("{header}.{payload}.")).at, "signature");
    assert_eq!(refused(&format!("{header}. {payload}.{signature}")).at, "payload");
    assert_eq!(
        refused(&format!("{header}.{}.{signature}", payload.replacen('e', "é", 1))).at,
        "payload"
    );
    assert_eq!(refused("").at, "entry");
    // The last of 86 characters carries four bits that mean nothing: 15 aliases of each signature.
    let (head, last) = signature.split_at(85);
    let alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
    let value = alphabet.find(last).unwrap();
    assert_eq!(value % 16, 0);
    for alias in value + 1..value + 16 {
        let alias = format!("{header}.{payload}.{head}{}", &alphabet[alias..=alias]);
        assert_eq!(refused(&alias).at, "signature");
    }
}

#[test]
fn a_payload_has_one_spelling() {
    for (from, to) in [
        ("\"number\":1", "\"number\":1,\"number\":1"),
        ("\"number\":1", "\"number\":1.0"),
        ("\"number\":1", "\"number\":1e0"),
        ("\"number\":1", "\"number\":-0"),
        ("\"number\":1", "\"number\":\"1\""),
        ("\"number\":1", "\"number\": 1"),
        ("\"number\":1", "\"number\":1,\"note\":\"free text\""),
        ("\"number\":1", "\"number\":1,\"kind\":\"lot.received\""),
        ("\"metal\":\"silver\"", "\"metal\":\"\\u0073ilver\""),
        ("\"fineness\":\"999.9\"", "\"fineness\":\"999.90\""),
        ("\"invoiced\":\"1000.50\"", "\"invoiced\":\"1000.5\""),
        ("\"invoiced\":\"1000.50\"", "\"invoiced\":null"),
        ("\"v\":1,", "\"v\":0,"),
        (
            "\"kind\":\"lot.received\",\"v\":1",
            "\"v\":1,\"kind\":\"lot.received\"",
        ),
        ("\"kind\":\"lot.received\"", "\"kind\":\"Lot.Received\""),
        ("{\"iss\"", "{\"exp\":1,\"iss\""),
        ("{\"iss\"", "{\"iss\":\"a\",\"iss\""),
        (
            "\"iss\":\"brackenfold.example/book\"",
            "\"iss\":\"brackenfold example\"",
        ),
        ("\"iss\":\"brackenfold.example/book\"", "\"iss\":\"\""),
        ("\"iat\":", "\"iat\":-"),
        ("\"iat\":", "\"iat\":9999"),
        ("\"_sd_alg\":\"sha-256\"", "\"_sd_alg\":\"sha-512\""),
        (",\"_sd_alg\":\"sha-256\"", ""),
        ("\"_sd\":[", "\"_sd\":[\"AAAA\","),
        ("\"_sd\":[", "\"_sd\":[],\"_sd\":["),
        ("\"_sd\":[", "\"...\":["),
        (
            "\"prev\":{",
            "\"prev\":{\"6f1b2c3d-0000-4000-8000-000000000001\":null,",
        ),
        (":null}", ":\"\"}"),
    ] {
        assert!(read_changed(from, to).is_err(), "{from} -> {to}");
    }
    assert!(
        read_changed("\"number\":1", "\"number\":2").is_ok(),
        "another value in the same spelling is an entry"
    );
}

#[test]
fn prev_names_the_chains_that_move_and_no_digest_stands_twice() {
    let closed = named("melt.closed.v1");
    let subject = read(closed.as_bytes())
        .unwrap()
        .payload
        .prev
        .keys()
        .next()
        .unwrap()
        .to_string();
    for alias in [
        subject.to_uppercase(),
        subject.replace('-', ""),
        format!("{{{subject}}}"),
    ] {
        let respelt = respell(&closed, |text| {
            text.replace(&format!("\"{subject}\""), &format!("\"{alias}\""))
        });
        assert_ne!(respelt, closed);
        assert!(refused(&respelt).why.contains("spelled"), "{alias}");
    }
    let none = respell(&lot(), |text| {
        let (head, tail) = text.split_once("\"prev\":{").unwrap();
        format!("{head}\"prev\":{{{}", &tail[tail.find('}').unwrap()..])
    });
    assert_eq!(refused(&none).at, "prev");
    let twice = respell(&lot(), |text| {
        let start = text.find("\"_sd\":[").unwrap() + 7;
        let first = text[start..start + 45].to_owned();
        format!("{}{first},{first}{}", &text[..start], &text[start + 91..])
    });
    assert!(refused(&twice).why.contains("none twice"));
    let swapped = respell(&lot(), |text| {
        let start = text.find("\"_sd\":[").unwrap() + 7;
        let (first, second) = (
            text[start..start + 45].to_owned(),
            text[start + 46..start + 91].to_owned(),
        );
        format!("{}{second},{first}{}", &text[..start], &text[start + 91..])
    });
    assert!(refused(&swapped).why.contains("sorted"));
}

#[test]
fn what_is_not_known_is_neither_true_nor_false() {
    for (from, to) in [
        ("\"v\":1", "\"v\":2"),
        ("lot.received", "lot.weighed_out"),
        ("\"v\":1", "\"v\":2,\"more\":{\"a\":[1,null]}"),
    ] {
        let entry = read_changed(from, to).unwrap();
        assert!(!entry.is_understood());
        assert!(matches!(&entry.payload.events[0], RecordedEvent::Unknown { sd, .. } if sd.len() == 4));
        assert_eq!(entry.events().count(), 0);
    }
    for more in [
        "{\"a\":1,\"a\":2}",
        "1.5",
        "[{\"b\":[0.1]}]",
        "{\"a\":{\"b\":1,\"b\":1}}",
    ] {
        assert!(
            read_changed("\"v\":1", &format!("\"v\":2,\"more\":{more}")).is_err(),
            "{more}"
        );
    }
    let deep = format!("\"v\":2,\"more\":{}{}", "[".repeat(5_000), "]".repeat(5_000));
    assert!(read_changed("\"v\":1", &deep).is_err());
}

#[test]
fn an_entry_that_is_too_long_is_refused_before_it_is_read() {
    let long = "A".repeat(ENTRY_BYTES_MAX + 1);
    assert!(refused(&long).why.contains("40001"));
    assert!(!refused(&long[1..]).why.contains("bytes long"));
}

proptest! {
    #[test]
    fn arbitrary_bytes_never_panic(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        prop_assert!(read(&bytes).is_err());
    }

    #[test]
    fn arbitrary_payloads_never_panic(text in "[\\PC\"{}:,\\[\\]0-9]{0,200}") {
        prop_assert!(read(respell(&lot(), |_| text.clone()).as_bytes()).is_err());
    }

    #[test]
    fn a_payload_with_a_hole_never_panics(from in 0_usize..700, length in 1_usize..60) {
        let changed = respell(&lot(), |text| {
            let from = from.min(text.len() - 1);
            let to = (from + length).min(text.len());
            format!("{}{}", &text[..from], &text[to..])
        });
        let _ = read(changed.as_bytes());
    }
}
