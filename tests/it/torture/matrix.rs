//! Every operation of the file layer under store and vault, with every fault that it can have, in a first run and in a
//! reopening; after each the whole book is audited from its stored bytes. The operations are those of the traits: one that is
//! added there and not told to the double in memory fails here.

use super::story::{APPENDING, ERASING, PINNING, STEPS, Told, audit, empty_disk, look, tell};
use super::{is_long, on_both_cores};
use pourbook::log::{Fault, FaultKind, MemoryFiles, Operation, Store};
use std::collections::{BTreeMap, BTreeSet};
use std::ops::RangeInclusive;

/// The methods of a trait in a source: their names, and whether they have a body of their own.
fn methods(source: &str, of: &str) -> Vec<(String, bool)> {
    let begins = format!("\npub trait {of}");
    let (_, rest) = source.split_once(&begins).unwrap();
    let (body, _) = rest.split_once("\n}\n").unwrap();
    let declared = body.split("\n    fn ").skip(1);
    declared
        .map(|text| {
            let (name, rest) = text.split_once('(').unwrap();
            let end = rest.find([';', '{']).unwrap();
            (name.to_owned(), rest.as_bytes()[end] == b'{')
        })
        .collect()
}

#[test]
fn the_matrix_knows_every_operation_of_the_file_layer() {
    let source = include_str!("../../../src/log/files.rs");
    let mut declared = methods(source, "OpenFile");
    declared.extend(methods(source, "Files"));
    let (made_of_others, own): (Vec<_>, Vec<_>) = declared.into_iter().partition(|(_, has_body)| *has_body);
    let mut own: Vec<String> = own.into_iter().map(|(name, _)| name).collect();
    let mut known: Vec<&str> = Operation::ALL.iter().map(|operation| operation.name()).collect();
    own.sort();
    known.sort_unstable();
    assert_eq!(own, known, "an operation has no row in the matrix of faults");
    // These go through the others, one by one, so they have no faults of their own.
    let names: Vec<&str> = made_of_others.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(
        names,
        [
            "open_to_others",
            "read_whole",
            "write_new_synced",
            "replace_synced",
            "replace_all_synced"
        ]
    );
}

/// What follows the fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Then {
    /// A new process on a machine that stayed up.
    Restart,
    /// The power is cut; what was not durable is kept, torn or lost as the seed says.
    PowerCut(u64),
}

/// One fault, at one operation of a run that begins from one state of the disk.
#[derive(Clone, Copy)]
struct Trial {
    start: usize,
    operation: Operation,
    fault: Fault,
    then: Then,
}

/// A disk, what was told until then, and the faultless trace of telling the rest.
struct Start {
    name: &'static str,
    files: MemoryFiles,
    told: Told,
    trace: Vec<Operation>,
    /// How many operations the opening takes; of a first run, all of it.
    opening: u64,
}

impl Start {
    fn new(name: &'static str, files: MemoryFiles, told: Told) -> Start {
        let faultless = files.copy();
        faultless.set_fault(None);
        let mut after = told.clone();
        tell(&faultless, &mut after, STEPS).unwrap_or_else(|error| panic!("{name}: {error}"));
        let trace = faultless.trace();
        let opening = if told.lives() > 0 {
            after.opened
        } else {
            trace.len() as u64
        };
        Start {
            name,
            files,
            told,
            trace,
            opening,
        }
    }

    /// The state in which a process leaves the disk that ends at the n-th last operation of a kind within some steps.
    fn after(
        name: &'static str,
        steps: RangeInclusive<usize>,
        operation: Operation,
        last_but: usize,
        kind: FaultKind,
    ) -> Start {
        let files = empty_disk();
        files.set_fault(None);
        let mut told = Told::default();
        tell(&files, &mut told, STEPS).unwrap();
        let (from, to) = (told.ends[steps.start() - 1], told.ends[*steps.end()]);
        let trace = files.trace();
        let mut places = (from as usize..to as usize)
            .rev()
            .filter(|place| trace[*place] == operation);
        let at = places
            .nth(last_but)
            .unwrap_or_else(|| panic!("{name}: no such operation")) as u64;
        let files = empty_disk();
        files.set_fault(Some(Fault { at, kind }));
        let mut told = Told::default();
        tell(&files, &mut told, STEPS).unwrap_err();
        files.restart();
        Start::new(name, files, told)
    }
}

