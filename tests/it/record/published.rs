//! Values that others published: RFC 8037 (Ed25519 in JOSE), RFC 7638 (thumbprints), RFC 9901 (disclosures).

use super::golden::golden;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use pourbook::proof::leaf_hash;
use pourbook::record::{
    DisclosureFault, PublicKey, Signer, disclose, disclosure_digest, read, thumbprint, verify_signature,
};
use sha2::{Digest as _, Sha256};

fn seed(text: &str) -> [u8; 32] {
    URL_SAFE_NO_PAD.decode(text).unwrap().try_into().unwrap()
}

/// RFC 8037, appendices A.1 to A.4: key, thumbprint, signature.
#[test]
fn the_key_of_rfc_8037_signs_and_is_named_as_published() {
    let signer = Signer::from_seed(&seed("nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A"));
    assert_eq!(
        signer.public().to_base64url(),
        "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"
    );
    assert_eq!(signer.kid(), "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k");
    let jws = concat!(
        "eyJhbGciOiJFZERTQSJ9.RXhhbXBsZSBvZiBFZDI1NTE5IHNpZ25pbmc.",
        "hgyY0il_MGCjP0JzlnLWG1PPOt7-09PGcvMg3AIbQR6dWbhijcNR4ki4iylGjg5BhVsPt9g7sVvpAr_MuM0KAg"
    );
    assert!(verify_signature(jws.as_bytes(), &signer.public()).is_ok());
    assert!(
        verify_signature(
            jws.replace("Rxh", "Rxi").replace("RXhh", "RXhi").as_bytes(),
            &signer.public()
        )
        .is_err()
    );
    // The signature is right, and still it is no entry of ours: the name of the algorithm is an old one.
    assert_eq!(read(jws.as_bytes()).unwrap_err().at, "header");
}

/// RFC 9901, sections 4.2.1 and 4.2.3: the digest is over the base64url text, whatever white space it encodes. The third
/// value was computed with other libraries.
#[test]
fn disclosures_of_rfc_9901_have_their_published_digests() {
    for (text, digest) in [
        (
            "WyJfMjZiYzRMVC1hYzZxMktJNmNCVzVlcyIsICJmYW1pbHlfbmFtZSIsICJNw7ZiaXVzIl0",
            "X9yH0Ajrdm1Oij4tWso9UzzKJvPoDxwmuEcO3XAdRC0",
        ),
        (
            "WyJsa2x4RjVqTVlsR1RQVW92TU5JdkNBIiwgIkZSIl0",
            "w0I8EKcdCtUPkGCNUrfwVp2xEgNjtoIDlOxc9-PlOhs",
        ),
        (
            "WyJfMjZiYzRMVC1hYzZxMktJNmNCVzVlcyIsImZhbWlseV9uYW1lIiwiTcO2Yml1cyJd",
            "TZjouOTrBKEwUNjNDs9yeMzBoQn8FFLPaJjRRmAtwrM",
        ),
    ] {
        assert_eq!(disclosure_digest(text).to_base64url(), digest);
    }
}

/// Our own vector of a whole SD-JWT, which two independent libraries verified.
#[test]
fn a_whole_sd_jwt_comes_out_as_other_libraries_have_it() {
    let signer = Signer::from_seed(&std::array::from_fn(|n| n as u8));
    assert_eq!(signer.kid(), "1IG2tMH7J2wbJZnOf8LJzQitKf7LMvoAElsuDMVM54Y");
    assert_eq!(thumbprint(&signer.public().to_bytes()), signer.kid());
    let header = format!(
        r#"{{"alg":"Ed25519","typ":"example+sd-jwt","kid":"{}"}}"#,
        signer.kid()
    );
    let digests = [
        r#"["AAECAwQFBgcICQoLDA0ODw","buyer",{"name":"Möbius"}]"#,
        r#"["EBESExQVFhcYGRobHB0eHw","price",{"amount":"312.40","currency":"EUR"}]"#,
    ]
    .map(|json| disclosure_digest(&URL_SAFE_NO_PAD.encode(json)).to_base64url());
    let mut sorted = digests;
    sorted.sort();
    let payload = format!(
        r#"{{"type":"sale","serial":"K7Q2M9X4T3","_sd":["{}","{}"],"_sd_alg":"sha-256"}}"#,
        sorted[0], sorted[1]
    );
    assert_eq!(sorted[0], "2tcIv8ePOkK6jHpQWeYIAF_pPvTxBO0Z6yLp7BeQNx4");
    assert_eq!(sorted[1], "SpuWfuqyyztmovfTrs5ZdLPc2dvkqo5a9ZNYpUBi5jM");
    let jwt = format!(
        "{}.{}.oc5BG3i6IuCqk7iPpIvJz2shH89NMWnXyznxJ2cPTSQxs8oGurA6mXCvohUfl8upUDaSa62LbGrrsmjzH8hGBA",
        URL_SAFE_NO_PAD.encode(header),
        URL_SAFE_NO_PAD.encode(payload)
    );
    assert_eq!(jwt.len(), 421);
    assert!(verify_signature(jwt.as_bytes(), &signer.public()).is_ok());
    assert_eq!(
        leaf_hash(jwt.as_bytes()).to_string(),
        "bfd9a6dbd149388bdcc3ec74caccca98ff6e3d280c7ba3361161b56ded9f23ba"
    );
}

