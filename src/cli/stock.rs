//! `stock` and `spot`: what the stock is worth, and the spot prices that it is valued at.

use super::arguments::{book_folder, json};
use super::asking::{Asking, as_of_json, as_of_text};
use super::erase::not_opened;
use super::{Failure, price_file};
use crate::accounts::Reckoning;
use crate::accounts::costs::Prices;
use crate::accounts::holders::Place;
use crate::accounts::stock::{Stock, Value};
use crate::domain::{Book, Draw, Event, LotId, OperatorId, PrivateValue, RecordSpot, Timestamp, instant};
use crate::log::{Files, RealFiles, Store, VaultKind};
use crate::metal::{Amount, Metal, Percent};
use crate::node::{BookReader, chance, clock, open_desk};
use crate::record;
use crate::writer::{Ask, Submission};
use clap::Args;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use uuid::Uuid;

/// Not below zero.
fn making(text: &str) -> Result<Percent, String> {
    let percent: Percent = text.parse().map_err(|error| format!("{error}"))?;
    if percent < Percent::ZERO {
        return Err("is negative: a charge for making is never below zero".into());
    }
    Ok(percent)
}

/// Whose stock.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  pourbook stock ./book
  pourbook stock ./book --at 2026-06-30 --making 40 --json

What the workshop's own metal and pieces are worth: at cost by the prices of the lots, at the newest spot price that was
recorded, and for the insurer the greater of the two and the charge for making on pieces. What is not known is said, and is
never zero. Ask the insurer on which basis stock is covered.
Exit code: 0 told; 2 the book cannot be read.
With --json: the members of GET /v1/stock-value.")]
pub struct StockArguments {
    #[command(flatten)]
    asking: Asking,
    /// The charge for making on pieces, per cent, for the insurer.
    #[arg(long, value_name = "PERCENT", value_parser = making, default_value = "0")]
    making: Percent,
}

pub(super) fn stock(arguments: &StockArguments) -> Result<String, Failure> {
    let reader = BookReader::open(&arguments.asking.folder()?).map_err(Failure::unusable)?;
    arguments.asking.ask(|reckoning| {
        let prices = |lots: &[LotId]| prices(&reader, reckoning.book(), lots);
        let stock = Stock::of(reckoning, arguments.making, prices)?;
        Ok(if arguments.asking.json {
            as_of_json(reckoning, &stock)
        } else {
            describe(reckoning, &stock)
        })
    })
}

/// What lots cost, as far as the vault knows.
fn prices(reader: &BookReader, book: &Book, lots: &[LotId]) -> Result<Prices, Failure> {
    let mut prices = Prices::new();
    for lot in lots {
        let Some(row) = book.lot(*lot) else { continue };
        let Some(bytes) = reader.store().read(row.since).map_err(Failure::unusable)? else {
            continue;
        };
        let entry = record::read(&bytes).map_err(Failure::unusable)?;
        for kept in reader.store().private(row.since).map_err(Failure::unusable)? {
            let VaultKind::Disclosure { event, member } = &kept.kind else {
                continue;
            };
            let of_lot = matches!(entry.events().nth(usize::from(*event)), Some(Event::LotReceived(e)) if e.lot == *lot);
            // What was erased is empty.
            if !of_lot || member != "price" || kept.body.is_empty() {
                continue;
            }
            let text = std::str::from_utf8(&kept.body).map_err(Failure::unusable)?;
            let told = record::disclose(&entry, &[text]).map_err(Failure::unusable)?;
            if let Some(PrivateValue::Money(price)) = told.first().map(|told| &told.value) {
                prices.insert(*lot, *price);
            }
        }
    }
    Ok(prices)
}

/// A value in words.
fn words(value: &Value) -> String {
    let amounts: Vec<String> = value.amounts.iter().map(ToString::to_string).collect();
    match (value.known, amounts.is_empty()) {
        (true, true) => "0".to_owned(),
        (true, false) => amounts.join(" + "),
        (false, true) => "not known".to_owned(),
        (false, false) => format!("not known ({} of it is)", amounts.join(" + ")),
    }
}

fn name(book: &Book, place: &Place) -> String {
    match place {
        Place::Unmelted { lot } => book.lot(*lot).map(|row| format!("lot {}", row.number)),
        Place::Heel { melt } => book.melt(*melt).map(|row| format!("heel of melt {}", row.number)),
        Place::Crucible { melt } => book
            .melt(*melt)
            .map(|row| format!("crucible of melt {}", row.number)),
        Place::Jar { jar } => book.jar(*jar).map(|row| format!("jar of {}", row.residue)),
        Place::Piece { piece, state } => book
            .piece(*piece)
            .map(|row| format!("piece {}, {state}", row.pour)),
        Place::AtRefiner { refining } => book
            .refining(*refining)
            .map(|row| format!("refining {}", row.number)),
        _ => None,
    }
    .unwrap_or_default()
}

