//! From sheets to the bytes of a PDF/A-3a file: the one file here that knows floats, and the library that writes PDF.
//!
//! The library holds what it is given against PDF/A-3a (ISO 19005-3) and PDF/UA-1 (ISO 14289-1) and refuses what does not conform. It names
//! no date but the one that it is given, and derives the file's id from its content.
#![expect(
    clippy::float_arithmetic,
    reason = "a PDF library takes coordinates as floats; nothing is reckoned with them and nothing comes back"
)]

use super::PrintError;
use super::setting::{Face, ITALIC, Line, MONO, ROMAN};
use super::sheet::{Block, Length, Mark, Role, Sheet};
use crate::domain::{Timestamp, instant};
use krilla::Document;
use krilla::SerializeSettings;
use krilla::color::rgb;
use krilla::configure::{Accessibility, Archival, ConfigurationBuilder};
use krilla::destination::XyzDestination;
use krilla::embed::{AssociationKind, EmbeddedFile, MimeType};
use krilla::geom::{Path, PathBuilder, Point, Rect, Size};
use krilla::metadata::{DateTime, Metadata};
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::Fill;
use krilla::surface::Surface;
use krilla::tagging::{Artifact, ArtifactType, ContentTag, Node, SpanTag, Tag, TagGroup, TagTree};
use krilla::text::{Font, GlyphId, KrillaGlyph};
use std::num::NonZeroU16;

/// A file that goes into the PDF.
pub struct Attachment {
    /// Its name.
    pub name: String,
    /// What it is, for a person.
    pub says: String,
    /// Its bytes, JSON.
    pub bytes: Vec<u8>,
}

/// What the file says of itself.
pub struct About {
    /// Its title.
    pub title: String,
    /// Who made what it is about.
    pub author: String,
    /// What it is.
    pub subject: String,
    /// When what it states was stated.
    pub at: Timestamp,
}

/// Writes the file.
///
/// # Errors
/// [`PrintError::Pdf`] when the library refuses.
pub fn write(sheets: &[Sheet], attachments: Vec<Attachment>, about: &About) -> Result<Vec<u8>, PrintError> {
    let mut document = Document::new_with(settings()?);
    let fonts = Fonts::read()?;
    let mut tags = TagTree::new().with_lang(Some("en-GB".to_owned()));
    let mut outline = Outline::new();
    for (place, sheet) in sheets.iter().enumerate() {
        if let Some(name) = &sheet.name {
            let top = XyzDestination::new(place, Point::from_xy(0.0, 0.0));
            outline.push_child(OutlineNode::new(name.clone(), top));
        }
        let size = sized(sheet.width, sheet.height)?;
        let mut page = document.start_page_with(PageSettings::new(size));
        let mut surface = page.surface();
        let scale = Scale::of(sheet);
        for block in &sheet.blocks {
            if let Some(node) = draw(&mut surface, &fonts, scale, block)? {
                tags.push(node);
            }
        }
        surface.finish();
        page.finish();
    }
    let date = date(about.at);
    for attachment in attachments {
        let name = attachment.name.clone();
        document
            .embed_file(EmbeddedFile {
                path: attachment.name,
                mime_type: MimeType::new("application/json"),
                description: Some(attachment.says),
                association_kind: AssociationKind::Supplement,
                data: attachment.bytes.into(),
                modification_date: Some(date),
                compress: Some(true),
                location: None,
            })
            .ok_or_else(|| refused(format!("{name} is attached twice")))?;
    }
    document.set_outline(outline);
    document.set_tag_tree(tags);
    document.set_metadata(
        Metadata::new()
            .title(about.title.clone())
            .authors(vec![about.author.clone()])
            .description(about.subject.clone())
            .language("en-GB".to_owned())
            .creation_date(date),
    );
    document.finish().map_err(|error| refused(format!("{error:?}")))
}

fn refused(why: impl Into<String>) -> PrintError {
    PrintError::Pdf { why: why.into() }
}

fn settings() -> Result<SerializeSettings, PrintError> {
    let configuration = ConfigurationBuilder::new()
        .with_archival_validator(Archival::A3_A)
        .with_accessibility_validator(Accessibility::UA1)
        .finish()
        .map_err(|error| refused(format!("{error:?}")))?;
    Ok(SerializeSettings {
        configuration,
        enable_tagging: true,
        ..SerializeSettings::default()
    })
}

fn date(at: Timestamp) -> DateTime {
    let text = instant::write(at);
    let part = |from: usize, to: usize| {
        text.get(from..to)
            .and_then(|part| part.parse::<u8>().ok())
            .unwrap_or(0)
    };
    let year = text.get(..4).and_then(|year| year.parse().ok()).unwrap_or(0);
    DateTime::new(year)
        .month(part(5, 7))
        .day(part(8, 10))
        .hour(part(11, 13))
        .minute(part(14, 16))
        .second(part(17, 19))
        .utc_offset_hour(0)
        .utc_offset_minute(0)
}

/// The fonts as the library holds them.
struct Fonts {
    roman: Font,
    italic: Font,
    mono: Font,
}

impl Fonts {
    fn read() -> Result<Self, PrintError> {
        let read =
            |bytes: &'static [u8]| Font::new(bytes.into(), 0).ok_or_else(|| refused("a font is unreadable"));
        Ok(Self {
            roman: read(ROMAN)?,
            italic: read(ITALIC)?,
            mono: read(MONO)?,
        })
    }

    const fn of(&self, face: Face) -> &Font {
        match face {
            Face::Roman => &self.roman,
            Face::Italic => &self.italic,
            Face::Mono => &self.mono,
        }
    }
}

/// How lengths become points.
#[derive(Clone, Copy)]
struct Scale {
    times: f32,
    offset: (f32, f32),
}

