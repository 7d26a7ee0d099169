//! What a book goes through and comes out of whole: faults under every operation of the file layer, kills, system calls that
//! fail, disks that are full or read-only, folders that go away, clocks that jump, flipped bits, copies that go on by
//! themselves, and erasing.
//!
//! Each prints what it tried: `scripts/torture` runs them in their long form (`TORTURE=long`) and keeps what they print,
//! `scripts/torture short` in the form that `scripts/test` runs.

mod calls;
pub mod clients;
mod copies;
mod damage;
mod disk;
mod erased;
mod hostile;
mod killed;
mod matrix;
mod secrets;
mod story;

/// Whether the long form was asked for.
fn is_long() -> bool {
    std::env::var("TORTURE").is_ok_and(|form| form == "long")
}

/// Runs independent trials on both cores, and gives what each came to, in their order.
fn on_both_cores<T: Sync, R: Send>(trials: &[T], run: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let (left, right) = trials.split_at(trials.len() / 2);
    std::thread::scope(|scope| {
        let other = scope.spawn(|| right.iter().map(&run).collect::<Vec<R>>());
        let mut all: Vec<R> = left.iter().map(&run).collect();
        match other.join() {
            Ok(rest) => all.extend(rest),
            Err(panic) => std::panic::resume_unwind(panic),
        }
        all
    })
}
