//! What is reckoned from the log: as of now, of a position, of a day.

mod asked;
mod demo;
mod exactly;
mod losses;
mod mixtures;
mod plans;
mod suspects;
mod traced;

use crate::http::{NOW, TestApp, Workshop, lot};
use pourbook::accounts::{AsOf, AskError, Heading, NoPosition, Postings, Reckoning, by_rows};
use pourbook::domain::{Book, Date};
use pourbook::http::Role;
use pourbook::metal::{FineMass, MassDifference, Metal};
use serde_json::{Value, json};
use std::sync::atomic::Ordering;

/// The movements lead to what the rows of the book say, heading by heading.
#[track_caller]
pub fn agree(book: &Book, postings: &Postings) {
    for metal in Metal::ALL {
        let masses = book.masses(metal).unwrap();
        for heading in Heading::all() {
            let moved = postings.amount(metal, heading).unwrap();
            assert_eq!(moved, by_rows(&masses, heading).1, "{metal}, {heading}");
        }
    }
}

const DAY: i64 = 86_400;

fn lots(reckoning: &Reckoning) -> usize {
    reckoning.book().lots().count()
}

fn day(text: &str) -> AsOf {
    AsOf::Day(Date::parse(text).unwrap())
}

#[test]
fn a_position_and_a_day_are_told_apart() {
    assert_eq!("17".parse(), Ok(AsOf::Position(17)));
    assert_eq!("2026-11-25".parse(), Ok(day("2026-11-25")));
    for bad in [
        "",
        "-1",
        "+1",
        "2026-11",
        "2026-1-30",
        "2026-11-2x",
        "newest",
        "99999999999999999999",
    ] {
        assert_eq!(bad.parse::<AsOf>(), Err(NoPosition::Form), "{bad}");
    }
    for bad in ["2026-02-30", "2026-13-01", "2026-11-00"] {
        assert_eq!(bad.parse::<AsOf>(), Err(NoPosition::NoSuchDay), "{bad}");
    }
}

#[actix_web::test]
async fn a_question_is_answered_as_of_now_of_a_position_and_of_a_day() {
    let app = TestApp::start().await;
    let workshop = Workshop::open(&app).await;
    let accounts = &app.app.accounts;
    assert_eq!(accounts.ask(AsOf::Newest, lots).unwrap(), 1);
    // The last second of a day belongs to it.
    let last_second = Date::parse("2026-09-21").unwrap().last_second().0;
    app.clock.store(last_second, Ordering::SeqCst);
    app.done("/v1/lots", lot(&workshop.session)).await;
    let first = app.app.views.position();
    app.clock.store(NOW + DAY, Ordering::SeqCst);
    app.done("/v1/lots", lot(&workshop.session)).await;
    // What was recorded meanwhile is in the next answer, and what was asked about the past stays as it was.
    assert_eq!(accounts.ask(AsOf::Newest, lots).unwrap(), 3);
    assert_eq!(accounts.ask(AsOf::Position(first + 1), lots).unwrap(), 3);
    assert_eq!(accounts.ask(AsOf::Position(first), lots).unwrap(), 2);
    assert_eq!(accounts.ask(AsOf::Position(3), lots).unwrap(), 0);
    assert_eq!(accounts.ask(AsOf::Position(first), lots).unwrap(), 2);
    let today = accounts
        .ask(AsOf::Newest, Reckoning::recorded)
        .unwrap()
        .unwrap()
        .0;
    assert_eq!(today, NOW + DAY);
    // 2026-09-21 is the day of the tests' clock.
    assert_eq!(accounts.ask(day("2026-09-20"), Reckoning::position).unwrap(), 0);
    assert_eq!(
        accounts.ask(day("2026-09-21"), Reckoning::position).unwrap(),
        first
    );
    assert_eq!(accounts.ask(day("2026-09-22"), lots).unwrap(), 3);
    let beyond = accounts.ask(AsOf::Position(first + 2), lots);
    assert!(matches!(beyond, Err(AskError::Beyond { position, size }) if position == size + 1));
}

