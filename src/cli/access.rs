//! `token`: who may use the API, and as what.

use super::Failure;
use super::arguments::{book_folder, json};
use super::erase::submit;
use crate::domain::{Draw, Event, OperatorId, RevokeOperator, Timestamp};
use crate::http::{Role, TokenRow, Tokens};
use crate::log::files::Lock;
use crate::log::{FileStore, FileStoreOptions, Store};
use crate::node::{chance, clock};
use crate::writer::Ask;
use clap::{Subcommand, ValueEnum};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How often a command looks whether another one has done with the tokens, and how often at most: for 5 s.
const LOOK_EVERY: Duration = Duration::from_millis(25);
const LOOKS_MAX: u32 = 200;

/// What is said below `token --help`.
pub(super) const TOKEN_EXAMPLES: &str = "Examples:
  pourbook token add ./book --role office --name me
  pourbook token add ./book --role bench --name tablet --days 90
  pourbook token list ./book
  pourbook token revoke ./book 47cb7ba0-ba75-4345-bc89-225410296a2b

A running server takes changes up at the next request.";

/// What somebody's part is.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum Part {
    /// Readings, melts, pieces; sees no names and no money.
    Bench,
    /// All of the trade.
    Office,
    /// Reads every entry, writes nothing.
    Auditor,
    /// Keys, erasures, the clock; no trade commands.
    Admin,
}

impl From<Part> for Role {
    fn from(part: Part) -> Self {
        match part {
            Part::Bench => Self::Bench,
            Part::Office => Self::Office,
            Part::Auditor => Self::Auditor,
            Part::Admin => Self::Admin,
        }
    }
}

/// What is done with tokens.
#[derive(Debug, Subcommand)]
pub enum TokenCommand {
    /// Make a token. It is printed once; the book keeps only its hash.
    #[command(
        after_help = "Example:\n  pourbook token add ./book --role bench --name tablet --days 90\n\n\
With --json: {\"token\", \"operator\", \"role\", \"name\", \"expires\": seconds since 1970 or null}."
    )]
    Add {
        /// The book.
        dir: PathBuf,
        /// What the holder may do.
        #[arg(long)]
        role: Part,
        /// Whose it is, for your own list.
        #[arg(long)]
        name: Option<String>,
        /// How many days it lasts; for ever if not given.
        #[arg(long, value_parser = clap::value_parser!(u32).range(1..=36_500))]
        days: Option<u32>,
        /// Print JSON.
        #[arg(long)]
        json: bool,
    },
    /// List tokens; the tokens themselves are not kept.
    #[command(after_help = "Example:\n  pourbook token list ./book\n\n\
With --json: {\"tokens\": [{\"operator\", \"role\", \"name\", \"state\": in_force, expired or revoked, \"expires\", \"revoked\"}]},\n\
the last two in seconds since 1970 or null.")]
    List {
        /// The book.
        dir: PathBuf,
        /// Print JSON.
        #[arg(long)]
        json: bool,
    },
    /// Revoke an operator's tokens, at once.
    #[command(
        after_help = "Examples:\n  pourbook token revoke ./book 47cb7ba0-ba75-4345-bc89-225410296a2b\n  \
pourbook token revoke ./book 47cb7ba0-ba75-4345-bc89-225410296a2b --record\n\n\
The tokens end at once, also while the book is served. --record says in the log besides that no later entry is theirs, which\n\
an audit holds, also against a server with older tokens; then the server must be stopped. On a served book: POST /v1/revocations.\n\
Exit code: 0 revoked; 1 the operator has no token in force, or the book refuses; 2 the book cannot be read.\n\
With --json: {\"operator\", \"revoked\": how many, \"index\": of the entry that says so, or null}."
    )]
    Revoke {
        /// The book.
        dir: PathBuf,
        /// The operator, as `list` shows it.
        operator: uuid::Uuid,
        /// Say in the log too that no later entry is theirs.
        #[arg(long)]
        record: bool,
        /// Print JSON.
        #[arg(long)]
        json: bool,
    },
    /// List the entries that name an operator: what to look through when their token was stolen.
    #[command(
        after_help = "Example:\n  pourbook token entries ./book 47cb7ba0-ba75-4345-bc89-225410296a2b\n\n\
It reads beside a running server too.\n\
With --json: {\"operator\", \"entries\": [{\"index\", \"recorded\": seconds since 1970, \"kinds\": [kind]}]}."
    )]
    Entries {
        /// The book.
        dir: PathBuf,
        /// The operator.
        operator: uuid::Uuid,
        /// Print JSON.
        #[arg(long)]
        json: bool,
    },
}

pub(super) fn token(command: &TokenCommand) -> Result<String, Failure> {
    match command {
        TokenCommand::Add {
            dir,
            role,
            name,
            days,
            json: as_json,
        } => add(dir, (*role).into(), name.clone(), *days, *as_json),
        TokenCommand::List { dir, json: as_json } => {
            let (_, tokens) = read(dir)?;
            let rows: Vec<Value> = tokens.tokens.iter().map(row).collect();
            if *as_json {
                return Ok(json(&json!({ "tokens": rows })));
            }
            Ok(listed(&tokens))
        }
        TokenCommand::Revoke {
            dir,
            operator,
            record,
            json,
        } => revoke(dir, OperatorId(*operator), *record, *json),
        TokenCommand::Entries { dir, operator, json } => entries(dir, OperatorId(*operator), *json),
    }
}

