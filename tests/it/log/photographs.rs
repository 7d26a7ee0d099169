//! The files of photographs: durable before they are named, whole or absent after any failure, mended by the same bytes.

use pourbook::domain::PhotographHash;
use pourbook::log::{Fault, FaultKind, Files, MemoryFiles, PhotographFiles, PhotographState};
use std::path::Path;
use std::sync::Arc;

fn on(files: &MemoryFiles) -> PhotographFiles {
    PhotographFiles::new(Arc::new(files.clone()), "/book/photos".into())
}

/// Longer than what is read at a time.
fn picture(number: u8) -> Vec<u8> {
    (0..150_000_u32)
        .map(|at| (at.wrapping_mul(2_654_435_761) >> 24) as u8 ^ number)
        .collect()
}

#[test]
fn a_photograph_stands_under_its_hash_and_comes_back_in_parts() {
    let files = MemoryFiles::new();
    let photographs = on(&files);
    let bytes = picture(1);
    let hash = photographs.keep(&bytes).unwrap();
    let name = hash.to_string();
    let path = photographs.path(hash);
    assert_eq!(path, Path::new("/book/photos").join(&name[..2]).join(&name));
    assert!(photographs.is_there(hash).unwrap());
    let open = photographs
        .open(hash)
        .unwrap()
        .unwrap_or_else(|state| panic!("{state:?}"));
    assert_eq!(open.bytes(), 150_000);
    let mut read = Vec::new();
    while let Some(part) = open.part(read.len() as u64).unwrap() {
        assert!(part.len() <= 64 * 1024);
        read.extend(part);
    }
    assert_eq!(read, bytes);
    let other = PhotographHash::of(b"another");
    assert!(!photographs.is_there(other).unwrap());
    assert_eq!(photographs.state(other).unwrap(), PhotographState::Missing);
}

/// A process that ended may have left the file under its name, and the name on no disk: whoever sends the picture again is
/// answered when it is durable.
#[test]
fn what_was_sent_again_to_another_process_survives_a_power_cut() {
    let quiet = MemoryFiles::new();
    on(&quiet).keep(&picture(1)).unwrap();
    for at in 0..quiet.operations() {
        for seed in 0..4 {
            let files = MemoryFiles::new();
            files.set_fault(Some(Fault {
                at,
                kind: FaultKind::Error,
            }));
            on(&files).keep(&picture(1)).unwrap_err();
            files.restart();
            let hash = on(&files).keep(&picture(1)).unwrap();
            files.crash(seed);
            let state = on(&files).state(hash).unwrap();
            assert_eq!(state, PhotographState::Whole, "an error at {at}, seed {seed}");
        }
    }
}

#[test]
fn what_was_kept_survives_a_power_cut_and_what_failed_is_whole_or_absent() {
    let whole = {
        let files = MemoryFiles::new();
        on(&files).keep(&picture(1)).unwrap();
        files.operations()
    };
    let mut failed = 0;
    for at in 0..=whole {
        for kind in [
            FaultKind::Error,
            FaultKind::Torn,
            FaultKind::LostSync,
            FaultKind::CrashBefore,
            FaultKind::CrashAfter,
        ] {
            for seed in 0..4 {
                let files = MemoryFiles::new();
                files.set_fault(Some(Fault { at, kind }));
                let kept = on(&files).keep(&picture(1));
                let lost = matches!(kind, FaultKind::LostSync) && at < whole;
                files.crash(seed);
                let state = on(&files).state(PhotographHash::of(&picture(1))).unwrap();
                match kept {
                    Ok(_) if !lost => assert_eq!(state, PhotographState::Whole, "{kind:?} at {at}"),
                    Ok(_) => {}
                    Err(_) => {
                        failed += 1;
                        assert_ne!(state, PhotographState::Damaged, "{kind:?} at {at}");
                    }
                }
                // Whatever was left over, the same picture is kept now.
                let hash = on(&files).keep(&picture(1)).unwrap();
                files.crash(seed);
                assert_eq!(
                    on(&files).state(hash).unwrap(),
                    PhotographState::Whole,
                    "{kind:?} at {at}"
                );
            }
        }
    }
    assert!(failed > 20, "only {failed} failed");
}

#[test]
fn damage_is_seen_and_the_same_picture_mends_it() {
    let files = MemoryFiles::new();
    let photographs = on(&files);
    let hash = photographs.keep(&picture(1)).unwrap();
    let path = photographs.path(hash);
    for damage in [
        |bytes: &mut Vec<u8>| bytes[149_999] ^= 1,
        |bytes: &mut Vec<u8>| bytes.truncate(70_000),
        |bytes: &mut Vec<u8>| bytes.push(0),
        |bytes: &mut Vec<u8>| bytes.clear(),
    ] {
        files.patch(&path, damage).unwrap();
        assert_eq!(photographs.state(hash).unwrap(), PhotographState::Damaged);
        assert_eq!(photographs.keep(&picture(1)).unwrap(), hash);
        assert_eq!(photographs.state(hash).unwrap(), PhotographState::Whole);
    }
    files.remove(&path).unwrap();
    assert_eq!(photographs.state(hash).unwrap(), PhotographState::Missing);
    let before = files.operations();
    photographs.keep(&picture(1)).unwrap();
    let written = files.operations() - before;
    let before = files.operations();
    photographs.keep(&picture(1)).unwrap();
    assert!(
        files.operations() - before < written,
        "what stands there is not written again"
    );
}
