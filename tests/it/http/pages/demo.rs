//! Every piece of the invented workshop that has a serial, as its page tells it, against what the API says of it.

use super::{read, says};
use crate::check::DemoBook;
use crate::http::Reply;
use actix_web::body::MessageBody;
use actix_web::test::{self, TestRequest};
use base64::Engine as _;
use pourbook::domain::Audience;
use pourbook::domain::Event;
use pourbook::log::VaultKind;
use pourbook::node::Node;
use serde_json::Value;
use std::collections::BTreeSet;

/// How a page says where a piece is; the states are those of the trade's own description.
const STATES: &[(&str, &str)] = &[
    ("serialled", "it is in the workshop, in the making"),
    ("struck", "it is in the workshop, struck and not finished yet"),
    ("mis_struck", "it was mis-struck, and is not for sale"),
    (
        "archived",
        "it was mis-struck, and is kept by the workshop, never for sale",
    ),
    (
        "condemned",
        "it was given up by the workshop, and waits to be melted",
    ),
    ("remelted", "it was melted down: the piece no longer exists"),
    ("refined", "it went to a refiner: the piece no longer exists"),
    ("at_office", "it is at the assay office"),
    (
        "hallmarked",
        "it is back from the assay office, and is not certified yet",
    ),
    (
        "unmarked",
        "it came back from the assay office without a hallmark",
    ),
    ("kept", "it was kept or cut by the assay office"),
    (
        "missing",
        "it did not come back from the assay office: it is missing",
    ),
    ("spare", "it is set aside in the workshop as a spare"),
    ("numbered", "it has its number, and is not certified yet"),
    ("certified", "it is in the workshop’s stock"),
    ("reserved", "it is in the workshop, kept for a buyer"),
    ("sold", "it is sold, and still in the workshop"),
    ("dispatched", "it is on its way to its buyer"),
    ("delivered", "it was delivered to its buyer"),
    ("lost", "it was lost on its way to its buyer"),
    (
        "returned",
        "it was given back by its buyer, and is in the workshop",
    ),
    ("bought_back", "it was bought back, and is in the workshop"),
    ("stolen", "it was stolen, and is not back"),
    (
        "destroyed",
        "it was destroyed before a witness: the piece no longer exists",
    ),
];
/// States whose page must be loud, and how.
const LOUD: &[(&str, &str)] = &[
    ("stolen", "Reported stolen"),
    ("lost", "Lost on its way"),
    ("missing", "Missing"),
    ("destroyed", "Destroyed"),
    ("remelted", "Melted"),
    ("refined", "Melted"),
    ("kept", "Kept by the assay office"),
    ("condemned", "Withdrawn by the workshop"),
    ("mis_struck", "Not for sale"),
    ("archived", "Not for sale"),
];

/// A page with all that it must load to be read, bytes.
const BYTES_MAX: usize = 60 * 1024;

/// Every private text of the book that is not for everybody.
fn secrets(node: &Node) -> BTreeSet<String> {
    let mut secrets = BTreeSet::new();
    for index in 0..node.app.views.position() {
        let bytes = node.app.store.read(index).unwrap().unwrap();
        let entry = pourbook::record::read(&bytes).unwrap();
        for kept in node.app.store.private(index).unwrap() {
            let VaultKind::Disclosure { event, member } = &kept.kind else {
                continue;
            };
            let kind = entry.events().nth(usize::from(*event)).unwrap().kind();
            let members = Event::private_members(kind);
            let public = members
                .iter()
                .any(|known| known.name == member && known.audience == Audience::Public);
            if public || kept.body.is_empty() {
                continue;
            }
            let json = base64::engine::general_purpose::URL_SAFE_NO_PAD
                .decode(&kept.body)
                .unwrap();
            let told: Value = serde_json::from_slice(&json).unwrap();
            secrets.extend(told[2].as_str().filter(|text| text.len() > 5).map(str::to_owned));
        }
    }
    secrets
}

