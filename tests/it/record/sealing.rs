//! What is sealed reads back, verifies, and opens by its disclosures.

use pourbook::domain::{Draft, Draw, Event, LotReceived, OperatorId, Private, PrivateValue, Timestamp};
use pourbook::proof::leaf_hash;
use pourbook::record::{Signer, Unsealed, disclose, read, seal, verify_signature};
use uuid::Uuid;

#[test]
fn a_sealed_entry_reads_back_and_opens() {
    let lot: LotReceived = serde_json::from_str(
        r#"{"lot":"6f1b2c3d-0000-4000-8000-000000000001","number":1,"metal":"silver","fineness":"999.0",
            "basis":"declared","session":"6f1b2c3d-0000-4000-8000-000000000002","mass":"1000.40"}"#,
    )
    .unwrap();
    let drafts = [Draft {
        event: Event::from(lot.clone()),
        private: Private::none()
            .text("seller", Some("Pellworth Metals Counter"))
            .text("note", Some("grain")),
    }];
    let signer = Signer::from_seed(&[7; 32]);
    let unsealed = Unsealed {
        iss: "brackenfold.example/book",
        jti: Uuid::from_u128(3),
        iat: Timestamp(1_764_060_000),
        by: OperatorId(Uuid::from_u128(4)),
        at: None,
        keys: Some(leaf_hash(b"a key entry")),
        drafts: &drafts,
        prev: [(lot.lot.0, None)].into(),
    };
    let sealed = seal(&unsealed, &signer, &mut Draw::new([1; 32])).unwrap();
    let entry = read(&sealed.entry).unwrap();
    assert_eq!(entry.kid, signer.kid());
    assert_eq!(entry.payload.prev, unsealed.prev);
    assert_eq!(entry.events().cloned().collect::<Vec<_>>(), [Event::from(lot)]);
    assert_eq!(
        entry.payload.events[0].digests().len(),
        Event::digest_slots("lot.received")
    );
    assert_eq!(verify_signature(&sealed.entry, &signer.public()), Ok(()));
    let texts: Vec<_> = sealed.disclosures.iter().map(|d| d.text.as_str()).collect();
    let opened = disclose(&entry, &texts).unwrap();
    assert_eq!(opened.len(), 2);
    assert!(opened.iter().any(|open| open.member == "seller"
        && open.value == PrivateValue::Text("Pellworth Metals Counter".to_owned())));
}
