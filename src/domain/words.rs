//! The small closed sets of words that events and commands share.

use crate::metal::LimitGrade;
use serde::{Deserialize, Serialize};

macro_rules! words {
    ($($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $word:literal),* $(,)? })*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        pub enum $name { $($(#[$vdoc])* #[serde(rename = $word)] $variant),* }

        impl $name {
            /// Every word of the set, as it is written.
            pub const WORDS: &'static [&'static str] = &[$($word),*];

            /// Every word of the set.
            pub const ALL: &'static [Self] = &[$(Self::$variant),*];

            /// The word as it is written.
            #[must_use]
            pub const fn word(self) -> &'static str {
                match self { $(Self::$variant => $word),* }
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.word())
            }
        }
    )*};
}

mod life;

pub use life::*;

words! {
    /// What a lot's declared fineness rests on.
    FinenessBasis {
        /// The seller's word.
        Declared = "declared",
        /// An assay report.
        Assayed = "assayed",
        /// A hallmark on the metal.
        Hallmarked = "hallmarked",
    }

    /// A kind of residue; each has jars of its own.
    Residue {
        /// Spilt beads.
        Prills = "prills",
        /// Filings.
        Lemel = "lemel",
        /// Floor and bench sweepings.
        Sweeps = "sweeps",
    }

    /// What was weighed in a stock-take.
    CountedThing {
        /// What is left of a lot.
        Lot = "lot",
        /// The heel of a melt.
        Heel = "heel",
        /// A jar of residues.
        Jar = "jar",
        /// Metal that the book did not know of.
        Found = "found",
    }

    /// At which point of its life a piece was weighed.
    Stage {
        /// As it came from the mould.
        FromMould = "from_mould",
        /// After filing and polishing.
        Finished = "finished",
        /// Ready for its certificate: nothing that touches metal comes after.
        Final = "final",
        /// When it came back from a buyer.
        Returned = "returned",
    }

    /// How a piece is weighed in water.
    Immersion {
        /// Hung under the balance, the piece is in the water: the scale shows what it weighs there.
        Hung = "hung",
        /// Hung by a thread into a tared cup of water upon the scale, touching nothing: the scale shows what the cup gains.
        Cup = "cup",
    }

    /// What a grading says of a piece.
    Grade {
        /// Within the limits, scale's uncertainty allowed for.
        Accepted = "accepted",
        /// Below the lower limit.
        Under = "under",
        /// Above the upper limit.
        Over = "over",
        /// Too near a limit for this scale to tell.
        Borderline = "borderline",
        /// Not fit to be seen, whatever it weighs.
        Faulty = "faulty",
    }

    /// What is wrong with a faulty piece.
    Fault {
        /// Two streams that met and did not fuse.
        ColdShut = "cold_shut",
        /// The mould was not filled.
        Misrun = "misrun",
        /// Gas holes.
        Porosity = "porosity",
        /// A crack.
        Crack = "crack",
        /// Dirt or slag in the metal.
        Inclusion = "inclusion",
        /// Anything else; the private note says what.
        Other = "other",
    }

    /// Why a piece is condemned.
    CondemnReason {
        /// It weighs too little.
        Under = "under",
        /// It weighs too much and is not wanted as odd-weight.
        Over = "over",
        /// It is faulty.
        Faulty = "faulty",
        /// It stayed borderline.
        Borderline = "borderline",
        /// It is mis-struck.
        MisStruck = "mis_struck",
        /// The assay office would not mark it.
        Unmarked = "unmarked",
        /// It came back damaged.
        Damaged = "damaged",
        /// The maker wants the metal.
        Unwanted = "unwanted",
    }

    /// Whether the pieces of a series must be hallmarked.
    Marking {
        /// They must be marked by an assay office.
        Required = "required",
        /// They are exempt; the series says on what ground.
        Exempt = "exempt",
    }

    /// On what ground the pieces of a series need no hallmark.
    ExemptGround {
        /// The weight is below the exemption weight of the metal.
        BelowWeight = "below_weight",
        /// Bullion that is not an article.
        Bullion = "bullion",
        /// For export only.
        Export = "export",
        /// Another ground; the private note says which.
        Other = "other",
    }

    /// Whether a series is closed by a size or goes on.
    SeriesKind {
        /// A fixed size per shape.
        Edition = "edition",
        /// Numbered without end: odd-weight pieces and one-offs.
        Open = "open",
    }

    /// In which unit a series states weight first; the other is given beside it.
    WeightUnit {
        /// Grams.
        Gram = "g",
        /// Troy ounces.
        TroyOunce = "ozt",
    }

    /// Where a melt is.
    MeltState {
        /// Charged; pours and weighings go on.
        Open = "open",
        /// Weighed out: what it lost is known.
        Closed = "closed",
    }

    /// Where a session at a scale is.
    SessionState {
        /// Opened by a check that held.
        Open = "open",
        /// Closed by a check that held.
        Confirmed = "confirmed",
        /// Closed by a check that failed: its readings since the last good check are suspect.
        Failed = "failed",
    }

    /// Why a certificate is superseded.
    SupersedeReason {
        /// It was damaged or lost.
        Damaged = "damaged",
        /// The piece was weighed again.
        Reweighed = "reweighed",
        /// It said something wrong.
        Mistake = "mistake",
        /// An entry that it rests on was corrected.
        Corrected = "corrected",
    }

    /// The paper that a certificate is printed on, ISO 216.
    Paper {
        /// 105 by 148 mm.
        A6 = "a6",
        /// 148 by 210 mm.
        A5 = "a5",
    }

    /// Why a private field is erased.
    EraseReason {
        /// The person asked.
        Request = "request",
        /// The term for keeping it ran out.
        Expired = "expired",
        /// It should not have been entered.
        Mistake = "mistake",
    }

    /// What a key may sign.
    KeyRole {
        /// Key entries.
        Root = "root",
        /// Entries.
        Recorder = "recorder",
        /// Checkpoints.
        Log = "log",
    }

    /// What the certificate says about marks of an assay office.
    HallmarkStatement {
        /// There is none: the series is exempt.
        NotHallmarked = "not_hallmarked",
        /// It bears the marks that the certificate lists.
        Hallmarked = "hallmarked",
    }

    /// The rules by which a grading was made; a new rule gets a new word, old gradings keep theirs.
    GradeRule {
        /// Guard band of 1.645 u on either side of each limit; anything inside a band is borderline.
        Guarded1 = "guarded-1",
    }
}

impl GradeRule {
    /// The version by which a piece is graded now.
    pub const NEWEST: Self = Self::Guarded1;
}

impl From<LimitGrade> for Grade {
    fn from(grade: LimitGrade) -> Self {
        match grade {
            LimitGrade::Accepted => Self::Accepted,
            LimitGrade::Under => Self::Under,
            LimitGrade::Over => Self::Over,
            LimitGrade::Borderline => Self::Borderline,
        }
    }
}
