//! The tray: pieces one after the other on one scale, each with what the book has of it.

use super::super::{Leaf, Markup, html};
use super::{ACID, Seat, caution, grades, line, script};
use crate::domain::{Grading, JarId, PieceId, SessionId, Stage};
use crate::metal::Reading;
use crate::metal::likely::{Ground, Likely};

/// A tray.
pub struct Tray {
    /// Who weighs.
    pub seat: Seat,
    /// What is weighed, like "Melt 12, from the mould".
    pub title: String,
    /// At which point of their life.
    pub stage: Stage,
    /// The open session.
    pub session: SessionId,
    /// The jar that takes what was filed off.
    pub jar: Option<JarId>,
    /// The scale, in words.
    pub scale: String,
    /// A tare is round when it is a multiple of this, grams.
    pub round_tare_grams: u32,
    /// The pieces, in the order of the tray.
    pub pieces: Vec<TrayPiece>,
    /// Where one goes from here: path and words.
    pub next: Vec<(String, String)>,
    /// Where it is weighed without scripts.
    pub plain: Option<String>,
}

/// A piece of the tray.
pub struct TrayPiece {
    /// The piece.
    pub piece: PieceId,
    /// Its version.
    pub version: u64,
    /// Its pour number.
    pub pour: String,
    /// Its shape, in words.
    pub shape: String,
    /// What a reading of it should be near to.
    pub likely: Option<Likely>,
    /// Its reading at this stage, if it has one.
    pub read: Option<Read>,
}

/// A reading that is in the book.
pub struct Read {
    /// As typed, grams.
    pub mass: Reading,
    /// Index of its entry.
    pub entry: u64,
    /// Whether nothing else was weighed in that entry.
    pub alone: bool,
    /// Its session.
    pub session: SessionId,
    /// Its stage.
    pub stage: Stage,
    /// The jar that took what was filed off before it.
    pub jar: Option<JarId>,
    /// What the book made of it.
    pub grading: Option<Grading>,
}

const fn ground(likely: &Likely) -> (&'static str, Option<u32>) {
    match likely.by {
        Ground::Mould(count) => ("mould", Some(count)),
        Ground::Limits => ("limits", None),
        Ground::Last => ("last", None),
    }
}

/// The page.
#[must_use]
pub fn tray(tray: &Tray) -> Leaf {
    let name = format!(
        "{}/{}",
        tray.stage,
        tray.jar.map_or(String::new(), |jar| jar.to_string())
    );
    let main = html! {
        section .bench data-bench data-tray=(name) data-operator=(tray.seat.operator) data-token=(tray.seat.form_token)
            data-header=(tray.seat.header) data-corrects=[tray.seat.corrects.then_some("yes")] data-session=(tray.session)
            data-stage=(tray.stage) data-jar=[tray.jar] data-round=(tray.round_tare_grams)
            data-done="Everything on this tray has its reading." {
            h1 { (tray.title) }
            p .scale { (tray.scale) }
            (line())
            @if tray.stage == Stage::Finished { (caution(ACID)) }
            div data-scale {}
            @if let Some(path) = &tray.plain {
                p data-without-script { a .button href=(path) { "Weigh one piece" } }
            }
            ol .pieces data-without-script { @for piece in &tray.pieces { (row(piece)) } }
            nav .next aria-label="Next step" {
                @for (path, words) in &tray.next { a .button href=(path) { (words) } }
            }
        }
        (script("tray.mjs"))
    };
    Leaf::new(tray.title.clone(), main)
}

fn row(piece: &TrayPiece) -> Markup {
    let likely = piece.likely.as_ref();
    let (by, count) = likely.map(ground).unzip();
    let read = piece.read.as_ref();
    let graded = read.and_then(|read| read.grading.as_ref());
    let says = match (read, graded) {
        (None, _) => "not weighed".to_owned(),
        (Some(read), None) => format!("{} g", read.mass),
        (Some(read), Some(graded)) => format!("{} g, {}", read.mass, grades::reason(graded)),
    };
    html! {
        li data-piece=(piece.piece) data-version=(piece.version) data-pour=(piece.pour) data-shape=(piece.shape)
            data-low=[likely.map(|likely| likely.low)] data-near=[likely.map(|likely| likely.near)]
            data-high=[likely.map(|likely| likely.high)] data-by=[by] data-count=[count.flatten()]
            data-mass=[read.map(|read| &read.mass)] data-entry=[read.map(|read| read.entry)]
            data-alone=[read.and_then(|read| read.alone.then_some("yes"))]
            data-read-session=[read.map(|read| read.session)] data-read-stage=[read.map(|read| read.stage)]
            data-read-jar=[read.and_then(|read| read.jar)]
            data-grade=[graded.map(|graded| graded.grade)] data-lower=[graded.and_then(|graded| graded.lower)]
            data-upper=[graded.and_then(|graded| graded.upper)] data-guard=[graded.and_then(|graded| graded.guard)] {
            b { (piece.pour) } " " (piece.shape) ": "
            @if let Some(graded) = graded { span aria-hidden="true" { (grades::sign(graded.grade)) " " } }
            (says)
        }
    }
}
