//! System calls of the running program that fail, injected by `strace` into the calls on one file. Where it is not there, or
//! may not trace, the test says so.

use super::clients::{Load, found_now, look_again};
use super::is_long;
use crate::log::served::Served;
use pourbook::domain::Draw;
use std::process::Command;
use std::time::Duration;

/// Which call fails, on which file of the book, with what, and at which of the thread's calls.
struct Injection {
    call: &'static str,
    file: &'static str,
    error: &'static str,
    at: u32,
}

const LOG: &str = "log/00000000000000000000.entries";
const VAULT: &str = "vault/00000000000000000000.records";
const KEYS: &str = "vault/keys";

const fn injection(call: &'static str, file: &'static str, error: &'static str, at: u32) -> Injection {
    Injection {
        call,
        file,
        error,
        at,
    }
}

/// The first of a call on a file is that of the opening where the main thread makes one, else the writer's first.
const INJECTIONS: [Injection; 20] = [
    injection("fdatasync", LOG, "EIO", 2),
    injection("pwrite64", LOG, "ENOSPC", 3),
    injection("fdatasync", VAULT, "EIO", 2),
    injection("rename", "pin.new", "EIO", 1),
    injection("fdatasync", LOG, "EIO", 1),
    injection("fdatasync", LOG, "EDQUOT", 7),
    injection("pwrite64", LOG, "EIO", 2),
    injection("pwrite64", LOG, "EROFS", 9),
    injection("fdatasync", VAULT, "EIO", 9),
    injection("pwrite64", VAULT, "ENOSPC", 4),
    injection("fdatasync", KEYS, "EIO", 2),
    injection("pwrite64", KEYS, "EIO", 2),
    injection("pwrite64", KEYS, "ENOSPC", 5),
    injection("openat", "pin.new", "EMFILE", 1),
    injection("pwrite64", "pin.new", "ENOSPC", 1),
    injection("fdatasync", "pin.new", "EIO", 1),
    injection("openat", "lock", "EACCES", 1),
    injection("flock", "lock", "ENOLCK", 1),
    injection("statx", LOG, "EIO", 4),
    injection("pread64", LOG, "EIO", 1),
];

fn can_trace() -> bool {
    let tried = Command::new("strace")
        .args(["-D", "-f", "-qq", "-o", "/dev/null", "-e", "trace=fsync", "true"])
        .output();
    tried.is_ok_and(|output| output.status.success())
}

#[test]
fn a_system_call_that_fails_ends_the_process_and_loses_nothing() {
    if !can_trace() {
        println!("skipped: there is no strace here that may trace");
        return;
    }
    let count = if is_long() { INJECTIONS.len() } else { 4 };
    let mut reached = 0;
    for injection in &INJECTIONS[..count] {
        reached += usize::from(inject(injection));
    }
    println!("{count} system calls made to fail, {reached} of them met; answered and lost: 0");
    assert!(reached * 4 >= count * 3, "most injections were never met");
}

/// Whether the injected failure was met: the process then ends, or does not begin, and says why.
fn inject(injection: &Injection) -> bool {
    let Injection {
        call,
        file,
        error,
        at,
    } = injection;
    let place = format!("{call} of {file} fails with {error} at {at}");
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path().join("book");
    let keyring = found_now(&dir, 1);
    let path = dir.join(file).display().to_string();
    let (trace, inject) = (
        format!("trace={call}"),
        format!("inject={call}:error={error}:when={at}"),
    );
    let strace = [
        "strace",
        "-D",
        "-f",
        "-qq",
        "-o",
        "/dev/null",
        "-P",
        &path,
        "-e",
        &trace,
        "-e",
        &inject,
    ];
    let mut draw = Draw::new([*at as u8; 32]);
    let (met, mut all, told) = match Served::start_under(&strace, &dir) {
        Err(told) => (true, super::clients::Seen::default(), told),
        Ok(mut served) => {
            let load = Load::start(&served, &keyring, &mut draw, 40);
            let met = served.ends_within(Duration::from_secs(6));
            let told = served.told();
            if !met {
                served.kill();
            }
            (met, load.end(&place), told)
        }
    };
    println!(
        "{place}: {} answered, {} cut off; {}",
        all.answered(),
        all.sent.len() - all.answered(),
        if met { "the process ended" } else { "never met" }
    );
    assert!(!met || told.contains("os error"), "{place}: {told}");
    look_again(&dir, &keyring, &mut all, &place);
    met
}
