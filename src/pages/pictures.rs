//! Pictures of figures: data in, SVG out. What a width or a height stands for is true to the last thousandth of a unit.
//!
//! Every picture is drawn twice, for a narrow screen and for a wide one, and the stylesheet shows the one that fits, so that
//! words keep their size and are placed anew instead of being shrunk. It is one image with a title and a description (a group, where
//! parts of it are links); the page puts a table with the same figures under it, which is what is read aloud and copied, and
//! whose links are those of the picture. Words stand at what they name: there is no legend, and no meaning is carried by colour alone.
//!
//! Places are whole numbers of thousandths of a unit, reckoned from the sums so far, so that parts end exactly where their
//! whole does. Deliberately absent: scripts, floats, and any figure that the page did not give.

mod canvas;
mod columns;
mod pairs;
mod points;
mod stream;

pub use canvas::{Size, milli};
pub use columns::{Column, Columns, Zone};
pub use pairs::{Amount, Pair, Pairs};
pub use points::{Level, Point, Points};
pub use stream::{Branch, Ribbon, Row, Stream, Tone};
