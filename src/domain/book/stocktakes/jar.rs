//! What a count of a jar makes of its content, melt by melt.

use super::super::{JarVariance, sum_differences};
use super::too_much;
use crate::domain::{JarShare, Refusal};
use crate::metal::{Mass, MassDifference};

/// What a jar holds of each melt when it weighs `weighed` and not `book`; the sum is `weighed`.
pub(super) fn scaled(holds: &[JarShare], book: Mass, weighed: Mass) -> Result<Vec<JarShare>, Refusal> {
    let Some((last, others)) = holds.split_last() else {
        return Ok(Vec::new());
    };
    let mut left = weighed;
    let mut shares = Vec::with_capacity(holds.len());
    for share in others {
        let units = i128::from(share.mass.units())
            .saturating_mul(i128::from(weighed.units()))
            .checked_div(i128::from(book.units()));
        let mass = units
            .and_then(|units| i64::try_from(units).ok())
            .and_then(Mass::from_units);
        let mass = mass.ok_or_else(too_much)?;
        left = left.checked_sub(mass).ok_or_else(too_much)?;
        shares.push(JarShare {
            melt: share.melt,
            mass,
        });
    }
    shares.push(JarShare {
        melt: last.melt,
        mass: left,
    });
    shares.retain(|share| !share.mass.is_zero());
    Ok(shares)
}

/// What was found missing of each melt, added to what was before.
pub(super) fn missing(
    mut so_far: Vec<JarVariance>,
    before: &[JarShare],
    after: &[JarShare],
) -> Result<Vec<JarVariance>, Refusal> {
    for share in before {
        let now = after.iter().find(|now| now.melt == share.melt);
        let mass = share.mass.minus(now.map_or(Mass::ZERO, |now| now.mass));
        match so_far.iter_mut().find(|known| known.melt == share.melt) {
            Some(known) => known.mass = sum_differences(known.mass, mass)?,
            None if mass == MassDifference::ZERO => {}
            None => so_far.push(JarVariance {
                melt: share.melt,
                mass,
            }),
        }
    }
    Ok(so_far)
}
