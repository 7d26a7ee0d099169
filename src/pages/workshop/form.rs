//! Forms as data: which fields, of which kinds, with which help; and what somebody typed into them.

/// A form without what the book offers in it.
#[derive(Clone, Copy, Debug)]
pub struct FormSheet {
    /// Its heading.
    pub title: &'static str,
    /// What it is for, in a sentence or two.
    pub lead: &'static str,
    /// Cautions of the trade, where the work is dangerous.
    pub cautions: &'static [&'static str],
    /// Its fields, in their order.
    pub fields: &'static [Field],
    /// What stands on its button.
    pub submit: &'static str,
}

impl FormSheet {
    /// A sheet without cautions of its own: there are none, or they stand above the form.
    #[must_use]
    pub const fn plain(
        title: &'static str,
        lead: &'static str,
        fields: &'static [Field],
        submit: &'static str,
    ) -> Self {
        Self {
            title,
            lead,
            cautions: &[],
            fields,
            submit,
        }
    }
}

/// One field, or a table of lines.
#[derive(Clone, Copy, Debug)]
pub struct Field {
    /// The member of the command that it fills; `limits/nominal` for one within another. Also its name in the form.
    pub member: &'static str,
    /// What it asks for.
    pub label: &'static str,
    /// Help that stands beside it; may be empty.
    pub help: &'static str,
    /// What is typed.
    pub kind: Kind,
    /// Whether it must be filled in.
    pub required: bool,
}

/// What is typed into a field.
#[derive(Clone, Copy, Debug)]
pub enum Kind {
    /// A line of text.
    Text,
    /// Several lines.
    Lines,
    /// A mass in grams, or what a scale showed.
    Mass,
    /// A decimal number with the unit that stands behind it.
    Decimal(&'static str),
    /// A whole number.
    Whole,
    /// An amount in the book's currency: its member is an object with `amount` and `currency`.
    Money,
    /// A day.
    Day,
    /// A day and minute in the workshop's zone, given to the command with its offset.
    Moment,
    /// One of these: value and words.
    Choice(&'static [(&'static str, &'static str)]),
    /// One of what the book offers now.
    Chosen,
    /// Yes or no; a box that is not ticked says no.
    Tick,
    /// What the form carries and nobody types: what the offer fills in.
    Hidden,
    /// A word that this form always says.
    Fixed(&'static str),
    /// A table of lines.
    Rows(Rows),
}

/// A table of lines, which becomes an array.
#[derive(Clone, Copy, Debug)]
pub struct Rows {
    /// The member that holds the id of a line's thing; without one and without fields, the array holds the ids themselves.
    pub id: Option<&'static str>,
    /// Whether each line carries the version of its thing, as a tray needs.
    pub versioned: bool,
    /// Which lines are sent.
    pub taken: Taken,
    /// The fields of a line.
    pub fields: &'static [Field],
}

/// Which lines of a table are sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Taken {
    /// Those that are ticked.
    Ticked,
    /// Every line.
    All,
    /// Those beside which something was typed.
    Filled,
    /// So many blank lines, of which those count that have something in them.
    Blank(usize),
}

impl Field {
    const fn of(member: &'static str, label: &'static str, help: &'static str, kind: Kind) -> Self {
        Self {
            member,
            label,
            help,
            kind,
            required: true,
        }
    }

    /// A line of text.
    #[must_use]
    pub const fn text(member: &'static str, label: &'static str, help: &'static str) -> Self {
        Self::of(member, label, help, Kind::Text)
    }

    /// Several lines of text, which need not be filled in.
    #[must_use]
    pub const fn note(member: &'static str, label: &'static str, help: &'static str) -> Self {
        Self::of(member, label, help, Kind::Lines).optional()
    }

    /// A mass in grams.
    #[must_use]
    pub const fn mass(member: &'static str, label: &'static str, help: &'static str) -> Self {
        Self::of(member, label, help, Kind::Mass)
    }

    /// A decimal number with its unit.
    #[must_use]
    pub const fn decimal(
        member: &'static str,
        label: &'static str,
        unit: &'static str,
        help: &'static str,
    ) -> Self {
        Self::of(member, label, help, Kind::Decimal(unit))
    }

    /// A whole number.
    #[must_use]
    pub const fn whole(member: &'static str, label: &'static str, help: &'static str) -> Self {
        Self::of(member, label, help, Kind::Whole)
    }

    /// An amount in the book's currency.
    #[must_use]
    pub const fn money(member: &'static str, label: &'static str, help: &'static str) -> Self {
        Self::of(member, label, help, Kind::Money)
    }

    /// A day.
    #[must_use]
    pub const fn day(member: &'static str, label: &'static str, help: &'static str) -> Self {
        Self::of(member, label, help, Kind::Day)
    }

    /// A day and minute in the workshop's zone.
    #[must_use]
    pub const fn moment(member: &'static str, label: &'static str, help: &'static str) -> Self {
        Self::of(member, label, help, Kind::Moment)
    }

    /// When it was done, if that was not now.
    #[must_use]
    pub const fn done_at() -> Self {
        Self::moment("at", "When it was done", "Leave it empty for now.").optional()
    }

    /// One of these: value and words.
    #[must_use]
    pub const fn choice(
        member: &'static str,
        label: &'static str,
        help: &'static str,
        choices: &'static [(&'static str, &'static str)],
    ) -> Self {
        Self::of(member, label, help, Kind::Choice(choices))
    }

    /// One of what the book offers now.
    #[must_use]
    pub const fn chosen(member: &'static str, label: &'static str, help: &'static str) -> Self {
        Self::of(member, label, help, Kind::Chosen)
    }

    /// Yes or no.
    #[must_use]
    pub const fn tick(member: &'static str, label: &'static str, help: &'static str) -> Self {
        Self::of(member, label, help, Kind::Tick).optional()
    }

    /// What the form carries and nobody types.
    #[must_use]
    pub const fn hidden(member: &'static str) -> Self {
        Self::of(member, "", "", Kind::Hidden)
    }

    /// A word that this form always says.
    #[must_use]
    pub const fn fixed(member: &'static str, word: &'static str) -> Self {
        Self::of(member, "", "", Kind::Fixed(word))
    }

    /// A table of lines.
    #[must_use]
    pub const fn rows(member: &'static str, label: &'static str, help: &'static str, rows: Rows) -> Self {
        Self::of(member, label, help, Kind::Rows(rows))
    }

    /// Check boxes over things, whose ids the command takes as a list.
    #[must_use]
    pub const fn ticked(member: &'static str, label: &'static str, help: &'static str) -> Self {
        let rows = Rows {
            id: None,
            versioned: false,
            taken: Taken::Ticked,
            fields: &[],
        };
        Self::rows(member, label, help, rows)
    }

    /// The same field, which need not be filled in.
    #[must_use]
    pub const fn optional(mut self) -> Self {
        self.required = false;
        self
    }
}

/// One of what the book offers for a field.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// What is sent.
    pub value: String,
    /// What is read.
    pub words: String,
}

/// One line of a table that the book offers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    /// The thing's id.
    pub id: String,
    /// What it is called.
    pub words: String,
    /// More about it, small.
    pub more: String,
    /// Its version now.
    pub version: u64,
}