/// RFC 8032, section 5.1.3: y must be below the prime. The points (0, 0 as y) and (0, 1) are of small order.
#[test]
fn weak_and_misspelt_keys_are_refused() {
    let mut zero = [0; 32];
    assert_eq!(PublicKey::from_bytes(&zero), None);
    zero[0] = 1;
    assert_eq!(PublicKey::from_bytes(&zero), None);
    assert_eq!(PublicKey::from_bytes(&[0xff; 32]), None);
    assert!(PublicKey::from_bytes(&Signer::from_seed(&[9; 32]).public().to_bytes()).is_some());
}

/// RFC 9901, section 7.1: what is not matched, given twice, or not of the form is refused; the rest stays readable.
#[test]
fn disclosures_that_do_not_belong_are_refused() {
    let lot = golden()
        .into_iter()
        .find(|golden| golden.name == "lot.received.v1")
        .unwrap();
    let entry = read(lot.entry.as_bytes()).unwrap();
    let own = lot.disclosures[0].text.clone();
    let open = |texts: &[&str]| disclose(&entry, texts);
    assert_eq!(open(&[&own]).unwrap().len(), 1);
    assert_eq!(open(&[&own, &own]), Err(DisclosureFault::Twice { place: 1 }));
    let other = URL_SAFE_NO_PAD.encode(r#"["AAECAwQFBgcICQoLDA0ODw","note","x"]"#);
    assert_eq!(
        open(&[&own, &other]),
        Err(DisclosureFault::Unmatched { place: 1 })
    );
    assert_eq!(open(&[""]), Err(DisclosureFault::Unmatched { place: 0 }));
}

/// A writer could put a digest of anything into `_sd`; what it opens to is then refused, even though it matches.
#[test]
fn a_matching_disclosure_of_the_wrong_form_is_refused() {
    let lot = golden()
        .into_iter()
        .find(|golden| golden.name == "lot.received.v1")
        .unwrap();
    let salt = "AAECAwQFBgcICQoLDA0ODw";
    for (json, expected) in [
        (format!(r#"["{salt}","note"]"#), "Form"),
        (format!(r#"["{salt}","note","x","y"]"#), "Form"),
        (format!(r#"["{salt}","note",12]"#), "Form"),
        (r#"["short","note","x"]"#.to_owned(), "Form"),
        (format!(r#"["{salt}","mass","x"]"#), "NotAMember"),
        (format!(r#"["{salt}","_sd","x"]"#), "NotAMember"),
        (format!(r#"["{salt}","...","x"]"#), "NotAMember"),
        (format!(r#"["{salt}","buyer","x"]"#), "NotAMember"),
    ] {
        let text = URL_SAFE_NO_PAD.encode(json);
        let mut entry = read(lot.entry.as_bytes()).unwrap();
        if let pourbook::record::RecordedEvent::Known { sd, .. } = &mut entry.payload.events[0] {
            sd[0] = pourbook::proof::Hash(Sha256::digest(&text).into());
        }
        let fault = disclose(&entry, &[&text]).unwrap_err();
        assert!(format!("{fault:?}").starts_with(expected), "{text} {fault:?}");
    }
    let two = ["AAECAwQFBgcICQoLDA0ODw", "EBESExQVFhcYGRobHB0eHw"]
        .map(|salt| URL_SAFE_NO_PAD.encode(format!(r#"["{salt}","note","x"]"#)));
    let mut entry = read(lot.entry.as_bytes()).unwrap();
    if let pourbook::record::RecordedEvent::Known { sd, .. } = &mut entry.payload.events[0] {
        sd[0] = disclosure_digest(&two[0]);
        sd[1] = disclosure_digest(&two[1]);
    }
    assert!(matches!(
        disclose(&entry, &two),
        Err(DisclosureFault::Collision { place: 1, .. })
    ));
}
