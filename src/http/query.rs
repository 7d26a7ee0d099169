//! Query parameters: each known, each once, each of its form.

use super::problem::Problem;
use crate::views::Cursor;
use actix_web::web::Query;
use std::str::FromStr;

/// How many items a page has when nothing is said.
const LIMIT_USUAL: usize = 50;
/// How many items a page has at most.
const LIMIT_MAX: usize = 200;
/// The greatest whole number that every reader of JSON holds exactly.
const INDEX_MAX: u64 = 9_007_199_254_740_991;

/// The parameters of a request; each is taken out, and none may be left.
pub struct Parameters {
    pairs: Vec<(String, String)>,
}

impl Parameters {
    /// Reads a query string.
    ///
    /// # Errors
    /// 400 when it is not one, or names a parameter twice.
    pub fn read(query: &str) -> Result<Self, Problem> {
        let read = Query::<Vec<(String, String)>>::from_query(query);
        let pairs = read
            .map_err(|_| Problem::unreadable("the query string cannot be read"))?
            .into_inner();
        for (at, (name, _)) in pairs.iter().enumerate() {
            if pairs.iter().take(at).any(|(earlier, _)| earlier == name) {
                return Err(Problem::unreadable(format!(
                    "the query parameter {name:?} is given twice"
                )));
            }
        }
        Ok(Self { pairs })
    }

    /// Takes a parameter out.
    pub fn take(&mut self, name: &str) -> Option<String> {
        let at = self.pairs.iter().position(|(known, _)| known == name)?;
        Some(self.pairs.remove(at).1)
    }

    /// Takes a parameter out and reads it.
    ///
    /// # Errors
    /// 400 when it is not `what`.
    pub fn parse<T: FromStr>(&mut self, name: &str, what: &str) -> Result<Option<T>, Problem> {
        let Some(text) = self.take(name) else {
            return Ok(None);
        };
        let read = text.parse();
        read.map(Some)
            .map_err(|_| Problem::unreadable(format!("the query parameter {name:?} must be {what}")))
    }

    /// Takes a position in the log out: no larger than what a JSON number holds everywhere (RFC 8259 section 6), since
    /// replies tell it back.
    ///
    /// # Errors
    /// 400 when it is not `what`.
    pub fn index(&mut self, name: &str, what: &str) -> Result<Option<u64>, Problem> {
        let index: Option<u64> = self.parse(name, what)?;
        match index {
            Some(beyond) if beyond > INDEX_MAX => Err(Problem::unreadable(format!(
                "the query parameter {name:?} must be {what}, at most {INDEX_MAX}"
            ))),
            index => Ok(index),
        }
    }

    /// Takes a word of a closed set out.
    ///
    /// # Errors
    /// 400 when it is none of the words.
    pub fn word<T: serde::de::DeserializeOwned>(
        &mut self,
        name: &str,
        words: &[&str],
    ) -> Result<Option<T>, Problem> {
        let Some(text) = self.take(name) else {
            return Ok(None);
        };
        let read = serde_json::from_value(serde_json::Value::String(text));
        read.map(Some).map_err(|_| {
            Problem::unreadable(format!(
                "the query parameter {name:?} must be one of {}",
                words.join(", ")
            ))
        })
    }

    /// Takes `limit` out: 1 to 200.
    ///
    /// # Errors
    /// 400.
    pub fn limit(&mut self) -> Result<usize, Problem> {
        let limit = self
            .parse("limit", "a number from 1 to 200")?
            .unwrap_or(LIMIT_USUAL);
        if (1..=LIMIT_MAX).contains(&limit) {
            Ok(limit)
        } else {
            Err(Problem::unreadable(
                "the query parameter \"limit\" must be a number from 1 to 200",
            ))
        }
    }

    /// Takes `after` out, as a cursor of a list.
    ///
    /// # Errors
    /// 400.
    pub fn cursor(&mut self) -> Result<Option<Cursor>, Problem> {
        let Some(text) = self.take("after") else {
            return Ok(None);
        };
        let cursor = Cursor::parse(&text);
        cursor.map(Some).ok_or_else(|| {
            Problem::unreadable("the query parameter \"after\" must be a cursor that an earlier page gave")
        })
    }

    /// Says that no other parameter is known.
    ///
    /// # Errors
    /// 400, naming the first that is left.
    pub fn finish(self) -> Result<(), Problem> {
        match self.pairs.first() {
            None => Ok(()),
            Some((name, _)) => Err(Problem::unreadable(format!(
                "the query parameter {name:?} is not known here"
            ))),
        }
    }

    /// The same query with one parameter set anew, for a link to the next page.
    #[must_use]
    pub fn with(query: &str, name: &str, value: &str) -> String {
        let start = format!("{name}=");
        let kept = query
            .split('&')
            .filter(|pair| !pair.is_empty() && !pair.starts_with(&start));
        let mut pairs: Vec<&str> = kept.collect();
        let set = format!("{name}={value}");
        pairs.push(&set);
        pairs.join("&")
    }
}
