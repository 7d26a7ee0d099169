//! What every question to a book has in common: which book, as of when, and in which form the answer is printed.

use super::Failure;
use super::arguments::{book_folder, json};
use crate::accounts::{AsOf, Reckoning};
use crate::domain::{Date, Timestamp};
use crate::node::{BookFolder, accounts};
use clap::Args;
use serde::Serialize;
use std::path::PathBuf;

/// A book, and as of when.
#[derive(Debug, Args)]
pub(super) struct Asking {
    /// The book.
    dir: PathBuf,
    /// As of a position of the log, or of the end of a day like 2026-11-25 (UTC); without it, as of now.
    #[arg(long, value_name = "POSITION|DAY")]
    at: Option<AsOf>,
    /// Print JSON.
    #[arg(long)]
    pub json: bool,
}

impl Asking {
    /// Asks the book. It is read beside a running server too, and not changed.
    pub(super) fn ask(
        &self,
        question: impl FnOnce(&Reckoning) -> Result<String, Failure>,
    ) -> Result<String, Failure> {
        let accounts = accounts(&self.folder()?).map_err(Failure::unusable)?;
        let as_of = self.at.unwrap_or_default();
        accounts.ask(as_of, question).map_err(Failure::unusable)?
    }

    /// The folder of the book.
    pub(super) fn folder(&self) -> Result<BookFolder, Failure> {
        book_folder(&self.dir)
    }
}

/// As of when an answer is, in words.
pub(super) fn as_of_text(reckoning: &Reckoning) -> String {
    let day = reckoning.recorded().and_then(Date::of);
    let recorded = day.map_or_else(String::new, |day| format!(", last recorded on {day}"));
    format!("as of position {}{recorded}", reckoning.position())
}

/// An answer, with as of when it is in front.
#[derive(Serialize)]
struct AsOfTold<'a, T: Serialize> {
    position: u64,
    #[serde(skip_serializing_if = "Option::is_none")]
    recorded: Option<Timestamp>,
    #[serde(flatten)]
    body: &'a T,
}

/// An answer (an object) as JSON, with as of when it is in front.
pub(super) fn as_of_json(reckoning: &Reckoning, body: &impl Serialize) -> String {
    json(&AsOfTold {
        position: reckoning.position(),
        recorded: reckoning.recorded(),
        body,
    })
}

/// Rows of cells in columns: the first and a remark under an empty head to the left, the others to the right.
pub(super) fn columns(rows: &[Vec<String>]) -> String {
    let count = rows.iter().map(Vec::len).max().unwrap_or(0);
    let width = |at: usize| {
        rows.iter()
            .filter_map(|row| row.get(at))
            .map(|cell| cell.chars().count())
            .max()
    };
    let widths: Vec<usize> = (0..count).map(|at| width(at).unwrap_or(0)).collect();
    let mut text = String::new();
    for row in rows {
        let mut line = String::new();
        for (at, (cell, width)) in row.iter().zip(&widths).enumerate() {
            let is_remark = rows
                .first()
                .and_then(|head| head.get(at))
                .is_some_and(String::is_empty);
            if at == 0 {
                line.push_str(&format!("{cell:<width$}"));
            } else if is_remark {
                line.push_str(&format!("  {cell}"));
            } else {
                line.push_str(&format!("  {cell:>width$}"));
            }
        }
        text.push_str(line.trim_end());
        text.push('\n');
    }
    text
}

/// So many decimals has a number that is written out.
pub(super) fn decimals(text: &str) -> u32 {
    let after = text.split_once('.').map_or(0, |(_, after)| after.len());
    u32::try_from(after).unwrap_or(u32::MAX)
}