impl Scale {
    fn of(sheet: &Sheet) -> Self {
        Self {
            times: points(sheet.scale),
            offset: (points(sheet.offset.0), points(sheet.offset.1)),
        }
    }

    fn length(self, length: Length) -> f32 {
        points(length) * self.times
    }

    fn x(self, x: Length) -> f32 {
        self.length(x) + self.offset.0
    }

    fn y(self, y: Length) -> f32 {
        self.length(y) + self.offset.1
    }
}

/// Thousandths as a float: the whole part and the rest apart, both of which a float holds exactly.
fn points(length: Length) -> f32 {
    let part = |part: i32| f32::from(i16::try_from(part).unwrap_or(i16::MAX));
    part(length.div_euclid(1000)) + part(length.rem_euclid(1000)) / 1000.0
}

fn sized(width: Length, height: Length) -> Result<Size, PrintError> {
    Size::from_wh(points(width), points(height)).ok_or_else(|| refused("a page without a size"))
}

/// Draws a block; what it is goes into the tree of tags, unless it is ornament.
fn draw(
    surface: &mut Surface<'_>,
    fonts: &Fonts,
    scale: Scale,
    block: &Block,
) -> Result<Option<Node>, PrintError> {
    if block.role == Role::Ornament {
        let artifact = Artifact::with_kind(ArtifactType::Layout);
        surface.start_tagged(ContentTag::Artifact(artifact));
        for mark in &block.marks {
            draw_mark(surface, fonts, scale, mark)?;
        }
        surface.end_tagged();
        return Ok(None);
    }
    let mut group = match &block.role {
        Role::Heading(level) => {
            let level = NonZeroU16::new(*level).unwrap_or(NonZeroU16::MIN);
            TagGroup::new(Tag::Hn(level, Some(text_of(block))))
        }
        Role::Figure(says) => TagGroup::new(Tag::Figure(Some(says.clone()))),
        Role::Paragraph | Role::Ornament => TagGroup::new(Tag::P),
    };
    for mark in &block.marks {
        let tag = match mark {
            Mark::Text { .. } => ContentTag::Span(SpanTag::empty()),
            _ => ContentTag::Other,
        };
        let identifier = surface.start_tagged(tag);
        draw_mark(surface, fonts, scale, mark)?;
        surface.end_tagged();
        group.push(identifier);
    }
    Ok(Some(group.into()))
}

fn text_of(block: &Block) -> String {
    let texts = block.marks.iter().filter_map(|mark| match mark {
        Mark::Text { line, .. } => Some(line.text.trim()),
        _ => None,
    });
    texts.collect::<Vec<_>>().join(" ")
}

fn draw_mark(surface: &mut Surface<'_>, fonts: &Fonts, scale: Scale, mark: &Mark) -> Result<(), PrintError> {
    let (ink, path) = match mark {
        Mark::Text { x, y, line, ink } => {
            surface.set_fill(Some(filled(*ink)));
            let at = Point::from_xy(scale.x(*x), scale.y(*y));
            let font = fonts.of(line.style.face).clone();
            let size = scale.length(line.style.size);
            surface.draw_glyphs(at, &glyphs(line), font, &line.text, size, false);
            return Ok(());
        }
        Mark::Bar {
            x,
            y,
            width,
            height,
            ink,
        } => {
            let mut path = PathBuilder::new();
            path.push_rect(rectangle(scale, (*x, *y), (*width, *height))?);
            (*ink, path.finish())
        }
        Mark::Lozenge { x, y, half, ink } => (*ink, lozenge(scale, (*x, *y), *half)),
        Mark::Squares { x, y, side, at } => {
            let mut path = PathBuilder::new();
            for (column, row) in at {
                let corner = (x + side * column, y + side * row);
                path.push_rect(rectangle(scale, corner, (*side, *side))?);
            }
            (super::sheet::Ink::Black, path.finish())
        }
    };
    let path = path.ok_or_else(|| refused("a shape without an area"))?;
    surface.set_fill(Some(filled(ink)));
    surface.draw_path(&path);
    Ok(())
}

fn filled(ink: super::sheet::Ink) -> Fill {
    let (red, green, blue) = ink.rgb();
    Fill {
        paint: rgb::Color::new(red, green, blue).into(),
        ..Fill::default()
    }
}

fn rectangle(scale: Scale, corner: (Length, Length), size: (Length, Length)) -> Result<Rect, PrintError> {
    let (left, top) = (scale.x(corner.0), scale.y(corner.1));
    let (right, bottom) = (scale.x(corner.0 + size.0), scale.y(corner.1 + size.1));
    Rect::from_ltrb(left, top, right, bottom).ok_or_else(|| refused("a rule without a length"))
}

fn lozenge(scale: Scale, (x, y): (Length, Length), half: Length) -> Option<Path> {
    let mut path = PathBuilder::new();
    path.move_to(scale.x(x - half), scale.y(y));
    path.line_to(scale.x(x), scale.y(y - half));
    path.line_to(scale.x(x + half), scale.y(y));
    path.line_to(scale.x(x), scale.y(y + half));
    path.close();
    path.finish()
}

fn glyphs(line: &Line) -> Vec<KrillaGlyph> {
    // Every font here has 1000 units to the em, so that a length in units is one in thousandths.
    let of = |glyph: &super::setting::Glyph| KrillaGlyph {
        glyph_id: GlyphId::new(glyph.id),
        text_range: glyph.text.clone(),
        x_advance: points(glyph.advance),
        x_offset: points(glyph.offset.0),
        y_offset: points(glyph.offset.1),
        y_advance: 0.0,
        location: None,
    };
    line.glyphs.iter().map(of).collect()
}
