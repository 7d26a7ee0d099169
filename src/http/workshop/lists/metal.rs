//! Lists of metal: pieces, lots, melts, residues.

use super::{Column, Filter, Listing, Of, Seen, Visit, show};
use crate::domain::{FinenessBasis, Grade, Jar, Lot, Melt, MeltState, Piece, PieceState, Residue};
use crate::http::App;
use crate::http::problem::Problem;
use crate::http::workshop::names::Names;
use crate::http::workshop::{named, offered};
use crate::metal::Mass;
use crate::pages::workshop::Cell;
use crate::views::Table;

const METALS: &[&str] = &["silver", "gold", "platinum", "palladium", "copper"];

/// A mass that somebody asks for, with a comma or a point.
fn mass(name: &str, text: &str) -> Result<Mass, Problem> {
    let read = Mass::parse(&text.replace(',', "."));
    read.map_err(|error| Problem::unreadable(format!("{name:?} {error}")))
}

/// Whether a series is the one with this code.
pub(super) fn is_series(names: &Names<'_>, id: crate::domain::SeriesId, code: &str) -> bool {
    id.to_string() == code || named::of(names.app, id.0).as_deref() == Some(code)
}

const PIECES: Listing<Piece> = Listing {
    title: "Pieces",
    path: "/pieces",
    columns: &[
        Column::text("Piece", |_, row| {
            Ok(Cell::linked(
                named::piece(row),
                Some(format!("/pieces/{}", row.piece)),
            ))
        }),
        Column::text("State", |_, row| {
            Ok(Cell::text(row.state.word().replace('_', " ")))
        }),
        Column::text("Grade", |_, row| {
            let grade = row.grading.as_ref().map(|grading| grading.grade.word());
            Ok(Cell::text(grade.unwrap_or_default()))
        }),
        Column::figure("Mass, g", |_, row| {
            let mass = row.reading().map(|reading| reading.mass.text().to_owned());
            Ok(Cell::text(mass.unwrap_or_default()))
        }),
        Column::text("Series", |names, row| {
            Ok(Cell::linked(
                names.series(row.series)?,
                named::page_of(Table::Series, row.series.0),
            ))
        }),
        Column::text("Shape", |_, row| {
            Ok(Cell::text(row.shape.as_str().replace('_', " ")))
        }),
        Column::figure("Number", |_, row| {
            Ok(Cell::text(
                row.number.map_or_else(String::new, |number| number.to_string()),
            ))
        }),
        Column::figure("Melt", |names, row| {
            let number = named::of(names.app, row.melt.0).unwrap_or_default();
            Ok(Cell::linked(number, named::page_of(Table::Melt, row.melt.0)))
        }),
        Column::text("Pour", |_, row| Ok(Cell::text(row.pour.clone()))),
    ],
    filters: &[
        Filter {
            name: "state",
            label: "State",
            of: Of::Words(PieceState::WORDS),
            fits: |_, row, word| Ok(row.state.word() == word),
        },
        Filter {
            name: "grade",
            label: "Grade",
            of: Of::Words(Grade::WORDS),
            fits: |_, row, word| {
                Ok(row
                    .grading
                    .as_ref()
                    .is_some_and(|grading| grading.grade.word() == word))
            },
        },
        Filter {
            name: "series",
            label: "Series",
            of: Of::Series,
            fits: |names, row, code| Ok(is_series(names, row.series, code)),
        },
        Filter {
            name: "shape",
            label: "Shape",
            of: Of::Text,
            fits: |_, row, shape| Ok(row.shape.as_str() == shape.replace(' ', "_")),
        },
        Filter {
            name: "melt",
            label: "Melt, by number",
            of: Of::Text,
            fits: |names, row, melt| {
                Ok(row.melt.to_string() == melt || named::of(names.app, row.melt.0).as_deref() == Some(melt))
            },
        },
        Filter {
            name: "mass_from",
            label: "From, g",
            of: Of::Text,
            fits: |_, row, text| {
                let least = mass("mass_from", text)?;
                Ok(row.mass().is_some_and(|mass| mass >= least))
            },
        },
        Filter {
            name: "mass_to",
            label: "To, g",
            of: Of::Text,
            fits: |_, row, text| {
                let most = mass("mass_to", text)?;
                Ok(row.mass().is_some_and(|mass| mass <= most))
            },
        },
    ],
};

