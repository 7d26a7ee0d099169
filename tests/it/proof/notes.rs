//! Signed notes, verifier keys and checkpoints, with the values that C2SP and the Go reference package published.

use super::demo_log::{self, ORIGIN, VKEY};
use pourbook::proof::{Checkpoint, Hash, NoteSigner, NoteVerifier, Unproven, leaf_hash, open, sign};

// C2SP signed-note (signed-note.md, v1.0.0), the example.
const FOO_VKEY: &str = "example.com/foo+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k";
const FOO_NOTE: &str = "\
This is an example message.

— example.com/foo Uw2QOkn8srV1yJGh2VYRlL1Tnagv1YEq6TfXppzi2ONncAlTgK7Ztg1ERYNZXsYjOBH3mFXmRKuwHjG1Yu72IneyaQM=
";
// golang.org/x/mod/sumdb/note, note_test.go: two keys, one text, two signatures.
const TEXT: &str =
    "If you think cryptography is the answer to your problem,\nthen you don't know what your problem is.\n";
const PETER: &str = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW";
const ENOCH: &str = "EnochRoot+af0cfe78+ATtqJ7zOtqQtYqOo0CpvDXNlMhV3HeJDpjrASKGLWdop";
const PETER_LINE: &str = "— PeterNeumann x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6KE6RyyBwJnAM=\n";
const ENOCH_LINE: &str = "— EnochRoot rwz+eBzmZa0SO3NbfRGzPCpDckykFXSdeX+MNtCOXm2/5n2tiOHp+vAF1aGrQ5ovTG01oOTGwnWLox33WWd1RvMc+QQ=\n";

fn key(vkey: &str) -> NoteVerifier {
    NoteVerifier::parse(vkey).unwrap()
}

fn peter() -> NoteSigner {
    // The published text is base64 of 01 and the seed; the bytes below are read from it.
    use base64::Engine as _;
    let both = base64::engine::general_purpose::STANDARD
        .decode("AYEKFALVFGyNhPJEMzD1QIDr+Y7hfZx09iUvxdXHKDFz")
        .unwrap();
    NoteSigner::new("PeterNeumann", &both[1..].try_into().unwrap()).unwrap()
}

#[test]
fn the_published_notes_open() {
    let opened = open(FOO_NOTE, &[key(FOO_VKEY)]).unwrap();
    assert_eq!(opened.text, "This is an example message.\n");
    assert_eq!(opened.signed_by, ["example.com/foo"]);

    let note = format!("{TEXT}\n{PETER_LINE}{ENOCH_LINE}");
    assert_eq!(open(&note, &[key(PETER)]).unwrap().signed_by, ["PeterNeumann"]);
    assert_eq!(open(&note, &[key(ENOCH)]).unwrap().signed_by, ["EnochRoot"]);
    let both = open(&note, &[key(ENOCH), key(PETER)]).unwrap();
    assert_eq!(
        (both.text.as_str(), both.signed_by.as_slice()),
        (TEXT, &["PeterNeumann".into(), "EnochRoot".into()][..])
    );
}

#[test]
fn the_published_private_key_signs_the_published_line_byte_for_byte() {
    assert_eq!(peter().verifier().to_string(), PETER);
    assert_eq!(sign(TEXT, &[&peter()]), format!("{TEXT}\n{PETER_LINE}"));
}

#[test]
fn a_note_that_no_trusted_key_signed_is_refused() {
    let note = format!("{TEXT}\n{PETER_LINE}");
    assert_eq!(open(&note, &[key(ENOCH)]), Err(Unproven::Unsigned));
    assert_eq!(open(&note, &[]), Err(Unproven::Unsigned));
    // The same name with another key is another key.
    let other = NoteSigner::new("PeterNeumann", &[9; 32]).unwrap().verifier();
    assert_eq!(open(&note, &[other]), Err(Unproven::Unsigned));
}

