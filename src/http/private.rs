//! Private members, read from the vault at the moment of asking and shown to those whom their audience names.
//!
//! Nothing here is kept: a value that was erased is gone with the next reply, which then says `null`.

use super::access::Role;
use super::problem::Problem;
use super::{App, failed};
use crate::domain::{Audience, Certificate, CertificateId, Event};
use crate::log::VaultKind;
use crate::proof::Hash;
use crate::record::{self, Entry};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use serde_json::{Map, Value, json};
use subtle::{Choice, ConstantTimeEq};
use uuid::Uuid;

/// How many entries of a chain are looked through for the private members of a row.
const ENTRIES_MAX: usize = 64;
/// The private member that is compared, never shown.
const CODE: &str = "code";

/// Whether a role may be shown a member.
#[must_use]
pub fn may_see(role: Option<Role>, audience: Audience) -> bool {
    match audience {
        Audience::Public => true,
        Audience::Holder | Audience::Staff => role.is_some_and(Role::sees_private),
        Audience::Nobody => false,
    }
}

/// The private members of one event that a role may see: the value, or `null` for one that was erased.
///
/// # Errors
/// When the vault cannot be read.
pub fn of_event(
    app: &App,
    index: u64,
    place: usize,
    entry: &Entry,
    role: Option<Role>,
) -> Result<Map<String, Value>, Problem> {
    let mut shown = Map::new();
    let Some(event) = entry.events().nth(place) else {
        return Ok(shown);
    };
    let visible: Vec<&str> = Event::private_members(event.kind())
        .iter()
        .filter(|member| may_see(role, member.audience))
        .map(|member| member.name)
        .collect();
    if visible.is_empty() {
        return Ok(shown);
    }
    for kept in app.store.private(index).map_err(failed)? {
        let VaultKind::Disclosure { event, member } = kept.kind else {
            continue;
        };
        if usize::from(event) != place || !visible.contains(&member.as_str()) {
            continue;
        }
        let erased = kept.body.is_empty() || app.views.is_erased(index, event, &member).map_err(failed)?;
        let value = if erased {
            Value::Null
        } else {
            disclosed(entry, &kept.body)?
        };
        shown.insert(member, value);
    }
    Ok(shown)
}

/// The private members of a thing that a role may see, the newest of each name.
///
/// # Errors
/// When the vault or an entry cannot be read.
pub fn of_subject(app: &App, subject: Uuid, role: Option<Role>) -> Result<Map<String, Value>, Problem> {
    let mut shown = Map::new();
    for index in app.views.history_from(subject, 0, ENTRIES_MAX).map_err(failed)? {
        let entry = app.entry(index)?;
        for (place, event) in entry.events().enumerate() {
            // The first subject is what the event is about; further ones only went into it.
            if event.subjects().first() == Some(&subject) {
                shown.extend(of_event(app, index, place, &entry, role)?);
            }
        }
    }
    Ok(shown)
}

/// The text of a private member, whoever may see it: for the server's own use. `None` once it is erased.
///
/// # Errors
/// When the vault cannot be read.
pub fn kept(
    app: &App,
    index: u64,
    place: usize,
    entry: &Entry,
    member: &str,
) -> Result<Option<String>, Problem> {
    for kept in app.store.private(index).map_err(failed)? {
        let VaultKind::Disclosure { event, member: name } = kept.kind else {
            continue;
        };
        if usize::from(event) != place || name != member {
            continue;
        }
        if kept.body.is_empty() || app.views.is_erased(index, event, &name).map_err(failed)? {
            return Ok(None);
        }
        return Ok(disclosed(entry, &kept.body)?.as_str().map(str::to_owned));
    }
    Ok(None)
}

/// A digest that a code is held against. It has no `==`: it is compared in constant time, or not at all.
struct Sealed([u8; 32]);

impl Sealed {
    fn is(&self, other: &Self) -> Choice {
        self.0.as_slice().ct_eq(other.0.as_slice())
    }
}

/// The code of one certificate, as the vault has it.
struct KeptCode {
    certificate: CertificateId,
    /// The digests of the event that issued it.
    digests: Vec<Sealed>,
    /// The disclosure; none once it was erased.
    body: Option<Vec<u8>>,
}

impl KeptCode {
    /// Whether it is this code. The code is salted as the vault's disclosure says, and its digest (RFC 9901 section 4.2.3)
    /// held against the event, each comparison in constant time: what was erased has no salt left, so nothing fits it.
    fn is(&self, code: &str) -> bool {
        let digest = self.body.as_deref().and_then(|body| digest_of(body, code));
        let digest = Sealed(digest.unwrap_or(Hash([0; 32])).0);
        let fits = self.digests.iter().map(|known| known.is(&digest));
        self.body.is_some() && bool::from(fits.fold(Choice::from(0), |any, one| any | one))
    }
}

