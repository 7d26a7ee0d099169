//! Lists: order, pages, filters, and parameters that are not known.

use super::{TestApp, Workshop};
use pourbook::http::Role;
use serde_json::{Value, json};

#[actix_web::test]
async fn pages_go_on_where_the_last_one_ended_whatever_is_added() {
    let app = TestApp::start().await;
    let jar =
        |fineness: usize| json!({"metal": "silver", "fineness": format!("{fineness}"), "residue": "lemel"});
    for fineness in 801..=807 {
        app.post("/v1/jars", jar(fineness)).await.expect(201);
    }
    let mut seen: Vec<String> = Vec::new();
    let mut path = "/v1/jars?residue=lemel&limit=3".to_owned();
    for page in 0.. {
        let reply = app.get_as(Role::Bench, &path).await.expect(200);
        let body = reply.json();
        seen.extend(
            body["items"]
                .as_array()
                .unwrap()
                .iter()
                .map(|row| row["fineness"].as_str().unwrap().to_owned()),
        );
        if page == 1 {
            app.post("/v1/jars", jar(808)).await.expect(201);
        }
        let Some(link) = reply.header("link") else {
            assert!(body.get("next").is_none());
            break;
        };
        assert!(link.contains(body["next"].as_str().unwrap()));
        let (target, relation) = link.split_once('>').unwrap();
        assert_eq!(relation, "; rel=\"next\"");
        path = target.trim_start_matches('<').to_owned();
    }
    assert_eq!(
        seen,
        [
            "801.0", "802.0", "803.0", "804.0", "805.0", "806.0", "807.0", "808.0"
        ]
    );
}

#[actix_web::test]
async fn pieces_are_listed_by_what_is_asked_in_the_order_of_pouring() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42", "49.10", "51.90", "50.60"]).await;
    let ids = |body: &Value| -> Vec<String> {
        let items = body["items"].as_array().unwrap().iter();
        items
            .map(|row| row["piece"].as_str().unwrap().to_owned())
            .collect()
    };
    let list = async |query: &str| {
        ids(&app
            .get_as(Role::Bench, &format!("/v1/pieces{query}"))
            .await
            .expect(200)
            .json())
    };
    assert_eq!(list("").await, pieces);
    assert_eq!(
        list(&format!("?melt={melt}&grade=accepted")).await,
        [pieces[0].clone(), pieces[3].clone()]
    );
    assert_eq!(list("?grade=under").await, [pieces[1].clone()]);
    assert_eq!(list("?state=condemned").await, Vec::<String>::new());
    assert_eq!(list("?shape=oval&limit=2").await, pieces[..2]);
    let row = app.get_as(Role::Bench, "/v1/pieces?limit=1").await.json();
    assert_eq!(row["items"][0]["version"], 2);
}

#[actix_web::test]
async fn parameters_that_are_not_known_or_not_of_their_form_are_refused() {
    let app = TestApp::start().await;
    for query in [
        "colour=red",
        "limit=0",
        "limit=201",
        "limit=ten",
        "limit=1&limit=2",
        "after=xyz",
        "after=",
        "state=mislaid",
        "offset=3",
        "melt=seven",
    ] {
        let reply = app
            .get_as(Role::Bench, &format!("/v1/pieces?{query}"))
            .await
            .expect(400);
        assert_eq!(reply.problem(), "unreadable", "{query}");
    }
    app.get("/healthz?x=1").await.expect(400);
    for from in ["-1", "9007199254740992", "18446744073709551615", "1e3", ""] {
        app.get_as(Role::Auditor, &format!("/v1/events?from={from}"))
            .await
            .expect(400);
    }
    app.get_as(Role::Auditor, "/v1/events?from=9007199254740991")
        .await
        .expect(200);
}

#[actix_web::test]
async fn an_auditor_reads_every_entry_by_position() {
    let app = TestApp::start().await;
    let _shop = Workshop::open(&app).await;
    let end = app.app.views.position();
    let mut path = "/v1/events?limit=3".to_owned();
    let mut entries = Vec::new();
    loop {
        let reply = app.get_as(Role::Auditor, &path).await.expect(200);
        let body = reply.json();
        entries.extend(body["entries"].as_array().unwrap().clone());
        let Some(link) = reply.header("link") else {
            assert_eq!(body["position"], end);
            break;
        };
        path = link.trim_start_matches('<').split('>').next().unwrap().to_owned();
    }
    assert_eq!(entries.len() as u64, end);
    for (index, entry) in entries.iter().enumerate() {
        assert_eq!(entry["index"], index);
        let bytes = entry["entry"].as_str().unwrap().as_bytes();
        let leaf = pourbook::proof::leaf_hash(bytes);
        assert_eq!(entry["leaf"], leaf.to_base64url());
    }
    assert!(!json!(entries).to_string().contains("Pellworth"));
}
