//! The router: every route of the table is registered once, so that few of them are tried for an address.

use super::admission::is_open_path;
use super::problem::Problem;
use super::routes::{self, ROUTES};
use super::{App, answer, guarded, pages, preflight};
use actix_web::http::{Method, header};
use actix_web::web::{self, Data, Payload, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, Resource, Scope};
use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Registers every route of the table.
///
/// The router tries one after another, and a path with a gap costs most to try: so paths without one come first, and those
/// with one are asked only where all before their gap is in the address.
pub fn configure(config: &mut ServiceConfig, app: &Arc<App>) {
    config.app_data(Data::from(Arc::clone(app)));
    let (gapped, whole): (Vec<_>, Vec<_>) = routes::paths().into_iter().partition(|path| path.contains('{'));
    for path in whole {
        config.service(resource(path, path));
    }
    let mut scopes: BTreeMap<Reverse<&str>, Vec<(&str, &str)>> = BTreeMap::new();
    for path in gapped {
        let before = path.find("/{").unwrap_or_default();
        let (prefix, rest) = path.split_at(before);
        scopes.entry(Reverse(prefix)).or_default().push((rest, path));
    }
    // Backwards by name: the longer of two prefixes that begin alike first.
    for (Reverse(prefix), mut paths) in scopes {
        // What most people ask for is the thing itself, not what is below it.
        paths.sort_by_key(|(rest, _)| rest.matches('/').count());
        let resources = paths.into_iter().map(|(rest, path)| resource(rest, path));
        config.service(resources.fold(web::scope(prefix), Scope::service));
    }
    config.default_service(web::to(nothing_there));
}

/// The routes of a path, of which `rest` is matched by the router.
fn resource(rest: &'static str, path: &'static str) -> Resource {
    let mut resource = web::resource(rest);
    for route in ROUTES.iter().filter(|route| route.path == path) {
        let methods: &[Method] = if route.method == "GET" {
            &[Method::GET, Method::HEAD]
        } else {
            &[Method::POST]
        };
        for method in methods {
            let handler = move |request: HttpRequest, payload: Payload, app: Data<App>| {
                answer(route, request, payload, app)
            };
            resource = resource.route(web::method(method.clone()).to(handler));
        }
    }
    let other = move |request: HttpRequest, app: Data<App>| other_method(path, request, app);
    resource.default_service(web::to(other))
}

/// What the table has not: a browser that asks before it reads from elsewhere, or a wrong method.
async fn other_method(path: &'static str, request: HttpRequest, app: Data<App>) -> HttpResponse {
    let problem =
        Problem::method("this address does not take that method").with(header::ALLOW, routes::allowed(path));
    if pages::are_at(path) {
        return pages::refuse(&problem, None, &app);
    }
    if preflight::is_one(&request) && is_open_path(path, &app) {
        return guarded(preflight::reply(path));
    }
    guarded(problem.reply(&app.settings.address))
}

async fn nothing_there(request: HttpRequest, app: Data<App>) -> HttpResponse {
    let problem = Problem::not_found("there is nothing at this address");
    if pages::are_at(request.path()) {
        return pages::refuse(&problem, None, &app);
    }
    guarded(problem.reply(&app.settings.address))
}
