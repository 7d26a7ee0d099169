//! Foreign bytes: everything that reads what somebody else wrote is fed inputs that were made wrong, and must answer.
//!
//! Inputs are made from the seeds below `tests/fuzz/<target>/` and from the golden files, by a mutator of our own
//! (`fuzz/mutator.rs`), so that this runs with the toolchain that the project has. An input that makes a target panic, or
//! breaks what it promises, is written to `tests/fuzz/found/<target>/` and is from then on tried first, in every run. What
//! was found and mended stays there. `SLOW=1` tries a hundred times as many, `SEED=n` others.

mod mutator;
mod targets;

use mutator::Mutator;
use std::path::{Path, PathBuf};
use targets::{TARGETS, Target};

fn folder(target: &str, found: bool) -> PathBuf {
    let fuzz = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz");
    let fuzz = if found { fuzz.join("found") } else { fuzz };
    fuzz.join(target)
}

fn files(folder: &Path) -> Vec<Vec<u8>> {
    let Ok(items) = std::fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut paths: Vec<_> = items.map(|item| item.unwrap().path()).collect();
    paths.sort();
    paths.iter().map(|path| std::fs::read(path).unwrap()).collect()
}

/// Feeds one input; on a panic the input is kept.
fn feed(target: &Target, input: &[u8]) {
    let outcome = std::panic::catch_unwind(|| (target.feed)(input));
    if outcome.is_err() {
        let folder = folder(target.name, true);
        std::fs::create_dir_all(&folder).unwrap();
        let path = folder.join(pourbook::proof::leaf_hash(input).to_base64url());
        std::fs::write(&path, input).unwrap();
        panic!("{}: an input is kept in {}", target.name, path.display());
    }
}

fn fuzz(target: &Target) {
    let mut seeds = files(&folder(target.name, false));
    seeds.extend((target.seeds)());
    assert!(!seeds.is_empty(), "{} has no seeds", target.name);
    let found = files(&folder(target.name, true));
    found.iter().chain(&seeds).for_each(|input| feed(target, input));
    let times = if std::env::var_os("SLOW").is_some() {
        100
    } else {
        1
    };
    let seed = std::env::var("SEED").map_or(1, |seed| seed.parse().unwrap());
    let mut mutator = Mutator::new(seed, target.name);
    let count = target.inputs * times;
    for _ in 0..count {
        let input = mutator.input(&seeds);
        feed(target, &input);
    }
    println!(
        "{:<12} {count:>8} inputs from {:>3} seeds, {} found before",
        target.name,
        seeds.len(),
        found.len()
    );
}

#[test]
fn foreign_bytes_are_answered() {
    for target in TARGETS {
        fuzz(target);
    }
}

/// A target that breaks on a certain byte is found out, so that a mutator that changes nothing would fail here.
#[test]
fn the_mutator_finds_what_is_planted() {
    let seeds = vec![b"{\"mass\":\"50.40\"}".to_vec()];
    let mut mutator = Mutator::new(1, "planted");
    let inputs: Vec<Vec<u8>> = (0..20_000).map(|_| mutator.input(&seeds)).collect();
    for planted in [b"\"-50".as_slice(), b"50.40.", b"\xff", b"\"\"", b"50.4\"", b"{{"] {
        assert!(
            inputs
                .iter()
                .any(|input| input.windows(planted.len()).any(|part| part == planted)),
            "{planted:?}"
        );
    }
    assert!(inputs.iter().any(|input| input.len() < 4));
    assert!(inputs.iter().any(|input| input.len() > 100));
}
