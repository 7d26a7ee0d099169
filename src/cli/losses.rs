//! `losses`: what melts lost and jars were short of, and what is usual.

use super::Failure;
use super::asking::{Asking, as_of_json, as_of_text, columns};
use crate::accounts::{Emptied, Losses, Reckoning, Subject};
use crate::metal::Metal;
use crate::metal::control::Judged;
use clap::Args;
use serde_json::json;

/// Which losses.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  pourbook losses ./book
  pourbook losses ./book --metal silver --at 2026-06-30 --json

Once there are ten melts of a metal, each is held against what is usual: the mean loss in parts per million of the charge,
and three standard deviations by the mean moving range (individuals chart), without those that stand out. \"more out than in\" says that the readings'
uncertainty (k = 2) does not explain it. A loss that is within its uncertainty says nothing by itself; their sum does.
It reads beside a running server too, and changes nothing.
Exit code: 0 printed; 2 the book cannot be read, or has no such position or metal.
With --json: {\"position\", \"recorded\", \"metals\": [as GET /v1/losses/{metal}, with all melts], \"emptyings\": [as
GET /v1/jars/{jar}/emptyings]}.")]
pub struct LossesArguments {
    #[command(flatten)]
    asking: Asking,
    /// Of this metal only.
    #[arg(long)]
    metal: Option<Metal>,
}

pub(super) fn losses(arguments: &LossesArguments) -> Result<String, Failure> {
    arguments.asking.ask(|reckoning| {
        let metals = arguments
            .metal
            .map_or_else(|| reckoning.metals(), |metal| vec![metal]);
        let jars = reckoning.emptyings(None).into_iter().filter(|emptied| {
            let jar = reckoning.book().jar(emptied.jar);
            jar.is_some_and(|jar| metals.contains(&jar.metal))
        });
        let jars: Vec<Emptied> = jars.collect();
        let all: Vec<Losses> = metals.iter().map(|metal| reckoning.losses(*metal)).collect();
        let all: Vec<Losses> = all.into_iter().filter(|losses| losses.melts > 0).collect();
        if arguments.asking.json {
            return Ok(as_of_json(reckoning, &json!({"metals": all, "emptyings": jars})));
        }
        let mut text = format!("Losses, {}\n", as_of_text(reckoning));
        text.extend(all.iter().map(tell));
        text.push_str(&tell_jars(reckoning, &jars));
        Ok(text)
    })
}

fn tell(losses: &Losses) -> String {
    let head = ["melt", "charge g", "loss g", "+- g (k = 2)", "ppm", "sum g", ""];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    for loss in &losses.items {
        rows.push(vec![
            format!("{}", loss.number),
            loss.charge.to_string(),
            loss.loss.to_string(),
            loss.uncertainty.to_string(),
            loss.parts_per_million.to_string(),
            loss.total.to_string(),
            remark(loss.judged, loss.flagged),
        ]);
    }
    let usual = match (&losses.usual, losses.mean) {
        (Some(usual), _) => format!(
            "usual: {} ppm, from {} to {}",
            usual.centre, usual.lower, usual.upper
        ),
        (None, Some(mean)) => format!(
            "mean {mean} ppm; nothing is usual before {} melts, and there are {}",
            losses.usual_after, losses.melts
        ),
        (None, None) => String::new(),
    };
    format!("\n{}\n{}{usual}\n", losses.metal, columns(&rows))
}

fn remark(judged: Judged, is_flagged: bool) -> String {
    let unusual = match judged {
        Judged::Early | Judged::Within => None,
        Judged::Above => Some("unusually high"),
        Judged::Below => Some("unusually low"),
    };
    let flagged = is_flagged.then_some("more out than in");
    unusual.into_iter().chain(flagged).collect::<Vec<_>>().join(", ")
}

fn tell_jars(reckoning: &Reckoning, jars: &[Emptied]) -> String {
    if jars.is_empty() {
        return String::new();
    }
    let head = [
        "jar",
        "entry",
        "by the book g",
        "weighed g",
        "short g",
        "+- g (k = 2)",
        "",
    ];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    for emptied in jars {
        let remark = match (emptied.flagged, emptied.explained) {
            (true, _) => "more than the readings explain",
            (false, false) => "less than the readings explain",
            (false, true) => "",
        };
        rows.push(vec![
            reckoning.named(Subject::Jar(emptied.jar)),
            emptied.index.to_string(),
            emptied.booked.to_string(),
            emptied.weighed.to_string(),
            emptied.short.to_string(),
            emptied.uncertainty.to_string(),
            remark.to_owned(),
        ]);
    }
    format!("\njars emptied\n{}", columns(&rows))
}
