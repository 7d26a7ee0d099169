//! What asks for a look: losses that are not as usual, and differences that the readings do not explain, each in a sentence.

use super::Look;
use super::losses::stands_out;
use crate::accounts::{Emptied, Losses};
use crate::domain::{CountedThing, Stocktake};
use crate::metal::Metal;

/// The differences of one metal, the newest of each kind first. `counted` tells of which metal a counted thing is, and what
/// it is called.
#[must_use]
pub fn looks(
    losses: &Losses,
    jars: &[(Emptied, String)],
    counts: &[&Stocktake],
    counted: impl Fn(CountedThing, uuid::Uuid) -> Option<(Metal, String)>,
) -> Vec<Look> {
    let path = format!("/metal/{}", losses.metal);
    let melts = losses.items.iter().rev().filter_map(|loss| {
        let why = stands_out(loss)?;
        Some(Look {
            words: format!(
                "Melt {}: {why}. {} g of {} g, ± {} g.",
                loss.number, loss.loss, loss.charge, loss.uncertainty
            ),
            address: format!("/metal/melts/{}", loss.number),
        })
    });
    let emptied = jars
        .iter()
        .rev()
        .filter(|(emptied, _)| !emptied.explained)
        .map(|(emptied, name)| Look {
            words: format!(
                "{}: {} g short when it was emptied, and the readings explain ± {} g.",
                super::capital(name),
                emptied.short,
                emptied.uncertainty
            ),
            address: format!("{path}/losses"),
        });
    let lines = counts
        .iter()
        .rev()
        .flat_map(|count| count.lines.iter().map(move |line| (count, line)));
    let found = lines.filter_map(|(count, line)| {
        let (metal, name) = counted(line.what, line.id)?;
        let size = line.variance.magnitude();
        let which = if line.variance.is_negative() {
            "more than the book said"
        } else {
            "less than the book said"
        };
        (metal == losses.metal && !line.explained).then(|| Look {
            words: format!(
                "Stock-take {}, {name}: {size} g {which}, and the readings explain ± {} g.",
                count.number, line.uncertainty
            ),
            address: format!("{path}/under/stocktake_variance"),
        })
    });
    melts.chain(emptied).chain(found).collect()
}
