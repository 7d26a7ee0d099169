//! An operator who was revoked: no later entry may be theirs, whoever sealed it.

use crate::shop;
use pourbook::check::{Fault, Operators};
use pourbook::domain::{
    Command, Draw, Event, KeyAdded, KeyRole, OperatorId, OperatorRevoked, Refused, RevokeOperator, Timestamp,
};
use pourbook::log::MemoryStore;
use pourbook::proof::leaf_hash;
use pourbook::record::{KeyEntryDraft, Signer, seal_key_entry};
use pourbook::writer::{Ask, Desk, Observer, Submission, SubmitError};
use std::sync::Arc;
use uuid::Uuid;

fn operator(number: u128) -> OperatorId {
    OperatorId(Uuid::from_u128(number))
}

fn revokes(number: u128) -> [Event; 1] {
    [Event::from(OperatorRevoked {
        operator: operator(number),
    })]
}

#[test]
fn a_revoked_operator_is_refused_from_the_next_entry_on() {
    let mut operators = Operators::default();
    assert_eq!(operators.take(3, operator(1), [].iter()), Ok(()));
    assert_eq!(operators.take(4, operator(2), revokes(1).iter()), Ok(()));
    let fault = Fault::OperatorRevoked {
        operator: operator(1),
        revoked: 4,
    };
    assert_eq!(operators.take(5, operator(1), [].iter()), Err(fault.clone()));
    assert_eq!(operators.take(5, operator(3), revokes(1).iter()), Err(fault));
    assert_eq!(operators.take(6, operator(2), [].iter()), Ok(()));
    // One may end one's own part; that entry is the last.
    assert_eq!(operators.take(7, operator(2), revokes(2).iter()), Ok(()));
    assert_eq!(operators.revoked_at(operator(2)), Some(7));
    assert!(operators.take(8, operator(2), [].iter()).is_err());
}

/// It is signed with the root key elsewhere and names its operator itself, so whoever hands it in does not stand for it.
#[test]
fn an_entry_about_keys_by_a_revoked_operator_is_refused_and_the_desk_goes_on() {
    let origin = "brackenfold.example/operators";
    let mut draw = Draw::new([4; 32]);
    let keys = shop::deskkeys(origin, [9; 32]);
    let mut desk = Desk::open(Arc::new(MemoryStore::new([])), origin, keys, Observer::none()).unwrap();
    let founding = shop::founding(origin, shop::NOW, &mut draw);
    let Ask::KeyEntry(newest) = founding[2].ask.clone() else {
        panic!("not about keys")
    };
    let mut turn = |submission: Vec<Submission>| desk.turn(shop::NOW, [5; 32], submission).unwrap();
    assert!(turn(founding).iter().all(Result::is_ok));
    let command = |draw: &mut Draw, command: Command| Submission {
        request: draw.uuid(),
        by: operator(1),
        at: None,
        expected: Vec::new(),
        ask: Ask::Command(command),
    };
    let revoke = RevokeOperator {
        operator: operator(2),
    };
    assert!(turn(vec![command(&mut draw, revoke.into())])[0].is_ok());
    let added = Signer::from_seed(&[6; 32]);
    let draft = KeyEntryDraft {
        iss: origin,
        jti: draw.uuid(),
        iat: Timestamp(shop::NOW.0),
        by: operator(2),
        keys: Some(leaf_hash(&newest)),
        event: Event::from(KeyAdded {
            kid: added.kid().to_owned(),
            role: KeyRole::Recorder,
            x: added.public().to_base64url(),
        }),
    };
    let submission = Submission {
        request: draft.jti,
        ask: Ask::KeyEntry(seal_key_entry(&draft, &Signer::from_seed(&[1; 32])).unwrap()),
        ..command(&mut draw, shop::scale().into())
    };
    let outcome = turn(vec![submission]).remove(0);
    let told = outcome.unwrap_err();
    assert!(
        matches!(told, SubmitError::Refused(_)) && told.to_string().contains("was revoked at entry 3"),
        "{told}"
    );
    assert!(turn(vec![command(&mut draw, shop::scale().into())])[0].is_ok());
    // Who asks only what would come of it is told the same.
    let mut tried =
        |by: u128, command: Command| desk.would(shop::NOW, [7; 32], operator(by), &[command]).remove(0);
    let revoke = |number: u128| RevokeOperator {
        operator: operator(number),
    };
    let told = |outcome: Result<(), Refused>| outcome.map_err(|refused| refused.refusal.code());
    assert_eq!(told(tried(2, shop::scale().into())), Err("operator-revoked"));
    assert_eq!(told(tried(1, revoke(2).into())), Err("operator-revoked"));
    assert_eq!(told(tried(1, shop::scale().into())), Ok(()));
    assert_eq!(told(tried(1, revoke(3).into())), Ok(()));
    // What is recorded on the machine itself, without a token, is nobody's to revoke.
    assert_eq!(told(tried(1, revoke(0).into())), Err("nobody"));
}
