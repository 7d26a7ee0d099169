//! Refusals: valid answers that name the fact that forbids.

use super::id::{
    CertificateId, ChargeId, ConsignmentId, DieId, JarId, LotId, MeltId, OperatorId, OrderId, OwnerId,
    PieceId, QuoteId, RefiningId, SaleId, ScaleId, SeriesId, SessionId, SpotId, StocktakeId,
};
use super::words::{DieState, Grade, OrderState, PhotographStage, PieceState};
use crate::metal::gravity::Impossible;
use crate::metal::{Fineness, Mass, Metal, Money, Reading};

/// A refusal, and which member of the command it is about.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{refusal}")]
pub struct Refused {
    /// The fact.
    pub refusal: Refusal,
    /// JSON pointer into the command, like `/items/3/mass`.
    pub pointer: Option<String>,
}

macro_rules! refusals {
    ($($code:literal $($message:literal)+ => $variant:ident $({ $($(#[$fdoc:meta])* $field:ident : $type:ty),* $(,)? })?;)*) => {
        /// The fact that forbids.
        #[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
        #[expect(missing_docs, reason = "the message of each says it")]
        pub enum Refusal {
            $(#[error($($message)+)] $variant $({ $($field: $type),* })?),*
        }

        impl Refusal {
            /// Every code, for the pages that explain them.
            pub const CODES: &'static [&'static str] = &[$($code),*];

            /// What each says, by its code, with the names of its values in braces.
            pub const MESSAGES: &'static [(&'static str, &'static str)] = &[$(($code, concat!($($message),+))),*];

            /// A short fixed name, for programs.
            #[must_use]
            pub const fn code(&self) -> &'static str {
                match self { $(Self::$variant { .. } => $code),* }
            }
        }
    };
}

refusals! {
    "unknown-lot" "there is no lot {lot}" => UnknownLot { lot: LotId };
    "unknown-scale" "there is no scale {scale}" => UnknownScale { scale: ScaleId };
    "unknown-session" "there is no session {session}" => UnknownSession { session: SessionId };
    "unknown-jar" "there is no jar {jar}" => UnknownJar { jar: JarId };
    "unknown-melt" "there is no melt {melt}" => UnknownMelt { melt: MeltId };
    "unknown-piece" "there is no piece {piece}" => UnknownPiece { piece: PieceId };
    "unknown-series" "there is no series {series}" => UnknownSeries { series: SeriesId };
    "unknown-certificate" "there is no certificate {certificate}" => UnknownCertificate { certificate: CertificateId };
    "unknown-die" "there is no die {die}" => UnknownDie { die: DieId };
    "unknown-consignment" "there is no consignment {consignment}" => UnknownConsignment { consignment: ConsignmentId };
    "unknown-order" "there is no order {order}" => UnknownOrder { order: OrderId };
    "unknown-sale" "there is no sale {sale}" => UnknownSale { sale: SaleId };
    "unknown-refining" "there is no refining {refining}" => UnknownRefining { refining: RefiningId };
    "unknown-owner" "there is no customer {owner} whose metal is here" => UnknownOwner { owner: OwnerId };
    "unknown-stocktake" "there is no stock-take {stocktake}" => UnknownStocktake { stocktake: StocktakeId };
    "unknown-spot" "there is no spot price {spot}" => UnknownSpot { spot: SpotId };
    "unknown-quote" "there is no quotation {quote}" => UnknownQuote { quote: QuoteId };
    "unknown-charge" "there is no charge {charge}" => UnknownCharge { charge: ChargeId };
    "id-taken" "the id {id} already belongs to something else" => IdTaken { id: uuid::Uuid };
    "nothing-named" "nothing is named: at least one is needed" => NothingNamed;
    "named-twice" "{id} is named twice in one command" => NamedTwice { id: uuid::Uuid };
    "too-many" "{count} are named, at most {most} fit in one command: split it" => TooMany { count: usize, most: usize };
    "entry-too-long" "the command would make an entry of more than {bytes_max} bytes: split it" => EntryTooLong { bytes_max: usize };
    "text-too-long" "a text may have at most {characters_max} characters" => TextTooLong { characters_max: usize };

    "zero-mass" "a mass of zero is no metal" => ZeroMass;
    "too-fine-for-scale" "{reading} g is finer than the scale shows: its step is {step} g" => TooFineForScale { reading: Reading, step: Mass };
    "above-scale" "{reading} g is above the scale's greatest load of {max} g" => AboveScale { reading: Reading, max: Mass };
    "scale-impossible" "the scale cannot be so: {why}" => ScaleImpossible { why: &'static str };
    "displacement-impossible" "{in_air} g in air and {in_water} g in water cannot be: {why}" => DisplacementImpossible { in_air: Reading, in_water: Reading, why: Impossible };
    "too-coarse-for-gravity" "cannot tell with this scale: {displaced} g of water on steps of {step} g; {could}" => TooCoarseForGravity { displaced: Mass, step: Mass, could: String };
    "not-as-weighed" "in air it shows {in_air} g, its last reading is {weighed} g, more than both readings' uncertainty explains: dry it and weigh it again, or it is another piece" => NotAsWeighed { weighed: Mass, in_air: Reading };
    "check-not-held" "the check weighing shows {reading} g for {nominal} g; within {limit} g would hold: level, clean and adjust the scale" => CheckNotHeld { nominal: Mass, reading: Reading, limit: Mass };
    "session-closed" "session {session} is closed" => SessionNotOpen { session: SessionId };
    "scale-in-session" "the scale is already in session {session}; close that one first" => ScaleInSession { session: SessionId };

    "lot-overdrawn" "lot {lot} holds {left} g, {asked} g are asked" => LotOverdrawn { lot: LotId, left: Mass, asked: Mass };
    "alloy-fineness" "an alloy metal is entered at 1000 parts per thousand of itself" => AlloyFineness;
    "fineness-impossible" "a fineness above zero and at most 1000 is needed" => FinenessImpossible;
    "wrong-metal" "this is {found}, {wanted} is needed" => WrongMetal { found: Metal, wanted: Metal };
    "not-precious" "{metal} has no fineness of its own to sell by" => NotPrecious { metal: Metal };
    "jar-empty" "jar {jar} is empty in the book" => JarEmpty { jar: JarId };
    "jar-too-fine" "the jar is kept at {jar} parts per thousand, this metal is {metal}" => BelowJarFineness { jar: Fineness, metal: Fineness };
    "wrong-residue" "the jar is for {holds}, not for {offered}" => WrongResidue { holds: &'static str, offered: &'static str };
    "no-heel" "melt {melt} has no heel, or another melt took it" => NoHeel { melt: MeltId };
    "melt-closed" "melt {melt} is closed" => MeltClosed { melt: MeltId };
    "melt-open" "melt {melt} is not weighed out yet" => MeltStillOpen { melt: MeltId };
    "pieces-unweighed" "{count} pieces of the melt are not weighed from the mould yet" => PiecesUnweighed { count: usize };
    "nothing-came-out" "a melt with no piece and no heel and no prills cannot be weighed out" => NothingCameOut;

    "series-code-taken" "another series has the code {code}" => SeriesCodeTaken { code: String };
    "series-impossible" "the series cannot be so: {why}" => SeriesImpossible { why: &'static str };
    "not-a-shape-of-series" "the series has no shape {shape}" => NotAShapeOfSeries { shape: String };
    "below-series-fineness" "the metal is {metal} parts per thousand as declared, the series states {series}" => BelowSeriesFineness { metal: Fineness, series: Fineness };

    "wrong-state" "the piece is {state}, so it cannot be {verb}" => WrongState { state: PieceState, verb: &'static str };
    "wrong-grade" "the piece is graded {grade}, so it cannot be {verb}" => WrongGrade { grade: Grade, verb: &'static str };
    "not-weighed" "the piece has not been weighed" => NotWeighed;
    "graded-already" "the piece is graded {grade}: a reading is corrected, not repeated" => GradedAlready { grade: Grade };
    "weighed-again-already" "the piece was weighed again already: a borderline piece gets one second look" => WeighedAgainAlready;
    "scale-no-better" "this scale is no better: within {this} g here, within {before} g before" => ScaleNoBetter { this: String, before: String };
    "photographed-already" "entry {index} holds this photograph of the piece" => PhotographedAlready { index: u64 };
    "photographs-enough" "the piece has {most} photographs, the most that one may have" => PhotographsEnough { most: usize };
    "not-yet-so" "no photograph shows the piece {stage}: {why}" => NotYetSo { stage: PhotographStage, why: &'static str };
    "photograph-impossible" "a photograph of {width} x {height} pixels cannot be kept" => PhotographImpossible { width: u32, height: u32 };
    "not-condemned" "piece {piece} is {state}: only a condemned piece goes back into the crucible" => NotCondemned { piece: PieceId, state: PieceState };
    "already-remelted" "piece {piece} went into melt {melt}" => AlreadyRemelted { piece: PieceId, melt: MeltId };
    "heavier-than-before" "{after} g after finishing, {before} g before: filing takes metal off" => HeavierThanBefore { before: Mass, after: Mass };
    "not-open-series" "pieces move only into an open series" => NotAnOpenSeries;
    "already-in-series" "the piece is in that series already" => AlreadyInSeries;
    "has-serial" "the piece has the serial {serial}, which is given once" => HasSerial { serial: String };
    "no-serial" "the piece has no serial yet" => NoSerial;
    "serials-used-up" "the series' serials are used up: its numbers have {digits} digits" => SerialsUsedUp { digits: u8 };
    "not-an-edition" "this is an open series: only an edition has numbers, spares, orders and a close" => NotAnEdition;
    "has-number" "the piece has number {number}" => HasNumber { number: u32 };
    "edition-full" "all {size} numbers of shape {shape} are given" => EditionFull { shape: String, size: u32 };
    "no-number" "a piece of an edition gets its number before its certificate" => NoNumber;
    "not-finally-weighed" "the piece has had no final weighing" => NotFinallyWeighed;
    "session-unconfirmed" "session {session} of the weight of record has no closing check yet" => SessionUnconfirmed { session: SessionId };
    "reading-suspect" "the weight of record is suspect: a check of session {session} failed after it; weigh again" => ReadingSuspect { session: SessionId };
    "scale-unverified" "the scale is unverified: it supports no stated weight" => ScaleUnverified;
    "has-certificate" "the piece has certificate issue {issue}; supersede it" => HasCertificate { issue: u32 };
    "no-certificate" "the piece has no certificate" => NoCertificate;
    "certificate-gave-way" "the certificate gave way to issue {by}: print that one" => CertificateGaveWay { by: CertificateId };
    "print-not-covered" "a log of {size} entries does not hold entry {since}, which issued the certificate, or is not there yet" => PrintNotCovered { size: u64, since: u64 };
    "printed-too-often" "this issue was printed {most} times; issue a new one" => PrintedTooOften { most: usize };
    "not-made" "a certificate is printed from the record as it stands: nothing was made of this" => NotMade;

    "die-gone" "die {die} is {state}: it strikes no more" => DieGone { die: DieId, state: DieState };
    "die-of-another-series" "the die was cut for another edition: such a strike is a mis-strike by the wrong die" => DieOfAnotherSeries;
    "die-has-owner" "a commissioner's die goes back or is destroyed" => DieHasOwner;
    "die-of-workshop" "the workshop's own die has nobody to go back to: it is destroyed, or retired" => DieOfWorkshop;
    "not-struck" "the series asks for a strike before that" => NotStruck;
    "series-closed" "the series is closed" => SeriesClosed;
    "pieces-loose" "piece {piece} of the edition is still {state}; {count} such pieces are loose" => PiecesLoose { piece: PieceId, state: PieceState, count: usize };
    "die-loose" "die {die} of the edition is neither returned nor destroyed" => DieLoose { die: DieId };
    "order-open" "order {number} still promises pieces of the edition" => OrderStillOpen { number: u32 };

    "marking-exempt" "the series is exempt from marking" => MarkingExempt;
    "not-hallmarked" "the series requires a hallmark, and the piece has none" => NotHallmarked;
    "marks-missing" "a hallmark has at least a sponsor's, a fineness and an office's mark, each kind once" => MarksMissing;
    "claim-above-series" "{claimed} parts per thousand is not what the series states: {series}" => ClaimNotOfSeries { claimed: Fineness, series: Fineness };
    "claim-above-metal" "{claimed} parts per thousand are claimed, the metal is {metal} as declared" => ClaimAboveMetal { claimed: Fineness, metal: Fineness };
    "claim-above-assay" "{stated} parts per thousand are above what an assay office found in this metal: {found}" => ClaimAboveAssay { stated: Fineness, found: Fineness };
    "not-as-claimed" "the fineness mark says {marked}, {claimed} was claimed" => NotAsClaimed { marked: Fineness, claimed: Fineness };
    "in-consignment" "piece {piece} is in consignment {consignment}" => InConsignment { piece: PieceId, consignment: ConsignmentId };
    "not-in-consignment" "piece {piece} is not in the consignment" => NotInConsignment { piece: PieceId };
    "return-short" "the return does not add up: {lines} lines for {sent} pieces sent; piece {piece} is on none" => ReturnShort { lines: usize, sent: usize, piece: PieceId };
    "line-impossible" "the line cannot be so: {why}" => LineImpossible { why: &'static str };
    "consignment-back" "the consignment is back" => ConsignmentBack;
    "refused-for-fineness" "the office refused it at {claimed} parts per thousand: resubmit it in an open series of a lower standard" => RefusedForFineness { claimed: Fineness };
    "number-on-metal" "the number was put on the metal after the last weighing: weigh it again" => WeighAfterNumber;
    "series-unnumbered" "the pieces of the series get no numbers" => SeriesUnnumbered;
    "spares-not-sold" "the terms of the edition do not allow a spare to be sold without a number" => SparesNotSold;

    "nothing-promised" "a promise of no pieces is none" => NothingPromised;
    "over-promised" "of shape {shape} {promised} are promised and {available} can still be had: {asked} more cannot be promised" => OverPromised { shape: String, promised: u32, available: u32, asked: u32 };
    "promised-to-others" "of shape {shape} {available} can still be had and {promised} are promised: this one is spoken for" => PromisedToOthers { shape: String, promised: u32, available: u32 };
    "order-closed" "order {number} is {state}" => OrderClosed { number: u32, state: OrderState };
    "not-of-order" "the piece is not of the order's edition and shapes" => NotOfOrder;
    "order-filled" "order {number} has all its pieces of shape {shape}" => OrderFilled { number: u32, shape: String };
    "earlier-order" "order {number} came first and still waits for shape {shape}" => EarlierOrder { number: u32, shape: String };
    "order-needs-number" "an order of a numbered edition is served with a number, and the piece has none" => OrderNeedsNumber;
    "reserved-otherwise" "the piece is kept for {keeper}" => ReservedOtherwise { keeper: String };
    "live-sale" "the piece is in sale {number}, which stands" => LiveSale { number: u32 };
    "not-in-sale" "piece {piece} is not in the sale, or its sale is over" => NotInSale { piece: PieceId };
    "witness-missing" "a destruction has a witness" => WitnessMissing;

    "owners-mixed" "metal of a customer goes in with other metal, and customer {owner} has not agreed to that" => OwnersMixed { owner: OwnerId };
    "jar-not-sweeps" "only a jar of sweeps takes sweepings" => JarNotSweeps;
    "sweeps-not-melted" "sweepings go to the refiner, not into a crucible" => SweepsNotMelted;
    "sweeps-not-counted" "sweepings are no metal in the book, so there is nothing to hold their weight against" => SweepsNotCounted;
    "found-too-fine" "found metal is entered at no more than the lowest that the book has of {metal}: {most}" => FoundTooFine { metal: Metal, most: Fineness };
    "refining-returned" "the refiner has accounted for that" => RefiningIsReturned;
    "settled-more-than-sent" "{accounted} g are accounted for, {sent} g were sent" => AccountedMoreThanSent { accounted: Mass, sent: Mass };

    "spot-not-positive" "a spot price is above zero, this is {price}" => SpotNotPositive { price: Money };
    "spot-to-come" "the time of the price is still to come" => SpotToCome;
    "charge-impossible" "the charge cannot be so: {why}" => ChargeImpossible { why: &'static str };
    "price-impossible" "there is no such price: {why}" => PriceImpossible { why: String };

    "not-correctable" "entry {index} holds {kind}, which no correction changes" => NotCorrectable { index: u64, kind: &'static str };
    "corrected-twice" "entry {index} is corrected twice in one command" => CorrectedTwice { index: u64 };
    "no-such-entry" "there is no entry {index}" => NoSuchEntry { index: u64 };
    "corrects-nothing" "what is asked makes no difference" => CorrectsNothing;
    "correction-with-private" "entry {index}: private members are not corrected but erased; leave them out" => CorrectionWithPrivate { index: u64 };
    "other-photograph" "entry {index} holds another photograph: a correction says what it shows, and puts none in its place" => OtherPhotograph { index: u64 };
    "later-fact" "by that, {kind} of entry {index} could not be: {refusal}" => LaterFact { index: u64, kind: &'static str, refusal: Box<Refusal> };

    "not-erasable" "entry {index} has no private member {member} in its event {event}" => NotErasable { index: u64, event: u16, member: String };
    "already-erased" "that member is already erased" => AlreadyErased;
    "key-entry" "key entries are made with the root key: {why}" => KeyEntry { why: String };
    "recorder-key" "the recorder key of this book may not sign: {why}" => RecorderKey { why: String };
    "operator-revoked" "operator {operator} was revoked at entry {revoked}" => OperatorRevoked { operator: OperatorId, revoked: u64 };
    "nobody" "no operator has this id: it stands for what is recorded on the machine itself" => Nobody;
    "contradicts" "the event says {says}, the book reckons {reckons}" => Contradicts { says: String, reckons: String };
}

impl Refusal {
    /// With the member of the command that it is about.
    #[must_use]
    pub fn at(self, pointer: impl Into<String>) -> Refused {
        Refused {
            refusal: self,
            pointer: Some(pointer.into()),
        }
    }
}

impl From<Refusal> for Refused {
    fn from(refusal: Refusal) -> Self {
        Self {
            refusal,
            pointer: None,
        }
    }
}
