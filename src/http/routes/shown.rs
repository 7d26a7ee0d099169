//! Who may call what, as a table for people: every method and path of the one table, a column for each role.

use super::{ROUTES, Route, Who};
use crate::http::access::Role;

/// What stands where a role may call.
const MAY: &str = "x";
const HEAD: &str = "\
# Who may call what

Made by `pourbook routes` of the one table that the router is made of; a test holds the two together, and calls every route in
every role. `x`: may. `(x)`: may where the settings make entries public. GET answers HEAD too. A route that everybody may call
needs no token; pages of the workshop take a session in the place of one.

";

/// The table, in Markdown.
#[must_use]
pub fn shown() -> String {
    let roles: Vec<&str> = Role::ALL.iter().map(|role| role.word()).collect();
    let mut text = format!("{HEAD}| | | everybody | {} |\n", roles.join(" | "));
    text.push_str(&format!(
        "|---|---|{}\n",
        "---|".repeat(roles.len().saturating_add(1))
    ));
    for route in ROUTES {
        text.push_str(&row(route));
    }
    text
}

fn row(route: &Route) -> String {
    let (everybody, roles): (&str, &[Role]) = match route.who {
        Who::Public => (MAY, &Role::ALL),
        Who::Entries => ("(x)", &[Role::Auditor]),
        Who::Roles(roles) => ("", roles),
    };
    let may = Role::ALL.map(|role| if roles.contains(&role) { MAY } else { "" });
    let path = route.path.replace(":.+}", "}");
    format!(
        "| {} | `{path}` | {everybody} | {} |\n",
        route.method,
        may.join(" | ")
    )
}
