//! `routes`: who may call what.

use crate::http::routes;

pub(super) const HELP: &str = "Examples:
  pourbook routes | less
  pourbook routes > api/routes.md

Every route of the API and of the pages, in Markdown, and which role may call it.
Exit code: 0 printed.";

pub(super) fn shown() -> String {
    routes::shown()
}
