//! Printed sheets as they were: their pages, their words, and the bytes of the files, which libraries that others wrote read
//! too (`tests/oracle/sheets.py`). `BLESS=1 cargo test --test it print::golden` writes them anew.

use super::sample;
use super::sheets::{packed, sheets};
use super::{page_image, printed, text_of};
use pourbook::domain::{FinenessBasis, Paper};
use pourbook::print::{labels, packing_list};
use std::path::{Path, PathBuf};

/// How far two pages may lie apart: dots that differ by more than a quarter of the way from black to white, in ten
/// thousand. Another version of the program smooths edges otherwise; a serial set wrong is some ten in ten thousand.
const APART_MAX: usize = 4;

fn is_blessed() -> bool {
    std::env::var("BLESS").is_ok()
}

fn file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/print")
        .join(name)
}

/// Whether pages look as they did; `false` where there is no program to look with.
#[track_caller]
fn look_as_they_did(name: &str, pdf: &[u8], pages: &[u32]) -> bool {
    for page in pages {
        let Some((width, height, dots)) = page_image(pdf, *page, 100) else {
            println!("skipped: pdftoppm is not installed");
            return false;
        };
        let file = file(&format!("{name}-{page}.png"));
        if is_blessed() {
            let image = image::GrayImage::from_raw(width as u32, height as u32, dots).unwrap();
            image.save(&file).unwrap();
            continue;
        }
        let golden = image::open(&file).unwrap().into_luma8();
        assert_eq!(
            (golden.width() as usize, golden.height() as usize),
            (width, height)
        );
        let apart = golden
            .as_raw()
            .iter()
            .zip(&dots)
            .filter(|(a, b)| a.abs_diff(**b) > 64)
            .count();
        assert!(
            apart * 10_000 <= APART_MAX * dots.len(),
            "{name}, page {page}: {apart} of {} dots differ",
            dots.len()
        );
    }
    true
}

/// The words of a file, in the order in which they are read out, are those that they were.
#[track_caller]
fn say_what_they_did(name: &str, pdf: &[u8]) {
    let Some(text) = text_of(pdf) else {
        return println!("skipped: pdftotext is not installed");
    };
    let words: Vec<&str> = text.split_whitespace().collect();
    let lines: Vec<String> = words.chunks(12).map(|line| line.join(" ")).collect();
    let text = format!("{}\n", lines.join("\n"));
    let file = file(&format!("{name}.txt"));
    if is_blessed() {
        std::fs::write(&file, text).unwrap();
    } else {
        assert_eq!(text, std::fs::read_to_string(&file).unwrap(), "{name}");
    }
}

#[track_caller]
fn are_the_bytes_that_they_were(name: &str, pdf: &[u8]) {
    let file = file(&format!("{name}.pdf"));
    if is_blessed() {
        std::fs::write(&file, pdf).unwrap();
    } else {
        let golden = std::fs::read(&file).unwrap();
        assert!(
            golden == pdf,
            "{name}: {} bytes, they were {}",
            pdf.len(),
            golden.len()
        );
    }
}

#[test]
fn certificates_look_and_say_as_they_did() {
    for (name, one) in sample::all() {
        let pdf = printed(Paper::A6, &one);
        look_as_they_did(name, &pdf, &[1, 2]);
        say_what_they_did(name, &pdf);
    }
}

/// Hallmarked scrap makes a piece whose fineness rests on hallmarks, and which bears none: its certificate must not say that it does.
#[test]
fn a_certificate_claims_no_hallmark_that_is_on_other_metal() {
    let mut one = sample::edition();
    one.stated.issued.basis = FinenessBasis::Hallmarked;
    let Some(text) = text_of(&printed(Paper::A6, &one)) else {
        return println!("skipped: pdftotext is not installed");
    };
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.contains("hallmarks on the metal it was poured from; no assay office has tested this piece"),
        "{text}"
    );
    assert!(text.contains("it bears no hallmark"), "{text}");
    assert!(!text.contains("struck on it"), "{text}");
}

#[test]
fn labels_and_packing_lists_look_and_say_as_they_did() {
    let labels = labels(&sheets(30, 5)).unwrap();
    look_as_they_did("labels", &labels, &[1, 2]);
    say_what_they_did("labels", &labels);
    let list = packing_list(&packed(40)).unwrap();
    look_as_they_did("packing", &list, &[1, 2]);
    say_what_they_did("packing", &list);
}

/// What was printed once is made again by the version of its template, and answered only with the same bytes: another version of
/// a library that writes other bytes would make every certificate of before gone. Labels and lists are promised to nobody, but a
/// change of theirs is to be seen.
#[test]
fn the_bytes_of_a_template_never_change() {
    for (name, one) in sample::all() {
        are_the_bytes_that_they_were(name, &printed(Paper::A6, &one));
    }
    are_the_bytes_that_they_were("edition-a5", &printed(Paper::A5, &sample::edition()));
    are_the_bytes_that_they_were("labels", &labels(&sheets(3, 22)).unwrap());
    are_the_bytes_that_they_were("packing", &packing_list(&packed(40)).unwrap());
}
