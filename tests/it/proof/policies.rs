//! Policies (C2SP tlog-policy): what is read, what is refused and on which line, and that what is written is read back
//! the same.

use super::demo_log::VKEY;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use pourbook::proof::{Group, NoteSigner, NoteVerifier, Policy, Threshold, Unproven, Witness, is_thumbprint};
use proptest::prelude::*;
use sha2::{Digest, Sha256};

/// The thumbprint that RFC 8037, appendix A.3, publishes for the key of its appendix A.1.
const THUMBPRINT: &str = "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k";
/// A cosigner's vkey as a witness publishes it (C2SP tlog-cosignature, type 04).
const WKEY: &str = "remora.n621.de+da77ade7+BOvN63jn/bLvkieywe8R6UYAtVtNbZpXh34x7onlmtw2";
/// The witness of the demo log, type 04.
const DEMO_WKEY: &str = "witness.example/w1+20324abe+BCmsuuFBvMrwsi4alNNNC8c2HlJtC/4SyJeUvJMilm3X";

/// A vkey, reckoned here from the specification (C2SP signed-note).
fn vkey(name: &str, kind: u8, public: &[u8]) -> String {
    let mut key = vec![kind];
    key.extend(public);
    let digest = Sha256::new()
        .chain_update(name)
        .chain_update(b"\n")
        .chain_update(&key)
        .finalize();
    let id: String = digest[..4].iter().map(|byte| format!("{byte:02x}")).collect();
    format!("{name}+{id}+{}", STANDARD.encode(key))
}

/// A witness key with a valid Ed25519 point.
fn wkey(n: u8) -> String {
    let signer = NoteSigner::new(&format!("w{n}.example"), &[n; 32]).unwrap();
    vkey(&format!("w{n}.example"), 4, &signer.verifier().public())
}

/// The two-level example of the specification, with keys of ours.
fn two_levels() -> String {
    let witness = |name: &str, n| format!("witness {name} {}\n", wkey(n));
    [
        format!("log {VKEY}\n\n"),
        witness("X1", 1),
        witness("X2", 2),
        witness("X3", 3),
        "group X-witnesses 2 X1 X2 X3\n\n".to_owned(),
        witness("Y1", 4),
        witness("Y2", 5),
        "group Y-witnesses any Y1 Y2\n\n".to_owned(),
        "group X-and-Y all X-witnesses Y-witnesses\n".to_owned(),
    ]
    .concat()
}

fn refused(text: &str) -> String {
    Policy::parse(text).unwrap_err().to_string()
}

#[test]
fn a_policy_is_read_with_its_root_line() {
    let other = NoteSigner::new("other.example/log", &[9; 32]).unwrap().verifier();
    let text =
        format!("# root {THUMBPRINT}\nlog {VKEY} https://maker.example/log\nlog {other}\nquorum none\n");
    let policy = Policy::parse(&text).unwrap();
    assert_eq!(policy.root.as_deref(), Some(THUMBPRINT));
    let key = NoteVerifier::parse(VKEY).unwrap();
    let url = Some("https://maker.example/log".to_owned());
    assert_eq!(policy.logs, [(key, url), (other, None)]);
    assert_eq!(policy.to_string(), text);
    let spaced = "\t quorum \t none  ";
    assert_eq!(
        Policy::parse(spaced),
        Ok(Policy::default()),
        "spaces and tabs part the words of a line"
    );
}

#[test]
fn witnesses_and_groups_are_read_and_kept() {
    for witness in [WKEY, DEMO_WKEY] {
        let text = format!("witness w1 {witness} https://w1.example/\ngroup g 1 w1\nquorum none\n");
        let policy = Policy::parse(&text).unwrap();
        assert_eq!(policy.witnesses.len(), 1);
        assert_eq!(policy.to_string(), text);
    }
    let text = two_levels() + "quorum none\n";
    let policy = Policy::parse(&text).unwrap();
    assert_eq!(policy.witnesses.len(), 5);
    let thresholds: Vec<Threshold> = policy.groups.iter().map(|group| group.threshold).collect();
    assert_eq!(thresholds, [Threshold::Of(2), Threshold::Any, Threshold::All]);
    assert_eq!(Policy::parse(&policy.to_string()), Ok(policy));
    let other_kind = format!("witness w {}\nquorum none\n", vkey("w", 6, &[5; 1312]));
    assert_eq!(
        Policy::parse(&other_kind).unwrap().witnesses.len(),
        1,
        "ML-DSA-44"
    );
}

