//! The certificate: two sides of A6 or A5, made to be framed with the back to the wall.
//!
//! The front says what the maker states, the back how to check it; the code of the certificate stands on the back, so that
//! a framed one does not show it. A5 is the same drawn larger. What a template sets never changes (see `TEMPLATE`).

mod back;
mod front;

use super::PrintError;
use super::pdf::{self, About, Attachment};
use super::setting::{Face, Line, Style};
use super::sheet::{Ink, Length, Mark, Sheet, tenths_mm};
use crate::check::Stated;
use crate::domain::Paper;

/// The version of the template by which is printed now. What an older one made can be made again only while its own code
/// stands here: a new look is a new version beside it.
pub const TEMPLATE: u32 = 1;

/// Width of A6 (ISO 216), for which everything is laid out.
const WIDTH: Length = tenths_mm(1050);
/// Height of A6.
const HEIGHT: Length = tenths_mm(1480);
/// The middle of a side.
const CENTRE: Length = WIDTH / 2;
/// Air at the left and right of what is set.
const MARGIN: Length = tenths_mm(117);
/// How wide what is set may be.
const MEASURE: Length = WIDTH - 2 * MARGIN;

/// What one certificate is printed from.
#[derive(Clone, Debug)]
pub struct Certificate {
    /// What the checked proof file says that it states.
    pub stated: Stated,
    /// What the series is called, if it is.
    pub title: Option<String>,
    /// The code of the certificate.
    pub code: String,
    /// Whose certificate it is.
    pub maker: String,
    /// Where the book is reached, like `https://book.example`.
    pub address: String,
    /// The log.
    pub origin: String,
    /// Thumbprint of the root key.
    pub thumbprint: String,
    /// Size of the log that the proof file is as of.
    pub size: u64,
    /// The piece's proof file.
    pub proof: Vec<u8>,
}

/// Prints certificates as one PDF: for each its front, its back, and its proof file as an attachment.
///
/// # Errors
/// [`PrintError`].
pub fn certificates(paper: Paper, template: u32, all: &[Certificate]) -> Result<Vec<u8>, PrintError> {
    if template != TEMPLATE {
        return Err(PrintError::UnknownTemplate { template });
    }
    let mut sheets = Vec::with_capacity(all.len().saturating_mul(2));
    let mut attachments = Vec::with_capacity(all.len());
    for one in all {
        let mut front = blank(paper);
        front.name = Some(one.stated.issued.serial.to_string());
        front::lay_out(one, &mut front)?;
        let mut back = blank(paper);
        back::lay_out(one, &mut back)?;
        sheets.extend([front, back]);
        attachments.push(Attachment {
            name: proof_name(one),
            says: format!(
                "The signed record of {} as of {} entries of {}",
                one.stated.issued.serial, one.size, one.origin
            ),
            bytes: one.proof.clone(),
        });
    }
    pdf::write(&sheets, attachments, &about(all)?)
}

fn proof_name(one: &Certificate) -> String {
    format!("{}.proof.json", one.stated.issued.serial)
}

fn about(all: &[Certificate]) -> Result<About, PrintError> {
    let newest = all.iter().max_by_key(|one| one.stated.at);
    let (Some(newest), Some(first)) = (newest, all.first()) else {
        let why = "nothing is to be printed".to_owned();
        return Err(PrintError::Pdf { why });
    };
    let serial = &first.stated.issued.serial;
    let title = match all.len() {
        1 => format!("Certificate of {serial}, issue {}", first.stated.issued.issue),
        count => format!("{count} certificates, from {serial}"),
    };
    Ok(About {
        title,
        author: first.maker.clone(),
        subject: "What the maker states of a piece, with the signed record that it rests on attached"
            .to_owned(),
        at: newest.stated.at,
    })
}

/// A side without anything on it. A5 is 1.41 times as wide and 1.42 times as high as A6 in whole millimetres; what is left
/// is shared above and below.
fn blank(paper: Paper) -> Sheet {
    let (width, height, scale) = match paper {
        Paper::A6 => (WIDTH, HEIGHT, 1000),
        Paper::A5 => (tenths_mm(1480), tenths_mm(2100), 1409),
    };
    let over = |paper: Length, drawn: Length| (paper - drawn / 1000 * scale) / 2;
    Sheet {
        name: None,
        width,
        height,
        scale,
        offset: (over(width, WIDTH), over(height, HEIGHT)),
        blocks: Vec::new(),
    }
}

/// A line in the middle.
fn centred(line: Line, y: Length, ink: Ink) -> Mark {
    Mark::Text {
        x: CENTRE - line.width / 2,
        y,
        line,
        ink,
    }
}

/// A hairline in the middle, with a lozenge on it if it is wanted.
fn rule(y: Length, width: Length, lozenge: bool) -> Vec<Mark> {
    let height = 350;
    let gap = if lozenge { 4_500 } else { 0 };
    let half = width / 2 - gap;
    let bar = |x| Mark::Bar {
        x,
        y,
        width: half,
        height,
        ink: Ink::Grey,
    };
    let mut marks = vec![bar(CENTRE - width / 2), bar(CENTRE + gap)];
    if lozenge {
        marks.push(Mark::Lozenge {
            x: CENTRE,
            y: y + height / 2,
            half: 2_200,
            ink: Ink::Red,
        });
    }
    marks
}

/// A frame of two hairlines.
fn frame() -> Vec<Mark> {
    let mut marks = Vec::new();
    for (inset, thick) in [(tenths_mm(55), 600), (tenths_mm(65), 200)] {
        let (wide, high) = (WIDTH - 2 * inset, HEIGHT - 2 * inset);
        let bar = |x, y, width, height| Mark::Bar {
            x,
            y,
            width,
            height,
            ink: Ink::Black,
        };
        marks.extend([
            bar(inset, inset, wide, thick),
            bar(inset, HEIGHT - inset - thick, wide, thick),
            bar(inset, inset + thick, thick, high - 2 * thick),
            bar(WIDTH - inset - thick, inset + thick, thick, high - 2 * thick),
        ]);
    }
    marks
}

/// Upright text of the size that most is set in.
const TEXT: Style = Style::new(Face::Roman, 8_600);
/// Slanted text of that size.
const SLANTED: Style = Style::new(Face::Italic, 8_600);
/// What a value is called.
const LABEL: Style = Style::new(Face::Roman, 8_000).capitals(70);
