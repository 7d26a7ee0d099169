//! Every route with every role and with no, a wrong and an expired token: generated from the table of routes.

use super::{TestApp, bearer};
use actix_web::test::TestRequest;
use pourbook::domain::{Draw, Timestamp};
use pourbook::http::Page;
use pourbook::http::routes::{Deed, ROUTES, Route, Who};
use pourbook::http::workshop::Sheet;
use pourbook::http::{Access, Role, Tokens};
use serde_json::json;

/// An address of a route, with ids that nothing has.
pub fn address(path: &str) -> String {
    let mut filled = String::new();
    for part in path.split('/').skip(1) {
        filled.push('/');
        filled.push_str(match part {
            "{serial}" => "TW-0001-07",
            "{code}" => "stale",
            "{level}" => "0",
            "{tile:.+}" => "000.p/1",
            id if id.starts_with('{') => "11111111-1111-4111-8111-111111111111",
            word => word,
        });
    }
    filled
}

fn request(method: &str, path: &str) -> TestRequest {
    let request = TestRequest::default()
        .method(super::method(method))
        .uri(&address(path));
    if method != "POST" {
        return request;
    }
    request
        .insert_header(("idempotency-key", "22222222-2222-4222-8222-222222222222"))
        .insert_header(("if-match", "\"1\""))
        .insert_header(("content-type", "application/json"))
        .set_payload(json!({}).to_string())
}

#[actix_web::test]
async fn every_route_takes_its_roles_and_no_other_and_no_bad_token() {
    let app = TestApp::start().await;
    app.released().await;
    let mut tried = 0;
    // The workshop's pages know no tokens but sessions: `workshop` walks them.
    let sheet = |route: &&Route| matches!(route.deed, Deed::Sheet(_));
    for route in ROUTES.iter().filter(|route| !sheet(route)) {
        let what = format!("{} {}", route.method, route.path);
        let roles: &[Role] = match route.who {
            Who::Public => {
                let reply = app.send(request(route.method, route.path)).await;
                assert!(
                    ![401, 403].contains(&reply.status),
                    "{what} without a token: {}",
                    reply.text()
                );
                // A page is read where it stands; the rest of the public side from anywhere.
                let from = (!route.is_page()).then_some("*");
                assert_eq!(reply.header("access-control-allow-origin"), from, "{what}");
                continue;
            }
            Who::Entries => &[Role::Auditor],
            Who::Roles(roles) => roles,
        };
        for token in [None, Some("pb_wrong".to_owned())] {
            let mut sent = request(route.method, route.path);
            if let Some(token) = &token {
                sent = sent.insert_header(bearer(token));
            }
            let reply = app.send(sent).await.expect(401);
            assert_eq!(reply.header("www-authenticate"), Some("Bearer"), "{what}");
            assert_eq!(reply.header("access-control-allow-origin"), None, "{what}");
        }
        for (role, expired) in &app.expired {
            let reply = app
                .send(request(route.method, route.path).insert_header(bearer(expired)))
                .await;
            assert_eq!(reply.status, 401, "{what} with an expired token of {role:?}");
        }
        for role in Role::ALL {
            let sent = request(route.method, route.path).insert_header(bearer(app.token(role)));
            let reply = app.send(sent).await;
            let refused = reply.status == 403;
            assert_eq!(
                refused,
                !roles.contains(&role),
                "{what} as {role:?}: {}",
                reply.text()
            );
            assert_ne!(reply.status, 401, "{what} as {role:?}");
            tried += 1;
        }
    }
    assert!(tried > 100);
}

#[actix_web::test]
async fn admin_gives_no_trade_command_and_the_auditor_writes_nothing() {
    for route in ROUTES.iter().filter(|route| route.method == "POST") {
        // What is only calculated or compared is written nowhere.
        if matches!(
            route.deed,
            Deed::Calculation(_)
                | Deed::Comparison
                | Deed::Code
                | Deed::Page(Page::Comparison | Page::Code)
                | Deed::Sheet(Sheet::SendToken | Sheet::SignOut)
        ) {
            continue;
        }
        let Who::Roles(roles) = route.who else {
            panic!("{} writes for everybody", route.path)
        };
        assert!(!roles.contains(&Role::Auditor), "{}", route.path);
        let of_admin = ["/v1/erasures", "/v1/keys", "/v1/clock", "/v1/revocations"].contains(&route.path);
        assert_eq!(roles.contains(&Role::Admin), of_admin, "{}", route.path);
    }
}

#[actix_web::test]
async fn entries_are_public_only_where_the_book_says_so() {
    let closed = TestApp::start().await;
    closed.released().await;
    closed.get("/log/tile/entries/000.p/3").await.expect(401);
    let open = TestApp::start_with(true).await;
    open.released().await;
    open.get("/log/tile/entries/000.p/3").await.expect(200);
}

#[test]
fn a_token_is_kept_as_its_hash_and_stops_when_the_file_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tokens.json");
    let mut tokens = Tokens::default();
    let token = tokens.add(
        &mut Draw::new([1; 32]),
        Role::Bench,
        Some("bench by the window".into()),
        None,
    );
    tokens.write(&path).unwrap();
    assert!(!std::fs::read_to_string(&path).unwrap().contains(&token));
    let access = Access::open(path.clone()).unwrap();
    let header = format!("Bearer {token}");
    let caller = access.caller(Some(&header), Timestamp(5)).unwrap();
    assert_eq!(caller.role, Role::Bench);
    let mut tokens = Tokens::read(&path).unwrap();
    assert_eq!(tokens.revoke(caller.operator, Timestamp(6)), 1);
    tokens.write(&path).unwrap();
    assert!(access.caller(Some(&header), Timestamp(7)).is_err());
}
