//! Printed sheets: what stands on them, seen with the eyes of programs and a library that others wrote.

mod golden;
mod sample;
mod sheets;

use pourbook::domain::Paper;
use pourbook::print::{Certificate, PrintError, TEMPLATE, certificates};
use std::path::PathBuf;
use std::process::Command;

fn printed(paper: Paper, one: &Certificate) -> Vec<u8> {
    certificates(paper, TEMPLATE, std::slice::from_ref(one)).unwrap()
}

/// Runs a program of poppler on a PDF; what it wrote into its folder, or on its output. `None` where it is not installed.
fn poppler(program: &str, arguments: &[&str], pdf: &[u8]) -> Option<(tempfile::TempDir, Vec<u8>)> {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("in.pdf"), pdf).unwrap();
    let output = Command::new(program)
        .args(arguments)
        .current_dir(folder.path())
        .output()
        .ok()?;
    assert!(output.status.success(), "{program}: {output:?}");
    Some((folder, output.stdout))
}

/// The text of a PDF, in the order of its content.
pub fn text_of(pdf: &[u8]) -> Option<String> {
    let (_, text) = poppler("pdftotext", &["-raw", "in.pdf", "-"], pdf)?;
    Some(String::from_utf8(text).unwrap())
}

/// A file that a PDF carries.
pub fn attached(pdf: &[u8], name: &str) -> Option<Vec<u8>> {
    let (folder, _) = poppler("pdfdetach", &["-savefile", name, "-o", "out", "in.pdf"], pdf)?;
    Some(std::fs::read(folder.path().join("out")).unwrap())
}

/// A page in grey, 150 dots to the inch: width, height and the dots.
fn page_image(pdf: &[u8], page: u32, dots: u32) -> Option<(usize, usize, Vec<u8>)> {
    let (page, dots) = (page.to_string(), dots.to_string());
    let arguments = ["-gray", "-r", &dots, "-f", &page, "-l", &page, "in.pdf", "out"];
    let (folder, _) = poppler("pdftoppm", &arguments, pdf)?;
    let mut files = std::fs::read_dir(folder.path())
        .unwrap()
        .map(|entry| entry.unwrap().path());
    let file = files
        .find(|path| path.extension().is_some_and(|end| end == "pgm"))
        .unwrap();
    let bytes = std::fs::read(file).unwrap();
    // Portable graymap: `P5`, width, height, the greatest value, each behind white space, then the dots.
    let mut at = 0;
    let mut word = || {
        let end = at + bytes[at..].iter().position(u8::is_ascii_whitespace).unwrap();
        let word = std::str::from_utf8(&bytes[at..end]).unwrap().to_owned();
        at = end + 1;
        word
    };
    let (kind, width, height, most) = (word(), word(), word(), word());
    assert_eq!((kind.as_str(), most.as_str()), ("P5", "255"));
    let (width, height): (usize, usize) = (width.parse().unwrap(), height.parse().unwrap());
    Some((width, height, bytes[at..][..width * height].to_vec()))
}

/// What the QR codes of the second page say.
pub fn qr_codes(pdf: &[u8]) -> Vec<String> {
    let Some((width, height, dots)) = page_image(pdf, 2, 200) else {
        println!("skipped: pdftoppm is not installed");
        return Vec::new();
    };
    let mut image = rqrr::PreparedImage::prepare_from_greyscale(width, height, |x, y| dots[y * width + x]);
    image
        .detect_grids()
        .iter()
        .map(|grid| grid.decode().unwrap().1)
        .collect()
}

/// Writes sheets to look at into the folder that `SHEETS` names.
#[test]
#[ignore = "writes files to look at"]
fn write() {
    let folder = PathBuf::from(std::env::var("SHEETS").unwrap());
    for (name, one) in sample::all() {
        for paper in [Paper::A6, Paper::A5] {
            std::fs::write(folder.join(format!("{name}-{paper}.pdf")), printed(paper, &one)).unwrap();
        }
    }
}

