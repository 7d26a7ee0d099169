//! Full tiles as files: written once with the bytes that `tlog_tiles`, a library that others wrote, computes from the
//! entries; never written again; put back when they are deleted; and damage to one is noticed.

use super::served::{FOUNDED, PROGRAM, Served, found_book, run};
use pourbook::domain::{Draw, OperatorId, RegisterScale, Timestamp};
use pourbook::log::{
    Fault, FaultKind, FileStamp, Files, Kept, MemoryFiles, Operation, RealFiles, StoreError, TileFiles,
};
use pourbook::metal::{Mass, ScaleClass};
use pourbook::node::{BookFolder, open_desk};
use pourbook::proof::tile::{self, TileLevel, TilePath};
use pourbook::writer::{Ask, Submission};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};
use tlog_tiles::{HashReader, Tile, tlog};

/// Two full tiles of each kind, and a partial one.
const SCALES: usize = 600;

fn scale() -> RegisterScale {
    RegisterScale {
        class: ScaleClass::II,
        e: Mass::parse("0.01").unwrap(),
        d: Mass::parse("0.01").unwrap(),
        max: Mass::parse("500").unwrap(),
        verified: true,
        repeatability: Mass::parse("0.004").unwrap(),
        label: None,
        note: None,
    }
}

/// A book of many scales; its entries.
fn book(dir: &Path) -> Vec<Vec<u8>> {
    found_book(dir, 3, FOUNDED);
    let mut desk = open_desk(&BookFolder::at(dir)).unwrap();
    let mut draw = Draw::new([4; 32]);
    for _ in 0..SCALES / 100 {
        let submissions = (0..100)
            .map(|_| Submission {
                request: draw.uuid(),
                by: OperatorId(uuid::Uuid::from_u128(7)),
                at: None,
                expected: Vec::new(),
                ask: Ask::Command(scale().into()),
            })
            .collect();
        let now = Timestamp(FOUNDED + 60);
        for answer in desk.turn(now, draw.bytes(), submissions).unwrap() {
            answer.unwrap();
        }
    }
    desk.release().unwrap();
    let mut entries = Vec::new();
    desk.store()
        .scan(0, &mut |_, bytes| {
            entries.push(bytes.to_vec());
            true
        })
        .unwrap();
    entries
}

/// The hashes of `tlog_tiles`, filled by that crate.
struct Stored(Vec<tlog::Hash>);

impl HashReader for Stored {
    fn read_hashes(&self, indexes: &[u64]) -> Result<Vec<tlog::Hash>, tlog::Error> {
        Ok(indexes.iter().map(|index| self.0[*index as usize]).collect())
    }
}

/// What must stand in the folder: path below it, and bytes. Hash tiles are theirs, bundles are written out here from
/// C2SP tlog-tiles: each entry behind its length in two bytes, greatest first.
fn wanted(entries: &[Vec<u8>]) -> BTreeMap<String, Vec<u8>> {
    let mut stored = Stored(Vec::new());
    for (index, entry) in (0_u64..).zip(entries) {
        let more = tlog::stored_hashes(index, entry, &stored).unwrap();
        stored.0.extend(more);
    }
    let mut wanted = BTreeMap::new();
    for tile in Tile::new_tiles(8, 0, entries.len() as u64) {
        if tile.width() == 256 {
            // Their paths name the height, which C2SP tlog-tiles leaves out.
            let path = tile.path().replacen("tile/8/", "tile/", 1);
            wanted.insert(path, tile.read_data(&stored).unwrap());
        }
    }
    for (n, full) in entries.chunks_exact(256).enumerate() {
        let mut bundle = Vec::new();
        for entry in full {
            bundle.extend(u16::try_from(entry.len()).unwrap().to_be_bytes());
            bundle.extend(entry);
        }
        wanted.insert(format!("tile/entries/{n:03}"), bundle);
    }
    wanted
}

/// Every file below a folder, by its path below it.
fn files_below(dir: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![dir.to_owned()];
    while let Some(folder) = folders.pop() {
        let Ok(items) = std::fs::read_dir(&folder) else {
            continue;
        };
        for item in items {
            let path = item.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let name = path.strip_prefix(dir).unwrap().to_str().unwrap().to_owned();
                found.insert(name, std::fs::read(path).unwrap());
            }
        }
    }
    found
}

/// Waits until something is so.
#[track_caller]
fn soon(what: &str, mut is_so: impl FnMut() -> bool) {
    let start = Instant::now();
    while !is_so() {
        assert!(start.elapsed() < Duration::from_secs(20), "not in time: {what}");
        std::thread::sleep(Duration::from_millis(10));
    }
}

fn stamps(dir: &Path, wanted: &BTreeMap<String, Vec<u8>>) -> Vec<Option<FileStamp>> {
    wanted
        .keys()
        .map(|name| RealFiles.stamp(&dir.join(name)).unwrap())
        .collect()
}

