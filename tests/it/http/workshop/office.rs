//! The office by forms alone: each gives its command once, is refused in place, and asks before what cannot be taken back.

mod corrected;
mod counted;
mod life;
mod told;

use super::{Browser, hidden};
use crate::http::{Reply, TestApp};
use pourbook::http::Role;
use serde_json::json;

/// A person at a desk, with the book.
pub struct Desk {
    pub app: TestApp,
    pub browser: Browser,
}

type Fields<'a> = &'a [(&'a str, &'a str)];

impl Desk {
    pub async fn open() -> Self {
        let app = TestApp::start().await;
        let browser = Browser::of(&app, Role::Office).await;
        Self { app, browser }
    }

    pub fn size(&self) -> u64 {
        self.app.app.views.position()
    }

    pub async fn page(&self, path: &str) -> String {
        self.browser.get(&self.app, path).await.expect(200).text()
    }

    /// Fills a form in and sends it, answering its question if it asks one; then sends it once more, as a double tap would. It is
    /// recorded once. Where it leads, without what it says was recorded.
    pub async fn once(&self, path: &str, fields: Fields<'_>) -> String {
        let bare = path.split('?').next().unwrap();
        let shown = self.page(path).await;
        let size = self.size();
        let mut all = fields.to_vec();
        let first = self.browser.send(&self.app, bare, &shown, &all).await;
        let mark;
        let sent = if first.status == 200 {
            assert_eq!(self.size(), size, "{path}: a question records nothing");
            mark = hidden(&first.text(), "sure");
            all.push(("sure", &mark));
            self.browser.send(&self.app, bare, &shown, &all).await
        } else {
            first
        };
        let to = sent.expect(303).header("location").unwrap().to_owned();
        assert_eq!(self.size(), size + 1, "{path}: one entry");
        let again = self.browser.send(&self.app, bare, &shown, &all).await.expect(303);
        assert_eq!(
            again.header("location"),
            Some(to.as_str()),
            "{path}: the second tap"
        );
        assert_eq!(self.size(), size + 1, "{path}: the second tap");
        let (to, _) = to.split_once("recorded=").unwrap();
        to.trim_end_matches(['?', '&']).to_owned()
    }

    /// A form that asks once before it is recorded, in these words.
    pub async fn asks(&self, path: &str, fields: Fields<'_>, says: &str) {
        let size = self.size();
        let asked = self
            .browser
            .fill(&self.app, path, fields)
            .await
            .expect(200)
            .text();
        assert!(
            asked.contains("Before it is recorded") && asked.contains(says),
            "{path}: {says:?} in {asked}"
        );
        assert_eq!(self.size(), size, "{path}");
    }

    /// Fills a form in so that the book refuses it: nothing is recorded, what is wrong is said, and all that was typed is kept.
    pub async fn refused(&self, path: &str, fields: Fields<'_>, status: u16, says: &str) -> String {
        let bare = path.split('?').next().unwrap();
        let shown = self.page(path).await;
        let size = self.size();
        let mut all = fields.to_vec();
        let first = self.browser.send(&self.app, bare, &shown, &all).await;
        let mark;
        let reply = if first.status == 200 {
            mark = hidden(&first.text(), "sure");
            all.push(("sure", &mark));
            self.browser.send(&self.app, bare, &shown, &all).await
        } else {
            first
        };
        let page = reply.expect(status).text();
        assert_eq!(self.size(), size, "{path}");
        assert!(
            page.to_lowercase().contains(&says.to_lowercase()),
            "{path}: {says:?} in {page}"
        );
        assert!(page.contains("role=\"alert\""), "{path}");
        for (name, typed) in fields.iter().filter(|(_, typed)| !typed.is_empty()) {
            let kept = typed.replace('&', "&amp;");
            let there =
                page.contains(&format!("value=\"{kept}\"")) || page.contains(&format!("{kept}</textarea>"));
            assert!(there, "{path}: {name} {typed:?} is lost: {page}");
        }
        page
    }

    /// A command of the bench.
    pub async fn bench(&self, path: &str, body: serde_json::Value) -> String {
        self.app.done(path, body).await
    }

    pub async fn check(&self, session: &str) {
        let check = json!({"nominal": "50.00", "reading": "50.00"});
        let path = format!("/v1/sessions/{session}/closing");
        self.app.post(&path, check).await.expect(201);
    }

    pub async fn session(&self, scale: &str) -> String {
        self.bench(
            "/v1/sessions",
            json!({"scale": scale, "nominal": "50.00", "reading": "50.00"}),
        )
        .await
    }

    pub async fn json(&self, path: &str) -> serde_json::Value {
        self.app.get_as(Role::Office, path).await.expect(200).json()
    }

    pub async fn reply(&self, path: &str) -> Reply {
        self.browser.get(&self.app, path).await
    }
}

/// The last part of an address.
pub fn last(path: &str) -> &str {
    path.rsplit('/').next().unwrap()
}
