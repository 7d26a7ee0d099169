//! The front: what the maker states.

use super::super::PrintError;
use super::super::setting::{Face, Style, fitted, line, paragraph};
use super::super::sheet::{Ink, Length, Mark, Role, Sheet};
use super::super::words;
use super::{CENTRE, Certificate, LABEL, MARGIN, MEASURE, SLANTED, TEXT, centred, frame, rule};
use crate::domain::WeightUnit;
use crate::metal::{Mass, Rounding, troy_ounces};

/// Decimals of a troy ounce, by this version of the template: its own, since what a version makes never changes.
const OUNCE_DECIMALS: u32 = 4;
/// Where the values of the list begin.
const VALUES: Length = MARGIN + 56_000;
/// From one line of the list to the next.
const LEADING: Length = 11_000;
/// Where the list must have ended, so that there is room to sign.
const LIST_END: Length = 354_000;

/// Lays it out.
pub fn lay_out(one: &Certificate, sheet: &mut Sheet) -> Result<(), PrintError> {
    sheet.add(Role::Ornament, frame());
    heading(one, sheet)?;
    weight(one, sheet)?;
    list(one, sheet)?;
    let half = 62_000;
    let signed = Mark::Bar {
        x: CENTRE - half,
        y: 376_000,
        width: 2 * half,
        height: 300,
        ink: Ink::Grey,
    };
    sheet.add(Role::Ornament, vec![signed]);
    let says = line("signed for the maker", SLANTED.sized(8_000))?;
    sheet.add(Role::Paragraph, vec![centred(says, 386_000, Ink::Grey)]);
    Ok(())
}

fn heading(one: &Certificate, sheet: &mut Sheet) -> Result<(), PrintError> {
    let issued = &one.stated.issued;
    let maker = fitted(&one.maker, Style::new(Face::Roman, 11_000).capitals(120), MEASURE)?;
    sheet.add(Role::Paragraph, vec![centred(maker, 44_000, Ink::Black)]);
    sheet.add(Role::Ornament, rule(54_500, 96_000, true));
    let name = line("Certificate of weight and fineness", SLANTED.sized(11_500))?;
    sheet.add(Role::Heading(1), vec![centred(name, 74_500, Ink::Black)]);
    let series = match &one.title {
        Some(title) => title.clone(),
        None => format!("Series {}", one.stated.series),
    };
    let title = fitted(&series, Style::new(Face::Roman, 32_000), MEASURE)?;
    sheet.add(Role::Heading(2), vec![centred(title, 110_000, Ink::Black)]);
    let shape = words::shape(one.stated.shape.as_str());
    let number = issued.number.zip(issued.of);
    let place = match number {
        Some((number, of)) => format!("{shape}, № {number} of {of}"),
        None => shape,
    };
    let place = fitted(&place, Style::new(Face::Roman, 13_500), MEASURE)?;
    sheet.add(Role::Paragraph, vec![centred(place, 130_000, Ink::Red)]);
    sheet.add(Role::Ornament, rule(145_000, 60_000, false));
    Ok(())
}

/// The weight of record, its uncertainty and what it supports. Half up for the reading, never up for what it supports.
fn weight(one: &Certificate, sheet: &mut Sheet) -> Result<(), PrintError> {
    let issued = &one.stated.issued;
    let ounces = |mass: Mass, rounding| troy_ounces(mass, OUNCE_DECIMALS, rounding);
    let weighed = ounces(issued.mass.mass(), Rounding::HalfUp);
    let (first, second) = match one.stated.unit {
        WeightUnit::Gram => (format!("{} g", issued.mass), format!("{weighed} troy ounces")),
        WeightUnit::TroyOunce => (format!("{weighed} ozt"), format!("{} grams", issued.mass)),
    };
    let first = fitted(&first, Style::new(Face::Roman, 28_000), MEASURE)?;
    let second = fitted(&second, SLANTED.sized(12_000), MEASURE)?;
    let least = ounces(issued.at_least, Rounding::Down);
    let doubt = format!(
        "± {} g at k = 2, so at least {} g ({least} ozt)",
        issued.uncertainty, issued.at_least
    );
    let doubt = fitted(&doubt, TEXT.sized(9_200), MEASURE)?;
    let marks = vec![
        centred(first, 177_000, Ink::Black),
        centred(second, 195_000, Ink::Black),
        centred(doubt, 210_500, Ink::Black),
    ];
    for mark in marks {
        sheet.add(Role::Paragraph, vec![mark]);
    }
    sheet.add(Role::Ornament, rule(222_000, 60_000, false));
    Ok(())
}

fn list(one: &Certificate, sheet: &mut Sheet) -> Result<(), PrintError> {
    let issued = &one.stated.issued;
    let marks = issued.marks.as_ref();
    let issue = match issued.issue.checked_sub(1) {
        Some(older) if older > 0 => format!(
            "issue {}, {}, in place of issue {older}",
            issued.issue,
            words::day(one.stated.at)
        ),
        _ => format!("issue {}, {}", issued.issue, words::day(one.stated.at)),
    };
    let rows = [
        ("Serial", issued.serial.to_string()),
        ("Metal", words::metal(issued.metal).to_owned()),
        ("Fineness", format!("{} parts per thousand", issued.fineness)),
        ("Rests on", words::basis(issued.basis, marks.is_some()).to_owned()),
        (
            "Marks",
            marks.map_or_else(|| "it bears no hallmark".to_owned(), words::marks),
        ),
        ("Certificate", issue),
    ];
    let mut y = 239_000;
    for (label, value) in rows {
        let lines = paragraph(&value, TEXT, MARGIN + MEASURE - VALUES)?;
        let label = line(&format!("{label} "), LABEL)?;
        let mut row = vec![Mark::Text {
            x: MARGIN,
            y,
            line: label,
            ink: Ink::Grey,
        }];
        for line in lines {
            let (x, ink) = (VALUES, Ink::Black);
            row.push(Mark::Text { x, y, line, ink });
            y += LEADING;
        }
        y += 1_800;
        sheet.add(Role::Paragraph, row);
        if y > LIST_END {
            return Err(PrintError::TooLong { text: value });
        }
    }
    Ok(())
}
