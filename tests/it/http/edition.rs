//! An edition that must be struck and hallmarked, with its pieces where a test wants them.

use super::{Reply, TestApp, item};
use pourbook::http::Role;
use serde_json::{Value, json};

/// Scale, session, lot, die and the edition *Saltlantern* (code SR) of ten ovals.
pub struct Edition {
    pub app: TestApp,
    pub scale: String,
    pub session: String,
    pub series: String,
    pub die: String,
    pub pieces: Vec<String>,
}

impl Edition {
    /// The pieces are poured, accepted and their melt weighed out.
    pub async fn poured(masses: &[&str]) -> Self {
        let app = TestApp::start().await;
        let scale = app.done("/v1/scales", super::scale()).await;
        let session = app.done("/v1/sessions", check(&scale)).await;
        let lot = app.done("/v1/lots", super::lot(&session)).await;
        let mut series = super::series("SR");
        for (name, value) in [
            ("title", json!("Saltlantern")),
            ("shapes", json!([{"shape": "oval", "size": 10}])),
            ("marking", json!("required")),
            ("struck", json!(true)),
        ] {
            series[name] = value;
        }
        series.as_object_mut().unwrap().remove("ground");
        let series = app.done("/v1/series", series).await;
        let die = json!({"owner": "commissioner", "series": series, "label": "the lantern"});
        let die = app.done("/v1/dies", die).await;
        let charge = json!({"metal": "silver", "session": session, "lots": [{"lot": lot, "mass": "450.00"}]});
        let melt = app.done("/v1/melts", charge).await;
        let oval = json!({"series": series, "shape": "oval"});
        let pours = json!({"pours": vec![oval; masses.len()]});
        let reply = app
            .post(&format!("/v1/melts/{melt}/pours"), pours)
            .await
            .expect(201);
        let pieces = of(&reply, "piece");
        let shop = super::Workshop {
            session: session.clone(),
            lot,
            series: series.clone(),
            jar: String::new(),
        };
        let told = Self {
            app,
            scale,
            session,
            series,
            die,
            pieces,
        };
        told.weighed("from_mould", masses).await;
        shop.close(&told.app, &melt).await;
        told
    }

    /// All pieces, in order, at a stage.
    pub async fn weighed(&self, stage: &str, masses: &[&str]) {
        let items = self.pieces.iter().zip(masses);
        let items: Vec<Value> = items.map(|(piece, mass)| item(&self.app, piece, mass)).collect();
        let tray = json!({"session": self.session, "stage": stage, "items": items});
        self.app.post("/v1/weighings", tray).await.expect(201);
    }

    /// Strikes pieces by their places, as the bench does it.
    pub async fn strike(&self, places: &[usize], outcome: &str) {
        let items: Vec<Value> = places
            .iter()
            .map(|place| {
                let piece = &self.pieces[*place];
                json!({"piece": piece, "outcome": outcome, "version": self.app.version(piece)})
            })
            .collect();
        let strikes = json!({"die": self.die, "items": items});
        self.app
            .post_as(Role::Bench, "/v1/strikes", strikes)
            .await
            .expect(201);
    }

    pub async fn done(&self, path: &str, places: &[usize]) -> Reply {
        self.try_to(path, places).await.expect(201)
    }

    pub async fn try_to(&self, path: &str, places: &[usize]) -> Reply {
        let pieces: Vec<&String> = places.iter().map(|place| &self.pieces[*place]).collect();
        self.app.post(path, json!({"pieces": pieces})).await
    }

    /// A command about one piece by its place.
    pub async fn of_piece(&self, place: usize, what: &str, body: Value) -> Reply {
        let path = format!("/v1/pieces/{}/{what}", self.pieces[place]);
        self.app.post(&path, body).await
    }

    /// Sends pieces to the assay office; the consignment.
    pub async fn send(&self, places: &[usize]) -> String {
        self.app.done("/v1/consignments", self.consignment(places)).await
    }

    pub fn consignment(&self, places: &[usize]) -> Value {
        let pieces: Vec<&String> = places.iter().map(|place| &self.pieces[*place]).collect();
        json!({"pieces": pieces, "fineness": "999", "marks": ["sponsor", "fineness", "office", "date_letter"],
               "office": "Eastmarch Assay Hall", "seal": "S-88"})
    }

    /// All of a consignment comes back marked.
    pub fn marked(&self, places: &[usize]) -> Value {
        let hallmark = json!({"fineness": "999", "marks": [
            {"mark": "sponsor", "legible": true}, {"mark": "fineness", "legible": true},
            {"mark": "office", "legible": true}, {"mark": "date_letter", "legible": false},
        ]});
        let lines: Vec<Value> = places
            .iter()
            .map(|place| json!({"piece": self.pieces[*place], "outcome": "marked", "hallmark": hallmark}))
            .collect();
        json!({"lines": lines})
    }

    /// The session ends with a check that holds, and a new one begins.
    pub async fn next_session(&mut self) {
        let path = format!("/v1/sessions/{}/closing", self.session);
        let holds = json!({"nominal": "50.00", "reading": "50.00"});
        self.app.post(&path, holds).await.expect(201);
        self.session = self.app.done("/v1/sessions", check(&self.scale)).await;
    }

    /// A sale of pieces by their places; its id.
    pub async fn sell(&self, places: &[usize]) -> String {
        self.app.done("/v1/sales", self.sale(places)).await
    }

    pub fn sale(&self, places: &[usize]) -> Value {
        let items: Vec<Value> = places
            .iter()
            .map(
                |place| json!({"piece": self.pieces[*place], "price": {"amount": "95.07", "currency": "GBP"}}),
            )
            .collect();
        json!({"items": items, "buyer": "Ansel Reedwright", "document": "B-2031"})
    }

    pub async fn state(&self, place: usize) -> String {
        let path = format!("/v1/pieces/{}", self.pieces[place]);
        let row = self.app.get_as(Role::Bench, &path).await.expect(200).json();
        row["state"].as_str().unwrap().to_owned()
    }
}

fn check(scale: &str) -> Value {
    json!({"scale": scale, "nominal": "50.00", "reading": "50.00"})
}

/// The values of a member in the events of a reply.
pub fn of(reply: &Reply, member: &str) -> Vec<String> {
    let body = reply.json();
    let events = body["events"].as_array().unwrap().iter();
    events
        .filter_map(|event| event[member].as_str().map(str::to_owned))
        .collect()
}