#[test]
fn a_trusted_key_whose_signature_fails_spoils_the_note_even_if_another_holds() {
    let forged = PETER_LINE.replace("x08go/ZJ", "x08go/ZK");
    let note = format!("{TEXT}\n{forged}{ENOCH_LINE}");
    assert_eq!(
        open(&note, &[key(PETER), key(ENOCH)]),
        Err(Unproven::Forged("PeterNeumann".into()))
    );
    assert!(
        open(&note, &[key(ENOCH)]).is_ok(),
        "to one who does not know that key, it is an unknown line"
    );
    // A signature of the wrong length by a known key fails too.
    let short = note.replace(forged.trim_end(), "— PeterNeumann x08gow==");
    assert!(open(&short, &[key(PETER), key(ENOCH)]).is_err());
}

#[test]
fn every_flipped_bit_of_a_note_is_refused() {
    let note = FOO_NOTE.as_bytes();
    let mut tried = 0;
    for bit in 0..note.len() * 8 {
        let mut changed = note.to_vec();
        changed[bit / 8] ^= 1 << (bit % 8);
        // What is not UTF-8 cannot be handed over as a text at all.
        let Ok(text) = String::from_utf8(changed) else {
            continue;
        };
        assert!(open(&text, &[key(FOO_VKEY)]).is_err(), "bit {bit} of {text:?}");
        tried += 1;
    }
    assert!(tried > 800);
}

#[test]
fn notes_in_another_form_are_refused() {
    for note in [
        "",
        "\n",
        "\n\n",
        "text\n",
        "text\n\n",
        &FOO_NOTE[..FOO_NOTE.len() - 1],
        &FOO_NOTE.replace('\n', "\r\n"),
        &FOO_NOTE.replace("— ", "- "),
        &FOO_NOTE.replace("foo Uw2", "foo  Uw2"),
        &FOO_NOTE.replace("QM=", "QN="),
        &FOO_NOTE.replace("QM=", "QM"),
        &FOO_NOTE.replace(" example message", "\texample message"),
        &format!("{FOO_NOTE}\n"),
        &format!("{FOO_NOTE}— \n"),
        &format!("{FOO_NOTE}— a+b AAAAAAA=\n"),
        &format!("{FOO_NOTE}— name AAAAAA==\n"),
        &format!("{}{FOO_NOTE}", "long\n".repeat(20_000)),
        &format!("{FOO_NOTE}{}", "— x AAAAAAAA\n".repeat(64)),
    ] {
        assert!(
            matches!(open(note, &[key(FOO_VKEY)]), Err(Unproven::Form { .. })),
            "{note:?}"
        );
    }
    // The specification asks for at least 16 signatures to be read.
    let many = format!("{FOO_NOTE}{}", "— x AAAAAAAA\n".repeat(40));
    assert!(open(&many, &[key(FOO_VKEY)]).is_ok());
}

#[test]
fn the_text_may_hold_empty_lines_and_ends_at_the_last_one() {
    for text in [
        "\n",
        "\n\n\n",
        "one\n\n\ntwo\n",
        "one\n\n— not a signature\n\ntwo\n\n",
    ] {
        let note = sign(text, &[&peter()]);
        assert_eq!(open(&note, &[key(PETER)]).unwrap().text, text);
    }
}