/// What the book offers in a form as of now.
#[derive(Clone, Debug, Default)]
pub struct Offer {
    /// What stands above the fields: what the form is about.
    pub about: Option<super::Markup>,
    /// Choices by member.
    pub choices: Vec<(&'static str, Vec<Choice>)>,
    /// Lines by member.
    pub rows: Vec<(&'static str, Vec<Row>)>,
    /// What stands in the fields to begin with, by name.
    pub filled: Vec<(String, String)>,
}

impl Offer {
    /// The choices of a member.
    #[must_use]
    pub fn choices_of(&self, member: &str) -> &[Choice] {
        let mut all = self.choices.iter();
        all.find(|(name, _)| *name == member)
            .map_or(&[], |(_, choices)| choices)
    }

    /// The lines of a member.
    #[must_use]
    pub fn rows_of(&self, member: &str) -> &[Row] {
        let mut all = self.rows.iter();
        all.find(|(name, _)| *name == member)
            .map_or(&[], |(_, rows)| rows)
    }

    /// What a form begins with.
    #[must_use]
    pub fn begun(&self) -> Typed {
        Typed::new(self.filled.clone())
    }
}

/// What somebody typed into a form, by name, in the order in which it came.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Typed {
    pairs: Vec<(String, String)>,
}

impl Typed {
    /// What was sent.
    #[must_use]
    pub const fn new(pairs: Vec<(String, String)>) -> Self {
        Self { pairs }
    }

    /// All of it.
    #[must_use]
    pub fn pairs(&self) -> &[(String, String)] {
        &self.pairs
    }

    /// What was typed under a name; empty if nothing was.
    #[must_use]
    pub fn text(&self, name: &str) -> &str {
        let mut all = self.pairs.iter();
        all.find(|(known, _)| known == name)
            .map_or("", |(_, value)| value.as_str())
    }

    /// Everything that was typed under a name.
    pub fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        let under = self.pairs.iter().filter(move |(known, _)| known == name);
        under.map(|(_, value)| value.as_str())
    }

    /// Takes out what was typed under a name.
    pub fn take(&mut self, name: &str) -> Option<String> {
        let at = self.pairs.iter().position(|(known, _)| known == name)?;
        Some(self.pairs.remove(at).1)
    }
}
