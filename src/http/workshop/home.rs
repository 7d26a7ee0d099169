//! The page that everybody comes to: what needs a hand today, each with the page or the form that does it.

use super::names::Names;
use super::visit::may_read;
use super::{App, Seen, Sheet, Visit, named};
use crate::domain::{
    Certificate, Consignment, ConsignmentState, Grade, Lot, Piece, PieceState as S, Scale, Series,
    SeriesState, Session, SessionState, Timestamp,
};
use crate::http::failed;
use crate::http::problem::Problem;
use crate::http::routes::{Deed, ROUTES};
use crate::metal::Mass;
use crate::pages::workshop::{self as page, HomeSeen, Need};
use crate::views::{Table, Tabled};

/// How many rows are read at a time.
const READ: usize = 200;
/// How many things of one kind are told one by one.
const EACH_MAX: usize = 5;
const DAY_SECONDS: i64 = 86_400;
/// Good pieces that are not a buyer's yet: what a promise may be kept with.
const IN_HAND: &[S] = &[
    S::Graded,
    S::Serialled,
    S::Struck,
    S::AtOffice,
    S::Hallmarked,
    S::Spare,
    S::Numbered,
    S::Certified,
    S::Reserved,
];
/// Of these, the ones that have their number.
const NUMBERED: &[S] = &[S::Numbered, S::Certified, S::Reserved];

/// Home.
///
/// # Errors
/// When the views cannot be read.
pub fn home(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let now = (app.clock)();
    let look = Look {
        app,
        visit,
        now,
        names: Names::new(app, visit),
    };
    let pieces: Vec<Piece> = all(app)?;
    let mut needs = look.beginning()?;
    needs.extend(look.sessions()?);
    needs.extend(look.suspects(&pieces)?);
    needs.extend(look.consignments()?);
    needs.extend(look.borderline(&pieces));
    needs.extend(look.promises(&pieces)?);
    needs.extend(look.certificates()?);
    let forms = ROUTES.iter().filter_map(|route| match route.deed {
        Deed::Sheet(Sheet::Form(form)) if may_read(visit.role(), route.path) && !route.path.contains('{') => {
            Some((route.path, form.sheet.title))
        }
        _ => None,
    });
    let seen = HomeSeen {
        needs,
        forms: by_part(forms),
    };
    Ok(page::home(&seen).into())
}

/// The parts of the work, and what the addresses of their forms begin with; what is named nowhere sets something up.
const PARTS: &[(&str, &[&str])] = &[
    ("At the bench", &["/lots/", "/bench/"]),
    (
        "Numbers, papers, assay office",
        &[
            "/serials/",
            "/spares/",
            "/numbers/",
            "/certificates/",
            "/prints/",
            "/consignments/",
        ],
    ),
    (
        "Orders, sales, prices",
        &["/orders/", "/sales/", "/quotes/", "/spots/", "/charges/"],
    ),
    ("Stock", &["/refinings/", "/stocktakes/"]),
    ("Set up", &[""]),
];

type Forms = Vec<(&'static str, &'static str)>;

fn by_part(forms: impl Iterator<Item = (&'static str, &'static str)>) -> Vec<(&'static str, Forms)> {
    let mut parts: Vec<(&'static str, Forms)> = PARTS.iter().map(|(part, _)| (*part, Vec::new())).collect();
    for (path, title) in forms {
        let of_part = |(_, begins): &(&str, &[&str])| begins.iter().any(|begin| path.starts_with(begin));
        let place = PARTS.iter().position(of_part);
        if let Some((_, forms)) = place.and_then(|place| parts.get_mut(place)) {
            forms.push((path, title));
        }
    }
    parts.retain(|(_, forms)| !forms.is_empty());
    parts
}

/// Every row of a table.
fn all<T: Tabled>(app: &App) -> Result<Vec<T>, Problem> {
    let (mut rows, mut after) = (Vec::new(), None);
    loop {
        let part = app.views.list(&|_: &T| true, after, READ).map_err(failed)?;
        rows.extend(part.rows);
        after = part.next;
        if after.is_none() {
            return Ok(rows);
        }
    }
}

struct Look<'a> {
    app: &'a App,
    visit: &'a Visit,
    now: Timestamp,
    names: Names<'a>,
}

