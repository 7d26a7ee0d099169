//! Photographs: of which pieces, at which point of their life, how many, and what a correction may say of one.

use super::bench::{Bench, CLOSED, FINAL, POURED, STOCKED, WORKSHOP, check};
use pourbook::domain::*;

/// On `STOCKED`: each of its pieces goes another way.
const GONE_OUT: &[&str] = &["sell V Q1 Q2 Q3", "dispatch V Q1 Q2 Q3", "deliver V Q1"];

#[test]
fn a_photograph_changes_nothing_else_of_a_piece() {
    let mut bench = Bench::with(&[WORKSHOP, POURED]);
    let before = bench.piece("P1").clone();
    let masses = bench.book.masses(pourbook::metal::Metal::Silver).unwrap();
    for line in [
        "photograph P1 a from_mould face",
        "photograph P1 b from_mould edge",
        "photograph P1 c finished detail",
    ] {
        bench.run(line).unwrap();
    }
    let after = bench.piece("P1").clone();
    let kept: Vec<(PhotographStage, PhotographSide)> = after
        .photographs
        .iter()
        .map(|kept| (kept.stage, kept.side))
        .collect();
    assert_eq!(
        kept,
        [
            (PhotographStage::FromMould, PhotographSide::Face),
            (PhotographStage::FromMould, PhotographSide::Edge),
            (PhotographStage::Finished, PhotographSide::Detail),
        ],
        "oldest first"
    );
    let but_for_that = Piece {
        photographs: before.photographs.clone(),
        ..after
    };
    assert_eq!(but_for_that, before);
    assert_eq!(bench.book.masses(pourbook::metal::Metal::Silver).unwrap(), masses);
}

#[test]
fn every_piece_that_somebody_has_is_photographed_and_no_other() {
    check(
        &[WORKSHOP, POURED, &["pour M TW oval P9"]],
        "photograph P9 a from_mould face",
        "P9 photographed from_mould, its face",
    );
    for (given, piece) in [(&["condemn P2 under"][..], "P2"), (&["condemn P2 under"], "P1")] {
        let line = format!("photograph {piece} a from_mould back");
        check(
            &[WORKSHOP, POURED, given],
            &line,
            &format!("{piece} photographed from_mould, its back"),
        );
    }
    for (more, piece) in [
        (&[][..], "Q1"),
        (&[], "Q2"),
        (&[], "Q4"),
        (&["return Q1"], "Q1"),
        (&["lose V Q2", "find Q2"], "Q2"),
        (&["steal Q4", "recover Q4"], "Q4"),
    ] {
        check(
            &[WORKSHOP, STOCKED, GONE_OUT, more],
            &format!("photograph {piece} a as_sold edge"),
            &format!("{piece} photographed as_sold, its edge"),
        );
    }
    for (more, piece, state) in [
        (&["lose V Q2"][..], "Q2", "lost"),
        (&["steal Q4"], "Q4", "stolen"),
        (&["destroy Q4 neighbour"], "Q4", "destroyed"),
    ] {
        check(
            &[WORKSHOP, STOCKED, GONE_OUT, more],
            &format!("photograph {piece} a from_mould face"),
            &format!("refused: the piece is {state}, so it cannot be photographed (/piece)"),
        );
    }
    check(
        &[
            WORKSHOP,
            POURED,
            CLOSED,
            &["condemn P2 under", "melt N in D silver piece P2"],
        ],
        "photograph P2 a from_mould face",
        "refused: the piece is remelted, so it cannot be photographed (/piece)",
    );
}

#[test]
fn no_photograph_shows_what_has_not_come_about() {
    let poured: &[&str] = &["pour M TW oval P9"];
    for (given, line, why) in [
        (poured, "P9 a finished face", "finished: it has not been weighed"),
        (
            CLOSED,
            "P1 a hallmarked marks",
            "hallmarked: it bears no hallmark",
        ),
        (CLOSED, "P1 a as_sold face", "as_sold: it has no certificate"),
        (
            CLOSED,
            "P1 a returned face",
            "returned: it has not just come back from a buyer",
        ),
    ] {
        check(
            &[WORKSHOP, POURED, given],
            &format!("photograph {line}"),
            &format!("refused: no photograph shows the piece {why} (/stage)"),
        );
    }
    check(
        &[WORKSHOP, STOCKED, GONE_OUT, &["return Q1"]],
        "photograph Q1 a returned detail",
        "Q1 photographed returned, its detail",
    );
}

#[test]
fn a_photograph_is_taken_once_of_a_piece_and_a_piece_has_so_many() {
    let mut bench = Bench::with(&[WORKSHOP, POURED]);
    let refused = |bench: &mut Bench, line: &str| bench.run(line).unwrap_err().to_string();
    bench.run("photograph P1 a from_mould face").unwrap();
    let index = bench.piece("P1").photographs[0].index;
    assert_eq!(
        refused(&mut bench, "photograph P1 a finished back"),
        format!("entry {index} holds this photograph of the piece")
    );
    // One picture may show two pieces.
    bench.run("photograph P2 a from_mould face").unwrap();
    for number in 1..PHOTOGRAPHS_MAX {
        bench
            .run(&format!("photograph P1 more-{number} from_mould face"))
            .unwrap();
    }
    assert_eq!(
        refused(&mut bench, "photograph P1 last from_mould face"),
        "the piece has 24 photographs, the most that one may have"
    );
    bench.run("photograph P2 last from_mould face").unwrap();
}

/// 50 megapixels, and no side beyond what a JPEG can say.
#[test]
fn a_size_that_nothing_kept_can_have_is_refused() {
    for (wide, allowed) in [
        ("1", true),
        ("16666", true),
        ("16667", false),
        ("0", false),
        ("65536", false),
    ] {
        let says = match allowed {
            true => "P1 photographed from_mould, its face".to_owned(),
            false => format!("refused: a photograph of {wide} x 3000 pixels cannot be kept (/width)"),
        };
        check(
            &[WORKSHOP, POURED],
            &format!("photograph P1 a from_mould face wide {wide}"),
            &says,
        );
    }
}

#[test]
fn the_book_names_the_photographs_that_it_has() {
    let bench = Bench::with(&[
        WORKSHOP,
        POURED,
        CLOSED,
        FINAL,
        &[
            "photograph P1 a from_mould face",
            "photograph P2 a from_mould face",
            "photograph P4 b finished back",
        ],
    ]);
    let named: Vec<PhotographHash> = bench.book.photographs().into_iter().collect();
    let mut wanted = [b"a", b"b"].map(|of| PhotographHash::of(of));
    wanted.sort();
    assert_eq!(named, wanted);
}

/// SHA-256 of "abc" is the worked example of FIPS 180-4 (NIST, examples with intermediate values).
#[test]
fn a_hash_has_one_spelling() {
    let text = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    let hash: PhotographHash = text.parse().unwrap();
    assert_eq!(hash, PhotographHash::of(b"abc"));
    assert_eq!(hash.to_string(), text);
    for other in [
        text.to_uppercase(),
        text[1..].to_owned(),
        format!("{text}0"),
        format!("{text}00"),
        format!(" {}", &text[1..]),
        format!("{}g", &text[..63]),
        format!("{}\u{e9}", &text[..62]),
        String::new(),
    ] {
        assert!(other.parse::<PhotographHash>().is_err(), "{other}");
    }
}
