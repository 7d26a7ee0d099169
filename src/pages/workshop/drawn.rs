//! A form as it is drawn: each field with its help and, where something is wrong, what is wrong beside it.

use super::form::{Choice, Field, FormSheet, Kind, Offer, Row, Rows, Taken, Typed};
use super::{Leaf, Markup, html};
use crate::domain::Zone;

/// A question that is asked once before something is taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Question {
    /// What is asked.
    pub words: String,
    /// What the form says when it was answered with yes; it belongs to these words alone.
    pub mark: String,
}

/// A form with all that is in it.
pub struct FormSeen<'a> {
    /// The form.
    pub sheet: &'a FormSheet,
    /// What the book offers.
    pub offer: &'a Offer,
    /// What stands in the fields.
    pub typed: &'a Typed,
    /// Where it is sent.
    pub action: &'a str,
    /// What proves that it is a form of ours.
    pub form_token: &'a str,
    /// The key under which it is recorded once.
    pub key: &'a str,
    /// The version of what it is about.
    pub version: Option<u64>,
    /// What is wrong: the name of the field, and why.
    pub faults: &'a [(String, String)],
    /// What is wrong with the whole.
    pub fault: Option<&'a str>,
    /// Whether nobody can say yet what became of it.
    pub in_doubt: bool,
    /// What is asked before it is taken.
    pub question: Option<&'a Question>,
    /// Whether the lines carry the versions of now instead of those that were seen when the form was made.
    pub versions_anew: bool,
    /// The workshop's zone.
    pub zone: Zone,
    /// The book's currency.
    pub currency: &'a str,
}

impl FormSeen<'_> {
    /// What is wrong with a field or with what stands within it, and whose fault no field of its own tells.
    fn fault_of(&self, name: &str) -> Option<&str> {
        let within = |found: &str| {
            let rest = found.strip_prefix(name);
            rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
        };
        let mut all = self.faults.iter();
        all.find(|(found, _)| within(found)).map(|(_, why)| why.as_str())
    }

    /// The id of the first field that something is wrong with.
    fn first_fault(&self) -> Option<String> {
        self.sheet.fields.iter().find_map(|field| {
            let below = |name: &str| {
                name.strip_prefix(field.member)?
                    .strip_prefix('/')
                    .map(str::to_owned)
            };
            let (name, _) = self
                .faults
                .iter()
                .find(|(name, _)| name == field.member || below(name).is_some())?;
            let of_line = match field.kind {
                Kind::Fixed(_) | Kind::Hidden => return None,
                Kind::Rows(rows) => below(name).and_then(|rest| {
                    let (line, member) = rest.split_once('/')?;
                    let known = rows
                        .fields
                        .iter()
                        .find(|known| member.starts_with(known.member))?;
                    Some(format!("{}/{line}/{}", field.member, known.member))
                }),
                _ => None,
            };
            Some(id_of(of_line.as_deref().unwrap_or(field.member)))
        })
    }

    /// What is wrong and belongs to no field of the form.
    fn elsewhere(&self) -> Vec<&str> {
        let has = |name: &str| {
            let mut fields = self.sheet.fields.iter();
            let shown = |field: &Field| !matches!(field.kind, Kind::Hidden | Kind::Fixed(_));
            fields.any(|field| {
                let rest = name.strip_prefix(field.member);
                shown(field) && rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
            })
        };
        let own = self.fault.into_iter();
        let others = self.faults.iter().filter(|(name, _)| !has(name));
        own.chain(others.map(|(_, why)| why.as_str())).collect()
    }
}

/// The page of a form.
#[must_use]
pub fn form(seen: &FormSeen<'_>) -> Leaf {
    let sheet = seen.sheet;
    let elsewhere = seen.elsewhere();
    let wrong = !seen.faults.is_empty() || !elsewhere.is_empty();
    let main = html! {
        header .plate {
            h1 { span .name { (sheet.title) } }
            @if !sheet.lead.is_empty() { p .sentence { (sheet.lead) } }
        }
        @for caution in sheet.cautions {
            p .notice { (caution) " Defer to local codes and licensed practice." }
        }
        @if wrong {
            div .notice.wrong role="alert" {
                @if seen.in_doubt {
                    p { strong { "Not known yet." } " Send it again: it is recorded once, however often it is sent." }
                } @else {
                    p {
                        strong { "Not recorded." } " Nothing in the book has changed, and all that you typed is still here."
                        @if let Some(id) = seen.first_fault() { " " a href=(format!("#{id}")) { "To what is wrong" } }
                    }
                }
                @for why in elsewhere { p { (sentence(why)) } }
            }
        }
        @if let Some(about) = &seen.offer.about { (about) }
        form .entry method="post" action=(seen.action) {
            input type="hidden" name="form_token" value=(seen.form_token);
            input type="hidden" name="key" value=(seen.key);
            @if let Some(version) = seen.version {
                input type="hidden" name="version" value=(version);
            }
            @if let Some(question) = seen.question {
                div .notice.asks role="alert" {
                    p { strong { "Before it is recorded: " } (question.words) }
                    p { button type="submit" name="sure" value=(question.mark) { "Yes, record it" } }
                    p .fine { "If not, change what is below, or leave this page: nothing has been recorded." }
                }
            }
            @for field in sheet.fields { (drawn(seen, field, field.member)) }
            p .send { button type="submit" { (sheet.submit) } }
        }
    };
    Leaf::new(sheet.title, main)
}

