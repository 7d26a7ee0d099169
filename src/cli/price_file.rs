//! A file of spot prices, as CSV or JSON: bytes in, commands out. Nothing of it is taken unless all of it can be read.

use crate::domain::{RecordSpot, instant};
use crate::metal::{Amount, Metal};

/// The most prices of one file.
pub const PRICES_MAX: usize = 1_000;
/// The first line of a file of prices as CSV.
pub const HEADER: &str = "metal,amount,currency,priced_at,source";

/// Reads a file of prices.
///
/// # Errors
/// What is wrong, with its line where there is one.
pub fn read(bytes: &[u8]) -> Result<Vec<RecordSpot>, String> {
    let text = std::str::from_utf8(bytes).map_err(|error| error.to_string())?;
    let commands: Vec<RecordSpot> = if text.trim_start().starts_with('[') {
        serde_json::from_str(text).map_err(|error| error.to_string())?
    } else {
        let mut lines = text.lines().zip(1_usize..);
        match lines.next() {
            Some((header, _)) if header.trim() == HEADER => {}
            _ => return Err(format!("the first line must be {HEADER}")),
        }
        let rows = lines.filter(|(line, _)| !line.trim().is_empty());
        let read = rows.map(|(line, place)| row(line).map_err(|why| format!("line {place}: {why}")));
        read.collect::<Result<_, _>>()?
    };
    match commands.len() {
        0 => Err("there is no price in it".to_owned()),
        1..=PRICES_MAX => Ok(commands),
        count => Err(format!("{count} prices are in it, {PRICES_MAX} at most")),
    }
}

/// One line of a file of prices.
fn row(line: &str) -> Result<RecordSpot, String> {
    if line.contains('"') {
        return Err("has quotes: write it without".to_owned());
    }
    let fields: Vec<&str> = line.split(',').map(str::trim).collect();
    let [metal, amount, currency, priced_at, source] = fields.as_slice() else {
        return Err(format!("has {} fields, five are needed: {HEADER}", fields.len()));
    };
    let metal: Metal = metal.parse()?;
    let Amount(price) = format!("{amount} {currency}")
        .parse()
        .map_err(|error| format!("{error}"))?;
    Ok(RecordSpot {
        metal,
        price,
        priced_at: instant::read(priced_at)?,
        source: (!source.is_empty()).then(|| (*source).to_owned()),
        note: None,
    })
}