fn starts() -> Vec<Start> {
    let stopped = empty_disk();
    let mut told = Told::default();
    tell(&stopped, &mut told, APPENDING).unwrap();
    stopped.restart();
    use FaultKind::{CrashBefore, Torn};
    use Operation::{Create, Rename, WriteAt};
    vec![
        Start::new("a first run", empty_disk(), Told::default()),
        Start::new("stopped in order", stopped, told),
        Start::after("a torn group of the log", APPENDING..=APPENDING, WriteAt, 0, Torn),
        Start::after(
            "records whose group never landed",
            APPENDING..=APPENDING,
            WriteAt,
            0,
            CrashBefore,
        ),
        Start::after(
            "a torn group of the vault",
            APPENDING..=APPENDING,
            WriteAt,
            1,
            Torn,
        ),
        Start::after(
            "an erasure whose key is marked",
            ERASING..=ERASING,
            WriteAt,
            1,
            CrashBefore,
        ),
        Start::after("an erasure half done", ERASING..=ERASING, WriteAt, 2, CrashBefore),
        Start::after(
            "a pin behind, its next beside it",
            PINNING..=PINNING,
            Rename,
            0,
            CrashBefore,
        ),
        Start::after("a segment that was just made", 5..=9, Create, 0, CrashBefore),
    ]
}

/// Whether an operation changes nothing, so that a machine that stops after it is one that stops before the next.
fn only_looks(operation: Operation) -> bool {
    use Operation::{Exists, Length, List, Open, ReadAt, Stamp};
    matches!(operation, Length | ReadAt | Exists | Stamp | List | Open)
}

/// The faults that an operation can have, each with what follows it.
fn faults(operation: Operation, at: u64) -> Vec<(FaultKind, Then)> {
    use FaultKind::{CrashAfter, CrashBefore, Error, LostSync, Torn};
    let seeds = if is_long() {
        vec![at, at + 1, at + 2]
    } else {
        vec![at]
    };
    let cuts = |kind| seeds.iter().map(move |seed| (kind, Then::PowerCut(*seed)));
    let mut all = vec![(Error, Then::Restart)];
    if is_long() || !only_looks(operation) {
        all.extend(cuts(Error));
    }
    all.extend(cuts(CrashBefore));
    if is_long() || !only_looks(operation) {
        all.extend(cuts(CrashAfter));
    }
    if operation == Operation::WriteAt {
        all.push((Torn, Then::Restart));
        all.extend(cuts(Torn));
    }
    if matches!(operation, Operation::Sync | Operation::SyncDir) {
        all.extend(cuts(LostSync));
    }
    all
}

/// How a disk ended up that said "durable" and forgot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Outcome {
    Whole,
    /// The last group is gone, as if it had never been written; nothing is invented.
    LastGroupGone,
    Refused,
}

fn run(starts: &[Start], trial: &Trial) -> Outcome {
    let start = &starts[trial.start];
    let place = format!(
        "{}: {:?} at operation {} ({}), then {:?}",
        start.name,
        trial.fault.kind,
        trial.fault.at,
        trial.operation.name(),
        trial.then
    );
    let files = start.files.copy();
    files.set_fault(Some(trial.fault));
    let mut told = start.told.clone();
    let outcome = tell(&files, &mut told, STEPS);
    match trial.then {
        Then::Restart => files.restart(),
        Then::PowerCut(seed) => files.crash(seed),
    }
    if trial.fault.kind == FaultKind::LostSync {
        outcome.unwrap_or_else(|error| panic!("{place}: a lost sync was noticed: {error}"));
        return look_at_a_liar(&files, &told, &place);
    }
    assert!(outcome.is_err(), "{place}: the fault was swallowed");
    audit(&files, &told, &place);
    // And work goes on: what was answered is repeated, what was not is sent again.
    tell(&files, &mut told, STEPS).unwrap_or_else(|error| panic!("{place}: {error}"));
    files.crash(trial.fault.at);
    audit(&files, &told, &place);
    assert_eq!(told.answered.len(), 12, "{place}");
    Outcome::Whole
}

