//! Foreign bytes: everything that reads what somebody else wrote is fed inputs that were made wrong, and must answer.
//!
//! Inputs are made from the corpus in `tests/fuzz/corpus/<target>/` and from the golden files, by a mutator of our own
//! (`fuzz/mutator.rs`), so that this needs nothing but the toolchain. The corpus was found by cargo-fuzz, which feeds the same
//! targets and is guided by what they reach (`scripts/fuzz`). An input that makes a target panic, or breaks what it promises, is
//! written to `tests/fuzz/found/<target>/` and is from then on tried first, in every run. What was found and mended stays there.
//! `SLOW=1` goes on for ten minutes in all, `SEED=n` tries others.

mod asked;
mod mutator;
mod targets;

use mutator::Mutator;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use targets::{TARGETS, Target};

/// How long the slow form takes, all targets together.
const SLOW: Duration = Duration::from_secs(600);
/// What the corpus may take in all, bytes.
const CORPUS_BYTES_MAX: u64 = 500_000;

fn folder(of: &str, target: &str) -> PathBuf {
    targets::root().join("tests/fuzz").join(of).join(target)
}

fn files(folder: &Path) -> Vec<Vec<u8>> {
    let Ok(items) = std::fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut paths: Vec<_> = items.map(|item| item.unwrap().path()).collect();
    paths.sort();
    paths.iter().map(|path| std::fs::read(path).unwrap()).collect()
}

fn name_of(input: &[u8]) -> String {
    pourbook::proof::leaf_hash(input).to_base64url()
}

/// Feeds one input; on a panic the input is kept.
fn feed(target: &Target, input: &[u8]) {
    let outcome = std::panic::catch_unwind(|| (target.feed)(input));
    if outcome.is_err() {
        let folder = folder("found", target.name);
        std::fs::create_dir_all(&folder).unwrap();
        let path = folder.join(name_of(input));
        std::fs::write(&path, input).unwrap();
        panic!("{}: an input is kept in {}", target.name, path.display());
    }
}

fn fuzz(target: &Target) {
    let mut seeds = files(&folder("corpus", target.name));
    seeds.extend((target.seeds)());
    assert!(!seeds.is_empty(), "{} has no seeds", target.name);
    let found = files(&folder("found", target.name));
    found.iter().chain(&seeds).for_each(|input| feed(target, input));
    let share = SLOW / u32::try_from(TARGETS.len()).unwrap();
    let end = std::env::var_os("SLOW").map(|_| Instant::now() + share);
    let seed = std::env::var("SEED").map_or(1, |seed| seed.parse().unwrap());
    let mut mutator = Mutator::new(seed, target.name);
    let mut count = 0;
    while count < target.inputs || end.is_some_and(|end| Instant::now() < end) {
        let input = mutator.input(&seeds);
        feed(target, &input);
        count += 1;
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

/// Files that nothing here reads would be seeds for nothing, and a large corpus is a burden to everybody who copies the project.
#[test]
fn every_folder_of_the_corpus_is_a_target_and_all_of_it_is_small() {
    let mut bytes = 0;
    for of in ["corpus", "found"] {
        for item in std::fs::read_dir(folder(of, "")).unwrap() {
            let name = item.unwrap().file_name().into_string().unwrap();
            let known = name == "README" || TARGETS.iter().any(|target| target.name == name);
            assert!(known, "{of}/{name}");
            let inputs = files(&folder(of, &name));
            bytes += inputs.iter().map(|input| input.len() as u64).sum::<u64>();
        }
    }
    assert!(bytes < CORPUS_BYTES_MAX, "{bytes} bytes");
}

/// Each target has its program below `tests/fuzz`, which feeds it and nothing else.
#[test]
fn every_target_has_its_program() {
    let package = std::fs::read_to_string(targets::root().join("tests/fuzz/Cargo.toml")).unwrap();
    assert_eq!(package.matches("[[bin]]").count(), TARGETS.len());
    for Target { name, .. } in TARGETS {
        let program = std::fs::read_to_string(folder("targets", &format!("{name}.rs"))).unwrap();
        let feeds = format!("fuzz_target!(|bytes: &[u8]| pourbook_fuzz::feed(\"{name}\", bytes));");
        assert!(program.ends_with(&format!("{feeds}\n")), "{name}");
        let declared = format!("name = \"{name}\"\npath = \"targets/{name}.rs\"\n");
        assert!(package.contains(&declared), "{name}");
    }
}

/// Writes the seeds that are made of golden files and of the steps to files, where cargo-fuzz finds them: a tool of
/// `scripts/fuzz`, which is run by hand since it checks nothing.
#[test]
#[ignore = "writes files for cargo-fuzz"]
fn write_the_seeds() {
    let all = Path::new(env!("CARGO_TARGET_TMPDIR")).join("seeds");
    for target in TARGETS {
        let folder = all.join(target.name);
        std::fs::create_dir_all(&folder).unwrap();
        for seed in (target.seeds)() {
            std::fs::write(folder.join(name_of(&seed)), &seed).unwrap();
        }
    }
    println!("{}", all.display());
}
