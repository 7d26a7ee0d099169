//! Every reply of a page, whatever test asked for it, is held to what pages promise: what they may load, what they never set,
//! that a fault is a page too.

use super::fits;
use crate::http::Reply;
use pourbook::http::routes::{Deed, ROUTES};

/// What people's browsers ask for; also what stands at no address below it.
pub fn is_one(path: &str) -> bool {
    let first = |path: &str| path.split('/').nth(1).unwrap_or_default().to_owned();
    let mut pages = ROUTES.iter().filter(|route| route.is_page());
    first(path).is_empty() || pages.any(|route| first(route.path) == first(path))
}

/// Whether an address is one of the workshop's own pages.
fn is_of_workshop(path: &str) -> bool {
    let mut sheets = ROUTES.iter().filter(|route| matches!(route.deed, Deed::Sheet(_)));
    sheets.any(|route| fits(route.path, path))
}

/// What a page loads: no page itself.
fn is_loaded(path: &str) -> bool {
    let below = ["/assets/", "/check/", "/bench/modules/"];
    below.iter().any(|start| path.starts_with(start)) || path == "/bench/worker.mjs"
}

#[track_caller]
pub fn hold(method: &str, path: &str, reply: &Reply) {
    let what = format!("{method} {path} {}", reply.status);
    let policy = reply.header("content-security-policy").unwrap_or_default();
    let mut allowed: Vec<&str> = policy.split(';').map(str::trim).collect();
    assert_eq!(allowed.remove(0), "default-src 'none'", "{what}: {policy}");
    let of_workshop = is_of_workshop(path) && reply.status != 405;
    for directive in allowed {
        let (_, from) = directive.split_once(' ').unwrap();
        let picture = of_workshop && directive == "img-src 'self' blob:";
        assert!(
            ["'self'", "'none'"].contains(&from) || picture,
            "{what}: {directive}"
        );
    }
    // None of these three follows from `default-src` (Content Security Policy level 3, section 6.1).
    for closed in ["base-uri 'none'", "frame-ancestors 'none'", "form-action 'self'"] {
        assert!(policy.contains(closed), "{what}: {closed} is not said");
    }
    // Without a referrer at all a browser hides where a form came from (Fetch, "append a request Origin header").
    let referrer = if of_workshop { "same-origin" } else { "no-referrer" };
    assert_eq!(reply.header("referrer-policy"), Some(referrer), "{what}");
    assert_eq!(reply.header("x-content-type-options"), Some("nosniff"), "{what}");
    let opener = reply.header("cross-origin-opener-policy");
    assert_eq!(opener, Some("same-origin"), "{what}");
    if of_workshop {
        assert_eq!(reply.header("cache-control"), Some("no-store"), "{what}");
        assert_eq!(reply.header("vary"), Some("cookie"), "{what}");
    }
    // One address gives a cookie, one takes it away.
    let of_session = method == "POST" && ["/sign-in", "/sign-out"].contains(&path);
    assert!(of_session || reply.header("set-cookie").is_none(), "{what}");
    assert_eq!(reply.header("access-control-allow-origin"), None, "{what}");
    if reply.status == 405 {
        assert!(reply.header("allow").is_some(), "{what}");
    }
    if [429, 503].contains(&reply.status) {
        let wait = reply.header("retry-after").unwrap_or_default();
        assert!(wait.parse::<u32>().is_ok(), "{what}: {wait:?}");
    }
    let media = reply.header("content-type").unwrap_or_default();
    let is_file = reply
        .header("content-disposition")
        .is_some_and(|how| how.starts_with("attachment"));
    match reply.status {
        200 if of_workshop && (is_file || path == "/changed") => {}
        303 => assert!(reply.header("location").unwrap().starts_with('/'), "{what}"),
        304 => assert!(reply.body.is_empty(), "{what}"),
        200 if is_loaded(path) => {}
        _ => {
            assert_eq!(media, "text/html; charset=utf-8", "{what}");
            page(&what, &reply.text());
        }
    }
    assert!(
        reply.status != 200
            || ROUTES
                .iter()
                .any(|route| route.is_page() && fits(route.path, path)),
        "{what}: no route of the table"
    );
}

/// What every page is: one heading of the first order, no word of a script or style within it, nothing from elsewhere.
#[track_caller]
fn page(what: &str, text: &str) {
    assert!(text.starts_with("<!DOCTYPE html><html lang=\"en\">"), "{what}");
    assert_eq!(text.matches("<h1").count(), 1, "{what}");
    assert_eq!(text.matches("<main").count(), 1, "{what}");
    for never in [
        "<style",
        " style=",
        "<script>",
        " onclick",
        " onload",
        "javascript:",
        "http://",
        "https://",
    ] {
        assert!(!text.contains(never), "{what}: {never}");
    }
    let mut order = 1;
    for part in text.split("<h").skip(1) {
        let Some(level) = part.chars().next().and_then(|digit| digit.to_digit(10)) else {
            continue;
        };
        assert!(
            level <= order + 1,
            "{what}: a heading of order {level} follows one of {order}"
        );
        order = level;
    }
}