fn audits(address: &str) -> (i32, String) {
    let output = run(&["audit", address]);
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    (output.status.code().unwrap(), told)
}

#[test]
fn full_tiles_are_files_that_are_written_once() {
    assert!(Path::new(PROGRAM).exists());
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path().join("book");
    let entries = book(&dir);
    let wanted = wanted(&entries);
    assert_eq!(wanted.len(), 4, "two tiles of hashes, two of entries");
    let tiles = dir.join("derived/tiles");

    let served = Served::start(&dir);
    soon("the tiles are written", || files_below(&tiles) == wanted);
    for (path, bytes) in &wanted {
        let (status, cache, body) = served.get(&format!("/log/{path}"));
        assert!(status == 200 && body == *bytes, "{path}: {status}");
        assert!(cache.contains("immutable"), "{path}: {cache}");
    }
    let edge = entries.len() % 256;
    assert_eq!(
        served.get(&format!("/log/tile/0/002.p/{edge}")).2.len(),
        edge * 32
    );
    assert_eq!(audits(&served.address).0, 0);
    served.stop();

    // Not written again: the same file with the same time after another opening, which goes through all of them.
    let before = stamps(&tiles, &wanted);
    // The last one is taken away, so that its return says that the opening has gone through all of them.
    let last = tiles.join("tile/0/001");
    std::fs::remove_file(&last).unwrap();
    let served = Served::start(&dir);
    soon("the missing tile is back", || last.exists());
    let after = stamps(&tiles, &wanted);
    for ((name, before), after) in wanted.keys().zip(&before).zip(&after) {
        assert!(
            before == after || name == "tile/0/001",
            "{name} was written again"
        );
    }

    // What was handed out lately is not read again: it never changes.
    let (lately, path) = (tiles.join("tile/0/000"), "/log/tile/0/000");
    assert!(served.get(path).2 == wanted["tile/0/000"]);
    std::fs::write(&lately, b"damaged").unwrap();
    assert!(served.get(path).2 == wanted["tile/0/000"]);
    std::fs::write(&lately, &wanted["tile/0/000"]).unwrap();

    // A file that is damaged is served as it stands; whoever reads tiles checks them, and an audit does.
    let hurt = tiles.join("tile/0/001");
    let damaged = {
        let mut bytes = wanted["tile/0/001"].clone();
        bytes[5] ^= 1;
        bytes
    };
    std::fs::write(&hurt, &damaged).unwrap();
    assert!(served.get("/log/tile/0/001").2 == damaged);
    let (code, told) = audits(&served.address);
    assert_eq!(code, 1, "{told}");
    assert!(told.contains("tile/0/001"), "{told}");
    served.stop();

    // The next opening says so, does not write over it, and serves the tile from memory.
    let served = Served::start(&dir);
    soon("the damage is told", || served.told().contains("tile/0/001"));
    assert!(std::fs::read(&hurt).unwrap() == damaged);
    assert!(served.get("/log/tile/0/001").2 == wanted["tile/0/001"]);
    assert_eq!(audits(&served.address).0, 0);
    // While it is served nothing is removed.
    let refused = run(&["rebuild", dir.to_str().unwrap()]);
    assert_eq!(refused.status.code(), Some(1));
    assert_eq!(files_below(&tiles).len(), 4);
    served.stop();

    let rebuilt = run(&["rebuild", dir.to_str().unwrap()]);
    assert!(rebuilt.status.success());
    assert!(files_below(&tiles) == wanted);

    std::fs::remove_dir_all(dir.join("derived")).unwrap();
    let served = Served::start(&dir);
    assert!(served.get("/log/tile/0/001").2 == wanted["tile/0/001"]);
    soon("the tiles are back", || files_below(&tiles) == wanted);
    served.stop();
}

#[test]
fn the_tiles_that_become_full_are_those_that_another_library_names() {
    for (from, to) in [
        (0, 255),
        (0, 256),
        (255, 256),
        (256, 511),
        (100, 70_000),
        (65_535, 65_536),
        (0, 1_000_000),
        (65_536 * 256 - 1, 65_536 * 256),
    ] {
        let theirs: Vec<String> = Tile::new_tiles(8, from, to)
            .into_iter()
            .filter(|tile| tile.width() == 256)
            .map(|tile| tile.path().replacen("tile/8/", "tile/", 1))
            .collect();
        let ours: Vec<TilePath> = tile::completed(from, to).collect();
        let (bundles, hashes): (Vec<TilePath>, Vec<TilePath>) = ours
            .into_iter()
            .partition(|tile| tile.level == TileLevel::Entries);
        let hashes: Vec<String> = hashes.iter().map(ToString::to_string).collect();
        assert_eq!(hashes, theirs, "{from} to {to}");
        // A bundle is full when its tile of leaf hashes is.
        assert_eq!(
            bundles.len(),
            theirs.iter().filter(|path| path.starts_with("tile/0/")).count()
        );
    }
}

