//! `statement`: where every gram is, and the movements behind each figure.

use super::Failure;
use super::asking::{Asking, as_of_json, as_of_text, columns, decimals};
use crate::accounts::{Heading, Line, Reckoning, Statement};
use crate::domain::{Amount, Date};
use crate::metal::Metal;
use clap::Args;
use serde_json::json;

/// Fine grams are printed to 0.1 mg.
const FINE_DECIMALS: u32 = 4;

/// Which statement.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  pourbook statement ./book
  pourbook statement ./book --metal silver --at 2026-06-30
  pourbook statement ./book --metal silver --open melt_loss

What came in less all other lines is the difference: zero. Losses are derived from readings, never typed. Every figure is
reckoned twice, from where things are and from how they came there. Headings under which nothing stands are not printed.
It reads beside a running server too, and changes nothing.
Exit code: 0 printed; 2 the book cannot be read, or has no such position, metal or heading.
With --json: as GET /v1/statement, or GET /v1/statement/{metal}/{heading} with all movements; its figures are exact.")]
pub struct StatementArguments {
    #[command(flatten)]
    asking: Asking,
    /// Of this metal only.
    #[arg(long)]
    metal: Option<Metal>,
    /// Print the movements behind this figure.
    #[arg(long, value_name = "HEADING", requires = "metal", value_parser = heading)]
    open: Option<Heading>,
}

fn heading(text: &str) -> Result<Heading, String> {
    let known = text.parse();
    known.map_err(|()| "is no heading of a statement; without --open, the statement names them".to_owned())
}

pub(super) fn statement(arguments: &StatementArguments) -> Result<String, Failure> {
    arguments
        .asking
        .ask(|reckoning| match (arguments.metal, arguments.open) {
            (Some(metal), Some(heading)) => opened(reckoning, metal, heading, arguments.asking.json),
            (metal, _) => statements(reckoning, metal, arguments.asking.json),
        })
}

fn statements(reckoning: &Reckoning, metal: Option<Metal>, as_json: bool) -> Result<String, Failure> {
    let metals = metal.map_or_else(|| reckoning.metals(), |metal| vec![metal]);
    let statements: Result<Vec<Statement>, _> = metals
        .into_iter()
        .map(|metal| reckoning.statement(metal))
        .collect();
    let statements = statements.map_err(Failure::unusable)?;
    if as_json {
        return Ok(as_of_json(reckoning, &json!({"metals": statements})));
    }
    let told: Vec<String> = statements
        .iter()
        .map(|statement| tell(reckoning, statement))
        .collect();
    if told.is_empty() {
        return Ok(format!("No metal came in yet, {}.", as_of_text(reckoning)));
    }
    Ok(told.join("\n"))
}

fn tell(reckoning: &Reckoning, statement: &Statement) -> String {
    let shown = |line: &&Line| line.heading == Heading::Received || line.amount != Amount::default();
    let lines: Vec<&Line> = statement.lines.iter().filter(shown).collect();
    let whole = lines.iter().map(|line| line.amount).chain([statement.difference]);
    let grams = whole
        .map(|amount| decimals(&amount.mass.to_string()))
        .max()
        .unwrap_or(2);
    let row = |name: String, amount: &Amount| {
        vec![
            name,
            amount.mass.to_text(grams),
            amount.fine.to_text(FINE_DECIMALS),
        ]
    };
    let mut rows = vec![vec![String::new(), "grams".to_owned(), "fine grams".to_owned()]];
    rows.extend(lines.iter().map(|line| row(name(line), &line.amount)));
    rows.push(row("difference".to_owned(), &statement.difference));
    format!(
        "{}, {}\n{}",
        statement.metal,
        as_of_text(reckoning),
        columns(&rows)
    )
}

/// A heading as it is printed: what came in stands at the margin.
fn name(line: &Line) -> String {
    let indent = if line.heading.is_receipt() { "" } else { "  " };
    let pieces = line
        .pieces
        .map_or_else(String::new, |pieces| format!(" ({pieces})"));
    format!("{indent}{}{pieces}", line.heading)
}

fn opened(reckoning: &Reckoning, metal: Metal, heading: Heading, as_json: bool) -> Result<String, Failure> {
    let amount = reckoning.postings().amount(metal, heading);
    let amount = amount.ok_or_else(|| Failure::unusable("a sum beyond what can be written"))?;
    let movements: Vec<_> = reckoning.opened(metal, heading, 0).collect();
    if as_json {
        let body = json!({
            "metal": metal, "heading": heading, "mass": amount.mass, "fine": amount.fine,
            "movements": movements.len(), "items": movements,
        });
        return Ok(as_of_json(reckoning, &body));
    }
    let head = ["entry", "recorded", "what", "from or to", "grams", "fine grams"];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    for movement in &movements {
        let day = Date::of(movement.recorded).map(|day| day.to_string());
        rows.push(vec![
            movement.index.to_string(),
            day.unwrap_or_default(),
            reckoning.named(movement.subject),
            movement.other.to_string(),
            movement.amount.mass.to_string(),
            movement.amount.fine.to_text(FINE_DECIMALS),
        ]);
    }
    let sum = ["sum", "", "", ""].map(str::to_owned).into_iter();
    let sum = sum.chain([amount.mass.to_string(), amount.fine.to_text(FINE_DECIMALS)]);
    rows.push(sum.collect());
    let of = as_of_text(reckoning);
    Ok(format!("{metal}, {heading}, {of}\n{}", columns(&rows)))
}
