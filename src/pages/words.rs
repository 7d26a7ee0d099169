//! The words of the trade as a buyer reads them.

use crate::domain::{
    CondemnReason, CorrectionReason, FinenessBasis, Hallmark, MarkKind, PhotographSide, PhotographStage,
    PieceState as S, Shape, Stage, StrikeOutcome, SupersedeReason, UnmarkedReason,
};

/// Where a piece is, to follow "it".
pub const fn stands(state: S) -> &'static str {
    match state {
        S::Poured => "was poured, and is not weighed yet",
        S::Graded => "is in the workshop, in the making",
        S::Condemned => "was given up by the workshop, and waits to be melted",
        S::Remelted => "was melted down: the piece no longer exists",
        S::Refined => "went to a refiner: the piece no longer exists",
        S::Serialled => "is in the workshop, in the making",
        S::Struck => "is in the workshop, struck and not finished yet",
        S::MisStruck => "was mis-struck, and is not for sale",
        S::Archived => "was mis-struck, and is kept by the workshop, never for sale",
        S::AtOffice => "is at the assay office",
        S::Hallmarked => "is back from the assay office, and is not certified yet",
        S::Unmarked => "came back from the assay office without a hallmark",
        S::Kept => "was kept or cut by the assay office",
        S::Missing => "did not come back from the assay office: it is missing",
        S::Spare => "is set aside in the workshop as a spare",
        S::Numbered => "has its number, and is not certified yet",
        S::Certified => "is in the workshop’s stock",
        S::Reserved => "is in the workshop, kept for a buyer",
        S::Sold => "is sold, and still in the workshop",
        S::Dispatched => "is on its way to its buyer",
        S::Delivered => "was delivered to its buyer",
        S::Lost => "was lost on its way to its buyer",
        S::Returned => "was given back by its buyer, and is in the workshop",
        S::BoughtBack => "was bought back, and is in the workshop",
        S::Stolen => "was stolen, and is not back",
        S::Destroyed => "was destroyed before a witness: the piece no longer exists",
    }
}

/// A shape's name as words.
pub fn shape(shape: &Shape) -> String {
    shape.as_str().replace('_', " ")
}

/// On whose word the fineness stands, to follow the figure.
pub fn basis(basis: FinenessBasis, marks: Option<&Hallmark>) -> String {
    match (marks, basis) {
        (Some(marks), _) => format!("tested by an assay office and hallmarked {}", marks.fineness),
        (None, FinenessBasis::Declared) => {
            "as the sellers of its metal declared it; no assay office has tested this piece".to_owned()
        }
        (None, FinenessBasis::Assayed) => {
            "by assay reports on the metal that was melted; this piece itself was not tested".to_owned()
        }
        (None, FinenessBasis::Hallmarked) => {
            "by hallmarks on the metal that was melted; this piece itself was not tested".to_owned()
        }
    }
}

/// The same in a few words, for the one sentence.
pub const fn basis_short(basis: FinenessBasis, hallmarked: bool) -> &'static str {
    match (hallmarked, basis) {
        (true, _) => "tested and hallmarked by an assay office",
        (false, FinenessBasis::Declared) => "as the sellers of its metal declared it",
        (false, FinenessBasis::Assayed) => "by assay reports on the metal that was melted",
        (false, FinenessBasis::Hallmarked) => "by hallmarks on the metal that was melted",
    }
}

/// The basis of one lot.
pub const fn lot_basis(basis: FinenessBasis) -> &'static str {
    match basis {
        FinenessBasis::Declared => "as its seller declared",
        FinenessBasis::Assayed => "by an assay report",
        FinenessBasis::Hallmarked => "by the hallmark on it",
    }
}

const fn mark(kind: MarkKind) -> &'static str {
    match kind {
        MarkKind::Sponsor => "the sponsor’s mark",
        MarkKind::Fineness => "the fineness mark",
        MarkKind::Office => "the assay office’s mark",
        MarkKind::DateLetter => "a date letter",
        MarkKind::Commemorative => "a commemorative mark",
        MarkKind::Other => "another mark",
    }
}

/// The marks on a piece.
pub fn marks(hallmark: &Hallmark) -> String {
    let each = hallmark.marks.iter().map(|seen| match seen.legible {
        true => mark(seen.mark).to_owned(),
        false => format!("{} (not legible)", mark(seen.mark)),
    });
    format!("{}: {}", hallmark.fineness, listed(each.collect()))
}

/// Things after one another, as a sentence lists them.
pub fn listed(mut things: Vec<String>) -> String {
    match (things.pop(), things.is_empty()) {
        (None, _) => String::new(),
        (Some(only), true) => only,
        (Some(last), false) => format!("{} and {last}", things.join(", ")),
    }
}

/// A reckoned mass as a maker reads it, of its plain digits: zeros beyond hundredths say nothing of what was weighed.
#[must_use]
pub fn reckoned(digits: &str) -> &str {
    let Some(point) = digits.find('.') else {
        return digits;
    };
    let (kept, beyond) = digits
        .split_at_checked(point.saturating_add(3))
        .unwrap_or((digits, ""));
    let said = beyond.trim_end_matches('0').len();
    digits.get(..kept.len().saturating_add(said)).unwrap_or(digits)
}