fn tile(n: u64, width: u16) -> TilePath {
    TilePath {
        level: TileLevel::Hashes(0),
        n,
        width,
    }
}

/// Keeps tiles that all have the same bytes.
fn keep(files: &TileFiles, tiles: &[TilePath], bytes: &[u8]) -> Result<Vec<Kept>, StoreError> {
    let tiles: Vec<(TilePath, Vec<u8>)> = tiles.iter().map(|tile| (*tile, bytes.to_vec())).collect();
    files.keep(&tiles)
}

#[test]
fn a_tile_that_stands_there_is_never_overwritten() {
    let files = MemoryFiles::new();
    let tiles = TileFiles::new(Arc::new(files.clone()), "/book/derived/tiles".into());
    let path = PathBuf::from("/book/derived/tiles/tile/0/x001/234");
    assert_eq!(tiles.read(tile(1234, 256)).unwrap(), None);
    assert_eq!(
        keep(&tiles, &[tile(1234, 256)], b"as it is").unwrap(),
        [Kept::Written]
    );
    let stamp = files.stamp(&path).unwrap();
    assert!(stamp.is_some());
    assert_eq!(
        keep(&tiles, &[tile(1234, 256)], b"as it is").unwrap(),
        [Kept::There]
    );
    assert_eq!(tiles.read(tile(1234, 256)).unwrap().unwrap(), b"as it is");
    assert_eq!(
        keep(&tiles, &[tile(1234, 256)], b"otherwise").unwrap(),
        [Kept::Differs]
    );
    assert_eq!(files.stamp(&path).unwrap(), stamp);
    assert_eq!(files.contents()[&path], b"as it is");
    assert_eq!(
        tiles.read(tile(1234, 256)).unwrap(),
        None,
        "one of the two is wrong"
    );
    assert!(!tiles.hands_out(tile(1234, 256)) && tiles.hands_out(tile(1235, 256)));
    assert!(keep(&tiles, &[tile(1, 255)], b"part").is_err());
    // One that stands there already keeps no other from its place.
    let both = [tile(1234, 256), tile(1235, 256)];
    assert_eq!(
        keep(&tiles, &both, b"other").unwrap(),
        [Kept::Differs, Kept::Written]
    );
    assert_eq!(tiles.read(tile(1235, 256)).unwrap().unwrap(), b"other");
    assert_eq!(files.contents()[&path], b"as it is");
    assert_eq!(tiles.read(tile(1, 255)).unwrap(), None);
}

/// After any fault and a power cut each tile is there whole or not at all, and can be kept; so it is without a power cut, for
/// who reads beside it.
#[test]
fn no_half_of_a_tile_is_ever_read() {
    let bytes = vec![7; 8192];
    let all = [tile(0, 256), tile(1, 256), tile(256, 256)];
    let mut finished = 0;
    for at in 0..40 {
        for kind in [
            FaultKind::Error,
            FaultKind::Torn,
            FaultKind::CrashBefore,
            FaultKind::CrashAfter,
        ] {
            for seed in 0..5 {
                let files = MemoryFiles::new();
                let open = || TileFiles::new(Arc::new(files.clone()), "/tiles".into());
                files.set_fault(Some(Fault { at, kind }));
                let kept = keep(&open(), &all, &bytes);
                finished += u32::from(kept.is_ok());
                match seed {
                    4 => files.restart(),
                    _ => files.crash(seed),
                }
                files.set_fault(None);
                for tile in all {
                    let found = open().read(tile).unwrap();
                    assert!(
                        found.as_ref() == Some(&bytes) || (found.is_none() && kept.is_err()),
                        "{kind:?} at {at}, seed {seed}"
                    );
                }
                assert!(!keep(&open(), &all, &bytes).unwrap().contains(&Kept::Differs));
                for tile in all {
                    assert_eq!(open().read(tile).unwrap().unwrap(), bytes);
                }
            }
        }
    }
    assert!(finished > 0);
}

/// What the disk is waited for: each file once, each folder once.
#[test]
fn tiles_that_are_kept_together_wait_for_their_folder_once() {
    let files = MemoryFiles::new();
    let tiles = TileFiles::new(Arc::new(files.clone()), "/tiles".into());
    let all: Vec<TilePath> = (0..20).map(|n| tile(n, 256)).collect();
    files.set_fault(None);
    keep(&tiles, &all, b"a tile").unwrap();
    let count = |operation| files.trace().iter().filter(|done| **done == operation).count();
    assert_eq!((count(Operation::Sync), count(Operation::SyncDir)), (20, 1));
}
