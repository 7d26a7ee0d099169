//! Calculators on the command line: one question from its arguments, or many from lines of JSON.
//!
//! Both go through the one table of [`crate::calculators`], so a question that is typed, one that is piped and one that is
//! posted are answered alike.

use super::Failure;
use super::arguments::json;
use crate::calculators::{CALCULATORS, Calculator};
use clap::Args;
use serde_json::{Map, Value, json};
use std::io::BufRead;

/// One question, and how its answer is printed.
#[derive(Debug, Args)]
pub struct Reckoned<Q: Args> {
    #[command(flatten)]
    question: Q,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

/// Answers a question that was typed.
pub(super) fn reckon<Q: Calculator + Args>(typed: &Reckoned<Q>) -> Result<String, Failure> {
    answered(&typed.question, typed.json)
}

/// The answer to a question, as it is printed.
pub(super) fn answered(question: &impl Calculator, as_json: bool) -> Result<String, Failure> {
    let answer = question.answer().map_err(Failure::refused)?;
    Ok(if as_json {
        json(&answer.to_json())
    } else {
        answer.to_text()
    })
}

/// Many questions.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  echo '{\"gravity\": {\"air\": \"100.42\", \"gain\": \"9.55\", \"water\": \"21\", \"step\": \"0.01\"}}' | pourbook reckon
  pourbook reckon < questions.jsonl

Each line of standard input is one JSON object with one member: the calculator, and in it what its command takes, with
underscores for the hyphens and quantities as text. Each is answered by one line: {\"answer\": {…}}, or {\"refused\":
{\"member\", \"fact\"}}, or {\"unreadable\": \"why\"}.
Exit code: 0 every line was answered, by a refusal too; 2 a line could not be read, or the input could not.")]
pub struct ReckonArguments {}

/// Answers lines of JSON until the input ends.
pub(super) fn reckon_lines() -> Result<(String, u8), Failure> {
    let (mut text, mut code) = (String::new(), 0);
    for line in std::io::stdin().lock().lines() {
        let line = line.map_err(Failure::unusable)?;
        let told = answer_line(&line).unwrap_or_else(|why| {
            code = 2;
            json!({ "unreadable": why })
        });
        text.push_str(&told.to_string());
        text.push('\n');
    }
    Ok((text, code))
}

fn answer_line(line: &str) -> Result<Value, String> {
    let question: Map<String, Value> = serde_json::from_str(line).map_err(|error| error.to_string())?;
    let mut members = question.into_iter();
    let (Some((word, question)), None) = (members.next(), members.next()) else {
        return Err("one member is needed: the calculator".into());
    };
    let known = CALCULATORS.iter().find(|known| known.word == word);
    let known = known.ok_or_else(|| {
        let words: Vec<&str> = CALCULATORS.iter().map(|known| known.word).collect();
        format!("{word:?} is none of {}", words.join(", "))
    })?;
    Ok(
        match (known.answer)(question).map_err(|error| error.to_string())? {
            Ok(answer) => json!({ "answer": answer.to_json() }),
            Err(refused) => json!({ "refused": { "member": refused.member, "fact": refused.fact } }),
        },
    )
}
