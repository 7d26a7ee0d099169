//! The words of a certificate: what a record's words are called on paper.

use crate::domain::{Date, FinenessBasis, Hallmark, MarkKind, Timestamp};
use crate::metal::Metal;

/// A day as it is written on paper, by UTC: `14 March 2026`.
pub fn day(at: Timestamp) -> String {
    let text = Date::of(at).map_or_else(String::new, |day| day.to_string());
    let mut parts = text.rsplitn(3, '-');
    let (day, month, year) = (parts.next(), parts.next(), parts.next());
    let named = month.and_then(|month| month.parse::<usize>().ok());
    let named = named.and_then(|month| MONTHS.get(month.checked_sub(1)?));
    match (day, named, year) {
        (Some(day), Some(month), Some(year)) => format!("{} {month} {year}", day.trim_start_matches('0')),
        _ => text,
    }
}

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// A metal with its chemical symbol (IUPAC).
pub const fn metal(metal: Metal) -> &'static str {
    match metal {
        Metal::Silver => "silver (Ag)",
        Metal::Gold => "gold (Au)",
        Metal::Platinum => "platinum (Pt)",
        Metal::Palladium => "palladium (Pd)",
        Metal::Copper => "copper (Cu)",
    }
}

/// On whose word or assay a fineness rests.
pub const fn basis(basis: FinenessBasis) -> &'static str {
    match basis {
        FinenessBasis::Declared => {
            "what the metal’s suppliers declared; no assay office has tested this piece"
        }
        FinenessBasis::Assayed => "assay reports of the metal it was poured from",
        FinenessBasis::Hallmarked => "the hallmark struck on it by an assay office",
    }
}

/// The marks of a hallmark, as they were seen.
pub fn marks(hallmark: &Hallmark) -> String {
    let seen = hallmark.marks.iter().map(|seen| {
        let name = match seen.mark {
            MarkKind::Sponsor => "sponsor’s mark".to_owned(),
            MarkKind::Fineness => format!("fineness mark {}", hallmark.fineness),
            MarkKind::Office => "assay office mark".to_owned(),
            MarkKind::DateLetter => "date letter".to_owned(),
            MarkKind::Commemorative => "commemorative mark".to_owned(),
            MarkKind::Other => "another mark".to_owned(),
        };
        match seen.legible {
            true => name,
            false => format!("{name} (not legible)"),
        }
    });
    seen.collect::<Vec<_>>().join(", ")
}

/// A shape's name as it is read: `loom_tall` is `loom tall`.
pub fn shape(name: &str) -> String {
    name.replace('_', " ")
}

/// A text in groups of so many characters.
pub fn grouped(text: &str, size: usize) -> String {
    let characters: Vec<char> = text.chars().collect();
    let groups = characters
        .chunks(size.max(1))
        .map(|group| group.iter().collect::<String>());
    groups.collect::<Vec<_>>().join(" ")
}