/// No program can mend a disk that lies. Then the book is whole, or opens without its last group, or is refused; it never
/// shows what was not written.
fn look_at_a_liar(files: &MemoryFiles, told: &Told, place: &str) -> Outcome {
    let Ok(store) = look(files) else {
        return Outcome::Refused;
    };
    let size = store.head().size;
    let said: BTreeMap<u64, _> = told.answered.values().copied().collect();
    for index in 0..size {
        let bytes = store.read(index).unwrap().unwrap();
        let leaf = pourbook::proof::leaf_hash(&bytes);
        assert_eq!(
            said.get(&index),
            Some(&leaf),
            "{place}: entry {index} was never answered"
        );
    }
    let all = said.len() as u64;
    if size == all {
        return Outcome::Whole;
    }
    // The last group has one entry.
    assert_eq!(size, all - 1, "{place}: more than the last group is gone");
    Outcome::LastGroupGone
}

const KINDS: [FaultKind; 5] = [
    FaultKind::Error,
    FaultKind::Torn,
    FaultKind::LostSync,
    FaultKind::CrashBefore,
    FaultKind::CrashAfter,
];

const HEADS: [&str; 5] = ["error", "short write", "lost sync", "before", "after"];

#[test]
fn every_fault_at_every_operation_leaves_a_book_that_holds() {
    let starts = starts();
    let mut trials = Vec::new();
    for (start, state) in starts.iter().enumerate() {
        // After the opening a reopened book does what a first run does; the long form goes through that, too.
        let end = if is_long() {
            state.trace.len()
        } else {
            state.opening as usize
        };
        for (at, operation) in (0..).zip(state.trace[..end].iter().copied()) {
            let trial = |(kind, then)| Trial {
                start,
                operation,
                fault: Fault { at, kind },
                then,
            };
            trials.extend(faults(operation, at).into_iter().map(trial));
        }
    }
    let mut met = BTreeSet::new();
    // The short form tries a third, and each cell at least once.
    let mut nth = 0;
    trials.retain(|trial| {
        nth += 1;
        let kind = KINDS.iter().position(|kind| *kind == trial.fault.kind);
        met.insert((trial.operation, trial.start, kind)) || is_long() || nth % 3 == 0
    });
    let outcomes = on_both_cores(&trials, |trial| run(&starts, trial));
    let mut cells: BTreeMap<(Operation, bool, usize), usize> = BTreeMap::new();
    let mut lies: BTreeMap<Outcome, usize> = BTreeMap::new();
    for (trial, outcome) in trials.iter().zip(outcomes) {
        let kind = KINDS.iter().position(|kind| *kind == trial.fault.kind).unwrap();
        *cells.entry((trial.operation, trial.start > 0, kind)).or_default() += 1;
        if trial.fault.kind == FaultKind::LostSync {
            *lies.entry(outcome).or_default() += 1;
        }
    }
    print_table(&starts, &cells);
    println!(
        "{} faults tried; a sync that was lost left the book {lies:?}",
        trials.len()
    );
    println!(
        "what was answered and is not there, lost syncs aside: 0; what stands twice, or was refused and stands: 0"
    );
    for operation in Operation::ALL {
        for kind in [0, 3] {
            // The folders are made once, and only a reopening removes anything.
            let tried = [false, true].map(|reopened| cells.contains_key(&(*operation, reopened, kind)));
            let wanted = [
                *operation != Operation::Remove,
                *operation != Operation::CreateDirs,
            ];
            assert_eq!(tried, wanted, "{}: {}", operation.name(), HEADS[kind]);
        }
    }
    assert!(lies.contains_key(&Outcome::Refused) && lies.contains_key(&Outcome::Whole));
}

fn print_table(starts: &[Start], cells: &BTreeMap<(Operation, bool, usize), usize>) {
    println!("faults tried, and after each the whole book audited from its stored bytes");
    println!("{:12} {:^47} | {:^47}", "", "a first run", "a reopening");
    let line: String = HEADS.iter().map(|head| format!(" {head:>8.8}")).collect();
    println!("{:12} {line}  | {line}", "operation");
    for operation in Operation::ALL {
        let half = |reopened: bool| -> String {
            let cell = |kind| cells.get(&(*operation, reopened, kind));
            let text = |kind| cell(kind).map_or("-".to_owned(), ToString::to_string);
            (0..KINDS.len())
                .map(|kind| format!(" {:>8}", text(kind)))
                .collect()
        };
        println!("{:12} {}  | {}", operation.name(), half(false), half(true));
    }
    println!(
        "\"-\": the operation has no such fault, or is not made there (remove in a first run, create_dirs in a reopening)"
    );
    let names: Vec<&str> = starts.iter().skip(1).map(|start| start.name).collect();
    println!("reopened from: {}", names.join("; "));
}
