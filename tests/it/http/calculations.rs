//! The calculators over HTTP: open to everybody, nothing recorded, refused at the member, and as the description shows.

use super::{TestApp, method};
use crate::contract::description;
use actix_web::test::TestRequest;
use pourbook::calculators::CALCULATORS;
use pourbook::http::routes::{Deed, ROUTES};
use serde_json::{Value, json};

async fn ask(app: &TestApp, word: &str, body: &Value) -> super::Reply {
    let request = TestRequest::post()
        .uri(&format!("/v1/calculations/{word}"))
        .insert_header(("content-type", "application/json"))
        .set_payload(body.to_string());
    app.send(request).await
}

#[actix_web::test]
async fn each_worked_example_is_answered_as_the_description_shows() {
    let app = TestApp::start().await;
    let before = app.app.views.position();
    let schemas = &description()["components"]["schemas"];
    let mut asked = 0;
    for route in ROUTES {
        let Deed::Calculation(calculation) = route.deed else {
            continue;
        };
        let word = route.path.strip_prefix("/v1/calculations/").unwrap();
        let question = &schemas[calculation.question]["example"];
        let answer = &schemas[calculation.question.replace("Question", "Answer")]["example"];
        let reply = ask(&app, word, question).await.expect(200);
        assert_eq!(reply.header("cache-control"), Some("no-store"));
        assert_eq!(reply.header("access-control-allow-origin"), Some("*"));
        assert_eq!(reply.json(), *answer, "{word}: {}", reply.text());
        asked += 1;
    }
    assert_eq!(asked, CALCULATORS.len(), "each calculator has its route");
    assert_eq!(app.app.views.position(), before, "nothing is recorded");
}

#[actix_web::test]
async fn what_is_impossible_is_refused_at_its_member() {
    let app = TestApp::start().await;
    let gravity = |member: &str, value: &str| {
        let mut body = json!({"air": "100.42", "gain": "9.55", "water": "21", "step": "0.01"});
        body[member] = json!(value);
        body
    };
    for (word, body, pointer, says) in [
        ("gravity", gravity("gain", "100.42"), "#/gain", "does not float"),
        ("gravity", gravity("gain", "0"), "#/gain", "carried nothing"),
        ("gravity", gravity("water", "41"), "#/water", "from 0 to 40 only"),
        ("gravity", gravity("step", "0"), "#/step", "is zero"),
        (
            "gravity",
            gravity("in_water", "1"),
            "#/gain",
            "either in_water or gain",
        ),
        ("gravity", gravity("air", "1e9"), "#/air", "exponent"),
        ("gravity", gravity("alloy", "silver 1"), "#/alloy", "1000 in all"),
        (
            "plan",
            json!({"shapes": [{"shape": "a", "wanted": 3, "yield": "0"}]}),
            "#/shapes",
            "yield of 0",
        ),
        (
            "plan",
            json!({"shapes": [{"shape": "a", "wanted": 3, "good": 4, "poured": 3}]}),
            "#/shapes",
            "more are good",
        ),
        (
            "plan",
            json!({"shapes": [{"shape": "a", "wanted": 3}]}),
            "#/shapes",
            "needs either",
        ),
        ("plan", json!({"shapes": []}), "#/shapes", "one to 64"),
        (
            "plan",
            json!({"shapes": [{"shape": "a", "wanted": 3, "yield": "0.5"}], "confidence": "1"}),
            "#/confidence",
            "below 1",
        ),
        (
            "plan",
            json!({"shapes": [{"shape": "a", "wanted": 3, "yield": "0.00001"}]}),
            "#/confidence",
            "50000 pours",
        ),
        (
            "conformity",
            json!({"reading": "1", "lower": "2", "upper": "1", "error": "0.1", "step": "0.1", "repeatability": "0"}),
            "#/upper",
            "not above",
        ),
        (
            "conformity",
            json!({"reading": "1", "lower": "1", "step": "0.1", "repeatability": "0"}),
            "#/class",
            "give class and e",
        ),
        (
            "comparison",
            json!({"first": "1", "first_uncertainty": "0", "second": "1", "second_uncertainty": "0"}),
            "#/second_uncertainty",
            "is zero",
        ),
        (
            "comparison",
            json!({"first": "1", "first_uncertainty": "0", "second": "1", "second_step": "0.02"}),
            "#/second_step",
            "must be 1, 0.1",
        ),
    ] {
        let problem = ask(&app, word, &body).await.expect(422).json();
        assert_eq!(problem["errors"][0]["pointer"], pointer, "{body}: {problem}");
        assert!(
            problem["errors"][0]["detail"].as_str().unwrap().contains(says),
            "{body}: {problem}"
        );
    }
}

/// A page from elsewhere may ask before it posts: the body is JSON, so the browser asks for leave to say so.
#[actix_web::test]
async fn a_page_from_elsewhere_may_post_a_question() {
    let app = TestApp::start().await;
    let request = TestRequest::default()
        .method(method("OPTIONS"))
        .uri("/v1/calculations/comparison")
        .insert_header(("origin", "https://elsewhere.example"))
        .insert_header(("access-control-request-method", "POST"))
        .insert_header(("access-control-request-headers", "content-type"));
    let reply = app.send(request).await.expect(204);
    assert_eq!(reply.header("access-control-allow-methods"), Some("POST"));
    let headers = reply.header("access-control-allow-headers").unwrap();
    assert!(headers.contains("content-type"), "{headers}");
}
