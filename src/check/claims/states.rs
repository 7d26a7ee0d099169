//! The table of a piece's life: from which states each event may follow, and where a piece in a state is.
//!
//! It is written from the trade's own table and not shared with the book that decides: a verifier is a second reading of
//! the record. Common practice, no source.

use crate::domain::{Event, PieceState as S, Stage};

/// In the workshop or with its buyer: it can be stolen.
const HELD: &[S] = &[
    S::Graded,
    S::Condemned,
    S::Serialled,
    S::Struck,
    S::MisStruck,
    S::Archived,
    S::Hallmarked,
    S::Unmarked,
    S::Spare,
    S::Numbered,
    S::Certified,
    S::Reserved,
    S::Sold,
    S::Delivered,
    S::Returned,
    S::BoughtBack,
];
/// In the workshop, weighed, and not at its end: it can be weighed in water.
const IN_HAND: &[S] = &[
    S::Graded,
    S::Condemned,
    S::Serialled,
    S::Struck,
    S::MisStruck,
    S::Archived,
    S::Hallmarked,
    S::Unmarked,
    S::Spare,
    S::Numbered,
    S::Certified,
    S::Reserved,
    S::Sold,
    S::Returned,
    S::BoughtBack,
];
/// Weighed, and neither certified nor at its end: it may be given up.
const IN_WORK: &[S] = &[
    S::Graded,
    S::Serialled,
    S::Struck,
    S::MisStruck,
    S::Hallmarked,
    S::Unmarked,
    S::Spare,
    S::Numbered,
    S::Returned,
    S::BoughtBack,
];
const FAULTY_FROM: &[S] = &[
    S::Poured,
    S::Graded,
    S::Serialled,
    S::Struck,
    S::MisStruck,
    S::Hallmarked,
    S::Unmarked,
    S::Spare,
    S::Numbered,
    S::Returned,
    S::BoughtBack,
];
/// Everything but a piece that is not yet weighed, and one that is at its end.
const DESTROYED_FROM: &[S] = &[
    S::Graded,
    S::Condemned,
    S::Serialled,
    S::Struck,
    S::MisStruck,
    S::Archived,
    S::AtOffice,
    S::Hallmarked,
    S::Unmarked,
    S::Kept,
    S::Missing,
    S::Spare,
    S::Numbered,
    S::Certified,
    S::Reserved,
    S::Sold,
    S::Dispatched,
    S::Delivered,
    S::Lost,
    S::Returned,
    S::BoughtBack,
    S::Stolen,
];
/// Ready for the last steps: finally weighed there, numbered, set aside, certified.
const READY: &[S] = &[S::Serialled, S::Struck, S::Hallmarked, S::Spare, S::Numbered];
/// Where nobody has it to show, or there is nothing left of it. In every other state it can be photographed.
pub(super) const UNSEEN: &[S] = &[
    S::Kept,
    S::Missing,
    S::Lost,
    S::Stolen,
    S::Remelted,
    S::Refined,
    S::Destroyed,
];
pub(super) const CAME_HOME: &[S] = &[S::Returned, S::BoughtBack];

const fn weighed_from(stage: Stage) -> &'static [S] {
    match stage {
        Stage::FromMould => &[S::Poured, S::Graded],
        Stage::Finished => &[S::Graded, S::Struck],
        Stage::Final => &[
            S::Serialled,
            S::Struck,
            S::Hallmarked,
            S::Spare,
            S::Numbered,
            S::Certified,
            S::Reserved,
        ],
        Stage::Returned => CAME_HOME,
    }
}

/// From which states an event follows as a rule. What may follow beside the rule, the life says where it takes the event.
/// `None`: the event is not held to a state (it says what another one in its entry has made of the piece).
pub(super) const fn follows(event: &Event) -> Option<&'static [S]> {
    Some(match event {
        Event::PieceWeighed(e) => weighed_from(e.stage),
        Event::PieceGravity(_) => IN_HAND,
        Event::PieceFaulted(_) => FAULTY_FROM,
        Event::PieceFinished(_) => &[S::Graded],
        Event::PieceMoved(_) => &[S::Graded, S::Serialled, S::Struck, S::Hallmarked, S::Unmarked],
        Event::PieceCondemned(_) => IN_WORK,
        Event::PieceRemelted(_) | Event::PieceRefined(_) => &[S::Condemned],
        Event::PieceSerialled(_) => &[S::Graded, S::Struck],
        Event::PieceStruck(_) => &[S::Graded, S::Serialled, S::Struck],
        Event::PieceArchived(_) => &[S::MisStruck],
        Event::PieceConsigned(_) => &[S::Serialled, S::Struck, S::Unmarked],
        Event::PieceHallmarked(_) | Event::PieceUnmarked(_) | Event::PieceKept(_) => &[S::AtOffice],
        Event::PieceMissing(_) => &[S::AtOffice, S::Destroyed],
        Event::PieceSpared(_) => &[S::Serialled, S::Struck, S::Hallmarked],
        Event::PieceNumbered(_) => &[S::Serialled, S::Struck, S::Hallmarked, S::Spare],
        Event::PieceCertified(e) if e.issue == 1 => READY,
        Event::PieceReserved(_) => &[S::Certified],
        Event::PieceReleased(_) => &[S::Reserved, S::Stolen, S::Destroyed],
        Event::PieceSold(_) => &[S::Certified, S::Reserved],
        Event::PieceUnsold(_) => &[S::Sold, S::Lost, S::Stolen, S::Destroyed],
        Event::PieceDispatched(_) | Event::PieceHandedOver(_) => &[S::Sold],
        Event::PieceDelivered(_) | Event::PieceLost(_) | Event::PieceSentBack(_) => &[S::Dispatched],
        Event::PieceFound(_) => &[S::Lost],
        Event::PieceReturned(_) | Event::PieceBoughtBack(_) => &[S::Delivered],
        Event::PieceRestocked(_) => CAME_HOME,
        Event::PieceStolen(_) => HELD,
        Event::PieceRecovered(_) => &[S::Stolen],
        Event::PieceDestroyed(_) => DESTROYED_FROM,
        _ => return None,
    })
}

/// Where a piece in a state is, for a reader.
pub(in crate::check) const fn place(state: S) -> &'static str {
    match state {
        S::AtOffice => "at the assay office",
        S::Kept => "kept or cut by the assay office",
        S::Missing => "sent to the assay office, and not among what came back",
        S::Dispatched => "on its way to its buyer",
        S::Delivered => "with its buyer",
        S::Lost => "lost in transit",
        S::Stolen => "stolen, and not back",
        S::Destroyed => "destroyed before a witness: it no longer exists",
        S::Remelted => "melted: it no longer exists",
        S::Refined => "gone to the refiner: it no longer exists",
        _ => "in the workshop",
    }
}
