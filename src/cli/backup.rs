//! `backup` and `restore`: a book copied to another disk, and a book made of such a copy.

use super::Failure;
use super::arguments::{book_folder, json};
use super::pace::Pace;
use crate::node::{
    BackedUp, BackupError, BookFolder, RestoreError, Restored, Restoring, back_up, back_up_private, chance,
    clock,
};
use clap::Args;
use serde_json::json;
use std::path::PathBuf;
use std::time::Duration;

/// How long a line about the progress waits where standard error is no terminal.
const EVERY: Duration = Duration::from_secs(5);

/// What is copied where.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  pourbook backup ./book /media/disk/book
  pourbook backup ./book /media/stick/book-private --private --days 30
  pourbook audit /media/disk/book

A server may be running. Everything up to the last released checkpoint is copied, only what is new is written, and what was
written is read back and held against the checkpoint. What stands in a backup is never written over: if the book says
something else there, that is refused by its place.
The backup of the log proves every public fact by itself, and may be kept for ever. Names, prices and notes are in the private
records: their backup (--private) is another folder, with a term, so that what is erased can be gone. Each run erases in it
what was erased in the book; destroy it when its term is over. Keys that sign (keys/) and tokens are in neither: keep copies of
recorder.key and log.key with the root key, away from the machine.
Exit code: 0 done; 1 the book and the backup do not fit; 2 it cannot be read or written.
With --json: {\"size\": entries it holds, \"root\": hash, \"new\": entries that are new, \"written\": bytes, \"photographs\": new
ones, \"private\": null or {\"readable\", \"erased\", \"erased_now\", \"destroy_by\": seconds since 1970}, \"notices\": [text]}.")]
pub struct BackupArguments {
    /// The book.
    dir: PathBuf,
    /// A folder for the backup, best on another disk.
    dest: PathBuf,
    /// Copy the private records with their keys, instead of the log.
    #[arg(long)]
    private: bool,
    /// After how many days a private backup is to be destroyed.
    #[arg(long, default_value_t = 30, value_parser = clap::value_parser!(u32).range(1..=366), requires = "private")]
    days: u32,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

/// What is put back where.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  pourbook restore /media/disk/book ./book --private /media/stick/book-private --keys /media/safe/keys
  pourbook restore /media/disk/book ./book          # public facts only; names, prices and notes are lost

The whole backup is audited first, then a new folder is filled and proven again. What was erased is erased once more.
Without --keys nothing can be recorded yet: put recorder.key and log.key into keys/, or, if they are gone, make new ones with
the root key (`pourbook key add --help`) and revoke the old ones.
A book that was put back has lost what came after its backup. Only a second pin, on another disk, knows how much: if it is of a
longer log, that is refused with the count, and --lost with just that count puts the book back without those entries.
Exit code: 0 done; 1 it does not hold, or it does not fit; 2 it cannot be read or written.
With --json: {\"size\", \"root\", \"root_key\", \"private\": {\"readable\", \"erased\", \"lost_from\": first entry whose private members are
lost, or null}, \"second_pin\": null or {\"path\", \"size\"}, \"lost\": entries, \"keys\": [recorder, log, log-next], \"notices\": [text]}.")]
pub struct RestoreArguments {
    /// A backup of a log.
    backup: PathBuf,
    /// Where the book will be: a folder that is not there, or empty.
    dir: PathBuf,
    /// A backup of the private records.
    #[arg(long, value_name = "FOLDER")]
    private: Option<PathBuf>,
    /// A folder with recorder.key and log.key.
    #[arg(long, value_name = "FOLDER")]
    keys: Option<PathBuf>,
    /// Give up so many released entries, which the second pin knows of and the backup does not.
    #[arg(long, default_value_t = 0, value_name = "COUNT")]
    lost: u64,
    /// Use a private backup that was to be destroyed.
    #[arg(long, requires = "private")]
    past_term: bool,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

/// Says how far it is, on standard error.
#[derive(Default)]
struct Telling(Option<Pace>);

impl Telling {
    fn at(&mut self, done: u64, size: u64) {
        self.0.get_or_insert_with(|| Pace::start(size, EVERY)).at(done);
    }

