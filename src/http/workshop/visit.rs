//! One visit of somebody who is signed in: what they asked for, who they are, and the frame around what they are shown.

use super::{App, Sheet};
use crate::http::access::Role;
use crate::http::asked::Asked;
use crate::http::routes::{self, Deed, ROUTES, Who};
use crate::http::sessions::SignedIn;
use crate::pages::workshop::{Frame, Leaf, Link};
use actix_web::HttpRequest;

/// The navigation; a link is there once its path is a route that the role may read.
const LINKS: &[Link] = &[
    Link {
        word: "Home",
        path: "/home",
    },
    Link {
        word: "Bench",
        path: "/bench",
    },
    Link {
        word: "Pieces",
        path: "/pieces",
    },
    Link {
        word: "Lists",
        path: "/lists",
    },
    Link {
        word: "Office",
        path: "/office",
    },
    Link {
        word: "Metal",
        path: "/metal",
    },
];

/// What somebody who is signed in asks for.
#[derive(Clone, Debug)]
pub struct Visit {
    /// The address: path, what stands in it, and the query without `recorded`.
    pub asked: Asked,
    /// Who asks.
    pub signed_in: SignedIn,
    /// The entry that was recorded just before, if this page was shown after it.
    pub recorded: Option<u64>,
}

impl Visit {
    /// Takes it off a request.
    #[must_use]
    pub fn of(request: &HttpRequest, signed_in: SignedIn) -> Self {
        Self::at(Asked::of(request, Some(signed_in.caller)), signed_in)
    }

    /// A visit of an address.
    #[must_use]
    pub fn at(mut asked: Asked, signed_in: SignedIn) -> Self {
        let mut recorded = None;
        let mut kept = Vec::new();
        for pair in asked.query.split('&').filter(|pair| !pair.is_empty()) {
            match pair.strip_prefix("recorded=") {
                Some(index) => recorded = index.parse().ok(),
                None => kept.push(pair),
            }
        }
        asked.query = kept.join("&");
        Self {
            asked,
            signed_in,
            recorded,
        }
    }

    /// The role of who asks.
    #[must_use]
    pub const fn role(&self) -> Role {
        self.signed_in.caller.role
    }

    /// A page of this visit, as text.
    #[must_use]
    pub fn framed(&self, app: &App, leaf: &Leaf) -> String {
        let role = self.role();
        let links: Vec<Link> = LINKS
            .iter()
            .copied()
            .filter(|link| may_read(role, link.path))
            .collect();
        let name = self.name();
        Frame {
            origin: &app.settings.origin,
            links: &links,
            path: &self.asked.path,
            who: Some((&name, role.word())),
            form_token: &self.signed_in.form_token,
            zone: app.settings.workshop.zone,
            recorded: self.recorded,
            position: app.views.position(),
        }
        .around(leaf)
    }

    /// What who asks is called.
    #[must_use]
    pub fn name(&self) -> String {
        let nameless = || "Somebody without a name".to_owned();
        self.signed_in.name.clone().unwrap_or_else(nameless)
    }
}

/// Whether a role may open the page or the form at an address.
#[must_use]
pub fn may_open(role: Role, address: &str) -> bool {
    let found = routes::at("GET", address);
    found.is_some_and(|(route, _)| matches!(route.who, Who::Roles(roles) if roles.contains(&role)))
}

/// Whether a role may read the page at a path that has no gaps.
#[must_use]
pub fn may_read(role: Role, path: &str) -> bool {
    let mut routes = ROUTES
        .iter()
        .filter(|route| route.method == "GET" && route.path == path);
    routes.any(|route| {
        let page = matches!(route.deed, Deed::Sheet(Sheet::Show(_) | Sheet::Form(_)));
        page && matches!(route.who, Who::Roles(roles) if roles.contains(&role))
    })
}

/// A page of the workshop for somebody who is not signed in.
#[must_use]
pub fn unframed(app: &App, path: &str, leaf: &Leaf) -> String {
    Frame {
        origin: &app.settings.origin,
        links: &[],
        path,
        who: None,
        form_token: "",
        zone: app.settings.workshop.zone,
        recorded: None,
        position: 0,
    }
    .around(leaf)
}

/// Whether a role may give a command.
#[must_use]
pub fn may_call(role: Role, command: &str) -> bool {
    ROUTES.iter().any(|route| {
        let gives = match route.deed {
            Deed::Command(recording) => recording.name == command,
            Deed::AddPhotograph => command == "PhotographPiece",
            _ => false,
        };
        gives && matches!(route.who, Who::Roles(roles) if roles.contains(&role))
    })
}
