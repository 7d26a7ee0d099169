//! Each thing of the book in a few words, for answers that people read. Names, notes and money are not among them.

use crate::domain::{
    Certificate, Charge, Consignment, Die, Jar, Lot, Melt, Order, Owner, Piece, Quote, Refining, Sale, Scale,
    Series, Session, ShapeCount, Spot, Stocktake,
};

/// What a row is, in a few words that are the same for everybody.
pub trait Said {
    /// The words.
    fn said(&self) -> String;
}

macro_rules! say {
    ($($type:ident: $row:ident => $says:expr;)*) => {
        $(impl Said for $type {
            fn said(&self) -> String {
                let $row = self;
                $says
            }
        })*
    };
}

say! {
    Lot: row => format!("lot {}, {} {}, {} g left", row.number, row.metal, row.fineness, row.left);
    Scale: row => format!("scale, e = {} g, up to {} g", row.e, row.max);
    Session: row => format!("session, {}, {} readings", row.state, row.readings);
    Jar: row => format!("jar of {}, {}, {} g by the book", row.residue, row.metal, row.mass);
    Series: row => format!("series {}, {}, {}", row.code, row.kind_of, row.state);
    Melt: row => format!("melt {}, {}, {}", row.number, row.metal, row.state);
    Piece: row => {
        let serial = row.serial.as_ref().map(|serial| format!(", {serial}")).unwrap_or_default();
        let number = row.number.map(|number| format!(", number {number}")).unwrap_or_default();
        format!("piece {}{serial}{number}, {}", row.pour, row.state)
    };
    Certificate: row => {
        let over = row.superseded.map_or("", |_| ", superseded");
        format!("certificate of {}, issue {}{over}", row.serial, row.issue)
    };
    Die: row => format!("die of the {}, {} strikes, {}", row.owner, row.strikes, row.state);
    Consignment: row => format!("consignment {}, {}, {}", row.number, pieces(row.pieces.len()), row.state);
    Order: row => format!("order {}, {}, {}", row.number, shapes(&row.shapes), row.state);
    Sale: row => format!("sale {}, {}", row.number, pieces(row.pieces.len()));
    Refining: row => format!("refining {}, {} {} g, {}", row.number, row.metal, row.mass, row.state);
    Owner: row => {
        let agreed = if row.agreed { "agreed" } else { "not agreed" };
        format!("customer whose metal is here, mixing {agreed}")
    };
    Stocktake: row => {
        let unseen = row.pieces.as_ref().map_or(0, |pieces| pieces.unseen.len());
        let unexplained = row.lines.iter().filter(|line| !line.explained).count();
        format!("stock-take {}, {} weighed, {unexplained} unexplained, {} unseen", row.number, row.lines.len(), pieces(unseen))
    };
    Spot: row => format!("spot price of {}, {} an ounce", row.metal, row.price);
    Quote: row => format!("quote {}, {}", row.number, row.metal);
    Charge: row => {
        let of = if row.consignment.is_some() { "consignment" } else if row.die.is_some() { "die" } else { "sale" };
        format!("charge for a {of}")
    };
}

fn pieces(count: usize) -> String {
    match count {
        1 => "1 piece".to_owned(),
        count => format!("{count} pieces"),
    }
}

fn shapes(shapes: &[ShapeCount]) -> String {
    let shapes = shapes
        .iter()
        .map(|shape| format!("{} {}", shape.count, shape.shape));
    shapes.collect::<Vec<String>>().join(", ")
}