fn describe(reckoning: &Reckoning, stock: &Stock) -> String {
    let mut text = format!("Stock, {}\n", as_of_text(reckoning));
    for used in &stock.spots {
        let (days, at) = (used.age_seconds / 86_400, instant::write(used.priced_at));
        let _ = writeln!(
            text,
            "spot of {}: {} at {at}, {days} days before the last entry",
            used.metal, used.price
        );
    }
    let _ = writeln!(
        text,
        "{:<28} {:>14}  {:<26} {:<26} insurer",
        "", "fine g", "cost", "spot"
    );
    for line in &stock.lines {
        let name = name(reckoning.book(), &line.place);
        let (cost, spot, insurer) = (words(&line.cost), words(&line.spot), words(&line.insurer));
        let _ = writeln!(
            text,
            "{name:<28} {:>14}  {cost:<26} {spot:<26} {insurer}",
            line.fine
        );
    }
    let (cost, spot, insurer) = (words(&stock.cost), words(&stock.spot), words(&stock.insurer));
    let _ = writeln!(
        text,
        "{:<28} {:>14}  {cost:<26} {spot:<26} {insurer}",
        "in all", ""
    );
    let _ = writeln!(text, "{}", stock.rule);
    text
}

/// What is noted.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  pourbook spot ./book --metal silver --price \"24.51 GBP\" --priced-at 2026-03-14T09:00:00Z --source \"the trade letter\"
  pourbook spot ./book --import prices.csv

A file of prices is CSV with the first line metal,amount,currency,priced_at,source (no quotes, no commas within), or a JSON array
of objects as POST /v1/spots takes them; at most 1000. Nothing is recorded unless all of it can be read. The server must be
stopped; on a served book use POST /v1/spots.
Exit code: 0 all recorded; 1 the book refuses one (the others are recorded), or a server has it open; 2 it cannot be read.
With --json: [{\"index\": of the entry} or {\"refused\": why}], one for each price.")]
pub struct SpotArguments {
    /// The book.
    dir: PathBuf,
    /// A file of prices instead of one that is typed.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["metal", "price", "priced_at", "source"], required_unless_present = "metal")]
    import: Option<PathBuf>,
    /// Silver, gold, platinum or palladium.
    #[arg(long, requires = "price")]
    metal: Option<Metal>,
    /// Of a troy ounce, with its currency.
    #[arg(long, value_name = "AMOUNT", requires = "priced_at")]
    price: Option<Amount>,
    /// When it was the price, RFC 3339.
    #[arg(long, value_name = "TIME", value_parser = time)]
    priced_at: Option<Timestamp>,
    /// Where it was read; private.
    #[arg(long)]
    source: Option<String>,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

fn time(text: &str) -> Result<Timestamp, &'static str> {
    instant::read(text)
}

pub(super) fn spot(arguments: &SpotArguments) -> Result<(String, u8), Failure> {
    let folder = book_folder(&arguments.dir)?;
    let commands = commands(arguments)?;
    let mut desk = open_desk(&folder).map_err(not_opened)?;
    let mut draw = Draw::new(chance::bytes());
    let submissions = commands.into_iter().map(|command| Submission {
        request: draw.uuid(),
        by: OperatorId(Uuid::nil()),
        at: None,
        expected: Vec::new(),
        ask: Ask::Command(command.into()),
    });
    let outcomes = desk.turn(clock::now(), chance::bytes(), submissions.collect());
    let outcomes = outcomes.map_err(Failure::unusable)?;
    desk.release().map_err(Failure::unusable)?;
    let code = u8::from(outcomes.iter().any(Result::is_err));
    if arguments.json {
        let told = outcomes.iter().map(|outcome| match outcome {
            Ok(recorded) => serde_json::json!({"index": recorded.index}),
            Err(error) => serde_json::json!({"refused": error.to_string()}),
        });
        return Ok((json(&told.collect::<Vec<_>>()), code));
    }
    let lines = outcomes
        .iter()
        .zip(1_usize..)
        .map(|(outcome, place)| match outcome {
            Ok(recorded) => format!("price {place}: recorded as entry {}\n", recorded.index),
            Err(error) => format!("price {place}: refused: {error}\n"),
        });
    Ok((lines.collect(), code))
}

fn commands(arguments: &SpotArguments) -> Result<Vec<RecordSpot>, Failure> {
    if let Some(path) = &arguments.import {
        return read_file(path);
    }
    let (Some(metal), Some(Amount(price)), Some(priced_at)) =
        (arguments.metal, arguments.price, arguments.priced_at)
    else {
        return Err(Failure::unusable("--metal, --price and --priced-at go together"));
    };
    Ok(vec![RecordSpot {
        metal,
        price,
        priced_at,
        source: arguments.source.clone(),
        note: None,
    }])
}

fn read_file(path: &Path) -> Result<Vec<RecordSpot>, Failure> {
    let unusable = |why: String| Failure::unusable(format!("{}: {why}", path.display()));
    let bytes = RealFiles
        .read_whole(path)
        .map_err(|error| unusable(error.to_string()))?;
    price_file::read(&bytes).map_err(unusable)
}
