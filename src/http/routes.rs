//! The one table of the API: every method and path, who may call it, and what it does.
//!
//! It registers the routes, it decides who may call, and tests walk it. A route that is not in it does not exist. Its words
//! stand here, its rows in `table`, and how each command is read in `recordings`.

mod office;
pub(in crate::http) mod recordings;
mod shown;
mod table;

pub use shown::shown;

use super::App;
use super::access::Role;
use super::calculations::Calculation;
use super::figures::Figure;
use super::located::Misfit;
use super::pages::Page;
use super::problem::Problem;
use super::workshop::Sheet;
use crate::domain::Command;
use crate::views::Table;
use serde_json::Value;
use std::collections::BTreeMap;

/// Who may call a route.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Who {
    /// Everybody, without a token.
    Public,
    /// These roles.
    Roles(&'static [Role]),
    /// Everybody if the book's entries are public, else an auditor.
    Entries,
}

/// What a route does.
#[derive(Clone, Copy, Debug)]
pub enum Deed {
    /// Records a command.
    Command(&'static Recording),
    /// Records an entry that the root key signed.
    KeyEntry,
    /// Keeps a photograph of a piece and records it.
    AddPhotograph,
    /// Shows a photograph that the record names.
    ShowPhotograph,
    /// Lists a table.
    List(Table),
    /// Shows one row.
    Show(Table),
    /// Shows a piece with all that was recorded of it.
    History,
    /// Answers what is reckoned from the log, as of a position.
    Figure(Figure),
    /// Shows entries by position, a page at a time or as they come.
    Events,
    /// Looks something up by what stands in the address.
    Find,
    /// Looks something up by what stands in the body, certificate codes too.
    FindPosted,
    /// Answers a question that needs no book.
    Calculation(Calculation),
    /// Holds what somebody measured against the record of a piece.
    Comparison,
    /// Says whether the code of a certificate belongs to the record of a piece.
    Code,
    /// The public record of a piece.
    Record,
    /// The proof file of a piece.
    Proof,
    /// What was printed, made again.
    Print,
    /// Sheets of labels for the pieces of a series.
    Labels,
    /// The packing list of a consignment.
    PackingList,
    /// The policy by which a stranger checks.
    Policy,
    /// The released checkpoint.
    Checkpoint,
    /// A tile of hashes.
    HashTile,
    /// A tile of entries.
    EntryTile,
    /// The description of the API.
    Description,
    /// Whether all is well.
    Health,
    /// The page of a kind of problem.
    ProblemPage,
    /// A page for people, or what a page loads.
    Page(Page),
    /// A page for the workshop's own people, who are signed in.
    Sheet(Sheet),
}

/// Makes what a command needs made; on a thread that may wait.
pub type Prepare = fn(&App, Command) -> Result<Command, Problem>;

/// How a command is read from a request, and what its reply points at.
#[derive(Clone, Copy, Debug)]
pub struct Recording {
    /// The command, as code spells it.
    pub name: &'static str,
    /// Reads it from a body, with what stands in the path put in.
    pub read: fn(&Value) -> Result<Command, Misfit>,
    /// The member that stands in the path, if it is about one existing subject: then `If-Match` is needed.
    pub subject: Option<&'static str>,
    /// The part of the path that names the entry which it corrects: then what that entry is about is held to the version that
    /// was seen. Of forms only: the API names its entries in the body.
    pub entry: Option<&'static str>,
    /// Whether it is a tray whose items carry the version of their piece.
    pub tray: bool,
    /// Members of the command that a client may not give, since the writer fills them in.
    pub hidden: &'static [&'static str],
    /// What the server makes of the command before the book decides, if it must make something.
    pub prepare: Option<Prepare>,
    /// The kind of thing that the reply's `Location` and `ETag` are about: the first of its kind in the events.
    pub main: &'static str,
}

/// One route.
#[derive(Clone, Copy, Debug)]
pub struct Route {
    /// `GET` (which answers `HEAD` too) or `POST`.
    pub method: &'static str,
    /// The path, as the router spells it.
    pub path: &'static str,
    /// Who may call.
    pub who: Who,
    /// What it does.
    pub deed: Deed,
}

impl Route {
    /// Whether it is for people and their browsers: such a route is no part of the API and stands in no description of it.
    #[must_use]
    pub const fn is_page(&self) -> bool {
        matches!(self.deed, Deed::Page(_) | Deed::Sheet(_))
    }
}

/// Every route. Of two that match, the first is taken.
pub const ROUTES: Routes = Routes(&[table::ROUTES, office::ROUTES]);

/// The rows of the table, which stand in several files.
#[derive(Clone, Copy, Debug)]
pub struct Routes(&'static [&'static [Route]]);

/// Goes over all rows.
type Rows = std::iter::Flatten<std::iter::Copied<std::slice::Iter<'static, &'static [Route]>>>;

impl Routes {
    /// All rows, in their order.
    pub fn iter(self) -> Rows {
        self.0.iter().copied().flatten()
    }
}

impl IntoIterator for Routes {
    type Item = &'static Route;
    type IntoIter = Rows;

    fn into_iter(self) -> Rows {
        self.iter()
    }
}

/// The methods of a path, for the `Allow` header.
#[must_use]
pub fn allowed(path: &str) -> String {
    let mut methods: Vec<&str> = Vec::new();
    for route in ROUTES.iter().filter(|route| route.path == path) {
        methods.push(route.method);
        if route.method == "GET" {
            methods.push("HEAD");
        }
    }
    methods.sort_unstable();
    methods.join(", ")
}

/// The route at an address, and what stands in the gaps of its path. As in the server, a path that says more goes first:
/// `/orders/new` is a form, and no order.
#[must_use]
pub fn at(method: &str, address: &str) -> Option<(&'static Route, BTreeMap<String, String>)> {
    let path = address.split(['?', '#']).next().unwrap_or_default();
    let routes = ROUTES.iter().filter(|route| route.method == method);
    let fitting = routes.filter_map(|route| fit(route.path, path).map(|members| (route, members)));
    fitting.min_by_key(|(_, members)| members.len())
}

/// What stands in the gaps of a path, if an address is one of it. A gap takes one part.
fn fit(template: &str, path: &str) -> Option<BTreeMap<String, String>> {
    let mut members = BTreeMap::new();
    let mut parts = path.split('/');
    for wanted in template.split('/') {
        let part = parts.next()?;
        match wanted.strip_prefix('{').and_then(|name| name.strip_suffix('}')) {
            Some(name) if !part.is_empty() => {
                members.insert(name.to_owned(), part.to_owned());
            }
            None if wanted == part => {}
            _ => return None,
        }
    }
    parts.next().is_none().then_some(members)
}

/// Every path once, in the order of the table.
#[must_use]
pub fn paths() -> Vec<&'static str> {
    let mut paths: Vec<&'static str> = Vec::new();
    for route in ROUTES {
        if !paths.contains(&route.path) {
            paths.push(route.path);
        }
    }
    paths
}
