//! The built program, killed at random moments while clients give it commands, and started again.
//!
//! After each start: what was answered with 201 stands under the same index with the same leaf hash and once, what was refused
//! does not stand, repeating a key gives the same answer, what was sent without an answer can be sent again and stands once,
//! every checkpoint that was ever shown is one that the tree went through, the views have what was recorded (also after
//! `derived/` was deleted), and an audit accepts.
//!
//! SIGKILL ends the process, not the machine: what was written can still be read, whether it was synced or not. Lost
//! power is what `simulation` and the matrix of faults are for. A failure names its seed: `SEED=<n>` begins in the same way
//! (the system's scheduling differs each time), `KILLS=<n>` kills so many times.

use super::clients::{Answer, Keyring, Load, Seen, audit, found_now, look, look_again};
use crate::log::served::Served;
use pourbook::domain::Draw;
use std::path::Path;
use std::time::Duration;

/// A book that has this many entries is left, and another one founded.
const ENTRIES_MAX: usize = 600;
/// How many commands each of the clients gives in one life of the server, at most.
const COMMANDS_MAX: usize = 50;

#[derive(Default)]
struct Counted {
    kills: usize,
    /// Of them while the book was being opened.
    opening: usize,
    books: usize,
    /// Of what clients sent at work: answered with 201, refused, and without an answer when the server was killed.
    recorded: usize,
    refused: usize,
    cut_off: usize,
    checkpoints: usize,
}

/// One life: clients work, the server is killed.
fn live(dir: &Path, keyring: &Keyring, draw: &mut Draw, all: &mut Seen, counted: &mut Counted, place: &str) {
    let served = Served::start(dir);
    look(&served, keyring, all, place);
    let load = Load::start(&served, keyring, draw, COMMANDS_MAX);
    let moment = u64::from(u16::from_be_bytes([draw.bytes()[0], draw.bytes()[1]])) % 300;
    std::thread::sleep(Duration::from_millis(moment));
    served.kill();
    let seen = load.end(place);
    for sent in &seen.sent {
        match sent.answer {
            Answer::Recorded(..) => counted.recorded += 1,
            Answer::Refused(_) => counted.refused += 1,
            Answer::None => counted.cut_off += 1,
        }
    }
    counted.kills += 1;
    all.take(seen);
}

/// Kills the server of one book until there were enough kills, or the book is long enough.
fn kill_one_book(seed: u8, draw: &mut Draw, kills: usize, counted: &mut Counted) {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path().join("book");
    let keyring = found_now(&dir, seed);
    let mut all = Seen::default();
    let mut place = String::new();
    for life in 0_usize.. {
        place = format!("seed {seed}, after {} kills", counted.kills);
        if counted.kills >= kills || all.sent.len() > ENTRIES_MAX {
            break;
        }
        live(&dir, &keyring, draw, &mut all, counted, &place);
        if life % 8 == 1 {
            audit(dir.to_str().unwrap(), &place);
        }
        if life % 5 == 2 {
            // What is derived is made again from the log.
            std::fs::remove_dir_all(dir.join("derived")).unwrap();
        }
        if life % 2 == 1 {
            Served::start_and_kill(&dir, Duration::from_millis(u64::from(draw.bytes()[0]) / 2));
            counted.kills += 1;
            counted.opening += 1;
        }
    }
    counted.checkpoints += all.checkpoints.len();
    counted.books += 1;
    look_again(&dir, &keyring, &mut all, &place);
}

#[test]
fn a_book_whose_server_is_killed_keeps_what_it_answered() {
    let seed: u8 = std::env::var("SEED").map_or(1, |seed| seed.parse().unwrap());
    let kills: usize = std::env::var("KILLS").map_or(8, |kills| kills.parse().unwrap());
    let mut draw = Draw::new([seed; 32]);
    let mut counted = Counted::default();
    while counted.kills < kills {
        kill_one_book(seed, &mut draw, kills, &mut counted);
        println!(
            "{} kills survived, {} of them while opening: {} books, {} commands acknowledged, {} refused, {} without an answer \
             and sent again, {} checkpoints shown; acknowledged and lost: 0, doubled: 0, refused and recorded: 0",
            counted.kills,
            counted.opening,
            counted.books,
            counted.recorded,
            counted.refused,
            counted.cut_off,
            counted.checkpoints
        );
    }
    assert!(
        counted.recorded > kills && counted.cut_off > 0,
        "too little was going on"
    );
}