/// The codes of the certificates that an entry issued.
fn codes_of(app: &App, index: u64) -> Result<Vec<KeptCode>, Problem> {
    let entry = app.entry(index)?;
    let mut codes = Vec::new();
    for kept in app.store.private(index).map_err(failed)? {
        let VaultKind::Disclosure { event, member } = kept.kind else {
            continue;
        };
        let place = usize::from(event);
        let (Some(recorded), Some(Event::CertificateIssued(issued))) =
            (entry.payload.events.get(place), entry.events().nth(place))
        else {
            continue;
        };
        if member == CODE {
            let erased =
                kept.body.is_empty() || app.views.is_erased(index, event, &member).map_err(failed)?;
            codes.push(KeptCode {
                certificate: issued.certificate,
                digests: recorded.digests().iter().map(|digest| Sealed(digest.0)).collect(),
                body: (!erased).then_some(kept.body),
            });
        }
    }
    Ok(codes)
}

/// The certificate that an entry issued with a code.
///
/// # Errors
/// When the vault or the entry cannot be read.
pub fn certificate_of_code(app: &App, index: u64, code: &str) -> Result<Option<CertificateId>, Problem> {
    let codes = codes_of(app, index)?;
    let fitting = codes.iter().find(|known| known.is(code));
    Ok(fitting.map(|known| known.certificate))
}

/// Whether a code is that of a certificate; `None` where there is none to compare with, since it was erased.
///
/// # Errors
/// When the vault or the entry cannot be read.
pub fn is_code_of(app: &App, certificate: &Certificate, code: &str) -> Result<Option<bool>, Problem> {
    let codes = codes_of(app, certificate.since)?;
    let own = codes
        .iter()
        .find(|known| known.certificate == certificate.certificate);
    Ok(own.filter(|own| own.body.is_some()).map(|own| own.is(code)))
}

/// What the holder of a certificate may be shown of a thing: each private member of that audience that was not erased, with
/// the disclosure by which it can be held against the entry (RFC 9901 section 4.2.1).
///
/// # Errors
/// When the vault or an entry cannot be read.
pub fn for_holder(app: &App, subject: Uuid) -> Result<Vec<Value>, Problem> {
    let mut shown = Vec::new();
    for index in app.views.history_from(subject, 0, ENTRIES_MAX).map_err(failed)? {
        let entry = app.entry(index)?;
        for kept in app.store.private(index).map_err(failed)? {
            let VaultKind::Disclosure { event, member } = kept.kind else {
                continue;
            };
            let Some(of) = entry.events().nth(usize::from(event)) else {
                continue;
            };
            let mut members = Event::private_members(of.kind()).iter();
            let meant = members.any(|known| known.name == member && known.audience == Audience::Holder);
            let own = of.subjects().first() == Some(&subject);
            let erased =
                kept.body.is_empty() || app.views.is_erased(index, event, &member).map_err(failed)?;
            if meant && own && !erased {
                shown.push(json!({
                    "index": index,
                    "event": event,
                    "member": member,
                    "value": disclosed(&entry, &kept.body)?,
                    "disclosure": String::from_utf8_lossy(&kept.body),
                }));
            }
        }
    }
    Ok(shown)
}

/// The digest that a code has with the salt of a disclosure.
fn digest_of(body: &[u8], code: &str) -> Option<Hash> {
    let json = URL_SAFE_NO_PAD.decode(body).ok()?;
    let (salt, ..): (String, serde::de::IgnoredAny, serde::de::IgnoredAny) =
        serde_json::from_slice(&json).ok()?;
    let text = json!([salt, CODE, code]).to_string();
    Some(record::disclosure_digest(&URL_SAFE_NO_PAD.encode(text)))
}

/// The value in a disclosure (RFC 9901 section 4.2.1), once its digest is seen to stand in the entry.
fn disclosed(entry: &Entry, body: &[u8]) -> Result<Value, Problem> {
    let unreadable = || Problem::internal("a disclosure in the vault is unreadable");
    let text = std::str::from_utf8(body).map_err(|_| unreadable())?;
    let told = record::disclose(entry, &[text]).map_err(|fault| Problem::internal(fault.to_string()))?;
    let told = told.first().ok_or_else(unreadable)?;
    serde_json::to_value(&told.value).map_err(|_| unreadable())
}