    fn end(self) {
        if let Some(pace) = self.0 {
            pace.end();
        }
    }
}

pub(super) fn backup(arguments: &BackupArguments) -> Result<String, Failure> {
    let folder = book_folder(&arguments.dir)?;
    let mut telling = Telling::default();
    let at = &mut |done, size| telling.at(done, size);
    let outcome = if arguments.private {
        back_up_private(&folder, &arguments.dest, (clock::now(), arguments.days), at)
    } else {
        back_up(&folder, &arguments.dest, at)
    };
    telling.end();
    let done = outcome.map_err(|error| not_backed_up(&error))?;
    if arguments.json {
        return Ok(json(&told(&done)));
    }
    Ok(in_words(arguments, &done))
}

fn not_backed_up(error: &BackupError) -> Failure {
    use crate::log::StoreError;
    match error {
        BackupError::Store(StoreError::Io { .. } | StoreError::NoBook { .. })
        | BackupError::Folder(_)
        | BackupError::NoCheckpoint => Failure::unusable(error),
        _ => Failure::refused(error),
    }
}

fn told(done: &BackedUp) -> serde_json::Value {
    let private = done.private.map(|(readable, erased)| {
        json!({ "readable": readable, "erased": erased, "erased_now": done.copied.erased, "destroy_by": done.destroy_by })
    });
    json!({
        "size": done.size, "root": done.root, "new": done.size.saturating_sub(done.held), "written": done.copied.written,
        "photographs": done.photographs, "private": private, "notices": done.notices,
    })
}

fn in_words(arguments: &BackupArguments, done: &BackedUp) -> String {
    let dest = arguments.dest.display();
    let new = done.size.saturating_sub(done.held);
    let mut text = match done.private {
        None => format!(
            "{dest} holds {} entries, {new} of them new; every byte makes the root that the checkpoint signs\nroot hash {}\n",
            done.size, done.root
        ),
        Some((readable, erased)) => format!(
            "{dest} holds the private records of {} entries, {new} of them new: {readable} can be read, {erased} are erased, {} of \
             them by this run\nDestroy it in {} days, or run this again before.\n",
            done.size, done.copied.erased, arguments.days
        ),
    };
    if done.photographs > 0 {
        text.push_str(&format!("{} photographs are new\n", done.photographs));
    }
    add_notices(&mut text, &done.notices);
    text
}

fn add_notices(text: &mut String, notices: &[String]) {
    for notice in notices {
        text.push_str(&format!("note: {notice}\n"));
    }
}

pub(super) fn restore(arguments: &RestoreArguments) -> Result<String, Failure> {
    let asked = Restoring {
        backup: &arguments.backup,
        private: arguments.private.as_deref(),
        keys: arguments.keys.as_deref(),
        lost: arguments.lost,
        past_term: arguments.past_term,
        now: clock::now(),
    };
    let mut telling = Telling::default();
    let folder = BookFolder::at(&arguments.dir);
    let outcome = crate::node::restore(&folder, &asked, &chance::bytes(), &mut |done, size| {
        telling.at(done, size)
    });
    telling.end();
    let restored = outcome.map_err(|error| match &error {
        RestoreError::Backup(inner) => not_backed_up(inner),
        _ => Failure::refused(error),
    })?;
    if arguments.json {
        return Ok(json(&put_back(&restored)));
    }
    Ok(put_back_in_words(arguments, &restored))
}

fn put_back(restored: &Restored) -> serde_json::Value {
    let (readable, erased) = restored.private;
    let pin = restored.second_pin.as_ref();
    let pin = pin.map(|(path, size)| json!({ "path": path, "size": size }));
    json!({
        "size": restored.report.size, "root": restored.report.root, "root_key": restored.report.root_key,
        "private": { "readable": readable, "erased": erased, "lost_from": restored.private_until },
        "second_pin": pin, "lost": restored.lost, "keys": restored.keys, "notices": restored.notices,
    })
}

fn put_back_in_words(arguments: &RestoreArguments, restored: &Restored) -> String {
    let (readable, erased) = restored.private;
    let report = &restored.report;
    let dir = arguments.dir.display();
    let mut text = format!(
        "{dir} holds {} entries: every byte, signature, key, chain and rule holds\nroot hash {}\nroot key  {}\n\
         Private members: {readable} can be read, {erased} are erased",
        report.size, report.root, report.root_key
    );
    match restored.private_until {
        Some(from) => text.push_str(&format!("; those of the entries from {from} on are lost\n")),
        None => text.push('\n'),
    }
    add_notices(&mut text, &restored.notices);
    if restored.keys.is_empty() {
        text.push_str(&format!(
            "Nothing can be recorded yet: put recorder.key and log.key into {dir}/keys, or make new ones with the root key\n"
        ));
    }
    text.push_str(&format!(
        "Tokens are not in a backup: pourbook token add {dir} --role office --name <who>\n"
    ));
    text
}
