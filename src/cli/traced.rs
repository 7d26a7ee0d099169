//! `shares`, `recall`, `suspects`: where metal came from, where it went, and what an assay makes one think.

use super::Failure;
use super::asking::{Asking, as_of_json};
use crate::accounts::Reckoning;
use crate::accounts::recall::Source;
use crate::accounts::told::{HeldTold, MODEL, PieceShares, RecallTold, SuspicionTold};
use crate::domain::{Piece, Serial};
use crate::metal::Fineness;
use clap::Args;
use serde_json::{Value, json};
use std::fmt::Write as _;

/// Of which piece.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  pourbook shares ./book TW-0007-65
  pourbook shares ./book 12-03 --json

Of which lots a piece is, through heels, remelts, jars and the refiner, as exact fractions of its mass. The model is told
with them: every melt and jar is well mixed.
Exit code: 0 told; 1 no piece has that serial or pour number; 2 the book cannot be read.
With --json: the members of GET /v1/pieces/{piece}/shares.")]
pub struct SharesArguments {
    #[command(flatten)]
    asking: Asking,
    /// A piece, by its serial or its pour number.
    piece: String,
}

/// Of which lot or melt.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  pourbook recall ./book 3
  pourbook recall ./book --melt 12 --json

Everything that holds metal of a lot, or that came from a melt: pieces, heels, jars, losses, the refiner; with the share and
the mass of it. A share above zero says that metal of it may be in there, by the model that every melt is well mixed.
Exit code: 0 told; 1 there is no such lot or melt; 2 the book cannot be read.
With --json: the members of GET /v1/lots/{lot}/recall, all of them on one page.")]
pub struct RecallArguments {
    #[command(flatten)]
    asking: Asking,
    /// A lot, by its number in the workshop.
    #[arg(required_unless_present = "melt")]
    lot: Option<u32>,
    /// A melt instead, by its number in the workshop.
    #[arg(long, value_name = "NUMBER", conflicts_with = "lot")]
    melt: Option<u32>,
}

/// By which assays.
#[derive(Debug, Args)]
#[command(after_help = "Example:
  pourbook suspects ./book --assay-uncertainty 0.5

Which lots may be behind an assay that contradicts what was declared: a suspicion, not a fact.
Exit code: 0 told, also when nothing contradicts; 2 the book cannot be read.
With --json: the members of GET /v1/lots/suspects.")]
pub struct SuspectsArguments {
    #[command(flatten)]
    asking: Asking,
    /// Expanded uncertainty (k = 2) that the assay office states, parts per thousand; a table's without it.
    #[arg(long, value_name = "PARTS", value_parser = Fineness::parse)]
    assay_uncertainty: Option<Fineness>,
}

pub(super) fn shares(arguments: &SharesArguments) -> Result<String, Failure> {
    arguments.asking.ask(|reckoning| {
        let piece = named(reckoning, &arguments.piece)?;
        let told = reckoning.shares_of_piece(piece);
        let told = told.ok_or_else(|| Failure::unusable("the melt of the piece has no shares"))?;
        Ok(if arguments.asking.json {
            as_of_json(reckoning, &told)
        } else {
            describe_shares(&told)
        })
    })
}

fn named<'a>(reckoning: &'a Reckoning, typed: &str) -> Result<&'a Piece, Failure> {
    let serial = Serial::parse_typed(typed).ok();
    let is = |piece: &&Piece| piece.pour == typed || (serial.is_some() && piece.serial == serial);
    let found = reckoning.book().pieces().find(is);
    found.ok_or_else(|| Failure::refused(format!("no piece of this book is {typed}")))
}

fn describe_shares(piece: &PieceShares) -> String {
    let serial = piece.serial.as_ref();
    let serial = serial.map_or_else(String::new, |serial| format!("{serial}  "));
    let told = &piece.shares;
    let mut text = format!("{serial}pour {}  {} g\n", piece.pour, told.mass);
    for lot in &told.lots {
        let (number, fineness, grams) = (lot.number, lot.fineness, &lot.mass.grams);
        let outturn = if lot.outturn_of.is_some() {
            " (outturn)"
        } else {
            ""
        };
        let share = short(&lot.share);
        // Writing to a text does not fail.
        let _ = writeln!(
            text,
            "{grams:>12} g  lot {number} at {fineness}{outturn}  {share}"
        );
    }
    for origin in told.origins.iter().flatten() {
        let from = if origin.lot.is_some() {
            "lot"
        } else {
            "found by refining"
        };
        let (number, grams, share) = (origin.number, &origin.mass.grams, short(&origin.share));
        let _ = writeln!(
            text,
            "{grams:>12} g  of {from} {number}, looked through outturns  {share}"
        );
    }
    let _ = writeln!(text, "{:>12} g  fine, as declared", told.fine.grams);
    let _ = writeln!(text, "{:>12} g  not traced", told.untraced.mass.grams);
    let _ = writeln!(text, "Model: {MODEL}.");
    text
}