/// A sentence begins with a capital.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// At which point of its life a piece was weighed.
pub const fn stage(stage: Stage) -> &'static str {
    match stage {
        Stage::FromMould => "Weighed as it came from the mould",
        Stage::Finished => "Weighed after filing and polishing",
        Stage::Final => "Weighed for its certificate",
        Stage::Returned => "Weighed when it came back",
    }
}

pub const fn condemned(reason: CondemnReason) -> &'static str {
    match reason {
        CondemnReason::Under => "it weighs too little",
        CondemnReason::Over => "it weighs too much",
        CondemnReason::Faulty => "it is faulty",
        CondemnReason::Borderline => "it stayed too near a limit",
        CondemnReason::MisStruck => "it was mis-struck",
        CondemnReason::Unmarked => "the assay office did not mark it",
        CondemnReason::Damaged => "it is damaged",
        CondemnReason::Unwanted => "the maker wants the metal",
    }
}

pub const fn strike(outcome: StrikeOutcome) -> &'static str {
    match outcome {
        StrikeOutcome::Good => "it came out well",
        StrikeOutcome::Double => "a double image",
        StrikeOutcome::OffCentre => "beside its place",
        StrikeOutcome::Weak => "not deep enough",
        StrikeOutcome::Slipped => "the die slid",
        StrikeOutcome::WrongDie => "with the wrong die",
        StrikeOutcome::Cracked => "the piece cracked",
        StrikeOutcome::Other => "it did not come out well",
    }
}

pub const fn unmarked(reason: UnmarkedReason) -> &'static str {
    match reason {
        UnmarkedReason::BelowStandard => "its fineness is below what was claimed",
        UnmarkedReason::Damaged => "it was damaged there",
        UnmarkedReason::NoRoom => "there was no room for the marks",
        UnmarkedReason::Withdrawn => "the workshop took it back",
        UnmarkedReason::Other => "the reason is not published",
    }
}

pub const fn superseded(reason: SupersedeReason) -> &'static str {
    match reason {
        SupersedeReason::Damaged => "the older one was damaged or lost",
        SupersedeReason::Reweighed => "the piece was weighed again",
        SupersedeReason::Mistake => "the older one said something wrong",
        SupersedeReason::Corrected => "an entry that the older one rests on was corrected",
    }
}

/// Why an entry was corrected.
pub const fn corrected(reason: CorrectionReason) -> &'static str {
    match reason {
        CorrectionReason::Mistyped => "a figure or a word was typed wrong",
        CorrectionReason::WrongThing => "another thing was meant",
        CorrectionReason::RecordedTwice => "it was recorded twice",
        CorrectionReason::DidNotHappen => "it did not happen",
        CorrectionReason::Other => "the reason is not published",
    }
}

/// What a photograph shows of a piece.
pub const fn side(side: PhotographSide) -> &'static str {
    match side {
        PhotographSide::Face => "Face",
        PhotographSide::Back => "Back",
        PhotographSide::Edge => "Edge",
        PhotographSide::Marks => "Marks",
        PhotographSide::Detail => "Detail",
    }
}

/// At which point of its life a photograph was taken, to follow what it shows.
pub const fn photograph_stage(stage: PhotographStage) -> &'static str {
    match stage {
        PhotographStage::FromMould => "as it came from the mould",
        PhotographStage::Finished => "weighed, in the workshop",
        PhotographStage::Hallmarked => "after hallmarking",
        PhotographStage::AsSold => "as sold",
        PhotographStage::Returned => "as it came back",
    }
}

/// A sentence in which a figure and its unit stay on one line, by no-break spaces.
pub fn unparted(sentence: &str) -> String {
    let mut unparted = String::with_capacity(sentence.len() + 8);
    let mut figure = false;
    for word in sentence.split_inclusive(' ') {
        let unit = word.trim_end_matches([' ', '.', ',', ';', ':', ')']);
        if figure && matches!(unit, "g" | "°C" | "%") {
            unparted.pop();
            unparted.push('\u{a0}');
        }
        unparted.push_str(word);
        figure = word
            .strip_suffix(' ')
            .is_some_and(|word| word.ends_with(|end: char| end.is_ascii_digit()));
    }
    unparted
}

#[cfg(test)]
mod tests {
    use super::{reckoned, unparted};

    #[test]
    fn a_figure_and_its_unit_are_not_parted() {
        for (sentence, stays) in [
            ("Weighed: 50.24 g.", "Weighed: 50.24\u{a0}g."),
            (
                "50.4 g ± 0.03 g, at 21 °C;",
                "50.4\u{a0}g ± 0.03\u{a0}g, at 21\u{a0}°C;",
            ),
            ("g 50.2 given, of g", "g 50.2 given, of g"),
            ("", ""),
        ] {
            assert_eq!(unparted(sentence), stays);
        }
    }

    #[test]
    fn a_reckoned_mass_ends_where_it_says_nothing_more() {
        for (digits, said) in [
            ("50.40000", "50.40"),
            ("0.05000", "0.05"),
            ("12.34560", "12.3456"),
            ("3.00001", "3.00001"),
            ("7", "7"),
            ("7.5", "7.5"),
        ] {
            assert_eq!(reckoned(digits), said);
        }
    }
}
