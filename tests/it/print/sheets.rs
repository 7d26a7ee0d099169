//! Sheets of labels and packing lists: how many pages, where the places are, what a scanner reads.

use super::{labels_of, page_image, pages_of, text_of};
use pourbook::domain::{MarkKind, Serial, SeriesCode, Shape, Timestamp, WeightUnit};
use pourbook::metal::{Fineness, Mass, Reading};
use pourbook::print::{Label, Labels, PackedPiece, PackingList, PrintError, labels, packing_list};

pub fn sheets(count: u32, skip: usize) -> Labels {
    let label = |number| Label {
        serial: Serial::new(SeriesCode::parse("TW").unwrap(), number, 4).unwrap(),
        shape: Shape::parse("loom_tall").unwrap(),
        number: Some((number, 200)),
        weight: (number % 2 == 1).then(|| Reading::parse("50.42").unwrap()),
    };
    Labels {
        title: Some("Tidewheel".to_owned()),
        code: "TW".to_owned(),
        unit: WeightUnit::Gram,
        maker: "Brackenfold Pourhouse".to_owned(),
        address: "https://book.brackenfold.example".to_owned(),
        thumbprint: super::sample::THUMBPRINT.to_owned(),
        at: Timestamp(1_773_480_413),
        skip,
        labels: (1..=count).map(label).collect(),
    }
}

pub fn packed(count: u32) -> PackingList {
    let piece = |number: u32| PackedPiece {
        name: format!("ST-{number:04}-00"),
        shape: Shape::parse("lantern_tall").unwrap(),
        mass: Mass::parse("156.14").unwrap(),
    };
    let pieces: Vec<PackedPiece> = (1..=count).map(piece).collect();
    PackingList {
        number: 3,
        maker: "Brackenfold Pourhouse".to_owned(),
        at: Timestamp(1_773_480_413),
        office: Some("Eastmarch Assay Hall".to_owned()),
        seal: Some("S-88".to_owned()),
        fineness: Fineness::parse("999").unwrap(),
        marks: vec![MarkKind::Sponsor, MarkKind::Fineness, MarkKind::Office],
        mass: Mass::checked_sum(pieces.iter().map(|piece| piece.mass)).unwrap(),
        pieces,
    }
}

/// Writes sheets to look at into the folder that `SHEETS` names.
#[test]
#[ignore = "writes files to look at"]
fn write() {
    let folder = std::path::PathBuf::from(std::env::var("SHEETS").unwrap());
    std::fs::write(folder.join("labels.pdf"), labels(&sheets(30, 5)).unwrap()).unwrap();
    std::fs::write(folder.join("packing.pdf"), packing_list(&packed(40)).unwrap()).unwrap();
}

#[test]
fn every_label_of_a_begun_sheet_is_read_by_a_library_of_others() {
    let pdf = labels(&sheets(20, 5)).unwrap();
    assert!(pdf == labels(&sheets(20, 5)).unwrap());
    let Some(2) = pages_of(&pdf) else {
        assert!(
            pages_of(&pdf).is_none(),
            "5 free places and 20 labels are two sheets"
        );
        return println!("skipped: pdfinfo is not installed");
    };
    let pages = [1, 2].iter();
    let read: Vec<String> = pages.flat_map(|page| labels_of(&pdf, *page).unwrap()).collect();
    let wanted: Vec<String> = sheets(20, 5)
        .labels
        .iter()
        .map(|label| {
            let thumbprint = super::sample::THUMBPRINT;
            format!(
                "HTTPS://BOOK.BRACKENFOLD.EXAMPLE/P/{}#k={thumbprint}",
                label.serial
            )
        })
        .collect();
    assert_eq!(read, wanted);
    // The first five places are free: nothing dark stands in the first row, which ends 12.9 + 33.9 mm below the edge.
    let (width, _, dots) = page_image(&pdf, 1, 254).unwrap();
    assert!(dots[..width * 465].iter().all(|dot| *dot > 250));
    assert!(dots[width * 465..width * 800].iter().any(|dot| *dot < 100));
    assert_eq!(pages_of(&labels(&sheets(192, 0)).unwrap()), Some(8));
}

#[test]
fn a_title_without_type_gives_way_to_the_code_of_its_series() {
    let mut all = sheets(2, 0);
    all.title = Some("潮車".to_owned());
    let Some(text) = text_of(&labels(&all).unwrap()) else {
        return println!("skipped: pdftotext is not installed");
    };
    assert!(text.to_lowercase().contains("series tw"), "{text}");
    assert!(text.contains("loom tall, № 2 of 200"), "{text}");
    // A weight of record stands with its unit, and only where there is one.
    assert_eq!(text.matches("50.42 g").count(), 1, "{text}");
    all.address = format!("https://{}.example", "a".repeat(400));
    let refused = labels(&all);
    assert!(
        matches!(refused, Err(PrintError::AddressTooLong { .. })),
        "{refused:?}"
    );
}

#[test]
fn a_packing_list_has_a_line_for_each_piece_and_says_which_page_it_is() {
    for (count, pages) in [(1, 1), (40, 2), (64, 3)] {
        let pdf = packing_list(&packed(count)).unwrap();
        assert!(pdf == packing_list(&packed(count)).unwrap());
        let Some(text) = text_of(&pdf) else {
            return println!("skipped: pdftotext is not installed");
        };
        for number in 1..=count {
            assert_eq!(text.matches(&format!("ST-{number:04}-00")).count(), 1, "{text}");
        }
        for page in 1..=pages {
            assert!(text.contains(&format!("{page} of {pages}")), "{count}: {text}");
        }
        let sum = packed(count).mass;
        assert!(text.contains(&format!("Total {count} pc, {sum} g")), "{text}");
        assert!(
            text.contains("It is no customs, carrier or insurance document"),
            "{text}"
        );
        assert_eq!(pages_of(&pdf), Some(pages));
    }
    let mut odd = packed(1);
    odd.seal = Some("潮".to_owned());
    let refused = packing_list(&odd);
    assert!(matches!(refused, Err(PrintError::NoType { .. })), "{refused:?}");
}
