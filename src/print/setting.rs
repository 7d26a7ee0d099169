//! Setting type: from a text to a line of glyphs with its width, and paragraphs broken into lines.
//!
//! Shaping is the library's; here stand the faces, the features that are asked of them (small capitals, lining figures),
//! letter spacing, and the breaking of lines at spaces. Deliberately absent: hyphenation, justification, and any script but
//! Latin.

use super::PrintError;
use super::sheet::Length;
use harfrust::{Buffer, Direction, Feature, Font, Script, ShapeOptions, ShaperFont, Tag};
use std::sync::LazyLock;

/// Units of an em in every font here.
pub const UNITS_PER_EM: i32 = 1000;

/// A font file.
pub const ROMAN: &[u8] = include_bytes!("fonts/EBGaramond_400Regular.ttf");
/// A font file.
pub const ITALIC: &[u8] = include_bytes!("fonts/EBGaramond_400Regular_Italic.ttf");
/// A font file.
pub const MONO: &[u8] = include_bytes!("fonts/FiraMono_400Regular.ttf");

static FONTS: LazyLock<Vec<Option<Font>>> = LazyLock::new(|| {
    let read = |bytes: &'static [u8]| Font::new(bytes.to_vec(), 0);
    vec![read(ROMAN), read(ITALIC), read(MONO)]
});

/// A face.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Face {
    /// Upright text.
    Roman,
    /// Slanted text.
    Italic,
    /// Fixed width, with a marked zero: for what is compared character by character.
    Mono,
}

impl Face {
    fn font(self) -> Option<&'static Font> {
        let place = match self {
            Self::Roman => 0,
            Self::Italic => 1,
            Self::Mono => 2,
        };
        FONTS.get(place)?.as_ref()
    }
}

/// How a text is set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Style {
    /// The face.
    pub face: Face,
    /// Size of the em.
    pub size: Length,
    /// In small capitals.
    pub capitals: bool,
    /// Added behind every glyph, in thousandths of an em.
    pub spacing: i32,
}

impl Style {
    /// A face at a size, without more.
    pub const fn new(face: Face, size: Length) -> Self {
        Self {
            face,
            size,
            capitals: false,
            spacing: 0,
        }
    }

    /// In small capitals, which want air.
    pub const fn capitals(mut self, spacing: i32) -> Self {
        self.capitals = true;
        self.spacing = spacing;
        self
    }

    /// At another size.
    pub const fn sized(mut self, size: Length) -> Self {
        self.size = size;
        self
    }

    fn features(self) -> Vec<Feature> {
        let on = |tag: &[u8; 4]| Feature::new(Tag::new(tag), 1, ..);
        // Old style figures of this face have a one like a small capital I: figures that are facts must not be misread.
        let mut features = match self.face {
            Face::Roman | Face::Italic => vec![on(b"lnum")],
            Face::Mono => Vec::new(),
        };
        if self.capitals {
            features.extend([on(b"smcp"), on(b"c2sc")]);
        }
        if self.spacing != 0 {
            // Letters that are set apart are not tied together.
            features.push(Feature::new(Tag::new(b"liga"), 0, ..));
        }
        features
    }
}

/// One glyph of a line; lengths in units of the em.
#[derive(Clone, Debug)]
pub struct Glyph {
    /// Its number in the font.
    pub id: u32,
    /// Which bytes of the text it stands for.
    pub text: std::ops::Range<usize>,
    /// To the next glyph.
    pub advance: i32,
    /// Where it is drawn.
    pub offset: (i32, i32),
}

/// A line that is set.
#[derive(Clone, Debug)]
pub struct Line {
    /// Its text.
    pub text: String,
    /// How it is set.
    pub style: Style,
    /// Its glyphs, from left to right.
    pub glyphs: Vec<Glyph>,
    /// Its width, without a space at its end and without the air behind its last letter.
    pub width: Length,
}