#[test]
fn keys_in_another_form_are_refused() {
    // The first two: golang.org/x/mod/sumdb/note, note_test.go (key too long; unknown algorithm).
    for vkey in [
        "PeterNeumann+cc469956+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TWBADKEY==",
        "PeterNeumann+173116ae+ZRpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW",
        // A cosigner's key (type 04): witnesses are not checked here.
        "remora.n621.de+da77ade7+BOvN63jn/bLvkieywe8R6UYAtVtNbZpXh34x7onlmtw2",
        "",
        "+",
        "++",
        "PeterNeumann",
        "PeterNeumann+c74f20a3",
        "PeterNeumann+c74f20a3+",
        "PeterNeumann+c74f20a4+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW",
        "PeterNeumann+C74F20A3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW",
        "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq_LDE4izWy10TW",
        "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW\n",
        "Peter Neumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW",
        "+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW",
    ] {
        assert!(
            matches!(NoteVerifier::parse(vkey), Err(Unproven::Form { .. })),
            "{vkey:?}"
        );
    }
    for name in ["", "a b", "a+b", "a\u{2003}b", "a\nb", "a\u{7f}"] {
        assert!(NoteSigner::new(name, &[1; 32]).is_err(), "{name:?}");
    }
    // A key of small order would verify signatures that nobody made (RFC 8032; the neutral element).
    let mut neutral = [0; 32];
    neutral[0] = 1;
    assert!(NoteVerifier::new("name", neutral).is_err());
}

// C2SP tlog-checkpoint (tlog-checkpoint.md), the example; no key is published for it, so it is only read.
const SOFA: &str = "\
example.com/behind-the-sofa
20852163
CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=

— example.com/behind-the-sofa Az3grlgtzPICa5OS8npVmf1Myq/5IZniMp+ZJurmRDeOoRDe4URYN7u5/Zhcyv2q1gGzGku9nTo+zyWE+xeMcTOAYQ8=
— witness.example.com/w1 jWbPPwAAAABkGFDLEZMHwSRaJNiIDoe9DYn/zXcrtPHeolMI5OWXEhZCB9dlrDJsX3b2oyin1nPZqhf5nNo0xUe+mbIUBkBIfZ+qnA==
";

#[test]
fn the_published_checkpoint_is_read() {
    let checkpoint = Checkpoint::peek(SOFA).unwrap();
    assert_eq!(checkpoint.origin, "example.com/behind-the-sofa");
    assert_eq!(checkpoint.size, 20_852_163);
    assert_eq!(
        checkpoint.root.to_base64(),
        "CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I="
    );
    assert!(SOFA.starts_with(&checkpoint.text()));
    assert_eq!(Checkpoint::open(SOFA, &[key(VKEY)]), Err(Unproven::Unsigned));
}

#[test]
fn checkpoints_in_another_form_are_refused() {
    let root = leaf_hash(b"").to_base64();
    assert!(Checkpoint::parse_text(&format!("o\n7\n{root}\n")).is_ok());
    for text in [
        String::new(),
        format!("o\n7\n{root}"),
        format!("\n7\n{root}\n"),
        format!("o\n07\n{root}\n"),
        format!("o\n+7\n{root}\n"),
        format!("o\n-7\n{root}\n"),
        format!("o\n7 \n{root}\n"),
        format!("o\n\n{root}\n"),
        format!("o\n18446744073709551616\n{root}\n"),
        format!("o\n7\n{}\n", root.trim_end_matches('=')),
        format!("o\n7\n{}\n", Hash([0xff; 32]).to_base64().replace("8=", "9=")),
        format!("o\n7\n{root}\n\n"),
        format!("o\n7\n{root}\nextension\n"),
        "o\n7\n\n".to_owned(),
    ] {
        assert!(
            matches!(Checkpoint::parse_text(&text), Err(Unproven::Form { .. })),
            "{text:?}"
        );
    }
}

#[test]
fn a_checkpoint_counts_only_if_the_key_of_its_origin_signed() {
    let checkpoint = Checkpoint {
        origin: "another.example/log".into(),
        size: 1,
        root: leaf_hash(b"x"),
    };
    let note = checkpoint.sign(&demo_log::signer());
    assert!(open(&note, &[key(VKEY)]).is_ok(), "the note itself is signed");
    let refused = Checkpoint::open(&note, &[key(VKEY)]);
    assert_eq!(
        refused,
        Err(Unproven::OtherLog {
            found: "another.example/log".into(),
            wanted: ORIGIN.into()
        })
    );
}