#[test]
fn a_quorum_of_witnesses_is_refused_by_name() {
    for named in ["X-and-Y", "X1"] {
        let text = format!("{}quorum {named}\n", two_levels());
        assert_eq!(Policy::parse(&text), Err(Unproven::Quorum(named.to_owned())));
    }
    assert!(refused(&(two_levels() + "quorum X-and-Y\n")).contains("cosignatures are not checked"));
}

#[test]
fn a_root_line_is_held_to_the_form_of_a_thumbprint() {
    assert!(is_thumbprint(THUMBPRINT));
    let long = format!("{THUMBPRINT}A");
    let padded = format!("{THUMBPRINT}=");
    // The last character of 32 bytes in base64url leaves two bits over, which must be zero: `l` is an alias of `k`.
    let alias = THUMBPRINT.replace("S4k", "S4l");
    let standard = THUMBPRINT.replace('_', "/");
    let short = &THUMBPRINT[..42];
    for bad in ["x", short, &long, &padded, &alias, &standard, &"é".repeat(43)] {
        assert!(!is_thumbprint(bad), "{bad}");
        let why = refused(&format!("log {VKEY}\n# root {bad}\nquorum none\n"));
        assert!(why.contains("line 2") && why.contains("thumbprint"), "{why}");
    }
}

