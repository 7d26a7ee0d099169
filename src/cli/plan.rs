//! How many to pour: by a book's own record, or as a calculator without one.

use super::Failure;
use super::arguments::book_folder;
use super::asking::as_of_json;
use super::reckon;
use crate::accounts::{AsOf, PlanAsked, Reckoning, SeriesPlan, ShapeRecord};
use crate::calculators::Plan;
use crate::domain::SeriesCode;
use crate::node;
use clap::Args;
use serde_json::{Map, json};
use std::path::PathBuf;

/// What the help ends with.
pub const HELP: &str = "Examples:
  pourbook plan ./book --series TW --confidence 0.95 --melts 2
  pourbook plan --shape round:36:0.70 --confidence 0.95
  pourbook plan --shape sun:12:13/18:50.60 --shape moon:12:9/18:50.40 --cavities 6 --melts 5 --heel 300 --loss-ppm 900
  pourbook plan --shape round:36:40/56 --lower 100 --upper 102 --sd 0.9 --guard 0.03 --mean 100.6

A shape is NAME:WANTED:YIELD[:MEAN]; the yield is a share like 0.70, or good ones of those poured like 13/18. With a book,
shapes, yields, means, heel and loss are those of its record.
Exit code: 0 answered; 1 impossible, or no such series, and why; 2 the arguments or the book cannot be read.
With --json: {\"shapes\": [{\"shape\", \"wanted\", \"pours\", \"alone\", \"yield\", \"next\"}], \"pours\", \"chance\", \"formula\", \"notes\"}, and
\"within_least\", \"within_most\", \"grain\", \"aim\", \"aim_yield\", \"mean_yield\" where they were asked; with a book
{\"position\", \"recorded\", \"series\", \"code\", \"shapes\", \"plan\"}, as GET /v1/series/{series}/plan has them.";

/// What is planned.
#[derive(Debug, Args)]
pub struct PlanArguments {
    /// The book whose record is used.
    #[arg(requires = "series")]
    dir: Option<PathBuf>,
    /// The series, by its code.
    #[arg(long, value_name = "CODE", requires = "dir")]
    series: Option<String>,
    #[command(flatten)]
    question: Plan,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

pub(super) fn plan(typed: &PlanArguments) -> Result<String, Failure> {
    let (Some(dir), Some(code)) = (&typed.dir, &typed.series) else {
        return reckon::answered(&typed.question, typed.json);
    };
    let parsed = SeriesCode::parse(code)
        .map_err(|_| Failure::unusable(format!("{code}: is not the code of a series")))?;
    let accounts = node::accounts(&book_folder(dir)?).map_err(Failure::unusable)?;
    let Plan {
        confidence,
        prior,
        cavities,
        melts,
        ..
    } = typed.question;
    let asked = PlanAsked {
        confidence,
        prior,
        cavities,
        melts,
    };
    let asking = |reckoning: &Reckoning| {
        let series = reckoning.book().series_by_code(&parsed);
        let found = series.and_then(|series| Some((series, reckoning.plan(series, asked)?)));
        let (series, plan) =
            found.ok_or_else(|| Failure::refused(format!("{code}: no series of this book has the code")))?;
        let answer = plan.answer().map_err(Failure::refused)?;
        if typed.json {
            let mut body = Map::new();
            body.insert("series".into(), json!(series));
            body.insert("code".into(), json!(plan.code));
            body.insert("shapes".into(), json!(plan.shapes));
            body.extend(answer.map(|answer| ("plan".to_owned(), answer.to_json())));
            return Ok(as_of_json(reckoning, &body));
        }
        let told = answer.map_or_else(String::new, |answer| answer.to_text());
        Ok(format!("{}{told}", said(&plan)))
    };
    accounts.ask(AsOf::Newest, asking).map_err(Failure::unusable)?
}

/// The record in the words of the workshop.
fn said(plan: &SeriesPlan) -> String {
    let mut text = String::new();
    for shape in &plan.shapes {
        let ShapeRecord {
            numbered,
            promised,
            under_way,
            poured,
            good,
            bad,
            undecided,
            ..
        } = shape;
        let size = shape.size.map_or_else(String::new, |size| format!(" of {size}"));
        text.push_str(&format!(
            "{} {}: {numbered}{size} numbered, {under_way} on their way, {promised} promised; poured {poured}: {good} good, \
             {bad} bad, {undecided} undecided\n",
            plan.code, shape.shape
        ));
        for spread in shape
            .spread
            .iter()
            .chain(shape.moulds.iter().filter(|spread| spread.mould.is_some()))
        {
            let mould = spread
                .mould
                .as_ref()
                .map_or_else(String::new, |mould| format!(" in {mould}"));
            let deviation = spread.deviation.as_ref();
            let deviation = deviation.map_or_else(String::new, |sd| format!(", deviation {sd} g"));
            text.push_str(&format!(
                "  {} weighed{mould}: mean {} g{deviation}\n",
                spread.weighed, spread.mean
            ));
        }
        if let (Some(aim), Some(best), Some(now)) = (shape.aim, shape.aim_yield, shape.mean_yield) {
            text.push_str(&format!(
                "  aim at {aim} g: {best} within limits; at the mean so far {now}\n"
            ));
        }
    }
    text
}