/// The tokens first: they end whether or not the log can be written to now.
fn revoke(dir: &Path, operator: OperatorId, record: bool, as_json: bool) -> Result<String, Failure> {
    let (path, mut tokens, changing) = read_to_change(dir)?;
    let count = tokens.revoke(operator, clock::now());
    if count > 0 {
        tokens.write(&path).map_err(Failure::unusable)?;
    }
    drop(changing);
    if count == 0 && !record {
        return Err(Failure::refused(format!(
            "operator {operator} has no token in force"
        )));
    }
    let recorded = if record {
        let command = RevokeOperator { operator };
        let recorded = submit(&book_folder(dir)?, Ask::Command(command.into()), None);
        Some(recorded.map_err(|failure| Failure {
            message: format!("{count} revoked, but not said in the log: {}", failure.message),
            ..failure
        })?)
    } else {
        None
    };
    let index = recorded.map(|recorded| recorded.index);
    if as_json {
        return Ok(json(
            &json!({ "operator": operator, "revoked": count, "index": index }),
        ));
    }
    Ok(match index {
        Some(index) => format!("{count} revoked; recorded as entry {index}: no later entry is theirs"),
        None => format!("{count} revoked"),
    })
}

fn entries(dir: &Path, operator: OperatorId, as_json: bool) -> Result<String, Failure> {
    let folder = book_folder(dir)?;
    let store = FileStore::open(folder.path(), FileStoreOptions::read_only(), folder.files());
    let mut rows = Vec::new();
    let scanned = store.and_then(|store| {
        store.scan(0, &mut |index, bytes| {
            if let Ok(entry) = crate::record::read(bytes)
                && entry.payload.by == operator
            {
                let kinds: Vec<_> = entry.events().map(Event::kind).collect();
                rows.push(json!({ "index": index, "recorded": entry.payload.iat, "kinds": kinds }));
            }
            true
        })
    });
    scanned.map_err(Failure::unusable)?;
    if as_json {
        return Ok(json(&json!({ "operator": operator, "entries": rows })));
    }
    let lines = rows.iter().map(|row| {
        let kinds = row["kinds"].as_array().into_iter().flatten();
        let kinds: Vec<_> = kinds.filter_map(Value::as_str).collect();
        format!("{:>8}  {}", row["index"], kinds.join(", "))
    });
    let mut text = lines.collect::<Vec<_>>().join("\n");
    text.push_str(&format!("\n{} entries name operator {operator}", rows.len()));
    Ok(text)
}

fn read(dir: &Path) -> Result<(PathBuf, Tokens), Failure> {
    let path = book_folder(dir)?.tokens();
    let tokens = Tokens::read(&path);
    let tokens = tokens.map_err(|error| Failure::unusable(format!("{}: {error}", path.display())))?;
    Ok((path, tokens))
}

/// As [`read`], for who writes the file anew: until the lock is dropped no other command does, since the later of two would
/// undo what the earlier one revoked.
fn read_to_change(dir: &Path) -> Result<(PathBuf, Tokens, Box<dyn Lock>), Failure> {
    let folder = book_folder(dir)?;
    let place = folder.tokens().with_extension("lock");
    for _ in 0..LOOKS_MAX {
        let lock = folder.files().lock(&place);
        let lock = lock.map_err(|error| Failure::unusable(format!("{}: {error}", place.display())))?;
        if let Some(lock) = lock {
            let (path, tokens) = read(dir)?;
            return Ok((path, tokens, lock));
        }
        std::thread::sleep(LOOK_EVERY);
    }
    Err(Failure::unusable(
        "another command is changing the tokens of this book: run this again",
    ))
}

fn add(
    dir: &Path,
    role: Role,
    name: Option<String>,
    days: Option<u32>,
    as_json: bool,
) -> Result<String, Failure> {
    let (path, mut tokens, _changing) = read_to_change(dir)?;
    let Timestamp(now) = clock::now();
    let expires = days.map(|days| Timestamp(now.saturating_add(i64::from(days).saturating_mul(86_400))));
    let token = tokens.add(&mut Draw::new(chance::bytes()), role, name, expires);
    tokens.write(&path).map_err(Failure::unusable)?;
    let row = tokens.tokens.last();
    let operator = row.map(|row| row.operator.to_string()).unwrap_or_default();
    if as_json {
        let name = row.and_then(|row| row.name.as_deref());
        return Ok(json(
            &json!({ "token": token, "operator": operator, "role": role, "name": name,
            "expires": expires }),
        ));
    }
    Ok(format!("{token}\nIt is shown this once. Operator {operator}."))
}

/// Revoked, past its end, or neither.
fn state(row: &TokenRow) -> &'static str {
    match row {
        TokenRow { revoked: Some(_), .. } => "revoked",
        TokenRow {
            expires: Some(end), ..
        } if *end <= clock::now() => "expired",
        _ => "in_force",
    }
}

fn row(row: &TokenRow) -> Value {
    json!({ "operator": row.operator, "role": row.role, "name": row.name, "state": state(row),
        "expires": row.expires, "revoked": row.revoked })
}

/// The tokens as lines, without what would let anyone in.
fn listed(tokens: &Tokens) -> String {
    let lines = tokens.tokens.iter().map(|row| {
        let days_left = |Timestamp(end): Timestamp| end.saturating_sub(clock::now().0).max(0) / 86_400;
        let ends = row.expires.map_or_else(
            || "no end".to_owned(),
            |end| format!("{} days left", days_left(end)),
        );
        let name = row.name.as_deref().unwrap_or("-");
        let role = format!("{:?}", row.role).to_lowercase();
        let state = state(row).replace('_', " ");
        format!("{}  {role:<8} {state:<9} {ends:<16} {name}", row.operator)
    });
    lines.collect::<Vec<_>>().join("\n")
}
