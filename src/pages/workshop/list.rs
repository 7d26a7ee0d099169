//! A list: a table with the filters that its address holds, and the same as CSV.

use super::{Leaf, Markup, html};

/// One cell.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Cell {
    /// What stands in it.
    pub text: String,
    /// Where it leads.
    pub link: Option<String>,
}

impl Cell {
    /// Text.
    #[must_use]
    pub fn text(text: impl Into<String>) -> Self {
        Self {
            text: text.into(),
            link: None,
        }
    }

    /// Text that leads to a page, where there is one.
    #[must_use]
    pub fn linked(text: impl Into<String>, link: Option<String>) -> Self {
        Self {
            text: text.into(),
            link,
        }
    }
}

/// The head of a column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Head {
    /// What it says, with the unit.
    pub words: &'static str,
    /// Whether figures stand below it.
    pub figure: bool,
}

/// A filter as it stands in the address.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FilterSeen {
    /// Its name in the address.
    pub name: &'static str,
    /// What it asks for.
    pub label: &'static str,
    /// What may be chosen; empty for what is typed.
    pub choices: Vec<(String, String)>,
    /// What is asked for.
    pub value: String,
}

/// A list with what is in it.
pub struct ListSeen<'a> {
    /// Its heading.
    pub title: &'a str,
    /// Its path.
    pub path: &'a str,
    /// The heads of its columns.
    pub heads: &'a [Head],
    /// The rows of this part, newest first.
    pub rows: &'a [Vec<Cell>],
    /// Its filters.
    pub filters: &'a [FilterSeen],
    /// How many rows there are in all.
    pub count: usize,
    /// How many come before this part.
    pub from: usize,
    /// The same list as CSV.
    pub csv: &'a str,
    /// The part before this one.
    pub before: Option<&'a str>,
    /// The part after this one.
    pub after: Option<&'a str>,
}

impl ListSeen<'_> {
    /// Whether anything is asked for.
    fn is_narrowed(&self) -> bool {
        self.filters.iter().any(|filter| !filter.value.is_empty())
    }
}

/// The page.
#[must_use]
pub fn list(seen: &ListSeen<'_>) -> Leaf {
    let last = seen.from.saturating_add(seen.rows.len());
    let main = html! {
        header .plate {
            h1 { span .name { (seen.title) } }
            p .sentence {
                @match (seen.count, seen.rows.len()) {
                    (0, _) if !seen.is_narrowed() => "None yet.",
                    (0, _) => "None that fits.",
                    (count, here) if count == here => { (count) " in all, newest first." },
                    (count, _) => { (seen.from.saturating_add(1)) " to " (last) " of " (count) ", newest first." },
                }
                " " a href=(seen.csv) { "As CSV" }
            }
        }
        (filters(seen))
        @if !seen.rows.is_empty() { (table(seen)) }
        @if seen.before.is_some() || seen.after.is_some() {
            p .parts {
                @if let Some(before) = seen.before { a href=(before) { "Newer" } }
                @if let Some(after) = seen.after { " " a href=(after) { "Older" } }
            }
        }
    };
    Leaf::new(seen.title, main).live()
}

fn filters(seen: &ListSeen<'_>) -> Markup {
    let used = seen.is_narrowed();
    html! {
        @if !seen.filters.is_empty() {
            form .filters method="get" action=(seen.path) role="search" aria-label=(format!("Filter: {}", seen.title)) {
                @for filter in seen.filters { (field(filter)) }
                p .send {
                    button type="submit" { "Show" }
                    @if used { " " a href=(seen.path) { "Show all" } }
                }
            }
        }
    }
}

fn field(filter: &FilterSeen) -> Markup {
    let id = format!("by-{}", filter.name);
    html! {
        div .field {
            label for=(id) { (filter.label) }
            @if filter.choices.is_empty() {
                input type="text" id=(id) name=(filter.name) value=(filter.value) autocomplete="off" maxlength="60";
            } @else {
                select id=(id) name=(filter.name) {
                    option value="" { "any" }
                    @for (value, words) in &filter.choices {
                        option value=(value) selected[*value == filter.value] { (words) }
                    }
                }
            }
        }
    }
}

fn table(seen: &ListSeen<'_>) -> Markup {
    html! {
        div .wide tabindex="0" role="group" aria-label=(seen.title) {
            table {
                thead { tr { @for head in seen.heads { th scope="col" .figure[head.figure] { (head.words) } } } }
                tbody {
                    @for row in seen.rows {
                        tr {
                            @for (place, (cell, head)) in row.iter().zip(seen.heads).enumerate() {
                                @if place == 0 { th scope="row" { (content(cell)) } }
                                @else { td .figure[head.figure] { (content(cell)) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn content(cell: &Cell) -> Markup {
    html! { @match &cell.link { Some(link) => a href=(link) { (cell.text) }, None => (cell.text) } }
}

/// The same as CSV (RFC 4180): a header line, CRLF after each line, quotes where they are needed.
#[must_use]
pub fn csv(heads: &[Head], rows: &[Vec<Cell>]) -> String {
    let mut text = String::new();
    line(&mut text, heads.iter().map(|head| head.words));
    for row in rows {
        line(&mut text, row.iter().map(|cell| cell.text.as_str()));
    }
    text
}

fn line<'a>(text: &mut String, cells: impl Iterator<Item = &'a str>) {
    for (place, cell) in cells.enumerate() {
        if place > 0 {
            text.push(',');
        }
        text.push_str(&quoted(&harmless(cell)));
    }
    text.push_str("\r\n");
}

/// A cell that a spreadsheet would take for a formula begins with an apostrophe instead; a plain number is none.
fn harmless(cell: &str) -> String {
    let begins = cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']);
    let digits = cell.strip_prefix('-').unwrap_or(cell);
    let plain = !digits.is_empty()
        && digits.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.')
        && digits.matches('.').count() < 2;
    match begins && !plain {
        true => format!("'{cell}"),
        false => cell.to_owned(),
    }
}

fn quoted(cell: &str) -> String {
    match cell.contains([',', '"', '\r', '\n']) {
        true => format!("\"{}\"", cell.replace('"', "\"\"")),
        false => cell.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::{Cell, Head, csv};

    /// The rules of RFC 4180 section 2, and what spreadsheets take for a formula (common practice, no source).
    #[test]
    fn cells_are_quoted_and_formulas_are_none() {
        let heads = [
            Head {
                words: "a",
                figure: false,
            },
            Head {
                words: "b, c",
                figure: true,
            },
        ];
        let row = |a: &str, b: &str| vec![Cell::text(a), Cell::text(b)];
        let rows = [
            row("plain", "-0.05"),
            row("two\r\nlines", "say \"so\""),
            row("=1+1", "+44 20"),
            row("@cmd", "-2+3"),
            row("\tx", "1.50"),
            row("--1", "-"),
        ];
        let wanted = "a,\"b, c\"\r\nplain,-0.05\r\n\"two\r\nlines\",\"say \"\"so\"\"\"\r\n'=1+1,'+44 20\r\n'@cmd,'-2+3\r\n\
                      '\tx,1.50\r\n'--1,'-\r\n";
        assert_eq!(csv(&heads, &rows), wanted);
    }
}
