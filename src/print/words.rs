//! The words of what is printed: what a record's words are called on paper.

pub use crate::domain::instant::in_words as day;
use crate::domain::{FinenessBasis, Hallmark, MarkKind};
use crate::metal::{Fineness, Metal};

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

/// On whose word or assay a fineness rests. Metal that was melted may have borne a hallmark where the piece bears none.
pub const fn basis(basis: FinenessBasis, marked: bool) -> &'static str {
    match (basis, marked) {
        (FinenessBasis::Declared, _) => {
            "what the metal’s suppliers declared; no assay office has tested this piece"
        }
        (FinenessBasis::Assayed, _) => "assay reports of the metal it was poured from",
        (FinenessBasis::Hallmarked, true) => "the hallmark struck on it by an assay office",
        (FinenessBasis::Hallmarked, false) => {
            "hallmarks on the metal it was poured from; no assay office has tested this piece"
        }
    }
}

/// A mark, with the fineness that a fineness mark says.
pub fn mark(kind: MarkKind, fineness: &Fineness) -> String {
    match kind {
        MarkKind::Sponsor => "sponsor’s mark".to_owned(),
        MarkKind::Fineness => format!("fineness mark {fineness}"),
        MarkKind::Office => "assay office mark".to_owned(),
        MarkKind::DateLetter => "date letter".to_owned(),
        MarkKind::Commemorative => "commemorative mark".to_owned(),
        MarkKind::Other => "another mark".to_owned(),
    }
}

/// The marks of a hallmark, as they were seen.
pub fn marks(hallmark: &Hallmark) -> String {
    let seen = hallmark.marks.iter().map(|seen| {
        let name = mark(seen.mark, &hallmark.fineness);
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
