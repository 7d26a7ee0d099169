//! Lists of the workshop: one declaration each gives the page, its filters and the CSV beside it.
//!
//! The filters stand in the address, so a link can open any of them; a name that the list does not know is refused, an empty
//! value asks for nothing. A book of a workshop is small: all rows are read, held against the filters, and shown newest first.

mod metal;
mod office;
mod prices;

pub use metal::{lots, melts, pieces, residues};
pub use office::{certificates, consignments, orders, sales, series};
pub use prices::{charges, quotes, spots, stocktakes};

use super::names::Names;
use super::visit::may_read;
use super::{App, Seen, Visit};
use crate::domain::Series;
use crate::http::failed;
use crate::http::found::Found;
use crate::http::problem::Problem;
use crate::http::query::Parameters;
use crate::http::workshop::sign_in::escaped;
use crate::pages::workshop::{self as page, Cell, FilterSeen, Head, Leaf, ListSeen, html};
use crate::views::Tabled;

/// How many rows one page has.
const PART: usize = 100;
/// How many rows are read at a time.
const READ: usize = 200;
/// The lists, by word and path.
const ALL: &[(&str, &str)] = &[
    ("Pieces", "/pieces"),
    ("Lots", "/lots"),
    ("Melts", "/melts"),
    ("Residues", "/residues"),
    ("Series", "/series"),
    ("Consignments", "/consignments"),
    ("Orders", "/orders"),
    ("Sales", "/sales"),
    ("Certificates", "/certificates"),
    ("Quotations", "/quotes"),
    ("Spot prices", "/spots"),
    ("Bills", "/charges"),
    ("Stock-takes", "/stocktakes"),
];

/// A list.
struct Listing<T: 'static> {
    /// Its heading.
    title: &'static str,
    /// Its path; the CSV stands at the same with `.csv` behind it.
    path: &'static str,
    columns: &'static [Column<T>],
    filters: &'static [Filter<T>],
}

/// A column.
struct Column<T> {
    /// Its head, with the unit.
    head: &'static str,
    /// Whether figures stand in it.
    figure: bool,
    /// Whether names or money stand in it, which not every role may see.
    private: bool,
    cell: fn(&Names<'_>, &T) -> Result<Cell, Problem>,
}

impl<T> Column<T> {
    const fn text(head: &'static str, cell: fn(&Names<'_>, &T) -> Result<Cell, Problem>) -> Self {
        Self {
            head,
            figure: false,
            private: false,
            cell,
        }
    }

    const fn figure(head: &'static str, cell: fn(&Names<'_>, &T) -> Result<Cell, Problem>) -> Self {
        Self {
            figure: true,
            ..Self::text(head, cell)
        }
    }

    const fn private(head: &'static str, cell: fn(&Names<'_>, &T) -> Result<Cell, Problem>) -> Self {
        Self {
            private: true,
            ..Self::text(head, cell)
        }
    }
}

/// A filter.
struct Filter<T> {
    /// Its name in the address.
    name: &'static str,
    label: &'static str,
    of: Of,
    /// Whether a row fits what is asked for; 400 for what cannot be asked.
    fits: fn(&Names<'_>, &T, &str) -> Result<bool, Problem>,
}

impl<T> Filter<T> {
    /// Whether a row fits: of words, one of those that are asked for.
    fn is_met(&self, names: &Names<'_>, row: &T, value: &str) -> Result<bool, Problem> {
        let Of::Words(_) = self.of else {
            return (self.fits)(names, row, value);
        };
        for word in value.split(',') {
            if (self.fits)(names, row, word)? {
                return Ok(true);
            }
        }
        Ok(false)
    }
}

/// What a filter takes.
enum Of {
    /// One of these words, or several with commas between.
    Words(&'static [&'static str]),
    /// The code of a series.
    Series,
    /// What is typed.
    Text,
}