/// A fraction that fits a line; a longer one stands in the JSON.
fn short(fraction: &str) -> &str {
    if fraction.len() <= 48 {
        fraction
    } else {
        "(a long fraction: see --json)"
    }
}

pub(super) fn recall(arguments: &RecallArguments) -> Result<String, Failure> {
    arguments.asking.ask(|reckoning| {
        let book = reckoning.book();
        let lot = arguments
            .lot
            .and_then(|number| book.lots().find(|lot| lot.number == number));
        let melt = arguments
            .melt
            .and_then(|number| book.melts().find(|melt| melt.number == number));
        let (source, name, id, number) = match (lot, melt) {
            (Some(lot), _) => (Source::Lot(lot.lot), "lot", json!(lot.lot), lot.number),
            (None, Some(melt)) => (Source::Melt(melt.melt), "melt", json!(melt.melt), melt.number),
            (None, None) => return Err(Failure::refused("there is no lot or melt of that number")),
        };
        let told = reckoning.recall(source);
        let told = told.ok_or_else(|| Failure::unusable("it is not there"))?;
        if !arguments.asking.json {
            return Ok(describe_recall(&format!("{name} {number}"), &told));
        }
        let body = json!({
            name: id, "number": number, "all": told.all, "untraced": told.untraced, "count": told.held.len(),
            "held": told.held,
        });
        Ok(as_of_json(reckoning, &body))
    })
}

fn describe_recall(name: &str, told: &RecallTold) -> String {
    let mut text = format!("{name}: {} g in {} places\n", told.all.grams, told.held.len());
    for held in &told.held {
        let _ = writeln!(
            text,
            "{:>14} g of {:>12} g  {}",
            held.mass.grams,
            held.whole,
            where_it_is(held)
        );
    }
    let _ = writeln!(text, "{:>14} g not traced", told.untraced.grams);
    let _ = writeln!(text, "Model: {MODEL}.");
    text
}

/// A holder in the words of the workshop.
fn where_it_is(held: &HeldTold) -> String {
    let Value::Object(place) = json!(held.place) else {
        return String::new();
    };
    let word = |name: &str| {
        place
            .get(name)
            .and_then(Value::as_str)
            .unwrap_or_default()
            .replace('_', " ")
    };
    let mut text = word("place");
    if let Some(pour) = &held.pour {
        let _ = write!(text, " {pour}");
    }
    if let Some(serial) = &held.serial {
        let _ = write!(text, " {serial}");
    }
    if let Some(number) = held.number {
        let _ = write!(text, " {number}");
    }
    if place.contains_key("state") {
        let _ = write!(text, ", {}", word("state"));
    }
    if held.sale.is_some() {
        text.push_str(", in a sale");
    }
    text
}

pub(super) fn suspects(arguments: &SuspectsArguments) -> Result<String, Failure> {
    arguments.asking.ask(|reckoning| {
        let told = reckoning.suspects(arguments.assay_uncertainty);
        if arguments.asking.json {
            return Ok(as_of_json(reckoning, &json!({"metals": told})));
        }
        Ok(told.iter().map(describe_suspicion).collect())
    })
}

fn describe_suspicion(told: &SuspicionTold) -> String {
    let against = told.assays.iter().filter(|assay| assay.contradicts).count();
    let mut text = format!(
        "{}: {} assays, {against} contradict what was declared (uncertainty {} at k = 2)\n",
        told.metal.word(),
        told.assays.len(),
        told.assay_uncertainty
    );
    for lot in &told.lots {
        let needed = lot.needed.as_deref().unwrap_or("below zero");
        let most = if lot.at_most { "at most " } else { "" };
        let spread = lot
            .uncertainty
            .as_ref()
            .map_or_else(String::new, |spread| format!(" +-{spread}"));
        let so = match (lot.suspected, lot.possible, lot.explains) {
            (true, ..) => "suspected",
            (false, false, _) => "not suspected: that cannot be",
            (false, true, false) => "not suspected: it does not explain all",
            (false, true, true) => "not suspected: another melt speaks for it",
        };
        let _ = writeln!(
            text,
            "  lot {} at {}: alone it would need {most}{needed}{spread}; {so}",
            lot.number, lot.declared
        );
    }
    if against > 0 {
        let _ = writeln!(text, "{}", told.note);
    }
    text
}
