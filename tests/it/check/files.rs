//! What a proof file survives: nothing.

use super::{DemoBook, serials, smallest, trust};
use pourbook::check::{Conclusion, ProofFile, Trust, check_piece};
use pourbook::domain::PieceId;
use pourbook::proof::{Hash, TlogProof};

fn refused(file: &ProofFile, trust: &Trust) -> Conclusion {
    let report = check_piece(&file.to_bytes(), trust);
    assert!(!report.holds(), "{report}");
    report.conclusion
}

fn step(conclusion: &Conclusion) -> &str {
    match conclusion {
        Conclusion::DoesNotHold { step, .. } => step,
        Conclusion::Unreadable { .. } => "unreadable",
        other => panic!("{other:?}"),
    }
}

#[test]
fn every_certified_piece_of_the_demo_holds_and_says_where_its_metal_came_from() {
    let book = DemoBook::make();
    let reader = book.reader();
    for serial in serials(&reader) {
        let report = check_piece(&reader.proof(&serial).unwrap().to_bytes(), &trust(&reader));
        assert!(report.holds(), "{serial}: {report}");
        let shares: u64 = report.facts.lots.iter().map(|lot| lot.share_ppm).sum();
        assert!(
            (999_000..=1_000_000).contains(&shares),
            "{serial}: {shares} ppm of its metal is followed"
        );
        assert_eq!(report.exit_code(), 0);
    }
}

#[test]
fn another_root_is_not_trusted() {
    let book = DemoBook::make();
    let reader = book.reader();
    let file = smallest(&reader);
    let other = Trust {
        root: "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k".to_owned(),
        policy: None,
    };
    assert_eq!(step(&refused(&file, &other)), "keys");
}

#[test]
fn no_changed_byte_of_a_proof_file_passes() {
    let book = DemoBook::make();
    let reader = book.reader();
    let trust = trust(&reader);
    let mut file = smallest(&reader);
    // The policy inside is advice that nobody trusts; everything else must be bound.
    file.policy.clear();
    let bytes = file.to_bytes();
    assert!(check_piece(&bytes, &trust).holds());
    let end = bytes.len() - r#","policy":""}"#.len() - 1;
    // Each byte takes a millisecond or two: by default every eleventh is tried, with SLOW=1 every one.
    let stride = if std::env::var_os("SLOW").is_some() { 1 } else { 11 };
    for place in (0..end).step_by(stride) {
        let mut changed = bytes.clone();
        changed[place] ^= 1;
        let report = check_piece(&changed, &trust);
        assert!(!report.holds(), "byte {place} was changed, and it still holds");
    }
}

#[test]
fn serial_piece_origin_and_traced_are_bound() {
    let book = DemoBook::make();
    let reader = book.reader();
    let trust = trust(&reader);
    let file = smallest(&reader);
    let other = serials(&reader)
        .into_iter()
        .find(|serial| *serial != file.serial)
        .unwrap();
    assert_eq!(
        step(&refused(
            &ProofFile {
                serial: other,
                ..file.clone()
            },
            &trust
        )),
        "serial"
    );
    let piece = PieceId(uuid::Uuid::from_u128(1));
    assert_eq!(
        step(&refused(
            &ProofFile {
                piece,
                ..file.clone()
            },
            &trust
        )),
        "chain"
    );
    let origin = "other.example/log".to_owned();
    assert_eq!(
        step(&refused(
            &ProofFile {
                origin,
                ..file.clone()
            },
            &trust
        )),
        "checkpoint"
    );
    let traced = "0.9999".to_owned();
    assert_eq!(step(&refused(&ProofFile { traced, ..file }, &trust)), "ancestry");
}

