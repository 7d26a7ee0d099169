//! A sheet before it is a PDF: blocks of lines, rules and squares at places in thousandths of a point.
//!
//! Each block says what it is to somebody who cannot see it: a heading, a paragraph, a figure with its text, or only
//! ornament. Deliberately absent: floats, and how a PDF spells any of it.

use super::setting::Line;

/// A length in thousandths of a point (1/72 inch).
pub type Length = i32;

/// Tenths of a millimetre as a length: 25.4 mm are 72 points.
pub const fn tenths_mm(tenths: i32) -> Length {
    tenths * 36_000 / 127
}

/// The inks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ink {
    /// A warm black.
    Black,
    /// A softer one, for labels.
    Grey,
    /// A dark red, for what is rubricated.
    Red,
}

impl Ink {
    /// Its red, green and blue in sRGB.
    pub const fn rgb(self) -> (u8, u8, u8) {
        match self {
            Self::Black => (0x23, 0x1f, 0x1c),
            Self::Grey => (0x5c, 0x55, 0x4e),
            Self::Red => (0x7d, 0x24, 0x1c),
        }
    }
}

/// Something that is drawn. `y` grows downwards; a line of text stands on its base line.
#[derive(Clone, Debug)]
pub enum Mark {
    /// A line of text.
    Text {
        x: Length,
        y: Length,
        line: Line,
        ink: Ink,
    },
    /// A filled rectangle: a rule, a frame's side.
    Bar {
        x: Length,
        y: Length,
        width: Length,
        height: Length,
        ink: Ink,
    },
    /// A filled lozenge around a point.
    Lozenge {
        x: Length,
        y: Length,
        half: Length,
        ink: Ink,
    },
    /// Black squares of one size, by column and row, such as the modules of a QR code.
    Squares {
        x: Length,
        y: Length,
        side: Length,
        at: Vec<(i32, i32)>,
    },
}

/// What a block is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Role {
    /// A heading of this level, from 1.
    Heading(u16),
    /// A paragraph.
    Paragraph,
    /// A figure, with what it shows in words.
    Figure(String),
    /// Ornament, of no meaning.
    Ornament,
}

/// Marks that belong together.
#[derive(Clone, Debug)]
pub struct Block {
    /// What it is.
    pub role: Role,
    /// What is drawn.
    pub marks: Vec<Mark>,
}

/// One side of paper.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// What a table of contents calls it, if it begins something.
    pub name: Option<String>,
    /// Width of the paper.
    pub width: Length,
    /// Height of the paper.
    pub height: Length,
    /// How much larger everything is drawn than it says here: parts of a thousand.
    pub scale: i32,
    /// Added to every place once it is scaled, to centre what is drawn on the paper.
    pub offset: (Length, Length),
    /// What is on it, in the order in which it is read.
    pub blocks: Vec<Block>,
}

impl Sheet {
    /// Adds a block.
    pub fn add(&mut self, role: Role, marks: Vec<Mark>) {
        self.blocks.push(Block { role, marks });
    }
}