/// A fault as a sentence: problems begin small and end without a stop.
fn sentence(why: &str) -> String {
    let mut letters = why.chars();
    let first = letters
        .next()
        .map(|first| first.to_uppercase().collect::<String>());
    let text = format!("{}{}", first.unwrap_or_default(), letters.as_str());
    if text.ends_with(['.', '?', '!']) {
        text
    } else {
        format!("{text}.")
    }
}

/// An id that a label can name: the member without what a selector would stumble over.
fn id_of(name: &str) -> String {
    format!("f-{}", name.replace('/', "-"))
}

fn drawn(seen: &FormSeen<'_>, field: &Field, name: &str) -> Markup {
    match field.kind {
        Kind::Fixed(_) => html! {},
        Kind::Hidden => html! { input type="hidden" name=(name) value=(seen.typed.text(name)); },
        Kind::Rows(rows) => table(seen, field, &rows),
        _ => labelled(seen, field, name),
    }
}

fn labelled(seen: &FormSeen<'_>, field: &Field, name: &str) -> Markup {
    let id = id_of(name);
    let fault = seen.fault_of(name);
    let (help_id, fault_id) = (format!("{id}-help"), format!("{id}-fault"));
    let described = match (field.help.is_empty(), fault.is_some()) {
        (true, false) => None,
        (false, false) => Some(help_id.clone()),
        (true, true) => Some(fault_id.clone()),
        (false, true) => Some(format!("{help_id} {fault_id}")),
    };
    let control = Control {
        id: &id,
        name,
        described,
        invalid: fault.is_some(),
    };
    html! {
        div .field.tick[matches!(field.kind, Kind::Tick)] {
            label for=(id) {
                (field.label)
                @if !field.required && !matches!(field.kind, Kind::Tick) { span .may { " (if you wish)" } }
            }
            (input(seen, field, &control))
            @if !field.help.is_empty() { p .help id=(help_id) { (field.help) } }
            @if let Some(fault) = fault { p .fault id=(fault_id) { (sentence(fault)) } }
        }
    }
}

/// What every control has.
struct Control<'a> {
    id: &'a str,
    name: &'a str,
    described: Option<String>,
    invalid: bool,
}

fn input(seen: &FormSeen<'_>, field: &Field, control: &Control<'_>) -> Markup {
    let value = seen.typed.text(control.name);
    match field.kind {
        Kind::Mass => number(control, field, value, "g"),
        Kind::Decimal(unit) => number(control, field, value, unit),
        Kind::Money => number(control, field, value, seen.currency),
        Kind::Whole => number(control, field, value, ""),
        Kind::Day => line(control, field, value, "date"),
        Kind::Moment => {
            let zone = seen.zone.to_string();
            html! { span .with-unit { (line(control, field, value, "datetime-local")) span .unit { (zone) } } }
        }
        Kind::Lines => html! {
            textarea id=(control.id) name=(control.name) rows="3" aria-describedby=[control.described.as_deref()]
                aria-invalid=[control.invalid.then_some("true")] { (value) }
        },
        Kind::Choice(choices) => {
            let choices = choices.iter().map(|(value, words)| (*value, *words));
            select(control, field, value, choices.collect())
        }
        Kind::Chosen => {
            let choices = seen.offer.choices_of(field.member).iter();
            let pair = |choice: &'_ Choice| (choice.value.clone(), choice.words.clone());
            let choices: Vec<(String, String)> = choices.map(pair).collect();
            let choices = choices
                .iter()
                .map(|(value, words)| (value.as_str(), words.as_str()));
            select(control, field, value, choices.collect())
        }
        Kind::Tick => html! {
            input type="checkbox" id=(control.id) name=(control.name) value="yes" checked[!value.is_empty()]
                aria-describedby=[control.described.as_deref()] aria-invalid=[control.invalid.then_some("true")];
        },
        Kind::Text | Kind::Hidden | Kind::Fixed(_) | Kind::Rows(_) => line(control, field, value, "text"),
    }
}

