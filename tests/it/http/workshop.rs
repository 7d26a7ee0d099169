//! The workshop's own pages: who is let in, what a cookie can and cannot do, and forms that give commands.

mod bench;
mod forms;
mod lists;
mod office;
mod piece;
mod sessions;

use super::{Reply, TestApp};
use actix_web::test::TestRequest;
use pourbook::http::Role;

/// A browser that is signed in: what its cookie says, and the form token of its pages.
pub struct Browser {
    pub cookie: String,
    pub form_token: String,
}

impl Browser {
    /// Signs in as whoever has a role.
    pub async fn of(app: &TestApp, role: Role) -> Self {
        let reply = post_form(app, None, "/sign-in", &[("token", app.token(role))]).await;
        let reply = reply.expect(303);
        let cookie = reply.header("set-cookie").unwrap();
        let cookie = cookie.split(';').next().unwrap().to_owned();
        let home = TestRequest::get()
            .uri("/home")
            .insert_header(("cookie", cookie.clone()));
        let home = app.send(home).await.expect(200).text();
        Self {
            form_token: hidden(&home, "form_token"),
            cookie,
        }
    }

    pub async fn get(&self, app: &TestApp, path: &str) -> Reply {
        let request = TestRequest::get().uri(path);
        app.send(request.insert_header(("cookie", self.cookie.clone())))
            .await
    }

    /// Sends a form as the page at its path shows it, with these fields filled in.
    pub async fn fill(&self, app: &TestApp, path: &str, fields: &[(&str, &str)]) -> Reply {
        let shown = self.get(app, path).await.expect(200).text();
        self.send(app, path, &shown, fields).await
    }

    /// Sends the form of a page that was shown before, with these fields filled in.
    pub async fn send(&self, app: &TestApp, path: &str, shown: &str, fields: &[(&str, &str)]) -> Reply {
        let (token, key) = (hidden(shown, "form_token"), hidden(shown, "key"));
        let mut all = vec![("form_token", token.as_str()), ("key", key.as_str())];
        let version = shown
            .contains("name=\"version\"")
            .then(|| hidden(shown, "version"));
        all.extend(version.as_deref().map(|version| ("version", version)));
        all.extend(fields);
        post_form(app, Some(self), path, &all).await
    }
}

/// The value of a hidden field.
#[track_caller]
pub fn hidden(page: &str, name: &str) -> String {
    let start = format!("name=\"{name}\" value=\"");
    let at = page
        .find(&start)
        .unwrap_or_else(|| panic!("no field {name} in {page}"));
    page[at + start.len()..].split('"').next().unwrap().to_owned()
}

pub async fn post_form(
    app: &TestApp,
    browser: Option<&Browser>,
    path: &str,
    fields: &[(&str, &str)],
) -> Reply {
    app.send(form_request(browser, path, fields)).await
}

pub fn form_request(browser: Option<&Browser>, path: &str, fields: &[(&str, &str)]) -> TestRequest {
    let request = TestRequest::post().uri(path).set_form(fields);
    match browser {
        Some(browser) => request.insert_header(("cookie", browser.cookie.clone())),
        None => request,
    }
}