impl Look<'_> {
    fn told(&self, at: Timestamp) -> String {
        self.app.settings.workshop.zone.in_words(at)
    }

    /// What an empty book wants first.
    fn beginning(&self) -> Result<Vec<Need>, Problem> {
        let none = |words: &str, command: &str, does: &'static str| Need {
            what: "A new book",
            words: words.to_owned(),
            link: named::form_at(self.visit.role(), command, &|_| None),
            does,
        };
        Ok(if all::<Scale>(self.app)?.is_empty() {
            vec![none(
                "Begin with a scale: what stands on its plate decides how sure each weight is.",
                "RegisterScale",
                "Register a scale",
            )]
        } else if all::<Series>(self.app)?.is_empty() {
            vec![none(
                "Every piece is poured for a series: an edition, or an open one.",
                "OpenSeries",
                "Open a series",
            )]
        } else if all::<Lot>(self.app)?.is_empty() {
            vec![none(
                "Metal that comes in is weighed in a session of a scale, and stands in the book as a lot.",
                "ReceiveLot",
                "Record metal",
            )]
        } else {
            Vec::new()
        })
    }

    /// Sessions that were opened on an earlier day and have no closing check.
    fn sessions(&self) -> Result<Vec<Need>, Problem> {
        let zone = self.app.settings.workshop.zone;
        let sessions: Vec<Session> = all(self.app)?;
        let open = sessions.into_iter().filter(|session| {
            session.state == SessionState::Open && zone.day(session.at) != zone.day(self.now)
        });
        open.map(|session| {
            let id = session.session.0;
            Ok(Need {
                what: "Closing check missing",
                words: format!(
                    "{} is in session since {}, with {} readings. Until its closing check holds, nothing that was weighed in it \
                     supports a certificate.",
                    self.names.scale(session.scale)?,
                    self.told(session.at),
                    session.readings
                ),
                link: named::form_at(self.visit.role(), "CloseSession", &|gap| (gap == "{session}").then_some(id)),
                does: "Weigh the check weight",
            })
        })
        .collect()
    }

    /// Pieces whose newest reading is suspect.
    fn suspects(&self, pieces: &[Piece]) -> Result<Vec<Need>, Problem> {
        let mut found = Vec::new();
        for piece in pieces.iter().filter(|piece| IN_HAND.contains(&piece.state)) {
            let Some(reading) = piece.reading() else {
                continue;
            };
            let session: Option<Session> = self.app.views.row(reading.session.0).map_err(failed)?;
            let suspect = |row: Session| row.failed_at.is_some() && reading.index > row.last_good;
            if session.is_some_and(suspect) {
                found.push(piece);
            }
        }
        Ok(found
            .iter()
            .take(EACH_MAX)
            .map(|piece| {
                self.about(
                    piece,
                    "Reading suspect",
                    "was weighed before a check of its scale failed, and not again since.",
                    "Weigh it again",
                )
            })
            .chain(more(found.len(), "pieces have a suspect reading"))
            .collect())
    }

    fn about(&self, piece: &Piece, what: &'static str, says: &str, does: &'static str) -> Need {
        Need {
            what,
            words: format!("Piece {} {says}", named::piece(piece)),
            link: Some(format!("/pieces/{}", piece.piece)),
            does,
        }
    }

    /// Consignments that are out longer than the workshop said.
    fn consignments(&self) -> Result<Vec<Need>, Problem> {
        let patience = i64::from(self.app.settings.workshop.consignment_days).saturating_mul(DAY_SECONDS);
        let rows: Vec<Consignment> = all(self.app)?;
        let late = rows.into_iter().filter(|row| {
            row.state == ConsignmentState::AtOffice && self.now.0.saturating_sub(row.at.0) > patience
        });
        let need = |row: Consignment| {
            let id = row.consignment.0;
            let days = self
                .now
                .0
                .saturating_sub(row.at.0)
                .checked_div(DAY_SECONDS)
                .unwrap_or(0);
            let form = named::form_at(self.visit.role(), "ReturnConsignment", &|gap| {
                (gap == "{consignment}").then_some(id)
            });
            let does = if form.is_some() {
                "Record what came back"
            } else {
                "See it"
            };
            Need {
                what: "Consignment out long",
                words: format!(
                    "Consignment {} with {} pieces, {} g, is at the assay office since {}: {days} days.",
                    row.number,
                    row.pieces.len(),
                    row.mass,
                    self.told(row.at)
                ),
                link: form
                    .or_else(|| named::page_of(Table::Consignment, id))
                    .or_else(|| Some("/consignments?state=at_office".to_owned())),
                does,
            }
        };
        Ok(late.map(need).collect())
    }

    /// Pieces that the scale could not grade.
    fn borderline(&self, pieces: &[Piece]) -> Vec<Need> {
        let waits = |piece: &&Piece| {
            let grade = piece.grading.as_ref().map(|grading| grading.grade);
            piece.state == S::Graded && grade == Some(Grade::Borderline)
        };
        let found: Vec<&Piece> = pieces.iter().filter(waits).collect();
        let each = found.iter().take(EACH_MAX).map(|piece| {
            self.about(
                piece,
                "Borderline piece",
                "is too near a limit for the scale to tell: a better scale, the file, an open series, or the crucible.",
                "See what may be done",
            )
        });
        each.chain(more(found.len(), "pieces are borderline")).collect()
    }

    /// Promises that neither pieces nor metal nor numbers cover.
    fn promises(&self, pieces: &[Piece]) -> Result<Vec<Need>, Problem> {
        let lots: Vec<Lot> = all(self.app)?;
        let series: Vec<Series> = all(self.app)?;
        let mut needs = Vec::new();
        for row in series.iter().filter(|row| row.state == SeriesState::Open) {
            // A customer's metal is no promise of the workshop's.
            let fits =
                |lot: &&Lot| lot.owner.is_none() && lot.metal == row.metal && lot.fineness >= row.fineness;
            let metal = Mass::checked_sum(lots.iter().filter(fits).map(|lot| lot.left)).unwrap_or(Mass::MAX);
            for (place, size) in row.shapes.iter().enumerate() {
                let promised = row.promised.get(place).copied().unwrap_or(0);
                let given = row.numbers.get(place).copied().unwrap_or(0);
                let of_shape = |states: &[S]| {
                    let fits = |piece: &&Piece| {
                        let good = piece
                            .grading
                            .as_ref()
                            .is_some_and(|grading| grading.grade == Grade::Accepted);
                        piece.series == row.series
                            && piece.shape == size.shape
                            && good
                            && states.contains(&piece.state)
                    };
                    u32::try_from(pieces.iter().filter(fits).count()).unwrap_or(u32::MAX)
                };
                let givable = size.size.saturating_sub(given).saturating_add(of_shape(NUMBERED));
                let to_pour = promised.saturating_sub(of_shape(IN_HAND));
                let nominal = row.limits.as_ref().map(|limits| limits.nominal);
                let metal_needed = nominal.map(|nominal| nominal.checked_mul(to_pour).unwrap_or(Mass::MAX));
                let name = format!(
                    "{} {}",
                    self.names.series(row.series)?,
                    size.shape.as_str().replace('_', " ")
                );
                let words = if promised > givable {
                    format!(
                        "{name}: {promised} are promised, and only {givable} numbers are left to give or unsold."
                    )
                } else if let Some(needed) = metal_needed.filter(|needed| *needed > metal) {
                    format!(
                        "{name}: {to_pour} more must be poured for what is promised, some {needed} g; the workshop's own lots that are fine \
                         enough hold {metal} g."
                    )
                } else {
                    continue;
                };
                needs.push(Need {
                    what: "Promised more than can be poured",
                    words,
                    link: Some(format!("/orders?state=open&series={}", row.code)),
                    does: "See the orders",
                });
            }
        }
        Ok(needs)
    }

    /// Certificates that took the place of another and are on no paper yet.
    fn certificates(&self) -> Result<Vec<Need>, Problem> {
        let rows: Vec<Certificate> = all(self.app)?;
        let stale = |row: &&Certificate| row.issue > 1 && row.superseded.is_none() && row.prints.is_empty();
        let found: Vec<&Certificate> = rows.iter().filter(stale).collect();
        let form = named::form_at(self.visit.role(), "PrintCertificates", &|_| None);
        let each = found.iter().take(EACH_MAX).map(|row| Need {
            what: "Certificate superseded, not reissued",
            words: format!(
                "Issue {} of the certificate of {} took the place of the one before on {}, and was never printed.",
                row.issue,
                row.serial,
                self.told(row.at)
            ),
            link: form.clone().or_else(|| Some(format!("/pieces/{}", row.piece))),
            does: if form.is_some() { "Print it" } else { "See the piece" },
        });
        Ok(each
            .chain(more(found.len(), "certificates wait to be printed"))
            .collect())
    }
}

/// What is left untold where there are many.
fn more(count: usize, what: &str) -> Option<Need> {
    (count > EACH_MAX).then(|| Need {
        what: "And more",
        words: format!("In all, {count} {what}."),
        link: None,
        does: "",
    })
}
