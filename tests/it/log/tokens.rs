//! The file of tokens on a disk that fails: a token that was revoked stays revoked, and no half of a file is ever read.

use pourbook::domain::{Draw, Timestamp};
use pourbook::http::{Role, Tokens};
use pourbook::log::{Fault, FaultKind, Files, MemoryFiles};
use std::path::Path;

const PATH: &str = "/book/tokens.json";

#[test]
fn a_file_of_tokens_that_was_written_outlasts_a_power_cut() {
    let files = MemoryFiles::new();
    files.create_dirs(Path::new("/book"), 0o755).unwrap();
    let mut before = Tokens::default();
    before.add(&mut Draw::new([1; 32]), Role::Office, None, None);
    before.write_through(&files, Path::new(PATH)).unwrap();
    let mut after = before.clone();
    assert_eq!(after.revoke(before.tokens[0].operator, Timestamp(9)), 1);
    files.set_fault(None);
    after.write_through(&files.copy(), Path::new(PATH)).unwrap();
    let mut finished = 0;
    for at in 0..20 {
        for kind in [
            FaultKind::Error,
            FaultKind::Torn,
            FaultKind::CrashBefore,
            FaultKind::CrashAfter,
        ] {
            for seed in 0..6 {
                let place = format!("{kind:?} at operation {at}, seed {seed}");
                let files = files.copy();
                files.set_fault(Some(Fault { at, kind }));
                let written = after.write_through(&files, Path::new(PATH));
                files.crash(seed);
                let read = Tokens::read_through(&files, Path::new(PATH));
                let read = read.unwrap_or_else(|error| panic!("{place}: {error}"));
                if written.is_ok() {
                    assert_eq!(read, after, "{place}");
                    finished += 1;
                } else {
                    assert!(read == before || read == after, "{place}");
                }
                // What a crash left beside it hinders nothing.
                after.write_through(&files, Path::new(PATH)).unwrap();
                assert_eq!(Tokens::read_through(&files, Path::new(PATH)).unwrap(), after);
            }
        }
    }
    assert!(finished > 0, "no operation was beyond the last");
}
