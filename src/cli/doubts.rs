//! `doubts`: what failed checks of scales put in doubt, for whoever weighs again.

use super::Failure;
use super::arguments::{book_folder, json};
use crate::accounts::{Decision, FailedCheck, Remedy, SuspectReading, Suspicion};
use crate::domain::SessionId;
use crate::node::BookReader;
use clap::Args;
use std::path::PathBuf;
use uuid::Uuid;

/// What is in doubt.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  pourbook doubts ./book
  pourbook doubts ./book --json

It reads beside a running server too, and changes nothing. A decision is told when it would be another had the readings
been off by what the check showed, as so many grams or as the same share.
Exit code: 0 told; 1 there is no such session; 2 the book cannot be read.
With --json: a list of sessions, the members of each as `suspicion` of GET /v1/sessions/{session}/suspects has them.")]
pub struct DoubtsArguments {
    /// The book.
    dir: PathBuf,
    /// Only this session.
    #[arg(long, value_name = "ID")]
    session: Option<Uuid>,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

pub(super) fn doubts(arguments: &DoubtsArguments) -> Result<String, Failure> {
    let reader = BookReader::open(&book_folder(&arguments.dir)?).map_err(Failure::unusable)?;
    let ids = match arguments.session {
        Some(id) => vec![SessionId(id)],
        None => {
            let failed = Suspicion::failed_sessions(reader.book());
            failed.into_iter().map(|(_, id)| id).collect()
        }
    };
    let mut told = Vec::new();
    for id in ids {
        let position = reader.head().size;
        let suspicion = Suspicion::of(reader.book(), position, &reader, id).map_err(Failure::unusable)?;
        told.push(suspicion.ok_or_else(|| Failure::refused(format!("there is no session {id}")))?);
    }
    if arguments.json {
        return Ok(json(&told));
    }
    if told.is_empty() {
        return Ok("No check of a scale failed.".to_owned());
    }
    Ok(told.iter().map(say).collect::<Vec<String>>().join("\n"))
}

fn say(suspicion: &Suspicion) -> String {
    let Some(check) = &suspicion.check else {
        return format!("session {}: no check failed\n", suspicion.session);
    };
    let mut text = say_check(suspicion, check);
    text.push_str("  index  reading              as typed  by offset  by share  \n");
    suspicion
        .readings
        .iter()
        .for_each(|reading| text.push_str(&say_reading(reading)));
    if suspicion.decisions.is_empty() {
        text.push_str("no decision would be another\n");
    } else {
        text.push_str("would be another:\n");
    }
    suspicion
        .decisions
        .iter()
        .for_each(|decision| text.push_str(&say_decision(decision)));
    text
}

fn say_check(suspicion: &Suspicion, check: &FailedCheck) -> String {
    format!(
        "session {}: the check in entry {} showed {} g for {} g, {} g off; the last that held is entry {}\n{} readings are \
         suspect, {} are to be weighed again\n",
        suspicion.session,
        check.index,
        check.reading,
        check.nominal,
        check.deviation,
        check.last_good,
        suspicion.readings.len(),
        suspicion.to_weigh,
    )
}

fn say_reading(reading: &SuspectReading) -> String {
    let share = reading
        .proportion
        .map(|mass| mass.to_string())
        .unwrap_or_default();
    let remedy = match reading.remedy {
        Remedy::WeighAgain => "weigh it again".to_owned(),
        Remedy::WeighedAgain { again } => format!("weighed again in entry {again}"),
        Remedy::Gone { state: Some(state) } => format!("cannot be weighed again: it is {state}"),
        Remedy::Gone { state: None } => "cannot be weighed again: it has gone on".to_owned(),
    };
    let (mass, offset) = (reading.mass.text(), reading.offset.to_string());
    format!(
        "{:>7}  {:<19}  {mass:>8}  {offset:>9}  {share:>8}  {remedy}\n",
        reading.index, reading.name
    )
}

fn say_decision(decision: &Decision) -> String {
    let share = decision.proportion.as_deref().unwrap_or("not known");
    let now = decision
        .state
        .map(|state| format!(", now {state}"))
        .unwrap_or_default();
    format!(
        "{:>7}  {:<19}  {} {}: {} by offset, {share} by share{now}\n",
        decision.index, decision.name, decision.kind, decision.recorded, decision.offset
    )
}