#[test]
fn a_proof_dropped_doubled_or_out_of_order_is_noticed() {
    let book = DemoBook::make();
    let reader = book.reader();
    let trust = trust(&reader);
    let file = smallest(&reader);
    // No file can show that nothing came later, so one that ends before the piece's last entry is only an older one.
    let last_own = *reader.chain(file.piece.0).last().unwrap();
    for place in 0..file.proofs.len() {
        let mut fewer = file.clone();
        let dropped = TlogProof::parse(&fewer.proofs.remove(place)).unwrap();
        if dropped.index != last_own {
            refused(&fewer, &trust);
        }
        let mut doubled = file.clone();
        doubled.proofs.insert(place, file.proofs[place].clone());
        assert_eq!(step(&refused(&doubled, &trust)), "unreadable");
        if place > 0 {
            let mut swapped = file.clone();
            swapped.proofs.swap(place - 1, place);
            assert_eq!(step(&refused(&swapped, &trust)), "unreadable");
        }
    }
}

#[test]
fn a_proof_of_another_piece_is_noticed() {
    let book = DemoBook::make();
    let reader = book.reader();
    let trust = trust(&reader);
    let file = smallest(&reader);
    let index = |text: &String| TlogProof::parse(text).unwrap().index;
    let known: Vec<u64> = file.proofs.iter().map(index).collect();
    let mut tried = 0;
    for serial in serials(&reader) {
        for proof in reader.proof(&serial).unwrap().proofs {
            let foreign = index(&proof);
            if known.contains(&foreign) {
                continue;
            }
            let mut more = file.clone();
            let place = known
                .iter()
                .position(|index| *index > foreign)
                .unwrap_or(known.len());
            more.proofs.insert(place, proof.clone());
            assert_eq!(step(&refused(&more, &trust)), "ancestry");
            let mut instead = file.clone();
            instead.proofs[place.min(known.len() - 1)] = proof;
            refused(&instead, &trust);
            tried += 1;
        }
        if tried > 40 {
            break;
        }
    }
    assert!(tried > 20);
}

#[test]
fn an_index_a_path_and_a_checkpoint_are_bound() {
    let book = DemoBook::make();
    let reader = book.reader();
    let trust = trust(&reader);
    let file = smallest(&reader);
    for place in 0..file.proofs.len() {
        let proof = TlogProof::parse(&file.proofs[place]).unwrap();
        let with = |proof: TlogProof| {
            let mut changed = file.clone();
            changed.proofs[place] = proof.to_string();
            refused(&changed, &trust)
        };
        with(TlogProof {
            index: proof.index + 1,
            ..proof.clone()
        });
        for hash in 0..proof.path.len() {
            let mut path = proof.path.clone();
            path[hash] = Hash([7; 32]);
            assert_eq!(
                step(&with(TlogProof {
                    path,
                    ..proof.clone()
                })),
                "inclusion"
            );
        }
        let size = reader.head().size;
        let (says, other) = (format!("\n{size}\n"), format!("\n{}\n", size - 1));
        let checkpoint = proof.checkpoint.replacen(&says, &other, 1);
        assert_ne!(checkpoint, proof.checkpoint);
        with(TlogProof { checkpoint, ..proof });
    }
}

#[test]
fn a_file_of_another_book_does_not_hold_here() {
    let book = DemoBook::make();
    let reader = book.reader();
    let file = smallest(&reader);
    // The same entries under another root: what a forger can make for themselves.
    let founded = tempfile::tempdir().unwrap();
    let folder = pourbook::node::BookFolder::at(&founded.path().join("other"));
    let settings = book.folder().settings().unwrap();
    let founding = pourbook::node::Founding {
        settings: &settings,
        now: pourbook::domain::Timestamp(1_767_340_800),
        seed: [9; 32],
    };
    let other = pourbook::node::found(&folder, &founding).unwrap();
    assert_eq!(
        step(&refused(
            &file,
            &Trust {
                root: other.root,
                policy: None
            }
        )),
        "keys"
    );
}

#[test]
fn the_golden_proof_file_of_version_1_holds_for_ever() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/api/golden/DW-0001-21.proof.json");
    let root = "MJOk_G0WEXNu0J8w0ZFAKLVf0lRkcYh57PEhm9cNm1o".to_owned();
    let report = check_piece(&std::fs::read(path).unwrap(), &Trust { root, policy: None });
    assert!(report.holds(), "{report}");
    assert_eq!(report.facts.serial, "DW-0001-21");
}
