//! A disk that is full or read-only, folders that go away under a running server, and clocks that jump. What was answered is
//! there afterwards, as far as the folder is; what cannot be kept is not answered, and the process says why it ends.

use super::clients::{
    Answer, Client, Keyring, Load, Seen, audit, files_under, found_at, found_now, look_again,
};
use crate::log::served::{FOUNDED, Served, run};
use crate::shop;
use pourbook::domain::{Command as Order, Draw, OperatorId, SetClock, Timestamp};
use pourbook::writer::{Ask, Submission, SubmitError};
use std::path::Path;
use std::process::Command;
use std::time::{Duration, SystemTime};
use uuid::Uuid;

/// A small disk in memory, mounted on a folder of its own; only root can have one.
struct SmallDisk {
    folder: tempfile::TempDir,
}

impl SmallDisk {
    fn mount(megabytes: u32) -> Option<SmallDisk> {
        let folder = tempfile::tempdir().unwrap();
        let size = format!("size={megabytes}m");
        let done = Command::new("mount")
            .args(["-t", "tmpfs", "-o", &size, "tmpfs"])
            .arg(folder.path())
            .output();
        match done {
            Ok(output) if output.status.success() => Some(SmallDisk { folder }),
            _ => {
                println!("skipped: a small disk can be mounted by root only");
                None
            }
        }
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }

    fn remount(&self, how: &str) {
        let done = Command::new("mount")
            .args(["-o", &format!("remount,{how}")])
            .arg(self.path())
            .status();
        assert!(done.unwrap().success(), "{how}");
    }

    /// Fills it up to so many bytes.
    fn fill(&self, but: u64) {
        let output = Command::new("df")
            .args(["--output=avail", "-B1"])
            .arg(self.path())
            .output();
        let text = String::from_utf8(output.unwrap().stdout).unwrap();
        let free: u64 = text.lines().nth(1).unwrap().trim().parse().unwrap();
        std::fs::write(
            self.path().join("ballast"),
            vec![1; (free - but.min(free)) as usize],
        )
        .unwrap();
    }

    fn empty(&self) {
        std::fs::remove_file(self.path().join("ballast")).unwrap();
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(self.path()).status();
    }
}

const PATIENCE: Duration = Duration::from_secs(30);

#[test]
fn a_full_disk_ends_the_process_and_loses_nothing() {
    let Some(disk) = SmallDisk::mount(64) else { return };
    let dir = disk.path().join("book");
    let keyring = found_now(&dir, 1);
    let mut draw = Draw::new([3; 32]);
    let mut all = Seen::default();
    Served::start(&dir).stop();
    for free in [0, 8 * 1024, 256 * 1024] {
        let place = format!("{free} bytes free");
        let mut served = Served::start(&dir);
        disk.fill(free);
        let load = Load::start(&served, &keyring, &mut draw, 200);
        let ended = served.ends_within(Duration::from_secs(8));
        let told = served.told();
        if !ended {
            served.kill();
        }
        let seen = load.end(&place);
        assert!(!ended || told.contains("No space left"), "{place}: {told}");
        assert!(ended || free > 0, "{place}: it went on: {told}");
        // On the full disk it opens, or says why not.
        let again = match Served::start_or_refusal(&dir) {
            Ok(served) => {
                served.kill();
                "it opens"
            }
            Err(told) => {
                assert!(told.contains("No space left"), "{place}: {told}");
                "it refuses to open"
            }
        };
        println!(
            "a full disk, {place}: {} answered, {} cut off, the process ended by itself: {ended}; then {again}",
            seen.answered(),
            seen.sent.len() - seen.answered()
        );
        all.take(seen);
        disk.empty();
        look_again(&dir, &keyring, &mut all, &place);
    }
}

#[test]
fn a_read_only_disk_is_read_and_refused_by_name() {
    let Some(disk) = SmallDisk::mount(64) else { return };
    let dir = disk.path().join("book");
    found_at(&dir, 1, FOUNDED);
    super::clients::record(&dir, 1, 3);
    let before = files_under(&dir);
    disk.remount("ro");
    let told = Served::start_or_refusal(&dir)
        .err()
        .expect("it serves from a read-only disk");
    assert!(
        told.contains("/lock") && told.contains("Read-only file system"),
        "{told}"
    );
    audit(dir.to_str().unwrap(), "on a read-only disk");
    let erase = run(&[
        "erase",
        dir.to_str().unwrap(),
        "3",
        "0",
        "label",
        "--reason",
        "request",
    ]);
    let told = String::from_utf8_lossy(&erase.stderr).into_owned();
    assert!(
        !erase.status.success() && told.contains("Read-only file system"),
        "{told}"
    );
    disk.remount("rw");
    assert!(files_under(&dir) == before);
    println!("a read-only disk: audited; serve and erase refused, naming the lock file");
    Served::start(&dir).stop();
}

