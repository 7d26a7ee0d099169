//! The router: every route of the table is registered once, so that few of them are tried for an address.

use super::admission::is_open_path;
use super::problem::Problem;
use super::routes::{self, ROUTES, Who};
use super::{App, answer, guarded, pages, preflight};
use actix_web::http::{Method, header};
use actix_web::web::{self, Data, Payload, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, Resource, Scope};
use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Registers every route of the table.
///
/// The router tries one after another, and a path with a gap costs most to try: it is asked only where all before its gap is
/// in the address. What strangers ask for comes first, then the paths without a gap.
pub fn configure(config: &mut ServiceConfig, app: &Arc<App>) {
    config.app_data(Data::from(Arc::clone(app)));
    let (gapped, mut whole): (Vec<_>, Vec<_>) =
        routes::paths().into_iter().partition(|path| path.contains('{'));
    let mut scopes: BTreeMap<Reverse<&str>, Vec<(&str, &str)>> = BTreeMap::new();
    for path in gapped {
        let before = path.find("/{").unwrap_or_default();
        let (prefix, rest) = path.split_at(before);
        scopes.entry(Reverse(prefix)).or_default().push((rest, path));
    }
    // Backwards by name: the longer of two prefixes that begin alike first.
    let (mut open, closed): (Vec<_>, Vec<_>) = scopes
        .into_iter()
        .partition(|(_, paths)| paths.iter().any(|(_, path)| is_for_strangers(path)));
    // Nothing that lies below a prefix is found behind it.
    whole.retain(|path| {
        let below = open.iter_mut().find_map(|(Reverse(prefix), paths)| {
            let rest = path.strip_prefix(*prefix)?;
            (rest.is_empty() || rest.starts_with('/')).then_some((rest, paths))
        });
        below.map(|(rest, paths)| paths.push((rest, path))).is_none()
    });
    whole.sort_by_key(|path| !is_for_strangers(path));
    open.into_iter()
        .for_each(|(Reverse(prefix), paths)| register(config, prefix, paths));
    for path in whole {
        config.service(resource(path, path));
    }
    closed
        .into_iter()
        .for_each(|(Reverse(prefix), paths)| register(config, prefix, paths));
    config.default_service(web::to(nothing_there));
}

/// The paths that begin with a prefix: what most people ask for is the thing itself, not what is below it.
fn register(config: &mut ServiceConfig, prefix: &str, mut paths: Vec<(&'static str, &'static str)>) {
    paths.sort_by_key(|(rest, _)| rest.matches('/').count());
    let resources = paths.into_iter().map(|(rest, path)| resource(rest, path));
    config.service(resources.fold(web::scope(prefix), Scope::service));
}

fn is_for_strangers(path: &str) -> bool {
    let mut routes = ROUTES.iter().filter(|route| route.path == path);
    routes.any(|route| !matches!(route.who, Who::Roles(_)))
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
