//! The back: how to check it, its code, and what it can not tell.

use super::super::PrintError;
use super::super::qr::{address_code, code, quiet_zone};
use super::super::setting::{Face, Style, fitted, line, paragraph};
use super::super::sheet::{Ink, Length, Mark, Role, Sheet, tenths_mm};
use super::super::words;
use super::{Certificate, HEIGHT, LABEL, MARGIN, MEASURE, SLANTED, TEXT, centred, proof_name, rule};

/// How wide the QR code is, without its quiet zone.
const CODE: Length = tenths_mm(270);
/// Where what stands beside it begins.
const BESIDE: Length = MARGIN + CODE + quiet_zone(CODE) / 2 + 6_000;
/// How wide that is.
const BESIDE_WIDTH: Length = MARGIN + MEASURE - BESIDE;
/// From one line to the next.
const LEADING: Length = 9_900;
/// The size of most of it.
const SIZE: Length = 8_200;
const FIXED: Style = Style::new(Face::Mono, 7_600);
/// Characters of the leaf hash that are shown, 6 bits each.
const LEAF_SHOWN: usize = 16;

/// Lays it out.
pub fn lay_out(one: &Certificate, sheet: &mut Sheet) -> Result<(), PrintError> {
    let heading = line("How to check it", Style::new(Face::Roman, 11_000).capitals(120))?;
    sheet.add(Role::Heading(2), vec![centred(heading, 34_000, Ink::Black)]);
    sheet.add(Role::Ornament, rule(43_000, 96_000, true));
    scanned(one, sheet)?;
    beside(one, sheet)?;
    let label = line("Thumbprint of the maker’s root key ", LABEL)?;
    sheet.add(Role::Paragraph, vec![text(MARGIN, 161_000, label, Ink::Grey)]);
    let mut y = 175_000;
    let mut marks = Vec::new();
    for set in paragraph(&words::grouped(&one.thumbprint, 4), FIXED.sized(11_600), MEASURE)? {
        marks.push(text(MARGIN, y, set, Ink::Black));
        y += 14_000;
    }
    sheet.add(Role::Paragraph, marks);
    y += 3_500;
    for told in told(one) {
        y = set(&told, TEXT.sized(SIZE), y, sheet)? + 3_200;
    }
    y += 1_500;
    sheet.add(Role::Ornament, rule(y - 8_000, 60_000, false));
    y += 6_500;
    for caution in CAUTIONS {
        y = set(caution, SLANTED.sized(SIZE), y, sheet)? + 2_400;
    }
    // The last line stands one line and the air behind it above.
    if y - LEADING - 2_400 > HEIGHT - tenths_mm(70) {
        let text = one.maker.clone();
        return Err(PrintError::TooLong { text });
    }
    Ok(())
}

fn text(x: Length, y: Length, line: super::super::setting::Line, ink: Ink) -> Mark {
    Mark::Text { x, y, line, ink }
}

/// Sets a paragraph; where the next one may begin.
fn set(told: &str, style: Style, mut y: Length, sheet: &mut Sheet) -> Result<Length, PrintError> {
    let mut marks = Vec::new();
    for set in paragraph(told, style, MEASURE)? {
        marks.push(text(MARGIN, y, set, Ink::Black));
        y += LEADING;
    }
    sheet.add(Role::Paragraph, marks);
    Ok(y)
}

fn scanned(one: &Certificate, sheet: &mut Sheet) -> Result<(), PrintError> {
    let serial = one.stated.issued.serial.to_string();
    let (page, fragment) = address_code(&one.address, &serial, Some(&one.thumbprint));
    let drawn = code(&page, &fragment, MARGIN, 59_000, CODE)?;
    let says = format!("QR code of the address {page}{fragment}");
    sheet.add(Role::Figure(says), vec![drawn]);
    Ok(())
}

/// What stands beside the code.
fn beside(one: &Certificate, sheet: &mut Sheet) -> Result<(), PrintError> {
    let issued = &one.stated.issued;
    let page = format!("{}/p/{}", one.address, issued.serial);
    let page = page.trim_start_matches("https://").trim_start_matches("http://");
    let leaf: String = one.stated.leaf.to_base64url().chars().take(LEAF_SHOWN).collect();
    let rows = [
        ("Page", page.to_owned(), TEXT),
        ("Log", format!("{} at size {}", one.origin, one.size), TEXT),
        ("Entry", format!("{}, leaf {leaf}…", one.stated.index), FIXED),
        (
            "Certificate code",
            words::grouped(&one.code, 4),
            FIXED.sized(10_400),
        ),
    ];
    let mut y = 63_000;
    for (label, value, style) in rows {
        let label = line(&format!("{label} "), LABEL)?;
        let value = fitted(&value, style, BESIDE_WIDTH)?;
        let marks = vec![
            text(BESIDE, y, label, Ink::Grey),
            text(BESIDE, y + 11_000, value, Ink::Black),
        ];
        sheet.add(Role::Paragraph, marks);
        y += 22_600;
    }
    Ok(())
}

fn told(one: &Certificate) -> Vec<String> {
    vec![
        "Scan the square, or type the address: the page shows the maker’s record of this piece. The thumbprint on it must be \
         the one above, to the last character. The square carries it where no browser sends it to the server."
            .to_owned(),
        format!(
            "A server that lies about the record can also serve a page that lies. To check without it: the PDF of this \
             certificate has {} attached, the signed record as of {} entries; the program pourbook-verify holds it \
             against the thumbprint, without a network. Whoever kept a checkpoint of this log from another day is a \
             witness to whether it was rewritten.",
            proof_name(one),
            one.size
        ),
        "The code shows the page that you hold this paper: keep it to yourself.".to_owned(),
    ]
}

const CAUTIONS: [&str; 2] = [
    "A stated weight is a minimum: what the weighing supports stands behind “at least”. What became of the piece later – \
     sold, lost, stolen, melted – only the page can say, and a newer issue takes the place of this one.",
    "The record can agree or disagree with what you measure. It cannot say that an object is genuine: a copy can carry a \
     real number.",
];