#[test]
fn the_same_certificate_is_the_same_bytes_and_another_is_not() {
    let one = sample::edition();
    assert!(printed(Paper::A6, &one) == printed(Paper::A6, &one));
    assert!(printed(Paper::A6, &one) != printed(Paper::A5, &one));
    let mut other = one.clone();
    other.code = "2H7KQ9M4XW3".to_owned();
    assert!(printed(Paper::A6, &one) != printed(Paper::A6, &other));
}

/// ISO 216: A6 is 105 by 148 mm, A5 148 by 210 mm.
#[test]
fn the_paper_has_the_size_of_iso_216() {
    for (paper, wide, high) in [(Paper::A6, 105.0, 148.0), (Paper::A5, 148.0, 210.0)] {
        let Some((width, height, _)) = page_image(&printed(paper, &sample::edition()), 1, 254) else {
            return println!("skipped: pdftoppm is not installed");
        };
        // 254 dots to the inch are 10 to the millimetre.
        assert!((width as f64 / 10.0 - wide).abs() < 0.15, "{width}");
        assert!((height as f64 / 10.0 - high).abs() < 0.15, "{height}");
    }
}

#[test]
fn a_code_is_read_by_a_library_of_others_on_both_papers() {
    for (_, one) in sample::all() {
        for paper in [Paper::A6, Paper::A5] {
            let codes = qr_codes(&printed(paper, &one));
            let serial = &one.stated.issued.serial;
            let wanted = format!(
                "HTTPS://BOOK.BRACKENFOLD.EXAMPLE/P/{serial}#k={}",
                sample::THUMBPRINT
            );
            assert!(codes.is_empty() || codes == [wanted], "{codes:?}");
        }
    }
}

#[test]
fn what_cannot_be_set_is_named() {
    let mut one = sample::edition();
    one.title = Some("潮車".to_owned());
    let refused = certificates(Paper::A6, TEMPLATE, &[one.clone()]);
    assert!(
        matches!(refused, Err(PrintError::NoType { character: '潮', .. })),
        "{refused:?}"
    );
    one.title = Some("W".repeat(200));
    let refused = certificates(Paper::A6, TEMPLATE, &[one.clone()]);
    assert!(matches!(refused, Err(PrintError::TooLong { .. })), "{refused:?}");
    one.title = None;
    one.address = format!("https://{}.example", "a".repeat(400));
    assert!(certificates(Paper::A6, TEMPLATE, &[one.clone()]).is_err());
    let unknown = certificates(Paper::A6, TEMPLATE + 1, &[sample::edition()]);
    assert_eq!(
        unknown,
        Err(PrintError::UnknownTemplate {
            template: TEMPLATE + 1
        })
    );
}

/// What the QR code of each label of a page says, each looked at by itself, as a scanner is held over one: along rows.
pub fn labels_of(pdf: &[u8], page: u32) -> Option<Vec<String>> {
    // 254 dots to the inch are 10 to the millimetre.
    let (paper, _, dots) = page_image(pdf, page, 254)?;
    let mut read = Vec::new();
    for (row, column) in (0..8).flat_map(|row| (0..3).map(move |column| (row, column))) {
        // Labels of 63.5 by 33.9 mm, 2.5 mm apart, in the middle of 210 by 297 mm.
        let (left, top) = (72 + 660 * column, 129 + 339 * row);
        let mut image =
            rqrr::PreparedImage::prepare_from_greyscale(635, 339, |x, y| dots[(top + y) * paper + left + x]);
        let grids = image.detect_grids();
        read.extend(grids.iter().map(|grid| grid.decode().unwrap().1));
    }
    Some(read)
}

/// How many pages a PDF has.
pub fn pages_of(pdf: &[u8]) -> Option<usize> {
    let (_, text) = poppler("pdfinfo", &["in.pdf"], pdf)?;
    let text = String::from_utf8(text).unwrap();
    let line = text.lines().find_map(|line| line.strip_prefix("Pages:"));
    Some(line.unwrap().trim().parse().unwrap())
}