/// One command that must be answered, or must not.
fn is_answered(client: &mut Client) -> bool {
    let mut sent = client.command();
    client.send(&mut sent) && matches!(sent.answer, Answer::Recorded(..))
}

/// Until a command is recorded: some of a client's commands are refused on purpose.
fn record_some(client: &mut Client) {
    assert!((0..100).any(|_| is_answered(client)), "nothing is recorded");
}

fn serve_and_record(dir: &Path, keyring: &Keyring) -> (Served, Client) {
    let served = Served::start(dir);
    let mut client = Client::new(&served, keyring, Draw::new([5; 32]));
    record_some(&mut client);
    (served, client)
}

/// Nothing is recorded any more, and the process ends and names the file.
#[track_caller]
fn assert_ends(mut served: Served, client: &mut Client, name: &str) {
    for _ in 0..20 {
        assert!(
            !is_answered(client),
            "a command was answered after {name} was gone"
        );
    }
    if name.is_empty() {
        println!("removed under a running server: the whole folder: nothing is answered any more");
        return served.kill();
    }
    assert!(served.ends_within(PATIENCE), "it goes on without {name}");
    let told = served.told();
    assert!(told.contains(name), "{name}: {told}");
    println!(
        "removed under a running server: {name}: nothing is answered any more, the process ends and names it"
    );
}

#[test]
fn what_is_removed_under_a_running_server_ends_it_before_anything_more_is_answered() {
    let folder = tempfile::tempdir().unwrap();
    for (turn, gone) in [
        "log",
        "vault",
        "vault/keys",
        "log/00000000000000000000.entries",
        "vault/00000000000000000000.records",
        "lock",
        "",
    ]
    .into_iter()
    .enumerate()
    {
        let dir = folder.path().join(format!("book-{turn}"));
        let keyring = found_now(&dir, 1);
        let (served, mut client) = serve_and_record(&dir, &keyring);
        let path = if gone.is_empty() {
            dir.clone()
        } else {
            dir.join(gone)
        };
        if path.is_dir() {
            std::fs::remove_dir_all(&path).unwrap();
        } else {
            std::fs::remove_file(&path).unwrap();
        }
        assert_ends(served, &mut client, gone);
    }
}

#[test]
fn a_folder_that_was_moved_away_and_back_has_all_that_was_answered() {
    let folder = tempfile::tempdir().unwrap();
    let (dir, elsewhere) = (folder.path().join("book"), folder.path().join("elsewhere"));
    let keyring = found_now(&dir, 1);
    let mut draw = Draw::new([4; 32]);
    let mut served = Served::start(&dir);
    let load = Load::start(&served, &keyring, &mut draw, 100);
    while load.answered() < 20 {
        std::thread::sleep(Duration::from_millis(5));
    }
    std::fs::rename(&dir, &elsewhere).unwrap();
    // If nothing was left to pin it ends when it is asked next, and nobody can: the tokens are gone with the folder.
    if served.ends_within(Duration::from_secs(3)) {
        assert!(
            served.told().contains("was removed or replaced"),
            "{}",
            served.told()
        );
    } else {
        served.kill();
    }
    let mut all = load.end("moved away");
    // An older copy or nothing stands at the old place; the moved folder has it all.
    std::fs::rename(&elsewhere, &dir).unwrap();
    println!(
        "moved away under load: {} answered, all of them there",
        all.answered()
    );
    look_again(&dir, &keyring, &mut all, "moved back");
}

fn post(served: &Served, token: &str, path: &str, body: &str) -> (u16, String) {
    let agent: ureq::Agent = ureq::Agent::config_builder()
        .http_status_as_error(false)
        .build()
        .into();
    let mut reply = agent
        .post(format!("{}{path}", served.address))
        .header("authorization", format!("Bearer {token}"))
        .header(
            "idempotency-key",
            Uuid::from_bytes(
                Draw::new([path.len() as u8; 32]).bytes()[..16]
                    .try_into()
                    .unwrap(),
            )
            .to_string(),
        )
        .header("content-type", "application/json")
        .send(body)
        .unwrap();
    (
        reply.status().as_u16(),
        reply.body_mut().read_to_string().unwrap(),
    )
}

