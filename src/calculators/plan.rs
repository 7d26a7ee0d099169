//! How many to pour of each shape, the metal to have ready, and the weight to aim at.

use super::{Answer, Calculator, Impossible};
use crate::metal::Mass;
use crate::metal::floats::{fixed, grams};
use crate::metal::plan::{
    POURS_MAX, Prior, Quota, Shared, Window, Yield, chance_at_most, grain, next_cavities, pours,
    pours_together, shared,
};
use crate::metal::probability::Probability;
use clap::Args;
use serde::Deserialize;
use serde_json::{Value, json};
use std::str::FromStr;

/// The most shapes, good ones of one shape, and pours of all melts together: bounds on work, far above a workshop's.
const SHAPES_MAX: usize = 64;
const WANTED_MAX: u32 = 10_000;
const WITHIN_MAX: u32 = 2_000;

/// One shape of which some are wanted.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wanted {
    /// Its name.
    pub shape: String,
    /// How many good ones are wanted.
    pub wanted: u32,
    /// The share of pours that come out good, where it is known.
    pub r#yield: Option<Probability>,
    /// How many came out good …
    pub good: Option<u32>,
    /// … of how many that were poured.
    pub poured: Option<u32>,
    /// The mean mass of a pour.
    pub mean: Option<Mass>,
}

impl FromStr for Wanted {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let form =
            || format!("{text:?} is not NAME:WANTED:YIELD[:MEAN], such as sun:12:0.70 or sun:12:13/18:50.60");
        let mut parts = text.split(':');
        let (Some(shape), Some(wanted), Some(yields)) = (parts.next(), parts.next(), parts.next()) else {
            return Err(form());
        };
        let mean = parts.next().map(Mass::parse).transpose();
        if parts.next().is_some() {
            return Err(form());
        }
        let (share, record) = match yields.split_once('/') {
            None => (
                Some(yields.parse().map_err(|error| format!("the yield {error}"))?),
                None,
            ),
            Some((good, poured)) => {
                let read = |part: &str| part.parse::<u32>().map_err(|_| form());
                (None, Some((read(good)?, read(poured)?)))
            }
        };
        Ok(Self {
            shape: shape.to_owned(),
            wanted: wanted.parse().map_err(|_| form())?,
            r#yield: share,
            good: record.map(|(good, _)| good),
            poured: record.map(|(_, poured)| poured),
            mean: mean.map_err(|error| format!("the mean mass {error}"))?,
        })
    }
}

/// What is wanted, and how it is poured.
#[derive(Args, Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    /// A shape, how many are wanted, their yield, and the mean mass of a pour; once for each shape.
    #[arg(
        long = "shape",
        value_name = "NAME:WANTED:YIELD[:MEAN]",
        required_unless_present = "dir",
        conflicts_with = "dir"
    )]
    pub shapes: Vec<Wanted>,
    /// How sure it should be that all are filled, above 0 and below 1; 0.95 if not given.
    #[arg(long)]
    pub confidence: Option<Probability>,
    /// What is believed of a recorded yield beforehand, GOOD:BAD of a beta distribution; 1:1, uniform, if not given.
    #[arg(long, value_name = "GOOD:BAD")]
    pub prior: Option<Prior>,
    /// How many cavities one melt pours.
    #[arg(long)]
    pub cavities: Option<u32>,
    /// Within how many further melts it should be done.
    #[arg(long)]
    pub melts: Option<u32>,
    /// What stays in the crucible, grams.
    #[arg(long, value_name = "GRAMS", conflicts_with = "dir")]
    pub heel: Option<Mass>,
    /// What a melt loses, parts per million of its charge.
    #[arg(long, value_name = "PPM", conflicts_with = "dir")]
    pub loss_ppm: Option<u32>,
    /// The lower limit of the pieces, grams: then the weight to aim at is told.
    #[arg(long, value_name = "GRAMS", requires_all = ["upper", "sd"], conflicts_with = "dir")]
    pub lower: Option<Mass>,
    /// The upper limit, grams.
    #[arg(long, value_name = "GRAMS", requires = "lower")]
    pub upper: Option<Mass>,
    /// The standard deviation of a pour's mass, grams.
    #[arg(long, value_name = "GRAMS", requires = "lower")]
    pub sd: Option<Mass>,
    /// The guard band of the scale, grams; none if not given.
    #[arg(long, value_name = "GRAMS", requires = "lower")]
    pub guard: Option<Mass>,
    /// The mean mass of a pour so far, grams: then its yield is told beside the best.
    #[arg(long, value_name = "GRAMS", requires = "lower")]
    pub mean: Option<Mass>,
}