#[actix_web::test]
async fn each_piece_of_the_demo_has_a_page_that_tells_what_the_api_tells() {
    let demo = DemoBook::make();
    let node = Node::open(&demo.folder()).unwrap();
    let app = node.app.clone();
    let service =
        test::init_service(actix_web::App::new().configure(|config| pourbook::http::configure(config, &app)))
            .await;
    let ask = async |path: &str| {
        let response = test::call_service(&service, TestRequest::get().uri(path).to_request()).await;
        let reply = Reply {
            status: response.status().as_u16(),
            headers: response.headers().clone(),
            body: response.into_body().try_into_bytes().unwrap_or_default().to_vec(),
        };
        crate::contract::hold("GET", path, &reply);
        reply.expect(200)
    };
    let secrets = secrets(&node);
    assert!(secrets.len() > 50, "{}", secrets.len());
    let pieces: Vec<_> = demo
        .reader()
        .book()
        .pieces()
        .filter_map(|piece| piece.serial.clone())
        .collect();
    assert!(pieces.len() > 60, "{}", pieces.len());
    let mut seen = BTreeSet::new();
    let mut longest = 0;
    for serial in pieces {
        let record = ask(&format!("/v1/serials/{serial}")).await.json();
        let reply = ask(&format!("/p/{serial}")).await;
        let page = read(&reply.text());
        longest = longest.max(reply.body.len());
        let state = record["state"].as_str().unwrap().to_owned();
        let (_, words) = STATES.iter().find(|(known, _)| *known == state).unwrap();
        says(&page, words);
        for (known, loud) in LOUD {
            let title = format!("<section class=\"notice grave\"><h2>{loud}</h2>");
            let wanted = LOUD.iter().any(|(of, word)| *of == state && word == loud);
            assert_eq!(
                reply.text().contains(&title),
                wanted,
                "{serial} is {state}, {known}"
            );
        }
        says(&page, &format!("serial {serial}"));
        assert_eq!(
            page.contains("Its weight is in doubt"),
            record["suspect"] == true,
            "{serial}"
        );
        let burned = record["number_burned"] == true;
        assert_eq!(page.contains("is burned"), burned, "{serial} is {state}");
        if let Some(certificate) = record["certificate"].as_object() {
            let weight = &certificate["weight"];
            let of = |value: &Value| value.as_str().unwrap().to_owned();
            says(&page, &format!("weighing {} g", of(&weight["grams"])));
            says(&page, &format!("({} troy ounces)", of(&weight["troy_ounces"])));
            says(&page, &format!("at least {} g", of(&weight["at_least_grams"])));
            says(
                &page,
                &format!("at least {}. The ±", of(&weight["at_least_troy_ounces"])),
            );
            says(&page, &format!("fineness {}", of(&certificate["fineness"])));
            let marked = certificate["hallmark"] == "hallmarked";
            let basis = match (marked, certificate["basis"].as_str().unwrap()) {
                (true, _) => "tested and hallmarked by an assay office",
                (false, "declared") => "as the sellers of its metal declared it",
                (false, "assayed") => "by assay reports on the metal that was melted",
                (false, other) => panic!("{other}"),
            };
            says(&page, basis);
            if let Some(number) = certificate.get("number") {
                says(&page, &format!("number {number} of {}", certificate["of"]));
            }
        }
        if record.get("certificate").is_none() {
            says(&page, "troy ounces)");
            says(
                &page,
                &format!("fineness {}, as ", record["poured"]["fineness"].as_str().unwrap()),
            );
        }
        says(&page, record["series"]["title"].as_str().unwrap());
        for secret in &secrets {
            assert!(
                !page.contains(secret.as_str()),
                "the page of {serial} tells {secret:?}"
            );
        }
        seen.insert(state);
    }
    let style = ask(&format!("/p/{}", "ST-0012-18")).await.text();
    let style = style
        .split("href=\"")
        .find(|part| part.starts_with("/assets/page-"))
        .unwrap();
    let style = ask(style.split('"').next().unwrap()).await.body.len();
    assert!(longest + style < BYTES_MAX, "{longest} and {style} bytes");
    let wanted = [
        "archived",
        "delivered",
        "lost",
        "stolen",
        "destroyed",
        "kept",
        "missing",
        "certified",
    ];
    for state in wanted {
        assert!(seen.contains(state), "no piece of the demo is {state}: {seen:?}");
    }
    node.stop().unwrap();
}