fn line(control: &Control<'_>, field: &Field, value: &str, kind: &str) -> Markup {
    html! {
        input type=(kind) id=(control.id) name=(control.name) value=(value) required[field.required] autocomplete="off"
            aria-describedby=[control.described.as_deref()] aria-invalid=[control.invalid.then_some("true")];
    }
}

/// A number: the keyboard of a tablet shows digits, a comma is as good as a point, and the unit stands behind it.
fn number(control: &Control<'_>, field: &Field, value: &str, unit: &str) -> Markup {
    html! {
        span .with-unit {
            input type="text" inputmode="decimal" id=(control.id) name=(control.name) value=(value) required[field.required]
                autocomplete="off" maxlength="40" spellcheck="false" aria-describedby=[control.described.as_deref()]
                aria-invalid=[control.invalid.then_some("true")];
            @if !unit.is_empty() { span .unit { (unit) } }
        }
    }
}

fn select(control: &Control<'_>, field: &Field, value: &str, choices: Vec<(&str, &str)>) -> Markup {
    html! {
        select id=(control.id) name=(control.name) required[field.required] aria-describedby=[control.described.as_deref()]
            aria-invalid=[control.invalid.then_some("true")] {
            @if !field.required || choices.len() != 1 { option value="" { } }
            @for (choice, words) in choices {
                option value=(choice) selected[choice == value] { (words) }
            }
        }
    }
}

/// The lines of a table: those that the book offers, or blank ones.
fn lines(seen: &FormSeen<'_>, field: &Field, rows: &Rows) -> Vec<Row> {
    match rows.taken {
        Taken::Blank(count) => (1..=count)
            .map(|number| Row {
                id: number.to_string(),
                words: format!("Line {number}"),
                more: String::new(),
                version: 0,
            })
            .collect(),
        _ => seen.offer.rows_of(field.member).to_vec(),
    }
}

fn table(seen: &FormSeen<'_>, field: &Field, rows: &Rows) -> Markup {
    let lines = lines(seen, field, rows);
    let member = field.member;
    // What is wrong with one line stands in that line; what is wrong with all of them here.
    let mut all = seen.faults.iter();
    let fault = all.find(|(name, _)| name == member).map(|(_, why)| why);
    html! {
        fieldset .rows id=(id_of(member)) {
            legend { (field.label) }
            @if !field.help.is_empty() { p .help { (field.help) } }
            @if let Some(fault) = fault { p .fault { (sentence(fault)) } }
            @if lines.is_empty() { p .none { "There is none now." } }
            @for row in &lines { (line_of(seen, field, rows, row)) }
        }
    }
}

/// Whether there is anything to say in a field of a line: not where nothing is offered and nothing need be chosen.
fn has_a_say(seen: &FormSeen<'_>, field: &Field) -> bool {
    field.required || !matches!(field.kind, Kind::Chosen) || !seen.offer.choices_of(field.member).is_empty()
}

fn line_of(seen: &FormSeen<'_>, field: &Field, rows: &Rows, row: &Row) -> Markup {
    let start = format!("{}/{}", field.member, row.id);
    let fault = seen.fault_of(&start);
    let told_below = rows.fields.iter().any(|below| {
        let name = format!("{start}/{}", below.member);
        seen.fault_of(&name).is_some()
    });
    let ticked = seen.typed.all(field.member).any(|id| id == row.id);
    let version_name = format!("{start}/version");
    let version = match seen.typed.text(&version_name) {
        typed if !typed.is_empty() && !seen.versions_anew => typed.to_owned(),
        _ => row.version.to_string(),
    };
    html! {
        div .row role="group" aria-label=(row.words) {
            @if rows.versioned { input type="hidden" name=(version_name) value=(version); }
            @match rows.taken {
                Taken::Ticked => label .pick {
                    input type="checkbox" name=(field.member) value=(row.id) checked[ticked];
                    span { (row.words) @if !row.more.is_empty() { " " small { (row.more) } } }
                },
                Taken::All | Taken::Filled => p .pick {
                    input type="hidden" name=(field.member) value=(row.id);
                    span { (row.words) @if !row.more.is_empty() { " " small { (row.more) } } }
                },
                Taken::Blank(_) => p .pick { (row.words) },
            }
            @for below in rows.fields.iter().filter(|below| has_a_say(seen, below)) {
                (drawn(seen, below, &format!("{start}/{}", below.member)))
            }
            @if let Some(fault) = fault.filter(|_| !told_below) { p .fault { (sentence(fault)) } }
        }
    }
}
