//! The page of a melt: what went into the crucible and what came out of it, to the last digit.

use super::{Leaf, Standing, capital, grams};
use crate::accounts::MeltLoss;
use crate::domain::{MeltState, Timestamp};
use crate::metal::{Fineness, MassDifference, Metal};
use crate::pages::pictures::{Branch, Row, Stream, Tone};
use maud::{Markup, html};

/// Something that went in or came out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Share {
    /// What it is.
    pub name: String,
    /// How much, in steps of 10 micrograms.
    pub units: i64,
    /// Where it is shown, if it has a page.
    pub address: Option<String>,
}

/// What the page is made of.
pub struct MeltSeen<'a> {
    /// Its number.
    pub number: u32,
    /// The metal.
    pub metal: Metal,
    /// Its blend as declared.
    pub fineness: Fineness,
    /// Whether it is weighed out.
    pub state: MeltState,
    /// When it was charged.
    pub at: Timestamp,
    /// What went in.
    pub inputs: &'a [Share],
    /// What came out, as it was weighed then: pieces from the mould, heel, prills.
    pub outputs: &'a [Share],
    /// What is still in the crucible, or was lost.
    pub rest: MassDifference,
    /// Its loss with what is usual, once it is weighed out.
    pub loss: Option<&'a MeltLoss>,
    /// As of when.
    pub standing: Standing,
}

/// Its stream.
#[must_use]
pub fn picture(seen: &MeltSeen<'_>) -> Stream {
    let branch = |share: &Share, tone: Tone| Branch {
        name: share.name.clone(),
        figure: grams(share.units),
        amount: share.units,
        tone,
        address: share.address.clone(),
    };
    let mut inlets: Vec<Branch> = seen
        .inputs
        .iter()
        .map(|share| branch(share, Tone::Here))
        .collect();
    let mut rows: Vec<Row> = seen
        .outputs
        .iter()
        .map(|share| Row::Branch(branch(share, Tone::Here)))
        .collect();
    let (name, tone) = match (seen.state, seen.rest.is_negative()) {
        (MeltState::Open, _) => ("Still in the crucible", Tone::Here),
        (MeltState::Closed, false) => ("Lost", Tone::Lost),
        (MeltState::Closed, true) => ("More came out than went in", Tone::Lost),
    };
    let rest = Share {
        name: name.to_owned(),
        units: seen.rest.magnitude().units(),
        address: None,
    };
    match seen.rest.is_negative() {
        _ if rest.units == 0 => {}
        true => inlets.push(branch(&rest, tone)),
        false => rows.push(Row::Branch(branch(&rest, tone))),
    }
    Stream {
        id: format!("melt-{}", seen.number),
        title: format!("Melt {}: what went in and what came out", seen.number),
        description: "A stream that is as wide as the metal in it. The table below has every figure."
            .to_owned(),
        inlets,
        rows,
        figure: grams,
        again: None,
    }
}

/// The page.
#[must_use]
pub fn melt(seen: &MeltSeen<'_>) -> Leaf {
    let title = format!("Melt {}", seen.number);
    let losses = seen.standing.to(&format!("/metal/{}/losses", seen.metal));
    let main = html! {
        header .plate {
            h1 { span .name { (title) } }
            p .sentence {
                (capital(seen.metal.word())) ", " (seen.fineness) " parts in 1000 as declared, charged " (seen.standing.moment(seen.at)) ". "
                @match seen.loss {
                    Some(loss) => { "It lost " strong { (loss.loss) " g" } " of " (loss.charge) " g, ± " (loss.uncertainty) " g (k = 2): " (super::losses::stands(loss)) ". " }
                    None => "It is not weighed out yet. ",
                }
                a href=(losses) { "All melts of " (seen.metal) }
            }
            (seen.standing.told(&format!("/metal/melts/{}", seen.number)))
        }
        section aria-labelledby="stream" {
            h2 #stream { "What went in and what came out" }
            (picture(seen).picture())
            (table(seen))
        }
    };
    Leaf::new(title, main)
}

fn table(seen: &MeltSeen<'_>) -> Markup {
    let sum = |shares: &[Share]| {
        grams(
            shares
                .iter()
                .fold(0_i64, |sum, share| sum.saturating_add(share.units)),
        )
    };
    let rest = match seen.state {
        MeltState::Open => "Still in the crucible",
        MeltState::Closed => "Lost: what went in less what came out",
    };
    html! {
        div .wide tabindex="0" role="region" aria-label="In and out" {
            table .figures {
                thead { tr { th scope="col" { "What" } th scope="col" .number { "Weight" } } }
                @for (name, shares) in [("Went in", seen.inputs), ("Came out", seen.outputs)] {
                    tbody {
                        tr .part { th scope="rowgroup" { (name) } td .number { (sum(shares)) } }
                        @for share in shares {
                            tr {
                                th scope="row" { @match &share.address { Some(address) => a href=(address) { (share.name) }, None => (share.name) } }
                                td .number { (grams(share.units)) }
                            }
                        }
                    }
                }
                tbody { tr .part { th scope="row" { (rest) } td .number { (seen.rest) " g" } } }
            }
        }
    }
}
