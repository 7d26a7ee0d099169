//! The packing list of a consignment: what was packed, and room to note what came back.
//!
//! It is for the workshop and the office that opens the packet. Deliberately absent: any form of a carrier or of customs, and
//! tables as a reader of PDF knows them: a row is a paragraph.

use super::PrintError;
use super::pdf::{self, About};
use super::setting::{Face, Style, fitted, line, paragraph};
use super::sheet::{A4_WIDTH, Ink, Length, Mark, Role, Sheet, centred, rule, tenths_mm};
use super::words;
use crate::domain::{MarkKind, Shape, Timestamp};
use crate::metal::{Fineness, Mass, OUNCE_DECIMALS, Rounding, troy_ounces};

/// Air at the left and right.
const MARGIN: Length = tenths_mm(180);
const MEASURE: Length = A4_WIDTH - 2 * MARGIN;
const CENTRE: Length = A4_WIDTH / 2;
/// Where the values of the facts begin.
const VALUES: Length = MARGIN + tenths_mm(320);
/// Where the facts must have ended, so that there is room for a table.
const FACTS_END: Length = 560_000;
/// From one row of the table to the next.
const ROW: Length = 20_000;
/// No row stands lower, so that the sum and the caution always fit below the last one.
const ROWS_END: Length = 680_000;
/// Where the page number stands.
const FOOT: Length = 812_000;
/// Columns of what was packed.
const SERIAL: Length = MARGIN + tenths_mm(100);
const SHAPE: Length = MARGIN + tenths_mm(420);
/// Where weights end.
const WEIGHT: Length = MARGIN + tenths_mm(930);
/// Columns of what came back: where each begins, and what it is called.
const BACK: [(Length, &str); 5] = [
    (MARGIN + tenths_mm(960), "marked"),
    (MARGIN + tenths_mm(1090), "unmarked"),
    (MARGIN + tenths_mm(1220), "kept or cut"),
    (MARGIN + tenths_mm(1370), "missing"),
    (MARGIN + tenths_mm(1500), "weight back, g"),
];
const TEXT: Style = Style::new(Face::Roman, 10_500);
const SMALL: Style = Style::new(Face::Italic, 8_600);
const LABEL: Style = Style::new(Face::Roman, 9_000).capitals(70);
const CAUTION: &str = "This list says what was packed and what is asked for. It is no customs, carrier or insurance document: for \
    those, and for how such a packet may be sent, follow local rules and ask the office and the carrier. Whoever opens the packet \
    counts and weighs the pieces first.";

/// One piece of it.
#[derive(Clone, Debug)]
pub struct PackedPiece {
    /// Its serial, or its pour number while it has none.
    pub name: String,
    /// Its shape.
    pub shape: Shape,
    /// Its declared weight, the last reading before it was sent, grams.
    pub mass: Mass,
}

/// What a packing list is printed from.
#[derive(Clone, Debug)]
pub struct PackingList {
    /// Number of the consignment.
    pub number: u32,
    /// Who sent it.
    pub maker: String,
    /// When it was sent.
    pub at: Timestamp,
    /// To which office, if that was said.
    pub office: Option<String>,
    /// The seal on the packet, if that was said.
    pub seal: Option<String>,
    /// The fineness claimed, parts per thousand.
    pub fineness: Fineness,
    /// The marks asked for.
    pub marks: Vec<MarkKind>,
    /// The pieces.
    pub pieces: Vec<PackedPiece>,
    /// Sum of the declared weights, grams.
    pub mass: Mass,
}

/// Prints a packing list as PDF of A4.
///
/// # Errors
/// [`PrintError`].
pub fn packing_list(list: &PackingList) -> Result<Vec<u8>, PrintError> {
    let name = format!("Consignment № {}", list.number);
    let mut sheets = Vec::new();
    let mut sheet = Sheet::a4(Some(name.clone()));
    let mut y = head(list, &name, &mut sheet)?;
    y = columns(y, &mut sheet)?;
    for (place, piece) in list.pieces.iter().enumerate() {
        if y > ROWS_END {
            sheets.push(sheet);
            sheet = Sheet::a4(None);
            let text = fitted(&format!("{name}, continued"), SMALL, MEASURE)?;
            sheet.add(Role::Paragraph, vec![centred(CENTRE, text, 50_000, Ink::Black)]);
            y = columns(70_000, &mut sheet)?;
        }
        y = row(place.saturating_add(1), piece, y, &mut sheet)?;
    }
    close(list, y, &mut sheet)?;
    sheets.push(sheet);
    let count = sheets.len();
    for (place, sheet) in sheets.iter_mut().enumerate() {
        let says = line(&format!("{} of {count}", place.saturating_add(1)), SMALL)?;
        sheet.add(Role::Paragraph, vec![centred(CENTRE, says, FOOT, Ink::Grey)]);
    }
    let about = About {
        title: format!("Packing list of consignment {}", list.number),
        author: list.maker.clone(),
        subject: "What was packed for the assay office".to_owned(),
        at: list.at,
    };
    pdf::write(&sheets, Vec::new(), &about)
}

