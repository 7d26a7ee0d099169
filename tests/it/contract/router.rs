//! What the router itself says it has, against the table of routes and against the description.
//!
//! The router's side is actix-web's own introspection, so a route that is registered past the table shows itself.

use super::DESCRIPTION;
use crate::http::TestApp;
use actix_web::introspection::IntrospectionTree;
use actix_web::test::{self, TestRequest};
use actix_web::web::{self, Data};
use pourbook::http::Role;
use pourbook::http::routes::{ROUTES, Who};
use serde_json::Value;
use std::collections::BTreeSet;

const ASIDE: &str = "/introspected";

type Routes = BTreeSet<(String, String)>;

/// Method and path of every route of a router, as the router tells them. Where it takes several methods, each once.
async fn registered(app: &TestApp) -> Routes {
    let tell = |tree: Data<IntrospectionTree>| async move { tree.report_as_json() };
    let served = actix_web::App::new()
        .configure(|config| pourbook::http::configure(config, &app.app))
        .route(ASIDE, web::get().to(tell));
    let service = test::init_service(served).await;
    let request = TestRequest::get().uri(ASIDE).to_request();
    let told: Value = test::call_and_read_body_json(&service, request).await;
    let mut routes = Routes::new();
    for item in told.as_array().unwrap() {
        let path = item["full_path"].as_str().unwrap();
        for method in item["methods"].as_array().unwrap() {
            if path != ASIDE {
                routes.insert((method.as_str().unwrap().to_owned(), path.replace(":.+}", "}")));
            }
        }
        assert_ne!(item["potentially_unreachable"].as_bool(), Some(true), "{item}");
    }
    routes
}

#[actix_web::test]
async fn the_router_the_table_and_the_description_have_the_same_routes() {
    let app = TestApp::start().await;
    let registered = registered(&app).await;
    let mut table = Routes::new();
    for route in ROUTES {
        let path = route.path.replace(":.+}", "}");
        table.insert((route.method.to_owned(), path.clone()));
        if route.method == "GET" {
            table.insert(("HEAD".to_owned(), path));
        }
    }
    assert_eq!(registered, table, "router and table");
    // Pages are for people: they are no part of the API, and the description does not name them.
    let pages: BTreeSet<&str> = ROUTES
        .iter()
        .filter(|route| route.is_page())
        .map(|route| route.path)
        .collect();
    let no_page = |(_, path): &&(String, String)| !pages.contains(path.as_str());
    let registered: Routes = registered.iter().filter(no_page).cloned().collect();
    let mut described = Routes::new();
    for (path, operations) in DESCRIPTION["paths"].as_object().unwrap() {
        for method in operations.as_object().unwrap().keys() {
            described.insert((method.to_uppercase(), path.clone()));
            if method == "get" {
                described.insert(("HEAD".to_owned(), path.clone()));
            }
        }
    }
    assert_eq!(registered, described, "router and description");
    assert!(registered.len() > 60, "only {} routes", registered.len());
}

/// Who may call what stands in one document, and the command prints it. `BLESS=1` writes it anew.
#[test]
fn the_document_of_routes_and_roles_is_made_of_the_table() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/api/routes.md");
    let printed = crate::cli::pourbook(&["routes"]).ends(0, &["/v1/jars"]).out;
    if std::env::var_os("BLESS").is_some() {
        std::fs::write(path, &printed).unwrap();
    }
    let kept = std::fs::read_to_string(path).unwrap();
    assert_eq!(kept, printed, "BLESS=1 writes it anew");
    // Each row says of each role what the table says, read back from the text.
    let rows: Vec<Vec<&str>> = kept
        .lines()
        .filter(|line| line.starts_with("| GET") || line.starts_with("| POST"))
        .map(|line| line.trim_matches('|').split('|').map(str::trim).collect())
        .collect();
    assert_eq!(rows.len(), ROUTES.iter().count());
    for (row, route) in rows.iter().zip(ROUTES) {
        assert_eq!(
            row[..2],
            [route.method, &format!("`{}`", route.path.replace(":.+}", "}"))]
        );
        for (role, said) in Role::ALL.iter().zip(&row[3..]) {
            let may = match route.who {
                Who::Public => true,
                Who::Entries => *role == Role::Auditor,
                Who::Roles(roles) => roles.contains(role),
            };
            assert_eq!(*said == "x", may, "{row:?}");
        }
        assert_eq!(row[2] == "x", route.who == Who::Public, "{row:?}");
    }
}
