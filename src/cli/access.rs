//! `token`: who may use the API, and as what.

use super::Failure;
use super::arguments::{book_folder, json};
use crate::domain::{Draw, OperatorId, Timestamp};
use crate::http::{Role, Tokens};
use crate::node::{chance, clock};
use clap::{Subcommand, ValueEnum};
use std::path::PathBuf;

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
    #[command(after_help = "Example:\n  pourbook token add ./book --role bench --name tablet --days 90")]
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
        #[arg(long)]
        days: Option<u32>,
        /// Print JSON.
        #[arg(long)]
        json: bool,
    },
    /// List tokens; the tokens themselves are not kept.
    List {
        /// The book.
        dir: PathBuf,
        /// Print JSON.
        #[arg(long)]
        json: bool,
    },
    /// Revoke an operator's tokens, at once.
    Revoke {
        /// The book.
        dir: PathBuf,
        /// The operator, as `list` shows it.
        operator: uuid::Uuid,
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
        } => {
            let path = book_folder(dir).tokens();
            let mut tokens = Tokens::read(&path).map_err(Failure::unusable)?;
            let Timestamp(now) = clock::now();
            let expires =
                days.map(|days| Timestamp(now.saturating_add(i64::from(days).saturating_mul(86_400))));
            let token = tokens.add(
                &mut Draw::new(chance::bytes()),
                (*role).into(),
                name.clone(),
                expires,
            );
            tokens.write(&path).map_err(Failure::unusable)?;
            let operator = tokens.tokens.last().map(|row| row.operator);
            if *as_json {
                return Ok(json(&serde_json::json!({ "token": token, "operator": operator })));
            }
            let operator = operator.map(|operator| operator.to_string()).unwrap_or_default();
            Ok(format!("{token}\nIt is shown this once. Operator {operator}."))
        }
        TokenCommand::List { dir, json: as_json } => {
            let tokens = Tokens::read(&book_folder(dir).tokens()).map_err(Failure::unusable)?;
            if *as_json {
                return Ok(json(&tokens));
            }
            Ok(listed(&tokens))
        }
        TokenCommand::Revoke { dir, operator } => {
            let path = book_folder(dir).tokens();
            let mut tokens = Tokens::read(&path).map_err(Failure::unusable)?;
            match tokens.revoke(OperatorId(*operator), clock::now()) {
                0 => Err(Failure::refused(format!(
                    "operator {operator} has no token in force"
                ))),
                count => {
                    tokens.write(&path).map_err(Failure::unusable)?;
                    Ok(format!("{count} revoked"))
                }
            }
        }
    }
}

/// The tokens as lines, without what would let anyone in.
fn listed(tokens: &Tokens) -> String {
    let lines = tokens.tokens.iter().map(|row| {
        let state = if row.revoked.is_some() {
            "revoked"
        } else {
            "in force"
        };
        let expires = row
            .expires
            .map_or_else(|| "no end".to_owned(), |Timestamp(end)| format!("ends {end}"));
        let name = row.name.as_deref().unwrap_or("-");
        format!(
            "{}  {:<8} {state:<9} {expires:<16} {name}",
            row.operator,
            format!("{:?}", row.role).to_lowercase()
        )
    });
    lines.collect::<Vec<_>>().join("\n")
}
