//! What people call things, each looked up once for a page.

use super::{App, Visit, named};
use crate::domain::{OperatorId, ScaleId, Series, SeriesId, Session, SessionId};
use crate::http::problem::Problem;
use crate::http::{failed, private};
use crate::record::Entry;
use serde_json::{Map, Value};
use std::cell::RefCell;
use std::collections::BTreeMap;
use uuid::Uuid;

/// Names for one page.
pub struct Names<'a> {
    /// Where they are looked up.
    pub app: &'a App,
    /// Who looks.
    pub visit: &'a Visit,
    kept: RefCell<BTreeMap<Uuid, String>>,
    /// The private texts of the thing that was asked for last: a line asks for several.
    told: RefCell<Option<(Uuid, Map<String, Value>)>>,
}

impl<'a> Names<'a> {
    /// None looked up yet.
    #[must_use]
    pub fn new(app: &'a App, visit: &'a Visit) -> Self {
        Self {
            app,
            visit,
            kept: RefCell::default(),
            told: RefCell::default(),
        }
    }

    fn once(&self, id: Uuid, look: impl FnOnce() -> Result<String, Problem>) -> Result<String, Problem> {
        if let Some(name) = self.kept.borrow().get(&id) {
            return Ok(name.clone());
        }
        let name = look()?;
        self.kept.borrow_mut().insert(id, name.clone());
        Ok(name)
    }

    /// A private text of a thing, as far as the visitor may see it.
    ///
    /// # Errors
    /// When the vault cannot be read.
    pub fn text_of(&self, id: Uuid, member: &str) -> Result<Option<String>, Problem> {
        if self.told.borrow().as_ref().is_none_or(|(of, _)| *of != id) {
            let told = private::of_subject(self.app, id, Some(self.visit.role()))?;
            self.told.replace(Some((id, told)));
        }
        let told = self.told.borrow();
        let text = told.as_ref().and_then(|(_, told)| told.get(member)?.as_str());
        Ok(text.map(str::to_owned))
    }

    /// A private amount of a thing in words, as far as the visitor may see it.
    ///
    /// # Errors
    /// When the vault cannot be read.
    pub fn money_of(&self, id: Uuid, member: &str) -> Result<Option<String>, Problem> {
        let shown = private::of_subject(self.app, id, Some(self.visit.role()))?;
        Ok(shown.get(member).and_then(money_words))
    }

    /// A series by its code, and its title where it has one.
    ///
    /// # Errors
    /// When the views or the vault cannot be read.
    pub fn series(&self, id: SeriesId) -> Result<String, Problem> {
        self.once(id.0, || {
            let row: Option<Series> = self.app.views.row(id.0).map_err(failed)?;
            let code = row.map_or_else(|| "?".to_owned(), |row| row.code.to_string());
            let title = self.text_of(id.0, "title")?;
            Ok(title.map_or_else(|| code.clone(), |title| format!("{code} {title}")))
        })
    }

    /// The scale of a session, by its label.
    ///
    /// # Errors
    /// When the views or the vault cannot be read.
    pub fn scale_of(&self, session: SessionId) -> Result<String, Problem> {
        let row: Option<Session> = self.app.views.row(session.0).map_err(failed)?;
        row.map_or_else(|| Ok("?".to_owned()), |row| self.scale(row.scale))
    }

    /// A scale by its label; without one, by the beginning of its id.
    ///
    /// # Errors
    /// When the vault cannot be read.
    pub fn scale(&self, id: ScaleId) -> Result<String, Problem> {
        self.once(id.0, || {
            let label = self.text_of(id.0, "label")?;
            Ok(label.unwrap_or_else(|| format!("Scale {}", short(id.0))))
        })
    }

    /// A thing that is counted, like `Melt 7`.
    #[must_use]
    pub fn numbered(&self, what: &str, id: Uuid) -> String {
        let number = self.once(id, || Ok(named::of(self.app, id).unwrap_or_else(|| short(id))));
        format!("{what} {}", number.unwrap_or_default())
    }

    /// An operator by name; without one, by the beginning of the id.
    #[must_use]
    pub fn operator(&self, id: OperatorId) -> String {
        let known = || {
            Ok(self
                .app
                .access
                .name_of(id)
                .unwrap_or_else(|| format!("Operator {}", short(id.0))))
        };
        self.once(id.0, known).unwrap_or_default()
    }

    /// When an entry's work was done, and by whom it was recorded.
    #[must_use]
    pub fn recorded(&self, entry: &Entry) -> (String, String) {
        let zone = self.app.settings.workshop.zone;
        let payload = &entry.payload;
        let when = match payload.at {
            Some(at) if at != payload.iat => {
                format!("{}, recorded {}", zone.in_words(at), zone.in_words(payload.iat))
            }
            _ => zone.in_words(payload.iat),
        };
        (when, self.operator(payload.by))
    }
}

/// An amount of money in words; none for what is none.
#[must_use]
pub fn money_words(value: &Value) -> Option<String> {
    let part = |name: &str| value.get(name).and_then(Value::as_str);
    Some(format!("{} {}", part("amount")?, part("currency")?))
}

/// The beginning of an id: enough to tell things apart on a page.
fn short(id: Uuid) -> String {
    id.to_string().chars().take(8).collect()
}