const BLIND: &str = "These are the pours if all are shared out before any is weighed. Pour, weigh, and plan anew after \
    every melt: the next cavities go to the shape that lacks most.";
const INDEPENDENT: &str = "Each pour is taken to come out good or not by itself, and each shape by its own yield; what is \
    rejected goes back into the crucible, so over several melts less metal is enough.";

impl Calculator for Plan {
    const WORD: &'static str = "plan";
    const QUESTION: &'static str = "PlanQuestion";

    fn answer(&self) -> Result<Answer, Impossible> {
        let quotas = self.quotas()?;
        let confidence = self.confidence()?;
        let beyond = || Impossible::of("confidence", format!("it would take more than {POURS_MAX} pours"));
        let plan = pours_together(&quotas, confidence).ok_or_else(beyond)?;
        let alone: Option<Vec<u32>> = quotas.iter().map(|quota| pours(*quota, confidence)).collect();
        let alone = alone.ok_or_else(beyond)?;
        let answer = self.told(&quotas, &plan, &alone, confidence);
        let answer = self.within(answer, &quotas)?;
        let answer = self.ready(answer, &plan)?;
        Ok(self.aimed(answer)?.note(BLIND).note(INDEPENDENT))
    }
}

impl Plan {
    fn quotas(&self) -> Result<Vec<Quota>, Impossible> {
        let refused = |fact: String| Err(Impossible::of("shapes", fact));
        if self.shapes.is_empty() || self.shapes.len() > SHAPES_MAX {
            return refused(format!("one to {SHAPES_MAX} shapes are planned at a time"));
        }
        let mut quotas = Vec::new();
        for (at, shape) in self.shapes.iter().enumerate() {
            let name = &shape.shape;
            if self
                .shapes
                .iter()
                .skip(at.saturating_add(1))
                .any(|other| other.shape == *name)
            {
                return refused(format!("{name} is named twice"));
            }
            if name.is_empty() || name.chars().count() > 40 {
                return refused("a shape needs a name of at most 40 characters".into());
            }
            if shape.wanted > WANTED_MAX {
                return refused(format!("of {name} at most {WANTED_MAX} are planned at a time"));
            }
            let yields = match (shape.r#yield, shape.good, shape.poured) {
                (Some(share), None, None) => match Yield::known(share) {
                    Some(yields) => yields,
                    None => return refused(format!("{name} has a yield of 0: no number of pours fills it")),
                },
                (None, Some(good), Some(poured)) => {
                    match Yield::recorded(good, poured, self.prior.unwrap_or_default()) {
                        Some(yields) => yields,
                        None => return refused(format!("of {name} more are good than were poured")),
                    }
                }
                _ => return refused(format!("{name} needs either its yield or both good and poured")),
            };
            quotas.push(Quota {
                wanted: shape.wanted,
                yields,
            });
        }
        Ok(quotas)
    }

    fn confidence(&self) -> Result<Probability, Impossible> {
        let confidence = match self.confidence {
            Some(confidence) => Some(confidence),
            None => Probability::new(0.95),
        };
        let open = confidence.filter(|confidence| confidence.is_open());
        open.ok_or_else(|| Impossible::of("confidence", "must be above 0 and below 1"))
    }

    fn told(&self, quotas: &[Quota], plan: &Shared, alone: &[u32], confidence: Probability) -> Answer {
        let next = self.cavities.map(|cavities| next_cavities(&plan.pours, cavities));
        let mut items: Vec<Value> = Vec::new();
        let mut answer = Answer::default();
        let shapes = self.shapes.iter().zip(quotas).zip(plan.pours.iter().zip(alone));
        for (at, ((shape, quota), (pours, alone))) in shapes.enumerate() {
            let expected = fixed(quota.yields.mean(), 4);
            let next = next.as_ref().and_then(|next| next.get(at));
            let mut line = format!(
                "{pours} pours for {} good, {alone} if it were alone; yield {expected}",
                shape.wanted
            );
            let mut item = json!({
                "shape": shape.shape, "wanted": shape.wanted, "pours": pours, "alone": alone, "yield": expected,
            });
            if let (Some(next), Some(members)) = (next, item.as_object_mut()) {
                members.insert("next".into(), json!(next));
                line.push_str(&format!("; {next} of the next cavities"));
            }
            answer = answer.line(&shape.shape, line);
            answer = answer.formula(formula(shape, *quota, *alone, confidence));
            items.push(item);
        }
        let total: u32 = plan.pours.iter().sum();
        answer
            .hidden("shapes", Value::Array(items))
            .count("pours", "pours in all", u64::from(total))
            .figure("chance", "all filled with chance", plan.chance, "")
    }

