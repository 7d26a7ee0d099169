//! Photographs, taken with the tablet's own camera.

use super::super::{Leaf, html};
use super::{Seat, line, script};
use crate::domain::{PhotographSide, PhotographStage, PieceId};
use crate::pages::words::side;

/// A piece before the camera.
pub struct Picture {
    /// Who takes it.
    pub seat: Seat,
    /// The piece.
    pub piece: PieceId,
    /// Its version.
    pub version: u64,
    /// Its pour number or serial.
    pub name: String,
    /// The point of its life that is most likely.
    pub stage: PhotographStage,
    /// How many photographs it has.
    pub taken: usize,
}

const fn stage(stage: PhotographStage) -> &'static str {
    match stage {
        PhotographStage::FromMould => "From the mould",
        PhotographStage::Finished => "Weighed, in the workshop",
        PhotographStage::Hallmarked => "Hallmarked",
        PhotographStage::AsSold => "As sold",
        PhotographStage::Returned => "Come back",
    }
}

/// The page.
#[must_use]
pub fn picture(page: &Picture) -> Leaf {
    let title = format!("Photograph {}", page.name);
    let main = html! {
        section .bench data-bench data-picture=(page.piece) data-operator=(page.seat.operator) data-token=(page.seat.form_token)
            data-header=(page.seat.header) data-version=(page.version) data-name=(page.name) {
            h1 { (title) }
            (line())
            p .hint {
                (page.taken) " in the book. Photographs are public: no faces, no papers, nothing of the workshop that is nobody’s business."
            }
            p data-without-script { "Photographs are sent by a script; this browser runs none here." }
            div data-with-script hidden {
                label for="stage" { "When" }
                select #stage {
                    @for each in PhotographStage::ALL {
                        option value=(each) selected[*each == page.stage] { (stage(*each)) }
                    }
                }
                div .sides {
                    @for each in PhotographSide::ALL {
                        div {
                            input .unseen type="file" accept="image/*" capture="environment" id=(format!("side-{each}")) data-side=(each);
                            label .button for=(format!("side-{each}")) { (side(*each)) }
                        }
                    }
                }
                ol .sent data-sent {}
            }
        }
        (script("picture.mjs"))
    };
    Leaf::new(title, main)
}
