//! Who may call what: the table of routes, the token or the session, and how often an address may ask.

use super::access::{Caller, Role};
use super::problem::Problem;
use super::routes::{ROUTES, Route, Who};
use super::{App, conditions, proxies, sessions};
use actix_web::HttpRequest;
use actix_web::http::header;

/// Whether everybody may call a route.
pub fn is_open(route: &Route, app: &App) -> bool {
    route.who == Who::Public || (route.who == Who::Entries && app.settings.entries_public)
}

/// Whether everybody may call every route of a path.
pub fn is_open_path(path: &str, app: &App) -> bool {
    let mut routes = ROUTES.iter().filter(|route| route.path == path);
    routes.all(|route| is_open(route, app))
}

/// Who calls, whether the table lets them, and whether they ask too often.
///
/// # Errors
/// 401 for nobody that is known, 403 for a role that may not, 429 for an address that asks too often.
pub fn admit(route: &Route, request: &HttpRequest, app: &App) -> Result<Option<Caller>, Problem> {
    let roles: &[Role] = match route.who {
        Who::Roles(roles) => roles,
        _ if is_open(route, app) => return app.limits.public(proxies::caller(request, app)).map(|()| None),
        _ => &[Role::Auditor],
    };
    let authorization = conditions::single(request.headers(), header::AUTHORIZATION)?;
    let caller = match app.access.caller(authorization, (app.clock)()) {
        Err(unknown) if authorization.is_some() => {
            app.limits.wrong_token(proxies::caller(request, app))?;
            return Err(unknown);
        }
        // Without a token a browser that is signed in may call; one that was sent is the only one that counts.
        Err(unknown) => sessions::of_module(request, app)?.ok_or(unknown)?,
        Ok(known) => known,
    };
    if roles.contains(&caller.role) {
        Ok(Some(caller))
    } else {
        Err(Problem::forbidden(
            "this is not the part of the role that the token has",
        ))
    }
}