/// A server whose clock stands before the last entry, or far behind it in the future, serves and audits but records nothing
/// until an admin vouches for the clock.
#[test]
fn a_server_whose_clock_jumped_records_nothing_until_somebody_vouches_for_it() {
    let now = SystemTime::now()
        .duration_since(SystemTime::UNIX_EPOCH)
        .unwrap()
        .as_secs() as i64;
    for (what, founded) in [
        ("a day back", now + 86_400),
        ("401 days ahead", now - 401 * 86_400),
    ] {
        let folder = tempfile::tempdir().unwrap();
        let dir = folder.path().join("book");
        let keyring = found_at(&dir, 1, founded);
        // Key entries do not set the clock; a command does.
        let mut desk = super::clients::desk(&dir);
        let outcome = desk
            .turn(Timestamp(founded + 1), [1; 32], vec![scale(1)])
            .unwrap();
        assert!(outcome[0].is_ok());
        desk.release().unwrap();
        drop(desk);
        let served = Served::start(&dir);
        let jar = r#"{"metal": "silver", "fineness": "999", "residue": "lemel"}"#;
        let (status, body) = post(&served, &keyring.office, "/v1/jars", jar);
        assert_eq!(status, 503, "{what}: {body}");
        assert!(body.contains("clock"), "{what}: {body}");
        assert_eq!(served.get("/log/checkpoint").0, 200, "{what}");
        audit(&served.address, what);
        let (status, body) = post(&served, &keyring.admin, "/v1/clock", "{}");
        assert_eq!(status, 201, "{what}: {body}");
        let (status, body) = post(&served, &keyring.office, "/v1/jars", jar);
        assert_eq!(status, 201, "{what}: {body}");
        served.stop();
        audit(dir.to_str().unwrap(), what);
        println!("a clock {what}: refused until vouched for, then recorded; the log audits");
    }
}

fn scale(seed: u8) -> Submission {
    Submission {
        request: Uuid::from_bytes([seed; 16]),
        by: OperatorId(Uuid::from_u128(7)),
        at: None,
        expected: Vec::new(),
        ask: Ask::Command(shop::scale().into()),
    }
}

/// A clock that jumps at random both ways, at a desk: the times in the log never go back, and nothing is recorded under a time
/// that nobody vouched for.
#[test]
fn a_clock_that_jumps_at_random_never_turns_the_log_back() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path().join("book");
    found_at(&dir, 1, FOUNDED);
    let mut desk = super::clients::desk(&dir);
    let mut draw = Draw::new([6; 32]);
    // `shown` is what an honest reading of the rules expects the last entry to have.
    let (mut shown, mut recorded, mut refused, mut set) = (FOUNDED, 0, 0, 0);
    let first = desk
        .turn(Timestamp(FOUNDED), draw.bytes(), vec![scale(0)])
        .unwrap();
    assert!(first[0].is_ok());
    for _ in 0..150 {
        let bytes = draw.bytes();
        let far = i64::from(u16::from_be_bytes([bytes[0], bytes[1]]));
        let jump = match bytes[2] % 6 {
            0 => -far,
            1 => -(far % 12),
            2 => far * 1_000,
            _ => far % 600,
        };
        let now = shown + jump;
        let vouches = bytes[3].is_multiple_of(4);
        let command: Order = if vouches {
            SetClock {}.into()
        } else {
            shop::scale().into()
        };
        let submission = Submission {
            request: draw.uuid(),
            ask: Ask::Command(command),
            ..scale(0)
        };
        let outcome = desk
            .turn(Timestamp(now), draw.bytes(), vec![submission])
            .unwrap()
            .remove(0);
        let plausible = (-5..=400 * 86_400).contains(&jump);
        match outcome {
            Ok(_) if vouches => (shown, set) = (now, set + 1),
            Ok(_) => {
                assert!(plausible, "a jump of {jump} s was taken");
                (shown, recorded) = (shown.max(now), recorded + 1);
            }
            Err(SubmitError::Clock { .. }) => {
                assert!(!plausible && !vouches, "a jump of {jump} s was refused");
                refused += 1;
            }
            Err(other) => panic!("{jump}: {other}"),
        }
    }
    desk.release().unwrap();
    let store = desk.store();
    let (mut last, mut backwards) = (i64::MIN, 0);
    store
        .scan(0, &mut |_, bytes| {
            let entry = pourbook::record::read(bytes).unwrap();
            let sets = entry.events().any(|event| event.kind() == "clock.set");
            backwards += usize::from(entry.payload.iat.0 < last && !sets);
            last = entry.payload.iat.0;
            true
        })
        .unwrap();
    drop((desk, store));
    assert_eq!(backwards, 0);
    assert!(
        recorded > 20 && refused > 20 && set > 10,
        "{recorded} {refused} {set}"
    );
    audit(dir.to_str().unwrap(), "after jumps");
    println!(
        "150 jumps of the clock: {recorded} recorded, {refused} refused, {set} vouched for; no entry is before the last"
    );
}