    /// The chance to be done within so many melts: between what sharing out now gives and what no plan can better.
    fn within(&self, answer: Answer, quotas: &[Quota]) -> Result<Answer, Impossible> {
        let Some(melts) = self.melts else {
            return Ok(answer);
        };
        let Some(cavities) = self.cavities else {
            return Err(Impossible::of("melts", "needs the cavities of one melt"));
        };
        let pours = cavities.checked_mul(melts).filter(|pours| *pours <= WITHIN_MAX);
        let pours = pours.ok_or_else(|| {
            Impossible::of("melts", format!("at most {WITHIN_MAX} cavities are looked ahead"))
        })?;
        let least = shared(quotas, pours)
            .map(|shared| shared.chance)
            .unwrap_or_default();
        Ok(answer
            .figure("within_least", "done within these melts, at least", least, "")
            .figure(
                "within_most",
                "planning anew after each, at most",
                chance_at_most(quotas, pours),
                "",
            ))
    }

    /// The metal to have ready, once the mean masses are known.
    fn ready(&self, answer: Answer, plan: &Shared) -> Result<Answer, Impossible> {
        if plan.pours.iter().all(|pours| *pours == 0) {
            return Ok(answer);
        }
        let means: Option<Vec<Mass>> = self.shapes.iter().map(|shape| shape.mean).collect();
        let Some(means) = means else {
            return if self.heel.is_some() || self.loss_ppm.is_some() {
                Err(Impossible::of(
                    "shapes",
                    "each needs its mean mass, to tell the metal to have ready",
                ))
            } else {
                Ok(answer)
            };
        };
        let loss = self.loss_ppm.unwrap_or(0);
        let heel = self.heel.unwrap_or_default();
        let pieces: Vec<(u32, Mass)> = plan.pours.iter().copied().zip(means).collect();
        let ready = grain(&pieces, heel, loss).ok_or_else(|| {
            Impossible::of(
                "loss_ppm",
                "leaves nothing, or the metal is beyond what a mass can hold",
            )
        })?;
        let sums: Vec<String> = pieces
            .iter()
            .map(|(pours, mean)| format!("{pours} x {mean}"))
            .collect();
        Ok(answer.figure("grain", "metal to have ready", ready, "g").formula(format!(
            "metal = (pieces + heel) / (1 - loss) = ({} + {heel}) / (1 - {loss} ppm) = {ready} g, rounded up",
            sums.join(" + ")
        )))
    }

    fn aimed(&self, answer: Answer) -> Result<Answer, Impossible> {
        let (lower, upper, sd) = match (self.lower, self.upper, self.sd) {
            (Some(lower), Some(upper), Some(sd)) => (lower, upper, sd),
            (None, None, None) if self.guard.is_none() && self.mean.is_none() => return Ok(answer),
            _ => {
                return Err(Impossible::of(
                    "lower",
                    "lower, upper and sd go together, and guard and mean with them",
                ));
            }
        };
        let guard = self.guard.unwrap_or_default();
        let window = Window::of(lower, upper, guard)
            .ok_or_else(|| Impossible::of("guard", "the guard bands leave nothing between the limits"))?;
        let aim = window.best_aim();
        let at = |mean: Mass| {
            let yields = window.yields(mean, grams(sd));
            yields.ok_or_else(|| {
                Impossible::of("sd", "is zero: pours that never differ have no yield to choose")
            })
        };
        let best = at(aim)?;
        let mut answer = answer.figure("aim", "weight to aim at", aim, "g").figure(
            "aim_yield",
            "then within the limits",
            best,
            "",
        );
        if let Some(mean) = self.mean {
            answer = answer.figure("mean_yield", "at the mean so far", at(mean)?, "");
        }
        Ok(answer.formula(format!(
            "yield = Phi((upper - guard - aim)/sd) - Phi((lower + guard - aim)/sd) = Phi(({upper} - {guard} - {aim})/{sd}) - \
             Phi(({lower} + {guard} - {aim})/{sd}) = {best}"
        )))
    }
}

/// The number for one shape alone, with the numbers put in.
fn formula(shape: &Wanted, quota: Quota, alone: u32, confidence: Probability) -> String {
    let (name, wanted, yields) = (&shape.shape, quota.wanted, quota.yields);
    let confidence = confidence.value();
    format!("{name}: least n with P({yields} >= {wanted}) >= {confidence}: n = {alone}")
}
