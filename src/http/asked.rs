//! What a read was asked, taken off the request so that it can be answered on another thread.

use super::access::{Caller, Role};
use super::conditions::hyphenated;
use super::problem::Problem;
use super::query::Parameters;
use actix_web::HttpRequest;
use std::collections::BTreeMap;
use uuid::Uuid;

/// What a read was asked.
#[derive(Clone, Debug)]
pub struct Asked {
    /// The path as it came.
    pub path: String,
    /// The query string as it came.
    pub query: String,
    /// What stands in the path, by name.
    pub members: BTreeMap<String, String>,
    /// Who asks, if a token was needed.
    pub caller: Option<Caller>,
}

impl Asked {
    /// Takes it off a request.
    #[must_use]
    pub fn of(request: &HttpRequest, caller: Option<Caller>) -> Self {
        let members = request.match_info().iter();
        Self {
            path: request.path().to_owned(),
            query: request.query_string().to_owned(),
            members: members
                .map(|(name, value)| (name.to_owned(), value.to_owned()))
                .collect(),
            caller,
        }
    }

    /// The path with its query.
    #[must_use]
    pub fn address(&self) -> String {
        match self.query.as_str() {
            "" => self.path.clone(),
            query => format!("{}?{query}", self.path),
        }
    }

    /// The query parameters.
    ///
    /// # Errors
    /// 400.
    pub fn parameters(&self) -> Result<Parameters, Problem> {
        Parameters::read(&self.query)
    }

    /// What stands in the path under a name.
    #[must_use]
    pub fn member(&self, name: &str) -> &str {
        self.members.get(name).map_or("", String::as_str)
    }

    /// The id that stands in the path under a name.
    ///
    /// # Errors
    /// 404 when it is no UUID: nothing can be there.
    pub fn id(&self, name: &str) -> Result<Uuid, Problem> {
        hyphenated(self.member(name))
            .ok_or_else(|| Problem::not_found(format!("there is no {name} with that id")))
    }

    /// The role of who asks; none on the public side.
    #[must_use]
    pub fn role(&self) -> Option<Role> {
        self.caller.map(|caller| caller.role)
    }
}