#[actix_web::test]
async fn a_statement_is_asked_for_as_of_a_position_and_adds_up() {
    let app = TestApp::start().await;
    let workshop = Workshop::open(&app).await;
    let before = app.app.views.position();
    let (melt, _) = workshop.pour(&app, &["50.42", "50.60"]).await;
    workshop.close(&app, &melt).await;
    let statement = async |query: &str| {
        let reply = app.get_as(Role::Bench, &format!("/v1/statement{query}")).await;
        reply.expect(200).json()["metals"][0]["lines"].clone()
    };
    let line = |heading: &str, mass: &str, fine: &str, movements: u64| json!({"heading": heading, "mass": mass, "fine": fine, "movements": movements});
    let received = line("received", "500.00", "499.95", 1);
    assert_eq!(
        statement(&format!("?metal=silver&at={before}")).await,
        json!([received, line("unmelted", "500.00", "499.95", 1)])
    );
    let mut pieces = line("pieces_graded", "101.02", "101.009898", 2);
    pieces["pieces"] = json!(2);
    let whole = statement("").await;
    assert_eq!(
        whole,
        json!([
            received,
            line("unmelted", "250.00", "249.975", 2),
            line("heels", "148.48", "148.465152", 1),
            line("crucible", "0.00", "0.00", 5),
            pieces,
            line("melt_loss", "0.50", "0.49995", 1),
        ])
    );
    every_line_opens_to_its_sum(&app, &whole).await;
    for unreadable in ["?at=tomorrow", "?metal=iron", "?at=1&at=2"] {
        let reply = app
            .get_as(Role::Bench, &format!("/v1/statement{unreadable}"))
            .await;
        reply.refused(400, "unreadable", "");
    }
    for impossible in ["?at=99999", "?at=2026-02-30"] {
        let reply = app
            .get_as(Role::Bench, &format!("/v1/statement{impossible}"))
            .await;
        reply.refused(422, "invalid", "");
    }
}

/// Each figure is the sum of the movements behind it, whatever pages they are read in.
async fn every_line_opens_to_its_sum(app: &TestApp, lines: &Value) {
    for line in lines.as_array().unwrap() {
        let heading = line["heading"].as_str().unwrap();
        let mut next = format!("/v1/statement/silver/{heading}?limit=2");
        let (mut mass, mut fine, mut count) = (0, 0, 0);
        loop {
            let reply = app.get_as(Role::Auditor, &next).await.expect(200);
            let page = reply.json();
            for item in page["items"].as_array().unwrap() {
                let text = |member: &str| item[member].as_str().unwrap().to_owned();
                mass += MassDifference::parse(&text("mass")).unwrap().units();
                fine += text("fine").parse::<FineMass>().unwrap().picograms();
                count += 1;
            }
            let Some(from) = page["next"].as_u64() else { break };
            next = format!("/v1/statement/silver/{heading}?limit=2&from={from}");
            assert!(reply.header("link").unwrap().contains(&next), "{next}");
        }
        assert_eq!(
            line["mass"],
            json!(MassDifference::from_units(mass).unwrap()),
            "{heading}"
        );
        assert_eq!(
            line["fine"],
            json!(FineMass::from_picograms(fine).unwrap()),
            "{heading}"
        );
        assert_eq!(line["movements"], count, "{heading}");
    }
}

#[actix_web::test]
async fn a_correction_is_known_from_its_own_position_on() {
    let app = TestApp::start().await;
    let workshop = Workshop::open(&app).await;
    let position = app.app.views.position();
    let lot_entry = (0..position)
        .find(|index| {
            app.app
                .entry(*index)
                .unwrap()
                .events()
                .any(|e| e.kind() == "lot.received")
        })
        .unwrap();
    let mut instead = lot(&workshop.session);
    instead["mass"] = json!("480.00");
    instead["command"] = json!("receive_lot");
    for private in ["seller", "document", "price"] {
        instead.as_object_mut().unwrap().remove(private);
    }
    let body = json!({"corrections": [{"index": lot_entry, "instead": instead}], "reason": "mistyped"});
    let received = |reckoning: &Reckoning| {
        let lot = reckoning.book().lots().next().unwrap();
        lot.mass.to_string()
    };
    assert_eq!(app.app.accounts.ask(AsOf::Newest, received).unwrap(), "500.00");
    app.post("/v1/corrections", body).await.expect(201);
    assert_eq!(app.app.accounts.ask(AsOf::Newest, received).unwrap(), "480.00");
    assert_eq!(
        app.app.accounts.ask(AsOf::Position(position), received).unwrap(),
        "500.00"
    );
}

#[actix_web::test]
async fn a_log_that_cannot_be_read_is_said_so_and_asked_again() {
    let app = TestApp::serve(crate::http::Served {
        unreadable: true,
        ..crate::http::Served::default()
    })
    .await;
    for _ in 0..2 {
        let asked = app
            .app
            .accounts
            .ask(AsOf::Newest, |reckoning| Book::clone(reckoning.book()));
        assert!(matches!(asked, Err(AskError::Reckon(_))), "{asked:?}");
    }
}