#[test]
fn policies_in_another_form_are_refused() {
    let w1 = wkey(1);
    let unknown_kind = vkey("w", 1, &NoteVerifier::parse(VKEY).unwrap().public());
    let no_point = vkey("w", 4, &[2; 32]);
    let weak = vkey("w", 4, &{
        let mut neutral = [0; 32];
        neutral[0] = 1;
        neutral
    });
    let other_id = w1.replacen("w1.example", "w2.example", 1);
    let renamed = vkey(
        "else.example",
        4,
        &NoteSigner::new("w", &[1; 32]).unwrap().verifier().public(),
    );
    for (text, says) in [
        (String::new(), "no quorum line"),
        (format!("log {VKEY}\n"), "no quorum line"),
        (
            "quorum none\nquorum none\n".to_owned(),
            "line 2 of the policy: a policy has one quorum line",
        ),
        ("quorum\n".to_owned(), "line 1"),
        ("quorum none none\n".to_owned(), "line 1"),
        (
            "quorum g\n".to_owned(),
            "g is no witness or group of a line before",
        ),
        ("log\nquorum none\n".to_owned(), "line 1"),
        ("log x+y+z\nquorum none\n".to_owned(), "line 1"),
        (format!("log {WKEY}\nquorum none\n"), "type 01"),
        (format!("log {VKEY} url more\nquorum none\n"), "one URL"),
        (
            format!("log {VKEY}\nlog {VKEY} url\nquorum none\n"),
            "line 2 of the policy: another log line",
        ),
        (format!("Log {VKEY}\nquorum none\n"), "\"Log\" is none of"),
        (
            format!("# root {THUMBPRINT}\n# root {THUMBPRINT}\nquorum none\n"),
            "stands once",
        ),
        (
            format!("# root {THUMBPRINT} {THUMBPRINT}\nquorum none\n"),
            "one thumbprint",
        ),
        ("# root\nquorum none\n".to_owned(), "one thumbprint"),
        ("quorum none\r\n".to_owned(), "control character"),
        (
            "quorum none\n#\u{7f}\n".to_owned(),
            "line 2 of the policy: it holds a control character",
        ),
        ("quorum\u{a0}none\n".to_owned(), "is none of"),
        ("witness w\nquorum none\n".to_owned(), "want log"),
        ("witness w key\nquorum none\n".to_owned(), "a vkey is"),
        ("witness w n+00000000+!!\nquorum none\n".to_owned(), "not base64"),
        (format!("witness w {w1} url more\nquorum none\n"), "one URL"),
        (format!("witness w {unknown_kind}\nquorum none\n"), "type 04"),
        (
            format!("witness w {}\nquorum none\n", vkey("w", 4, &[5; 31])),
            "type 04",
        ),
        (
            format!("witness w {}\nquorum none\n", vkey("w", 6, &[5; 32])),
            "type 04",
        ),
        (format!("witness w {no_point}\nquorum none\n"), "no Ed25519 key"),
        (format!("witness w {weak}\nquorum none\n"), "weak"),
        (format!("witness w {other_id}\nquorum none\n"), "key id"),
        (format!("witness none {w1}\nquorum none\n"), "none is no name"),
        (
            format!("witness a {w1}\nwitness a {}\nquorum none\n", wkey(2)),
            "a is named twice",
        ),
        (
            format!("witness a {w1}\nwitness b {renamed}\nquorum none\n"),
            "the same key",
        ),
        ("group g\nquorum none\n".to_owned(), "want log"),
        ("group g all\nquorum none\n".to_owned(), "no member"),
        ("group g 0\nquorum none\n".to_owned(), "neither all, any"),
        (
            format!("witness a {w1}\ngroup g 0 a\nquorum none\n"),
            "number from 1 to its 1 members",
        ),
        (
            format!("witness a {w1}\ngroup g 2 a\nquorum none\n"),
            "number from 1 to its 1 members",
        ),
        (
            format!("witness a {w1}\ngroup g +1 a\nquorum none\n"),
            "number from 1",
        ),
        (
            format!("witness a {w1}\ngroup g 01 a\nquorum none\n"),
            "number from 1",
        ),
        (
            format!("witness a {w1}\ngroup g most a\nquorum none\n"),
            "number from 1",
        ),
        (
            format!("group g all a\nwitness a {w1}\nquorum none\n"),
            "line 1 of the policy: a is no witness",
        ),
        ("group g any g\nquorum none\n".to_owned(), "g is no witness"),
        ("group g any none\nquorum none\n".to_owned(), "none is no witness"),
        (
            format!("witness a {w1}\ngroup g 2 a a\nquorum none\n"),
            "a is a member of a group already",
        ),
        (
            format!("witness a {w1}\ngroup g all a\ngroup h all a\nquorum none\n"),
            "line 3",
        ),
        (
            format!("witness a {w1}\ngroup a all a\nquorum none\n"),
            "a is named twice",
        ),
        (format!("quorum none\n{}", "#\n".repeat(40_000)), "too long"),
    ] {
        let why = Policy::parse(&text).map_err(|why| why.to_string());
        assert!(
            why.as_ref().is_err_and(|why| why.contains(says)),
            "{text:?} {why:?}"
        );
    }
}

fn any_policy() -> impl Strategy<Value = Policy> {
    let url = || proptest::option::of("https://[a-z.]{1,20}/[a-z]{0,9}");
    let log = ("[a-z0-9./\u{e9}-]{1,30}", any::<[u8; 32]>(), url())
        .prop_map(|(name, seed, url)| (NoteSigner::new(&name, &seed).unwrap().verifier(), url));
    let root =
        proptest::option::of(any::<[u8; 32]>().prop_map(|bytes| pourbook::proof::Hash(bytes).to_base64url()));
    let witnesses = proptest::collection::vec(url(), 0..5).prop_map(|urls| {
        let witness = |(n, url)| Witness {
            name: format!("w\u{212a}{n}"),
            vkey: wkey(n),
            url,
        };
        (1_u8..).zip(urls).map(witness).collect::<Vec<_>>()
    });
    (root, proptest::collection::vec(log, 0..4), witnesses, 1_usize..6).prop_map(
        |(root, logs, witnesses, k)| {
            let members: Vec<String> = witnesses.iter().map(|witness| witness.name.clone()).collect();
            let group = Group {
                name: "g".to_owned(),
                threshold: Threshold::Of(k.min(members.len())),
                members,
            };
            Policy {
                root,
                logs,
                groups: if witnesses.is_empty() {
                    Vec::new()
                } else {
                    vec![group]
                },
                witnesses,
            }
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_policy_is_read_as_it_was_written(policy in any_policy()) {
        prop_assert_eq!(Policy::parse(&policy.to_string()), Ok(policy));
    }
}
