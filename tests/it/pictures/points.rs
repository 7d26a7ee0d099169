//! The chart of losses: what stands out is named in words and never off the picture, and each point opens its melt.

use super::{narrow, now};
use crate::check::DemoBook;
use pourbook::accounts::{AsOf, Losses};
use pourbook::metal::Metal;
use pourbook::metal::control::Judged;
use pourbook::node::accounts;
use pourbook::pages::metal;
use pourbook::pages::pictures::{Level, Point, Points};

fn demo() -> Losses {
    let demo = DemoBook::make();
    let asked = accounts(&demo.folder()).unwrap();
    asked
        .ask(AsOf::Newest, |reckoning| reckoning.losses(Metal::Silver))
        .unwrap()
}

/// The grams a kilogram of a melt, by another way: loss times 1,000 over charge.
fn per_kilogram(loss: i64, charge: i64) -> f64 {
    loss as f64 * 1_000.0 / charge as f64
}

#[test]
fn every_melt_is_a_point_that_opens_it_with_its_figure() {
    let losses = demo();
    let points = metal::losses_picture(&losses);
    assert_eq!(points.points.len(), losses.items.len());
    let picture = points.picture().0;
    let drawn = narrow(&picture);
    let page = metal::losses(&losses, &[], now()).main.0;
    for (point, loss) in points.points.iter().zip(&losses.items) {
        let address = format!("/metal/melts/{}", loss.number);
        assert_eq!(point.address.as_deref(), Some(address.as_str()));
        assert!(drawn.contains(&format!("<a href=\"{address}\"")), "{address}");
        assert!(
            page.contains(&format!("<th scope=\"row\"><a href=\"{address}\">")),
            "{address} is not in the table"
        );
        let shown: f64 = point
            .figure
            .trim_end_matches(" g/kg")
            .replace('−', "-")
            .parse()
            .unwrap();
        let reckoned = per_kilogram(loss.loss.units(), loss.charge.units());
        assert!(
            (shown - reckoned).abs() <= 0.000_05 + f64::EPSILON,
            "melt {}: {shown}, {reckoned}",
            loss.number
        );
        let out = loss.flagged || matches!(loss.judged, Judged::Above | Judged::Below);
        assert_eq!(point.out.is_some(), out, "melt {}", loss.number);
        if out {
            let words = format!(">melt {}: {}, unusually much lost<", loss.number, point.figure);
            assert!(drawn.contains(&words), "{words} is not on the picture");
        }
    }
    assert!(points.points.iter().any(|point| point.out.is_some()));
    for words in ["usually at most", "usually at least", ">usual "] {
        assert!(drawn.contains(words), "{words}");
    }
}

/// Far off is at the edge, as an arrow, and does not squeeze the others.
#[test]
fn a_point_far_off_stands_at_the_edge() {
    let point = |value: i64, out: Option<&'static str>| Point {
        name: format!("melt {value}"),
        figure: format!("{value} g/kg"),
        value,
        out,
        address: None,
    };
    let level = |value: i64, limit: bool| Level {
        words: format!("line {value}"),
        value,
        limit,
    };
    let far = Points {
        id: "p".to_owned(),
        title: "Points".to_owned(),
        description: "Some.".to_owned(),
        points: vec![
            point(10, None),
            point(20, None),
            point(1_000_000, Some("far off")),
            point(-90_000, Some("far below")),
        ],
        levels: vec![level(30, true), level(15, false), level(0, true)],
    };
    let picture = far.picture().0;
    let drawn = narrow(&picture);
    assert_eq!(drawn.matches("class=\"out\"").count(), 2);
    for arrow in ["l5.5 14h-11Z", "l5.5 -14h-11Z"] {
        assert!(drawn.contains(arrow), "no arrow points to where it lies: {arrow}");
    }
    assert!(
        drawn.contains("melt 1000000: 1000000 g/kg, far off")
            && drawn.contains("melt -90000: -90000 g/kg, far below")
    );
    let heights: Vec<f64> = drawn
        .split("class=\"point\"")
        .take(2)
        .map(|before| {
            before
                .rsplit("cy=\"")
                .next()
                .unwrap()
                .split('"')
                .next()
                .unwrap()
                .parse()
                .unwrap()
        })
        .collect();
    assert!(
        heights[0] - heights[1] > 30.0,
        "{heights:?}: ten of a range of fifty"
    );
    let none = Points {
        points: Vec::new(),
        levels: Vec::new(),
        ..far
    };
    assert!(!none.picture().0.contains("class=\"point\""));
}