/// The head of the first page; where the table may begin.
fn head(list: &PackingList, name: &str, sheet: &mut Sheet) -> Result<Length, PrintError> {
    let maker = fitted(
        &list.maker,
        Style::new(Face::Roman, 12_000).capitals(120),
        MEASURE,
    )?;
    sheet.add(Role::Paragraph, vec![centred(CENTRE, maker, 58_000, Ink::Black)]);
    sheet.add(Role::Ornament, rule(CENTRE, 69_000, 120_000, true));
    let what = line("Packing list for the assay office", SMALL.sized(12_000))?;
    sheet.add(Role::Paragraph, vec![centred(CENTRE, what, 90_000, Ink::Black)]);
    let name = line(name, Style::new(Face::Roman, 24_000))?;
    sheet.add(Role::Heading(1), vec![centred(CENTRE, name, 118_000, Ink::Black)]);
    let mut y = 150_000;
    for (label, value) in facts(list) {
        let mut marks = vec![text(MARGIN, y, line(&format!("{label} "), LABEL)?, Ink::Grey)];
        for set in paragraph(&value, TEXT, MARGIN + MEASURE - VALUES)? {
            marks.push(text(VALUES, y, set, Ink::Black));
            y += 13_500;
        }
        sheet.add(Role::Paragraph, marks);
        y += 2_500;
        if y > FACTS_END {
            return Err(PrintError::TooLong { text: value });
        }
    }
    Ok(y + 6_000)
}

fn facts(list: &PackingList) -> Vec<(&'static str, String)> {
    let count = match list.pieces.len() {
        1 => "1 piece".to_owned(),
        count => format!("{count} pieces"),
    };
    let marks: Vec<String> = list
        .marks
        .iter()
        .map(|mark| words::mark(*mark, &list.fineness))
        .collect();
    let mut facts = vec![("Sent", format!("{} (UTC)", words::day(list.at)))];
    facts.extend(list.office.clone().map(|office| ("To", office)));
    facts.extend(list.seal.clone().map(|seal| ("Seal", seal)));
    facts.extend([
        ("Declared", format!("{count}, {}", weight(list.mass))),
        ("Fineness", format!("{} parts per thousand", list.fineness)),
        ("Marks asked for", marks.join(", ")),
    ]);
    facts
}

fn weight(mass: Mass) -> String {
    let ounces = troy_ounces(mass, OUNCE_DECIMALS, Rounding::HalfUp);
    format!("{mass} g ({ounces} ozt)")
}

fn text(x: Length, y: Length, line: super::setting::Line, ink: Ink) -> Mark {
    Mark::Text { x, y, line, ink }
}

fn bar(x: Length, y: Length, width: Length, height: Length) -> Mark {
    let ink = Ink::Grey;
    Mark::Bar {
        x,
        y,
        width,
        height,
        ink,
    }
}

/// What the columns are called; where the first row begins.
fn columns(y: Length, sheet: &mut Sheet) -> Result<Length, PrintError> {
    let base = y + 10_000;
    let weight = line("weight, g", SMALL)?;
    let mut marks = vec![
        text(MARGIN, base, line("№ ", SMALL)?, Ink::Grey),
        text(SERIAL, base, line("serial or pour ", SMALL)?, Ink::Grey),
        text(SHAPE, base, line("shape ", SMALL)?, Ink::Grey),
        text(WEIGHT - weight.width, base, weight, Ink::Grey),
    ];
    for (x, name) in BACK {
        marks.push(text(
            x + 2_500,
            base,
            line(&format!("{name} "), SMALL.sized(7_200))?,
            Ink::Grey,
        ));
    }
    sheet.add(Role::Paragraph, marks);
    let y = y + 15_000;
    sheet.add(Role::Ornament, vec![bar(MARGIN, y, MEASURE, 600)]);
    Ok(y)
}

/// One row; where the next begins.
fn row(place: usize, piece: &PackedPiece, y: Length, sheet: &mut Sheet) -> Result<Length, PrintError> {
    let base = y + 13_500;
    let name = fitted(
        &format!("{} ", piece.name),
        Style::new(Face::Mono, 9_500),
        SHAPE - SERIAL - 4_000,
    )?;
    let shape = fitted(
        &format!("{} ", words::shape(piece.shape.as_str())),
        TEXT,
        tenths_mm(300),
    )?;
    let mass = line(&piece.mass.to_string(), TEXT)?;
    let marks = vec![
        text(MARGIN, base, line(&format!("{place} "), TEXT)?, Ink::Grey),
        text(SERIAL, base, name, Ink::Black),
        text(SHAPE, base, shape, Ink::Black),
        text(WEIGHT - mass.width, base, mass, Ink::Black),
    ];
    sheet.add(Role::Paragraph, marks);
    let mut rules = vec![bar(MARGIN, y + ROW, MEASURE, 250)];
    rules.extend(BACK.map(|(x, _)| bar(x, y, 250, ROW)));
    rules.push(bar(MARGIN + MEASURE, y, 250, ROW));
    sheet.add(Role::Ornament, rules);
    Ok(y + ROW)
}

/// The sum, room to sign, and the caution.
fn close(list: &PackingList, y: Length, sheet: &mut Sheet) -> Result<(), PrintError> {
    let base = y + 17_000;
    let sum = format!("Total {} pc, {}", list.pieces.len(), weight(list.mass));
    let sum = fitted(&sum, TEXT.sized(11_500), MEASURE)?;
    sheet.add(Role::Paragraph, vec![text(MARGIN, base, sum, Ink::Black)]);
    let wide = tenths_mm(780);
    let mut signed = Vec::new();
    for (x, says) in [
        (MARGIN, "packed and sealed by, on "),
        (MARGIN + MEASURE - wide, "opened and counted by, on"),
    ] {
        sheet.add(Role::Ornament, vec![bar(x, base + 33_000, wide, 300)]);
        signed.push(text(x, base + 43_000, line(says, SMALL)?, Ink::Grey));
    }
    sheet.add(Role::Paragraph, signed);
    let mut marks = Vec::new();
    let mut y = base + 62_000;
    for set in paragraph(CAUTION, SMALL, MEASURE)? {
        marks.push(text(MARGIN, y, set, Ink::Black));
        y += 10_800;
    }
    sheet.add(Role::Paragraph, marks);
    Ok(())
}
