//! The key chain: who may add, revoke and doubt which key, and where a key may sign.

use super::samples::{ORIGIN, event, id, log_key, recorder, root};
use pourbook::domain::{Event, KeyRole, OperatorId, Timestamp};
use pourbook::proof::Hash;
use pourbook::record::{KeyEntryDraft, KeyFault, Keys, Signer, read, seal_key_entry};
use serde_json::json;

fn sealed(keys: Option<Hash>, event: Event, by: &Signer) -> Vec<u8> {
    let draft = KeyEntryDraft {
        iss: ORIGIN,
        jti: id(1, 1).parse().unwrap(),
        iat: Timestamp(1_764_060_000),
        by: OperatorId(id(2, 1).parse().unwrap()),
        keys,
        event,
    };
    seal_key_entry(&draft, by).unwrap()
}

fn add(role: &str, signer: &Signer) -> Event {
    event(
        "key.added",
        json!({"kid": signer.kid(), "role": role, "x": signer.public().to_base64url()}),
    )
}

fn revoke(signer: &Signer) -> Event {
    event("key.revoked", json!({"kid": signer.kid()}))
}

fn doubt(signer: &Signer, from: u64) -> Event {
    event("key.suspect", json!({"kid": signer.kid(), "from": from}))
}

fn take(keys: &mut Keys, index: u64, event: Event, by: &Signer) -> Result<(), KeyFault> {
    let bytes = sealed(keys.newest(), event, by);
    keys.apply(index, &read(&bytes).unwrap(), &bytes)
}

/// Root at 0, recorder at 1, log key at 2.
fn chain() -> Keys {
    let mut keys = Keys::default();
    take(&mut keys, 0, add("root", &root()), &root()).unwrap();
    take(&mut keys, 1, add("recorder", &recorder()), &root()).unwrap();
    take(&mut keys, 2, add("log", &log_key()), &root()).unwrap();
    keys
}

#[test]
fn a_log_begins_with_its_root_key_signed_by_itself() {
    let begin = |index, event, by: &Signer| take(&mut Keys::default(), index, event, by);
    assert_eq!(begin(0, add("root", &root()), &root()), Ok(()));
    assert_eq!(begin(1, add("root", &root()), &root()), Err(KeyFault::NoRoot));
    assert_eq!(begin(0, add("recorder", &root()), &root()), Err(KeyFault::NoRoot));
    assert_eq!(begin(0, revoke(&root()), &root()), Err(KeyFault::NoRoot));
    let other = KeyFault::NotByRoot {
        kid: recorder().kid().to_owned(),
    };
    assert_eq!(begin(0, add("root", &root()), &recorder()), Err(other));
    assert_eq!(chain().root(), Some(root().kid()));
}

#[test]
fn refused_key_entries_change_nothing() {
    let kid = |signer: &Signer| signer.kid().to_owned();
    let spare = Signer::from_seed(&[0x55; 32]);
    let mut misnamed = json!({"kid": spare.kid(), "role": "recorder", "x": root().public().to_base64url()});
    let cases = [
        (
            add("recorder", &spare),
            recorder(),
            KeyFault::NotByRoot {
                kid: kid(&recorder()),
            },
        ),
        (add("root", &spare), root(), KeyFault::Root),
        (
            add("log", &recorder()),
            root(),
            KeyFault::Again {
                kid: kid(&recorder()),
            },
        ),
        (
            add("recorder", &root()),
            root(),
            KeyFault::Again { kid: kid(&root()) },
        ),
        (
            event("key.added", misnamed.clone()),
            root(),
            KeyFault::Thumbprint { kid: kid(&spare) },
        ),
        (revoke(&root()), root(), KeyFault::Root),
        (revoke(&spare), root(), KeyFault::Unknown { kid: kid(&spare) }),
        (doubt(&spare, 0), root(), KeyFault::Unknown { kid: kid(&spare) }),
        (
            doubt(&recorder(), 4),
            root(),
            KeyFault::DoubtAhead {
                kid: kid(&recorder()),
                from: 4,
            },
        ),
        (
            revoke(&recorder()),
            recorder(),
            KeyFault::NotByRoot {
                kid: kid(&recorder()),
            },
        ),
    ];
    for (event, by, fault) in cases {
        let mut keys = chain();
        assert_eq!(take(&mut keys, 3, event, &by), Err(fault));
        assert_eq!(keys, chain());
    }
    // The point (0, 1), under which anything would hold.
    misnamed["x"] = json!("AQAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA");
    let weak = take(&mut chain(), 3, event("key.added", misnamed), &root());
    assert_eq!(weak, Err(KeyFault::WeakKey { kid: kid(&spare) }));
}

#[test]
fn a_key_entry_chains_and_its_signature_holds() {
    let mut keys = chain();
    let stale = sealed(None, revoke(&recorder()), &root());
    assert_eq!(
        keys.apply(3, &read(&stale).unwrap(), &stale),
        Err(KeyFault::BrokenChain)
    );
    let good = sealed(keys.newest(), revoke(&recorder()), &root());
    let (text, _) = std::str::from_utf8(&good).unwrap().rsplit_once('.').unwrap();
    let (_, other) = std::str::from_utf8(&stale).unwrap().rsplit_once('.').unwrap();
    let forged = format!("{text}.{other}").into_bytes();
    assert_eq!(
        keys.apply(3, &read(&forged).unwrap(), &forged),
        Err(KeyFault::Signature)
    );
    assert_eq!(keys.apply(3, &read(&good).unwrap(), &good), Ok(()));
    let again = take(&mut keys, 4, revoke(&recorder()), &root());
    assert_eq!(
        again,
        Err(KeyFault::RevokedBefore {
            kid: recorder().kid().to_owned(),
            revoked: 3
        })
    );
}

#[test]
fn a_key_is_valid_by_index_and_in_its_role() {
    let mut keys = chain();
    take(&mut keys, 10, revoke(&recorder()), &root()).unwrap();
    let valid = |signer: &Signer, role, index| keys.valid(signer.kid(), role, index).is_ok();
    for (index, expected) in [
        (0, false),
        (1, false),
        (2, true),
        (9, true),
        (10, false),
        (11, false),
    ] {
        assert_eq!(
            valid(&recorder(), KeyRole::Recorder, index),
            expected,
            "recorder at {index}"
        );
    }
    assert!(valid(&root(), KeyRole::Root, 0) && valid(&root(), KeyRole::Root, 99));
    assert!(!valid(&recorder(), KeyRole::Log, 5) && !valid(&root(), KeyRole::Recorder, 5));
    assert!(valid(&log_key(), KeyRole::Log, 3) && !valid(&log_key(), KeyRole::Log, 2));
    assert!(!valid(&Signer::from_seed(&[1; 32]), KeyRole::Recorder, 5));
}

#[test]
fn a_doubt_flags_what_was_signed_and_only_widens() {
    let mut keys = chain();
    let kid = recorder().kid().to_owned();
    take(&mut keys, 20, doubt(&recorder(), 8), &root()).unwrap();
    assert!(!keys.is_suspect(&kid, 7) && keys.is_suspect(&kid, 8));
    assert!(
        keys.valid(&kid, KeyRole::Recorder, 8).is_ok(),
        "in doubt is not revoked"
    );
    take(&mut keys, 21, doubt(&recorder(), 12), &root()).unwrap();
    assert!(keys.is_suspect(&kid, 8));
    take(&mut keys, 22, doubt(&recorder(), 3), &root()).unwrap();
    assert!(keys.is_suspect(&kid, 3));
}