fn show<T: Tabled>(listing: &Listing<T>, app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let names = Names::new(app, visit);
    let mut query = Parameters::read(&visit.asked.query)?;
    let from: usize = query.parse("from", "a whole number")?.unwrap_or(0);
    let asked = asked_of(listing, query)?;
    let rows = fitting(&names, &asked)?;
    let columns = listing.columns.iter();
    let columns: Vec<&Column<T>> = columns
        .filter(|column| !column.private || visit.role().sees_private())
        .collect();
    let heads = columns.iter().map(|column| Head {
        words: column.head,
        figure: column.figure,
    });
    let heads: Vec<Head> = heads.collect();
    let cells = |rows: &[T]| -> Result<Vec<Vec<Cell>>, Problem> {
        let row = |row: &T| columns.iter().map(|column| (column.cell)(&names, row)).collect();
        rows.iter().map(row).collect()
    };
    if visit.asked.path.ends_with(".csv") {
        let text = page::csv(&heads, &cells(&rows)?);
        let found = Found::bytes("text/csv; charset=utf-8; header=present", text, "no-store");
        return Ok(Seen::File(
            found,
            format!("{}.csv", listing.path.trim_start_matches('/')),
        ));
    }
    let shown: &[T] = rows.get(from..).unwrap_or_default();
    let shown = shown.get(..PART).unwrap_or(shown);
    let address = |from: usize| address(listing.path, &asked, from);
    let before = (from > 0).then(|| address(from.saturating_sub(PART)));
    let next = from.saturating_add(PART);
    let after = (next < rows.len()).then(|| address(next));
    let leaf = page::list(&ListSeen {
        title: listing.title,
        path: listing.path,
        heads: &heads,
        rows: &cells(shown)?,
        filters: &filters(&names, &asked)?,
        count: rows.len(),
        from,
        csv: &self::address(&format!("{}.csv", listing.path), &asked, 0),
        before: before.as_deref(),
        after: after.as_deref(),
    });
    Ok(leaf.into())
}

/// What the address asks for, filter by filter.
fn asked_of<T>(listing: &Listing<T>, mut query: Parameters) -> Result<Vec<(&Filter<T>, String)>, Problem> {
    let mut asked = Vec::new();
    for filter in listing.filters {
        let value = query.take(filter.name).unwrap_or_default();
        asked.push((filter, value.trim().to_owned()));
    }
    query.finish()?;
    for (filter, value) in &asked {
        if let Of::Words(words) = filter.of
            && !value.is_empty()
            && !value.split(',').all(|word| words.contains(&word))
        {
            let words = words.join(", ");
            return Err(Problem::unreadable(format!(
                "{:?} must be one of {words}",
                filter.name
            )));
        }
    }
    Ok(asked)
}

/// The rows that fit, newest first.
fn fitting<T: Tabled>(names: &Names<'_>, asked: &[(&Filter<T>, String)]) -> Result<Vec<T>, Problem> {
    let mut rows = Vec::new();
    let mut after = None;
    loop {
        let part = names.app.views.list(&|_: &T| true, after, READ).map_err(failed)?;
        for row in part.rows {
            let mut fits = true;
            for (filter, value) in asked.iter().filter(|(_, value)| !value.is_empty()) {
                fits &= filter.is_met(names, &row, value)?;
            }
            if fits {
                rows.push(row);
            }
        }
        after = part.next;
        if after.is_none() {
            break;
        }
    }
    rows.reverse();
    Ok(rows)
}

/// The address of a list with what is asked for.
fn address<T>(path: &str, asked: &[(&Filter<T>, String)], from: usize) -> String {
    let mut pairs: Vec<String> = asked
        .iter()
        .filter(|(_, value)| !value.is_empty())
        .map(|(filter, value)| format!("{}={}", filter.name, escaped(value)))
        .collect();
    if from > 0 {
        pairs.push(format!("from={from}"));
    }
    match pairs.is_empty() {
        true => path.to_owned(),
        false => format!("{path}?{}", pairs.join("&")),
    }
}

fn filters<T>(names: &Names<'_>, asked: &[(&Filter<T>, String)]) -> Result<Vec<FilterSeen>, Problem> {
    let each = asked.iter().map(|(filter, value)| {
        let choices = match filter.of {
            Of::Words(words) => {
                let several = value.contains(',').then_some(value.as_str());
                let all = words.iter().copied().chain(several);
                all.map(|word| (word.to_owned(), word.replace('_', " ").replace(',', " or ")))
                    .collect()
            }
            Of::Series => {
                let series = names
                    .app
                    .views
                    .list(&|_: &Series| true, None, READ)
                    .map_err(failed)?;
                let choice = |series: &Series| Ok((series.code.to_string(), names.series(series.series)?));
                series.rows.iter().map(choice).collect::<Result<_, Problem>>()?
            }
            Of::Text => Vec::new(),
        };
        Ok(FilterSeen {
            name: filter.name,
            label: filter.label,
            choices,
            value: value.clone(),
        })
    });
    each.collect()
}

/// The page that leads to each list.
///
/// # Errors
/// None of its own.
pub fn index(_: &App, visit: &Visit) -> Result<Seen, Problem> {
    let lists = ALL.iter().filter(|(_, path)| may_read(visit.role(), path));
    let main = html! {
        header .plate { h1 { span .name { "Lists" } } }
        ul .links { @for (words, path) in lists { li { a href=(path) { (words) } } } }
    };
    Ok(Leaf::new("Lists", main).into())
}