const LOTS: Listing<Lot> = Listing {
    title: "Lots",
    path: "/lots",
    columns: &[
        Column::text("Lot", |_, row| {
            Ok(Cell::linked(
                row.number.to_string(),
                named::page_of(Table::Lot, row.lot.0),
            ))
        }),
        Column::text("Metal", |_, row| Ok(Cell::text(row.metal.word()))),
        Column::figure("Fineness, ‰", |_, row| Ok(Cell::text(row.fineness.to_string()))),
        Column::text("Rests on", |_, row| Ok(Cell::text(row.basis.word()))),
        Column::figure("Weighed, g", |_, row| Ok(Cell::text(row.mass.text()))),
        Column::figure("Invoiced, g", |_, row| {
            Ok(Cell::text(
                row.invoiced.map_or_else(String::new, |mass| mass.to_string()),
            ))
        }),
        Column::figure("Left, g", |_, row| Ok(Cell::text(row.left.to_string()))),
        Column::text("Received", |names, row| {
            Ok(Cell::text(names.app.settings.workshop.zone.in_words(row.at)))
        }),
        Column::text("Whose", |names, row| {
            let customer = |owner| offered::customer(names.app, names.visit, owner);
            let whose = row.owner.map(customer).transpose()?;
            Ok(Cell::text(whose.unwrap_or_else(|| "the workshop's".to_owned())))
        }),
        Column::private("From whom", |names, row| {
            Ok(Cell::text(
                names.text_of(row.lot.0, "seller")?.unwrap_or_default(),
            ))
        }),
        Column::private("Document", |names, row| {
            Ok(Cell::text(
                names.text_of(row.lot.0, "document")?.unwrap_or_default(),
            ))
        }),
    ],
    filters: &[
        Filter {
            name: "metal",
            label: "Metal",
            of: Of::Words(METALS),
            fits: |_, row, word| Ok(row.metal.word() == word),
        },
        Filter {
            name: "basis",
            label: "Fineness rests on",
            of: Of::Words(FinenessBasis::WORDS),
            fits: |_, row, word| Ok(row.basis.word() == word),
        },
        Filter {
            name: "left",
            label: "Left",
            of: Of::Words(&["some", "none"]),
            fits: |_, row, word| Ok((row.left == Mass::ZERO) == (word == "none")),
        },
    ],
};

const MELTS: Listing<Melt> = Listing {
    title: "Melts",
    path: "/melts",
    columns: &[
        Column::text("Melt", |_, row| {
            Ok(Cell::linked(
                row.number.to_string(),
                named::page_of(Table::Melt, row.melt.0),
            ))
        }),
        Column::text("State", |_, row| Ok(Cell::text(row.state.word()))),
        Column::text("Metal", |_, row| Ok(Cell::text(row.metal.word()))),
        Column::figure("Fineness, ‰", |_, row| Ok(Cell::text(row.fineness.to_string()))),
        Column::figure("Charge, g", |_, row| Ok(Cell::text(row.charge.to_string()))),
        Column::figure("Pieces", |_, row| {
            let link = format!("/pieces?melt={}", row.number);
            Ok(Cell::linked(row.pieces.len().to_string(), Some(link)))
        }),
        Column::figure("Heel, g", |_, row| {
            Ok(Cell::text(
                row.heel.map_or_else(String::new, |mass| mass.to_string()),
            ))
        }),
        Column::figure("Loss, g", |_, row| {
            Ok(Cell::text(
                row.loss.map_or_else(String::new, |loss| loss.to_string()),
            ))
        }),
        Column::text("Charged", |names, row| {
            Ok(Cell::text(names.app.settings.workshop.zone.in_words(row.at)))
        }),
    ],
    filters: &[
        Filter {
            name: "state",
            label: "State",
            of: Of::Words(MeltState::WORDS),
            fits: |_, row, word| Ok(row.state.word() == word),
        },
        Filter {
            name: "metal",
            label: "Metal",
            of: Of::Words(METALS),
            fits: |_, row, word| Ok(row.metal.word() == word),
        },
    ],
};

const RESIDUES: Listing<Jar> = Listing {
    title: "Residues",
    path: "/residues",
    columns: &[
        Column::text("Jar", |_, row| {
            let words = format!("{} of {}", row.residue.word(), row.metal.word());
            Ok(Cell::linked(words, named::page_of(Table::Jar, row.jar.0)))
        }),
        Column::figure("Fineness, ‰", |_, row| Ok(Cell::text(row.fineness.to_string()))),
        Column::figure("Should hold, g", |_, row| Ok(Cell::text(row.mass.to_string()))),
        Column::figure("Swept, g", |_, row| Ok(Cell::text(row.swept.to_string()))),
        Column::figure("Fillings", |_, row| Ok(Cell::text(row.readings.to_string()))),
    ],
    filters: &[
        Filter {
            name: "residue",
            label: "Residue",
            of: Of::Words(Residue::WORDS),
            fits: |_, row, word| Ok(row.residue.word() == word),
        },
        Filter {
            name: "metal",
            label: "Metal",
            of: Of::Words(METALS),
            fits: |_, row, word| Ok(row.metal.word() == word),
        },
    ],
};

/// `GET /pieces` and `/pieces.csv`.
///
/// # Errors
/// 400 for a filter that is not known, or not of its form.
pub fn pieces(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    show(&PIECES, app, visit)
}

/// `GET /lots` and `/lots.csv`.
///
/// # Errors
/// As [`pieces`].
pub fn lots(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    show(&LOTS, app, visit)
}

/// `GET /melts` and `/melts.csv`.
///
/// # Errors
/// As [`pieces`].
pub fn melts(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    show(&MELTS, app, visit)
}

/// `GET /residues` and `/residues.csv`.
///
/// # Errors
/// As [`pieces`].
pub fn residues(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    show(&RESIDUES, app, visit)
}

#[cfg(test)]
mod tests {
    use super::METALS;
    use crate::metal::Metal;

    #[test]
    fn the_filter_knows_every_metal() {
        assert_eq!(METALS, Metal::ALL.map(Metal::word));
    }
}