/// Sets a text in one line.
///
/// # Errors
/// [`PrintError::NoType`] for a character that the font lacks.
pub fn line(text: &str, style: Style) -> Result<Line, PrintError> {
    let font = style.face.font().ok_or_else(|| PrintError::Pdf {
        why: "a font that is built in cannot be read".to_owned(),
    })?;
    let shaper = ShaperFont::new(font);
    if let Some(character) = text
        .chars()
        .find(|c| c.is_control() || shaper.nominal_glyph(u32::from(*c)).is_none())
    {
        let text = text.to_owned();
        return Err(PrintError::NoType { character, text });
    }
    let mut buffer = Buffer::new();
    buffer.push_str(text);
    buffer.set_direction(Direction::LeftToRight);
    buffer.set_script(Some(Script::LATIN));
    let features = style.features();
    let options = ShapeOptions::new().features(&features);
    harfrust::shape(&shaper, &mut buffer, options).map_err(|error| PrintError::Pdf {
        why: error.to_string(),
    })?;
    let glyphs = glyphs(&buffer, text, style.spacing);
    let units: i64 = glyphs.iter().map(|glyph| i64::from(glyph.advance)).sum();
    let trailing = glyphs
        .last()
        .filter(|_| text.ends_with(' '))
        .map_or(0, |glyph| glyph.advance);
    let units = units - i64::from(trailing) - i64::from(style.spacing);
    Ok(Line {
        text: text.to_owned(),
        style,
        glyphs,
        width: scaled(units, style.size),
    })
}

fn glyphs(buffer: &Buffer, text: &str, spacing: i32) -> Vec<Glyph> {
    let infos = buffer.glyph_infos();
    let starts: Vec<usize> = infos
        .iter()
        .map(|info| usize::try_from(info.cluster).unwrap_or(0))
        .collect();
    let mut glyphs = Vec::with_capacity(infos.len());
    for (place, (info, position)) in infos.iter().zip(buffer.glyph_positions()).enumerate() {
        let start = starts.get(place).copied().unwrap_or(0);
        let later = starts.iter().skip(place).find(|next| **next > start);
        glyphs.push(Glyph {
            id: info.glyph_id,
            text: start..later.copied().unwrap_or(text.len()),
            advance: position.x_advance.saturating_add(spacing),
            offset: (position.x_offset, position.y_offset),
        });
    }
    glyphs
}

/// Units of the em at a size.
fn scaled(units: i64, size: Length) -> Length {
    let width = units.saturating_mul(i64::from(size)) / i64::from(UNITS_PER_EM);
    Length::try_from(width).unwrap_or(Length::MAX)
}

/// Sets a text in one line that is at most so wide, smaller if it must be, down to three fifths of its size.
///
/// # Errors
/// As [`line`]; [`PrintError::TooLong`] if it does not fit even so.
pub fn fitted(text: &str, style: Style, width: Length) -> Result<Line, PrintError> {
    let mut style = style;
    let least = style.size / 5 * 3;
    loop {
        let set = line(text, style)?;
        if set.width <= width {
            return Ok(set);
        }
        style.size -= 250;
        if style.size < least {
            let text = text.to_owned();
            return Err(PrintError::TooLong { text });
        }
    }
}

/// Breaks a text into lines of at most `width`. A line that goes on ends with its space, so that words stay apart for
/// whoever reads the text out of the file.
///
/// # Errors
/// As [`line`]; [`PrintError::TooLong`] for a word that is wider.
pub fn paragraph(text: &str, style: Style, width: Length) -> Result<Vec<Line>, PrintError> {
    let mut lines = Vec::new();
    let mut words = text.split(' ').filter(|word| !word.is_empty()).peekable();
    let mut now = String::new();
    while let Some(word) = words.next() {
        now.push_str(word);
        let next = words.peek().map(|next| format!("{now} {next}"));
        if line(&now, style)?.width > width {
            let text = now;
            return Err(PrintError::TooLong { text });
        }
        match next {
            Some(longer) if line(&longer, style)?.width <= width => now.push(' '),
            Some(_) => {
                now.push(' ');
                lines.push(line(&now, style)?);
                now.clear();
            }
            None => lines.push(line(&now, style)?),
        }
    }
    Ok(lines)
}
