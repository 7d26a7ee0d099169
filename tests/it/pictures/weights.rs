//! Weights: every piece that was weighed is in one band, bands are whole scale steps, and zones and bars stand where they say.

use super::narrow;
use crate::check::DemoBook;
use pourbook::accounts::{AsOf, Band, ShapeWeights};
use pourbook::domain::{Limits, Shape};
use pourbook::metal::Mass;
use pourbook::node::accounts;
use pourbook::pages::metal::weights_picture;

fn mass(text: &str) -> Mass {
    Mass::parse(text).unwrap()
}

fn all(weights: &ShapeWeights) -> Vec<&Band> {
    weights
        .lighter
        .iter()
        .chain(&weights.bands)
        .chain(&weights.heavier)
        .collect()
}

/// Bands lie without gap or overlap, and together hold what was weighed.
fn holds(weights: &ShapeWeights) {
    let bands = all(weights);
    assert_eq!(
        bands.iter().map(|band| band.pieces).sum::<u64>(),
        weights.weighed,
        "{}",
        weights.shape
    );
    let Some(step) = weights.step else {
        assert_eq!(weights.weighed, 0);
        return;
    };
    assert!(
        weights.wide.is_multiple_of(step) && !weights.wide.is_zero(),
        "{}",
        weights.shape
    );
    assert!(weights.bands.len() <= 14, "{} bands", weights.bands.len());
    for pair in bands.windows(2) {
        let (to, from) = (pair[0].to.unwrap(), pair[1].from.unwrap());
        assert_eq!(to.checked_add(step), Some(from), "{}", weights.shape);
    }
    for band in &weights.bands {
        let wide = band.to.unwrap().checked_sub(band.from.unwrap()).unwrap();
        assert_eq!(wide.checked_add(step), Some(weights.wide));
    }
    if let (Some(limits), Some(guard)) = (&weights.limits, weights.guard) {
        let good = limits.lower.checked_add(guard).unwrap();
        assert!(
            weights.bands.iter().any(|band| band.from == Some(good)),
            "no band begins at {good}"
        );
    }
}

#[test]
fn every_piece_of_the_demo_is_in_one_band() {
    let demo = DemoBook::make();
    let asked = accounts(&demo.folder()).unwrap();
    asked
        .ask(AsOf::Newest, |reckoning| {
            let book = reckoning.book();
            let (mut shapes, mut pieces) = (0, 0);
            for series in book.all_series() {
                for weights in reckoning.weights(series.series).unwrap() {
                    holds(&weights);
                    let of_shape = || {
                        book.pieces()
                            .filter(|piece| piece.series == series.series && piece.shape == weights.shape)
                    };
                    assert_eq!(
                        of_shape().filter(|piece| piece.mass().is_some()).count() as u64,
                        weights.weighed
                    );
                    for band in all(&weights) {
                        let within = of_shape().filter_map(|piece| piece.mass()).filter(|mass| {
                            band.from.is_none_or(|from| *mass >= from) && band.to.is_none_or(|to| *mass <= to)
                        });
                        assert_eq!(within.count() as u64, band.pieces);
                    }
                    shapes += 1;
                    pieces += weights.weighed;
                }
            }
            assert!(shapes >= 5);
            assert_eq!(
                pieces as usize,
                book.pieces().filter(|piece| piece.mass().is_some()).count()
            );
        })
        .unwrap();
}

fn made(counts: &[u64]) -> ShapeWeights {
    let start = mass("49.83").units();
    let at = |number: usize| start + 20_000 * number as i64;
    let bands = counts.iter().enumerate().map(|(number, pieces)| Band {
        from: Mass::from_units(at(number)),
        to: Mass::from_units(at(number + 1) - 1_000),
        pieces: *pieces,
    });
    ShapeWeights {
        shape: Shape::parse("oval").unwrap(),
        limits: Some(Limits {
            nominal: mass("50.00"),
            lower: mass("50.00"),
            upper: mass("51.20"),
        }),
        guard: Some(mass("0.03")),
        step: Some(mass("0.01")),
        wide: mass("0.20"),
        lighter: None,
        bands: bands.collect(),
        heavier: None,
        weighed: counts.iter().sum(),
        unweighed: 0,
        moved: 0,
    }
}

/// The places and heights of the bars, and where each leads.
fn bars(drawn: &str) -> Vec<(f64, f64, f64)> {
    let number = |text: &str, name: &str| -> f64 {
        let start = text.find(&format!(" {name}=\"")).unwrap() + name.len() + 3;
        text[start..].split('"').next().unwrap().parse().unwrap()
    };
    drawn
        .split("<rect")
        .skip(1)
        .map(|rest| rest.split('>').next().unwrap())
        .filter(|rect| rect.contains("class=\"column\""))
        .map(|rect| (number(rect, "x"), number(rect, "width"), number(rect, "height")))
        .collect()
}

#[test]
fn a_thousand_pieces_one_and_none_are_drawn_true() {
    let thousand = made(&[1, 9, 90, 400, 400, 90, 9, 1]);
    let picture = weights_picture("TW", &thousand, true).picture().0;
    let drawn = narrow(&picture);
    let heights: Vec<f64> = bars(drawn).iter().map(|bar| bar.2).collect();
    assert_eq!(heights.len(), 8);
    for (height, count) in heights.iter().zip([1.0, 9.0, 90.0, 400.0, 400.0, 90.0, 9.0, 1.0]) {
        assert!(
            (height - 130.0 * count / 400.0).abs() < 0.002,
            "{count}: {height}"
        );
    }
    let one = weights_picture("TW", &made(&[0, 1, 0]), true).picture().0;
    assert_eq!(bars(narrow(&one)).len(), 1, "nothing is drawn of an empty band");
    let none = weights_picture("TW", &made(&[]), true).picture().0;
    assert!(bars(narrow(&none)).is_empty());
}

#[test]
fn the_zones_are_named_and_stand_where_they_begin() {
    let weights = made(&[3, 0, 0, 5, 3, 4, 2, 1]);
    let columns = weights_picture("TW", &weights, true);
    let picture = columns.picture().0;
    let drawn = narrow(&picture);
    let mut at = 0;
    for words in [
        ">under<",
        ">49.97 g and less<",
        ">guard<",
        ">± 0.03 g<",
        ">good<",
        ">50.03 to 51.17 g<",
        ">over<",
        ">51.23 g and more<",
    ] {
        at = drawn[at..]
            .find(words)
            .unwrap_or_else(|| panic!("{words} is not said in its place"))
            + at;
    }
    for words in [">lower limit<", ">50.00 g<", ">upper limit<", ">51.20 g<"] {
        assert!(drawn.contains(words), "{words}");
    }
    // 350 units for 8 bands of 0.20 g from 49.83 g on: the good zone begins with the second band.
    let good = drawn
        .split("class=\"zone good\"")
        .next()
        .unwrap()
        .rsplit("<rect")
        .next()
        .unwrap();
    assert!(good.starts_with(" x=\"43.75\""), "{good}");
    let addresses: Vec<&str> = columns
        .inner
        .iter()
        .filter_map(|column| column.address.as_deref())
        .collect();
    assert_eq!(
        addresses[0],
        "/pieces?series=TW&shape=oval&mass_from=49.83&mass_to=50.02"
    );
    assert_eq!(addresses.len(), 6, "an empty band leads nowhere");
    let earlier = weights_picture("TW", &weights, false);
    assert!(
        earlier.inner.iter().all(|column| column.address.is_none()),
        "a list is of now"
    );
}
