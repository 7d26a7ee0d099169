//! How the pieces of one shape weigh, as a picture and a table.

use crate::accounts::{Band, ShapeWeights};
use crate::domain::Limits;
use crate::metal::Mass;
use crate::pages::pictures::{Column, Columns, Zone};
use crate::pages::words;
use maud::{Markup, html};

/// Where the pieces of a band are listed: both ends belong to it.
fn listed(code: &str, weights: &ShapeWeights, band: &Band) -> String {
    let mut address = format!("/pieces?series={code}&shape={}", weights.shape);
    if let Some(from) = band.from {
        address.push_str(&format!("&mass_from={from}"));
    }
    if let Some(to) = band.to {
        address.push_str(&format!("&mass_to={to}"));
    }
    address
}

/// A band in words.
fn band_words(band: &Band) -> String {
    match (band.from, band.to) {
        (Some(from), Some(to)) if from == to => format!("{from} g"),
        (Some(from), Some(to)) => format!("{from} to {to} g"),
        (Some(from), None) => format!("{from} g and more"),
        (None, Some(to)) => format!("{to} g and less"),
        (None, None) => "any weight".to_owned(),
    }
}

fn column(code: &str, weights: &ShapeWeights, band: &Band, now: bool) -> Column {
    let count = i64::try_from(band.pieces).unwrap_or(i64::MAX);
    Column {
        told: format!("{}: {}", band_words(band), super::pieces(count)),
        count: band.pieces,
        address: (now && band.pieces > 0).then(|| listed(code, weights, band)),
    }
}

/// The zones in which a reading is graded, from light to heavy; the bounds belong to the clear answers.
fn zones(limits: Option<&Limits>, guard: Option<Mass>) -> Vec<Zone> {
    let (Some(limits), Some(guard)) = (limits, guard) else {
        return Vec::new();
    };
    let (lower, upper, band) = (limits.lower.units(), limits.upper.units(), guard.units());
    let mass = |units: i64| Mass::from_units(units.max(0)).unwrap_or_default();
    let zone = |name, bounds, from, to, guard| Zone {
        name,
        bounds,
        from,
        to,
        guard,
    };
    let around = || format!("± {guard} g");
    let good = format!("{} to {} g", mass(lower + band), mass(upper - band));
    vec![
        zone(
            "under",
            format!("{} g and less", mass(lower - band)),
            None,
            Some(lower - band),
            false,
        ),
        zone("guard", around(), Some(lower - band), Some(lower + band), true),
        zone("good", good, Some(lower + band), Some(upper - band), false),
        zone("guard", around(), Some(upper - band), Some(upper + band), true),
        zone(
            "over",
            format!("{} g and more", mass(upper + band)),
            Some(upper + band),
            None,
            false,
        ),
    ]
}

/// The picture of one shape; `code` is that of its series. Bars lead to lists if it is of now, as the lists are.
#[must_use]
pub fn picture(code: &str, weights: &ShapeWeights, now: bool) -> Columns {
    let shape = words::shape(&weights.shape);
    let first = weights.bands.first().and_then(|band| band.from);
    let levels = weights.limits.as_ref().map(|limits| {
        vec![
            (limits.lower.units(), "lower limit", format!("{} g", limits.lower)),
            (limits.upper.units(), "upper limit", format!("{} g", limits.upper)),
        ]
    });
    let ends = weights.bands.last().and_then(|band| Some((first?, band.to?)));
    let ends = ends.map(|(first, last)| {
        vec![
            (first.units(), "from", format!("{first} g")),
            (last.units(), "to", format!("{last} g")),
        ]
    });
    Columns {
        id: format!("weights-{}", weights.shape),
        title: format!("How much the {shape} pieces of {code} weigh"),
        description: format!(
            "Columns from light to heavy, each {} g wide; the higher, the more pieces. {} were weighed. The table below has every figure.",
            weights.wide, weights.weighed
        ),
        start: first.map_or(0, Mass::units),
        wide: weights.wide.units(),
        inner: weights
            .bands
            .iter()
            .map(|band| column(code, weights, band, now))
            .collect(),
        lighter: weights
            .lighter
            .as_ref()
            .map(|band| column(code, weights, band, now)),
        heavier: weights
            .heavier
            .as_ref()
            .map(|band| column(code, weights, band, now)),
        zones: zones(weights.limits.as_ref(), weights.guard),
        levels: levels.or(ends).unwrap_or_default(),
    }
}

/// How a band stands to the limits, in words.
fn grade(weights: &ShapeWeights, band: &Band) -> &'static str {
    let (Some(limits), Some(guard)) = (&weights.limits, weights.guard) else {
        return "";
    };
    let bounds = [
        limits.lower.units() - guard.units(),
        limits.lower.units() + guard.units(),
    ];
    let above = [
        limits.upper.units() - guard.units(),
        limits.upper.units() + guard.units(),
    ];
    let (from, to) = (
        band.from.map_or(i64::MIN, Mass::units),
        band.to.map_or(i64::MAX, Mass::units),
    );
    match (bounds, above) {
        ([under, _], _) if to <= under => "under",
        (_, [_, over]) if from >= over => "over",
        ([_, good], [still, _]) if from >= good && to <= still => "good",
        ([under, good], _) if from > under && to < good => "guard",
        (_, [still, over]) if from > still && to < over => "guard",
        ([under, good], _) if from <= under && to < good => "under, and guard",
        (_, [still, over]) if from > still && to >= over => "guard, and over",
        ([_, good], _) if from < good => "guard, and good",
        _ => "good, and guard",
    }
}

/// The picture, what it counts, and the table with the same figures.
pub fn section(code: &str, weights: &ShapeWeights, now: bool) -> Markup {
    let all = weights
        .lighter
        .iter()
        .chain(&weights.bands)
        .chain(&weights.heavier);
    html! {
        @if weights.weighed == 0 {
            p { "None of them was weighed yet." }
        } @else {
            (picture(code, weights, now).picture())
            p .fine {
                "Each column is " (weights.wide) " g wide. " (weights.weighed) " pieces are counted, by their newest readings, given up and melted ones too."
                @if weights.unweighed > 0 { " Not weighed yet: " (weights.unweighed) "." }
                @if weights.moved > 0 { " " (weights.moved) (if weights.moved == 1 { " has" } else { " have" }) " left the series and " (if weights.moved == 1 { "is" } else { "are" }) " not counted." }
                @if weights.limits.is_some() && weights.guard.is_none() { " No verified scale has weighed them, so there is no guard band and no grade is sure." }
                @if weights.limits.is_none() { " This series has no limits." }
                @if !now { " Lists show pieces as they are now, so no column leads to one." }
            }
            div .wide tabindex="0" role="region" aria-label=(format!("Weights, {}", words::shape(&weights.shape))) {
                table .figures {
                    thead { tr { th scope="col" { "Weight" } th scope="col" .number { "Pieces" } @if weights.limits.is_some() { th scope="col" { "Grade" } } } }
                    tbody {
                        @for band in all {
                            tr {
                                th scope="row" { (band_words(band)) }
                                td .number {
                                    @if now && band.pieces > 0 { a href=(listed(code, weights, band)) { (band.pieces) } } @else { (band.pieces) }
                                }
                                @if weights.limits.is_some() { td { (grade(weights, band)) } }
                            }
                        }
                    }
                }
            }
        }
    }
}
