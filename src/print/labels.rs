//! Sheets of labels for capsules: each says which piece is in it, with a QR code that leads to its page.
//!
//! Nothing stands on a label that the page of the piece does not show to everybody. Labels are recorded nowhere, so they need
//! no version of a template.

use super::PrintError;
use super::pdf::{self, About};
use super::qr::{address_code, code};
use super::setting::{Face, Line, Style, fitted};
use super::sheet::{A4_HEIGHT, A4_WIDTH, Ink, Length, Mark, Role, Sheet, tenths_mm};
use super::words;
use crate::domain::{Serial, Shape, Timestamp, WeightUnit};
use crate::metal::{OUNCE_DECIMALS, Reading, Rounding, troy_ounces};

/// Labels on a sheet, side by side and one below the other. The sheet of 3 by 8 labels of 63.5 by 33.9 mm on A4 is common
/// practice, no source; so is the gap of 2.5 mm between columns.
const COLUMNS: i32 = 3;
const ROWS: i32 = 8;
const WIDTH: Length = tenths_mm(635);
const HEIGHT: Length = tenths_mm(339);
const GAP: Length = tenths_mm(25);
/// Where the first label begins: what is left of the paper is shared.
const LEFT: Length = (A4_WIDTH - COLUMNS * WIDTH - (COLUMNS - 1) * GAP) / 2;
const TOP: Length = (A4_HEIGHT - ROWS * HEIGHT) / 2;
/// Places on a sheet.
pub const PLACES: usize = 24;
/// The most places that are filled or left free at once: eight sheets.
pub const LABELS_MAX: usize = 192;

/// Air inside a label: printers and die cuts are off by a millimetre or two.
const AIR: Length = tenths_mm(40);
/// How wide the QR code is. A code with a thumbprint in it is of version 4 (33 modules) or more, so that its quiet zone of four
/// modules is less than the air beside it.
const CODE: Length = tenths_mm(240);
const CODE_X: Length = WIDTH - CODE - tenths_mm(35);
/// How wide what stands beside the code may be.
const MEASURE: Length = CODE_X - AIR - tenths_mm(35);

/// What one label says.
#[derive(Clone, Debug)]
pub struct Label {
    /// The serial.
    pub serial: Serial,
    /// The shape.
    pub shape: Shape,
    /// Its edition number and how many of its shape there are, if it has one.
    pub number: Option<(u32, u32)>,
    /// The weight of record, grams, if it is certified.
    pub weight: Option<Reading>,
}

/// What sheets of labels are printed from.
#[derive(Clone, Debug)]
pub struct Labels {
    /// What the series is called, if it is.
    pub title: Option<String>,
    /// The code of the series: it stands where there is no title, or none that can be set.
    pub code: String,
    /// The unit that comes first.
    pub unit: WeightUnit,
    /// Whose pieces they are.
    pub maker: String,
    /// Where the book is reached, like `https://book.example`.
    pub address: String,
    /// Thumbprint of the root key.
    pub thumbprint: String,
    /// When the newest of what they say was recorded.
    pub at: Timestamp,
    /// How many places of the first sheet stay free.
    pub skip: usize,
    /// The labels, in the order of their places: along rows.
    pub labels: Vec<Label>,
}

/// Prints labels as one PDF of A4.
///
/// # Errors
/// [`PrintError`].
pub fn labels(all: &Labels) -> Result<Vec<u8>, PrintError> {
    let name = series_name(all)?;
    let places = (0..ROWS).flat_map(|row| (0..COLUMNS).map(move |column| (column, row)));
    let mut sheets: Vec<Sheet> = Vec::new();
    for (label, place) in all.labels.iter().zip(places.cycle().skip(all.skip)) {
        if sheets.is_empty() || place == (0, 0) {
            sheets.push(Sheet::a4(Some(format!("from {}", label.serial))));
        }
        let corner = (LEFT + place.0 * (WIDTH + GAP), TOP + place.1 * HEIGHT);
        if let Some(sheet) = sheets.last_mut() {
            lay_out(all, label, &name, corner, sheet)?;
        }
    }
    let first = all.labels.first().map(|label| label.serial.to_string());
    let about = About {
        title: format!(
            "Labels of series {}, from {}",
            all.code,
            first.unwrap_or_default()
        ),
        author: all.maker.clone(),
        subject: "Labels that name pieces and lead to their pages".to_owned(),
        at: all.at,
    };
    pdf::write(&sheets, Vec::new(), &about)
}

/// The name of the series as it is set. A title that does not fit a label, or for which there is no type, gives way to the code.
fn series_name(all: &Labels) -> Result<Line, PrintError> {
    let style = Style::new(Face::Roman, 8_600).capitals(70);
    let title = all.title.as_ref().map(|title| fitted(title, style, MEASURE));
    match title {
        Some(Ok(title)) => Ok(title),
        _ => fitted(&format!("Series {}", all.code), style, MEASURE),
    }
}

fn lay_out(
    all: &Labels,
    label: &Label,
    name: &Line,
    corner: (Length, Length),
    sheet: &mut Sheet,
) -> Result<(), PrintError> {
    let (x, top) = (corner.0 + AIR, corner.1 + AIR);
    let text = |line, y, ink| Mark::Text {
        x,
        y: top + y,
        line,
        ink,
    };
    sheet.add(Role::Paragraph, vec![text(name.clone(), 10_500, Ink::Grey)]);
    let rule = Mark::Bar {
        x,
        y: top + 15_500,
        width: MEASURE,
        height: 350,
        ink: Ink::Grey,
    };
    sheet.add(Role::Ornament, vec![rule]);
    let serial = fitted(&label.serial.to_string(), Style::new(Face::Mono, 13_000), MEASURE)?;
    sheet.add(Role::Paragraph, vec![text(serial, 29_500, Ink::Black)]);
    let shape = words::shape(label.shape.as_str());
    let place = match label.number {
        Some((number, of)) => format!("{shape}, № {number} of {of}"),
        None => shape,
    };
    let place = fitted(&place, Style::new(Face::Roman, 9_500), MEASURE)?;
    sheet.add(Role::Paragraph, vec![text(place, 42_500, Ink::Red)]);
    if let Some(weight) = &label.weight {
        let ounces = troy_ounces(weight.mass(), OUNCE_DECIMALS, Rounding::HalfUp);
        let (first, second) = match all.unit {
            WeightUnit::Gram => (format!("{weight} g"), format!("{ounces} ozt")),
            WeightUnit::TroyOunce => (format!("{ounces} ozt"), format!("{weight} g")),
        };
        let first = fitted(&first, Style::new(Face::Roman, 13_000), MEASURE)?;
        let second = fitted(&second, Style::new(Face::Italic, 8_600), MEASURE)?;
        sheet.add(Role::Paragraph, vec![text(first, 58_000, Ink::Black)]);
        sheet.add(Role::Paragraph, vec![text(second, 68_500, Ink::Black)]);
    }
    let (page, fragment) = address_code(&all.address, &label.serial.to_string(), Some(&all.thumbprint));
    let at = (corner.0 + CODE_X, corner.1 + (HEIGHT - CODE) / 2);
    let drawn = code(&page, &fragment, at.0, at.1, CODE)?;
    let says = format!("QR code of the address {page}{fragment}");
    sheet.add(Role::Figure(says), vec![drawn]);
    Ok(())
}
