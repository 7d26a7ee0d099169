//! What every question to a book has in common: which book, as of when, and in which form the answer is printed.

use super::Failure;
use super::arguments::{book_folder, json};
use crate::accounts::{AsOf, Reckoning};
use crate::domain::Date;
use crate::metal::Metal;
use crate::node::accounts;
use clap::Args;
use serde::Serialize;
use serde_json::{Map, Value};
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
    pub(super) fn ask<T>(&self, question: impl FnOnce(&Reckoning) -> T) -> Result<T, Failure> {
        let accounts = accounts(&book_folder(&self.dir)?).map_err(Failure::unusable)?;
        let as_of = self.at.unwrap_or_default();
        accounts.ask(as_of, question).map_err(Failure::unusable)
    }
}

/// As of when an answer is, in words.
pub(super) fn as_of_text(reckoning: &Reckoning) -> String {
    let day = reckoning.recorded().and_then(Date::of);
    let recorded = day.map_or_else(String::new, |day| format!(", last recorded on {day}"));
    format!("as of position {}{recorded}", reckoning.position())
}

/// An answer as JSON, with as of when it is in front.
pub(super) fn as_of_json(
    reckoning: &Reckoning,
    members: impl IntoIterator<Item = (String, Value)>,
) -> String {
    let mut body = Map::new();
    body.insert("position".to_owned(), reckoning.position().into());
    let recorded = reckoning.recorded();
    body.extend(recorded.map(|recorded| ("recorded".to_owned(), recorded.0.into())));
    body.extend(members);
    json(&body)
}

/// A value as JSON.
pub(super) fn value(value: &impl Serialize) -> Result<Value, Failure> {
    serde_json::to_value(value).map_err(Failure::unusable)
}

/// Reads the word for a metal.
pub(super) fn metal(text: &str) -> Result<Metal, String> {
    let known = Metal::ALL.into_iter().find(|metal| metal.word() == text);
    known.ok_or_else(|| format!("is none of {}", Metal::ALL.map(Metal::word).join(", ")))
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
