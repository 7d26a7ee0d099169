//! A workbench for the tests: a book, names for what is in it, and one short line per command.
//!
//! `check` runs what was given, then what is asked, and holds the outcome to one line. Whatever is asked, it also holds
//! that a refusal changed nothing, that the events alone lead to the same book, and that no metal came or went.

use pourbook::accounts::Postings;
use pourbook::domain::*;
use pourbook::metal::{Fineness, Mass, MassDifference, Metal, Money, Reading};
use serde::de::DeserializeOwned;
use std::collections::BTreeMap;
use uuid::Uuid;

/// A workshop with a good scale, a session, silver, gold and copper, jars, an edition and an open series.
pub const WORKSHOP: &[&str] = &[
    "scale S class II e 0.01 d 0.01 max 1000 s 0.006",
    "session D on S 100.00 shows 100.01",
    "lot A silver 999.9 assayed 800.00 in D",
    "lot B silver 999.0 declared 400.00 in D",
    "lot G gold 999.9 assayed 100.00 in D",
    "lot K copper 1000 declared 50.00 in D",
    "jar PR silver 999 prills",
    "jar LE silver 999 lemel",
    "edition TW silver 999 limits 50.00 50.00 51.20 exempt oval 2 slab 1",
    "open DW silver 999 exempt",
];

/// As `WORKSHOP`, with three ovals and a slab poured and weighed: good, under, over, good.
pub const POURED: &[&str] = &[
    "melt M in D silver lot A 300.00",
    "pour M TW oval P1 P2 P3",
    "pour M TW slab P4",
    "weigh from_mould in D P1 50.42 P2 49.10 P3 52.00 P4 50.60",
];

/// As `POURED`, with the melt weighed out.
pub const CLOSED: &[&str] = &["balance M in D heel 97.00 prills PR 0.50"];

/// As `CLOSED`, with serials for the good ones, weighed finally and the session confirmed.
pub const FINAL: &[&str] = &[
    "serials P1 P4",
    "weigh final in D P1 50.42 P4 50.60",
    "close D 100.00 shows 100.00",
];

/// On `WORKSHOP`: an edition of four ovals and a slab with three ovals and the slab in stock, one oval yet to be given a
/// number, and one piece of an open series in stock.
pub const STOCKED: &[&str] = &[
    "edition SN silver 999 limits 50.00 50.00 51.20 exempt oval 4 slab 1",
    "melt M in D silver lot A 300.00",
    "pour M SN oval Q1 Q2 Q3",
    "pour M SN slab Q4",
    "pour M DW bar Q5",
    "weigh from_mould in D Q1 50.40 Q2 50.40 Q3 50.40 Q4 50.40 Q5 50.40",
    "balance M in D heel 47.50 prills PR 0.40",
    "serials Q1 Q2 Q3 Q4 Q5",
    "weigh final in D Q1 50.40 Q2 50.40 Q3 50.40 Q4 50.40 Q5 50.40",
    "close D 100.00 shows 100.00",
    "numbers Q1 Q2 Q3 Q4",
    "certify Q1 Q2 Q3 Q4 Q5",
];

/// One entry of a book: where it stands, and its events.
#[derive(Clone)]
pub struct Recorded {
    pub stamp: Stamp,
    pub drafts: Vec<Draft>,
}

/// A book under test.
pub struct Bench {
    pub book: Book,
    pub entries: Vec<Recorded>,
    names: BTreeMap<String, Uuid>,
    draw: u64,
    /// Every movement of metal that the events told of, as they were decided.
    pub postings: Postings,
}

impl Bench {
    pub fn new() -> Self {
        Self {
            book: Book::default(),
            entries: Vec::new(),
            names: BTreeMap::new(),
            draw: 0,
            postings: Postings::default(),
        }
    }

    pub fn with(given: &[&[&str]]) -> Self {
        let mut bench = Self::new();
        for line in given.iter().copied().flatten() {
            if let Err(refused) = bench.run(line) {
                panic!("{line:?} was given, and refused: {}", bench.say_refused(&refused));
            }
        }
        bench
    }

    pub fn stamp(&self) -> Stamp {
        let index = self.entries.len() as u64;
        Stamp {
            index,
            at: Timestamp(1_790_000_000 + index as i64),
            by: OperatorId(Uuid::from_u128(7)),
        }
    }

    /// Decides one command; what it decides is kept.
    pub fn decide(&mut self, command: &Command) -> Result<Vec<Draft>, Refused> {
        let stamp = self.stamp();
        self.draw += 1;
        let mut seed = [0; 32];
        seed[..8].copy_from_slice(&self.draw.to_be_bytes());
        let mut moment = Moment {
            now: stamp.at,
            by: stamp.by,
            draw: Draw::new(seed),
        };
        let drafts = self.book.decide(stamp.index, command, &mut moment)?;
        self.book.keep();
        for (place, draft) in (0..).zip(&drafts) {
            self.postings.take(stamp.index, place, &draft.event);
        }
        self.entries.push(Recorded {
            stamp,
            drafts: drafts.clone(),
        });
        Ok(drafts)
    }

    /// Runs one line and gives names to what it makes.
    pub fn run(&mut self, line: &str) -> Result<Vec<Draft>, Refused> {
        let (command, new) = self.read(line);
        let drafts = self.decide(&command)?;
        let made = drafts.iter().filter_map(|draft| made(&draft.event));
        for (name, id) in new.iter().zip(made) {
            self.names.insert(name.clone(), id);
        }
        for draft in &drafts {
            if let Event::CertificateIssued(e) = &draft.event {
                let name = format!("{}#{}", self.name(e.piece.0), e.issue);
                self.names.insert(name, e.certificate.0);
            }
        }
        Ok(drafts)
    }

    pub fn id(&self, name: &str) -> Uuid {
        // A name that was never given is an id that nothing has.
        self.names.get(name).copied().unwrap_or(Uuid::from_u128(0xdead))
    }

    fn name(&self, id: Uuid) -> String {
        self.names
            .iter()
            .find(|(_, known)| **known == id)
            .map_or_else(|| id.to_string(), |(name, _)| name.clone())
    }

    pub fn piece(&self, name: &str) -> &Piece {
        self.book.piece(PieceId(self.id(name))).unwrap()
    }

    pub fn say_refused(&self, refused: &Refused) -> String {
        let mut text = refused.to_string();
        for (name, id) in &self.names {
            text = text.replace(&id.to_string(), name);
        }
        match &refused.pointer {
            Some(pointer) => format!("refused: {text} ({pointer})"),
            None => format!("refused: {text}"),
        }
    }

    fn say(&self, outcome: &Result<Vec<Draft>, Refused>) -> String {
        match outcome {
            Ok(drafts) => drafts
                .iter()
                .map(|draft| self.say_event(&draft.event))
                .collect::<Vec<_>>()
                .join("; "),
            Err(refused) => self.say_refused(refused),
        }
    }

    pub fn say_event(&self, event: &Event) -> String {
        let name = |id: Uuid| self.name(id);
        match event {
            Event::LotReceived(e) => format!("{} is lot {}", name(e.lot.0), e.number),
            Event::SessionChecked(e) => {
                format!("{} {}", name(e.session.0), if e.held { "held" } else { "failed" })
            }
            Event::SessionClosed(e) => {
                format!(
                    "{} {}",
                    name(e.session.0),
                    if e.held { "confirmed" } else { "failed" }
                )
            }
            Event::JarFilled(e) => format!("{} takes {} of {}", name(e.jar.0), e.mass, name(e.melt.0)),
            Event::MeltCharged(e) => {
                format!(
                    "{} is melt {}: {} g at {}",
                    name(e.melt.0),
                    e.number,
                    e.charge,
                    e.fineness
                )
            }
            Event::MeltClosed(e) => format!("{} lost {}", name(e.melt.0), e.loss),
            Event::PiecePoured(e) => format!("{} is pour {}", name(e.piece.0), e.pour),
            Event::PieceGravity(e) => format!(
                "{} {} {} {} at {}",
                name(e.piece.0),
                e.in_air,
                e.method,
                e.in_water,
                e.water
            ),
            Event::PiecePhotographed(e) => {
                format!("{} photographed {}, its {}", name(e.piece.0), e.stage, e.side)
            }
            Event::PieceWeighed(e) => format!("{} weighs {}", name(e.piece.0), e.mass),
            Event::PieceGraded(e) => format!("{} {}", name(e.piece.0), e.grade),
            Event::PieceFinished(e) => format!("{} filed by {}", name(e.piece.0), e.filed),
            Event::PieceMoved(e) => format!(
                "{} moves from {} to {}",
                name(e.piece.0),
                name(e.from.0),
                name(e.to.0)
            ),
            Event::PieceRemelted(e) => format!("{} remelted", name(e.piece.0)),
            Event::PieceSerialled(e) => format!("{} is {}", name(e.piece.0), e.serial),
            Event::PieceNumbered(e) => format!("{} is {} of {}", name(e.piece.0), e.number, e.of),
            Event::PieceCertified(e) => format!("{} certified, issue {}", name(e.piece.0), e.issue),
            Event::CertificateIssued(e) => {
                format!(
                    "{} states {} +-{}, at least {}",
                    name(e.piece.0),
                    e.mass,
                    e.uncertainty,
                    e.at_least
                )
            }
            Event::CertificatePrinted(e) => format!("{} printed", name(e.certificate.0)),
            Event::CertificateSuperseded(e) => format!("{} superseded", name(e.certificate.0)),
            Event::JarSwept(e) => format!("{} takes {} of sweepings", name(e.jar.0), e.mass),
            Event::JarEmptied(e) => format!("{} emptied", name(e.jar.0)),
            Event::PieceRefined(e) => format!("{} refined", name(e.piece.0)),
            Event::RefiningSent(e) => {
                format!("{} is refining {}: {} g", name(e.refining.0), e.number, e.mass)
            }
            Event::StocktakeTaken(e) => {
                let names = |ids: &[PieceId]| ids.iter().map(|id| name(id.0)).collect::<Vec<_>>().join("+");
                let pieces = e.pieces.as_ref().map_or_else(String::new, |pieces| {
                    format!(
                        ": {} seen, unseen {}, unexpected {}",
                        pieces.seen.len(),
                        names(&pieces.unseen),
                        names(&pieces.unexpected)
                    )
                });
                format!("{} is stock-take {}{pieces}", name(e.stocktake.0), e.number)
            }
            Event::LotCounted(LotCounted {
                lot,
                mass,
                variance,
                explained,
                ..
            }) => say_counted(&name(lot.0), mass, *variance, *explained),
            Event::MeltCounted(MeltCounted {
                melt,
                mass,
                variance,
                explained,
                ..
            }) => say_counted(&format!("heel of {}", name(melt.0)), mass, *variance, *explained),
            Event::JarCounted(JarCounted {
                jar,
                mass,
                variance,
                explained,
                ..
            }) => say_counted(&name(jar.0), mass, *variance, *explained),
            Event::LotFound(e) => format!(
                "{} is lot {}, found: {} g at {}",
                name(e.lot.0),
                e.number,
                e.mass,
                e.fineness
            ),
            Event::RefiningReturned(e) => format!("{} lost {} of {}", name(e.refining.0), e.loss, e.sent),
            Event::LotOutturned(e) => {
                format!(
                    "{} is lot {}: {} g at {}",
                    name(e.lot.0),
                    e.number,
                    e.mass,
                    e.fineness
                )
            }
            other => self.say_marking(other).unwrap_or_else(|| self.say_sale(other)),
        }
    }

    /// Promises, sales and what comes after.
    fn say_sale(&self, event: &Event) -> String {
        let (kind, name) = (event.kind(), |id: Uuid| self.name(id));
        match event {
            Event::OrderRecorded(e) => format!("{} is order {}", name(e.order.0), e.number),
            Event::OrderCancelled(e) => format!("{} cancelled", name(e.order.0)),
            Event::SaleMade(e) => format!("{} is sale {}", name(e.sale.0), e.number),
            Event::SaleDispatched(e) => format!("{} parcel of {}", name(e.sale.0), e.pieces.len()),
            Event::PieceBoughtBack(e) => {
                let explained = if e.explained { "explained" } else { "unexplained" };
                format!(
                    "{} bought back, {} lighter, {explained}",
                    name(e.piece.0),
                    e.difference
                )
            }
            Event::PieceReserved(PieceReserved { piece, .. })
            | Event::PieceReleased(PieceReleased { piece })
            | Event::PieceSold(PieceSold { piece, .. })
            | Event::PieceUnsold(PieceUnsold { piece, .. })
            | Event::PieceDispatched(PieceDispatched { piece, .. })
            | Event::PieceHandedOver(PieceHandedOver { piece, .. })
            | Event::PieceDelivered(PieceDelivered { piece, .. })
            | Event::PieceLost(PieceLost { piece, .. })
            | Event::PieceFound(PieceFound { piece })
            | Event::PieceSentBack(PieceSentBack { piece, .. })
            | Event::PieceReturned(PieceReturned { piece, .. })
            | Event::PieceRestocked(PieceRestocked { piece })
            | Event::PieceStolen(PieceStolen { piece })
            | Event::PieceRecovered(PieceRecovered { piece })
            | Event::PieceDestroyed(PieceDestroyed { piece }) => {
                format!(
                    "{} {}",
                    name(piece.0),
                    kind.trim_start_matches("piece.").replace('_', " ")
                )
            }
            _ => kind.to_owned(),
        }
    }

    /// Dies, strikes, the assay office, spares and the close of an edition.
    fn say_marking(&self, event: &Event) -> Option<String> {
        let name = |id: Uuid| self.name(id);
        Some(match event {
            Event::DieDisposed(e) => format!("{} {} after {}", name(e.die.0), e.how, e.strikes),
            Event::PieceStruck(e) => format!("{} struck {}", name(e.piece.0), e.outcome),
            Event::PieceArchived(e) => format!("{} archived", name(e.piece.0)),
            Event::SeriesClosed(e) => {
                let shape = |tally: &ShapeTally| {
                    let burned: Vec<String> = tally.burned.iter().map(u32::to_string).collect();
                    let burned = if burned.is_empty() {
                        "none".to_owned()
                    } else {
                        burned.join("+")
                    };
                    format!(
                        "{} {} of {} burned {burned}",
                        tally.shape, tally.given, tally.size
                    )
                };
                let shapes: Vec<String> = e.shapes.iter().map(shape).collect();
                let dies: Vec<String> = e.dies.iter().map(|die| name(die.0)).collect();
                format!(
                    "{} closed: {}; dies {}",
                    name(e.series.0),
                    shapes.join(", "),
                    dies.join(" ")
                )
            }
            Event::ConsignmentSent(e) => format!(
                "{} is consignment {}: {} of {} g at {}",
                name(e.consignment.0),
                e.number,
                e.pieces.len(),
                e.mass,
                e.fineness
            ),
            Event::PieceConsigned(e) => format!("{} in {}", name(e.piece.0), name(e.consignment.0)),
            Event::PieceHallmarked(e) => format!("{} hallmarked {}", name(e.piece.0), e.hallmark.fineness),
            Event::PieceUnmarked(e) => format!("{} unmarked as {}", name(e.piece.0), e.reason),
            Event::PieceKept(e) => format!("{} {}", name(e.piece.0), e.how),
            Event::PieceMissing(e) => format!("{} missing", name(e.piece.0)),
            Event::ConsignmentReturned(e) => format!(
                "{} back: {} = {} marked + {} unmarked + {} kept + {} missing",
                name(e.consignment.0),
                e.sent,
                e.marked,
                e.unmarked,
                e.kept,
                e.missing
            ),
            Event::PieceSpared(e) => format!("{} spare", name(e.piece.0)),
            _ => return None,
        })
    }

    /// Every metal's statement adds up, in grams and in fine grams.
    pub fn holds_every_gram(&self) {
        crate::accounts::agree(&self.book, &self.postings);
        for metal in Metal::ALL {
            let statement = self.book.masses(metal).unwrap();
            assert_eq!(
                statement.difference().unwrap(),
                Amount::default(),
                "{statement:#?}"
            );
        }
    }

    /// The events alone lead to the same book.
    pub fn replays(&self) {
        let mut book = Book::default();
        for entry in &self.entries {
            for draft in &entry.drafts {
                book.take(&entry.stamp, &draft.event).unwrap();
            }
            book.keep();
        }
        book.settled().unwrap();
        assert!(book == self.book, "the replayed book is another one");
    }
}

/// What was given, what is asked, and the one line that comes of it.
#[track_caller]
pub fn check(given: &[&[&str]], when: &str, then: &str) {
    let mut bench = Bench::with(given);
    let before = bench.book.clone();
    let outcome = bench.run(when);
    assert_eq!(bench.say(&outcome), then);
    if outcome.is_err() {
        assert!(bench.book == before, "a refusal changed the book");
    }
    bench.holds_every_gram();
    bench.replays();
}

/// One line of a stock-take.
fn say_counted(what: &str, mass: &Reading, variance: MassDifference, explained: bool) -> String {
    let explained = if explained { "explained" } else { "unexplained" };
    format!("{what} weighs {mass}, {variance} missing, {explained}")
}

/// The id that an event makes.
fn made(event: &Event) -> Option<Uuid> {
    match event {
        Event::LotReceived(e) => Some(e.lot.0),
        Event::ScaleRegistered(e) => Some(e.scale.0),
        Event::SessionOpened(e) => Some(e.session.0),
        Event::JarOpened(e) => Some(e.jar.0),
        Event::SeriesOpened(e) => Some(e.series.0),
        Event::MeltCharged(e) => Some(e.melt.0),
        Event::PiecePoured(e) => Some(e.piece.0),
        Event::DieRegistered(e) => Some(e.die.0),
        Event::ConsignmentSent(e) => Some(e.consignment.0),
        Event::OwnerRegistered(e) => Some(e.owner.0),
        Event::RefiningSent(e) => Some(e.refining.0),
        Event::LotOutturned(e) => Some(e.lot.0),
        Event::OrderRecorded(e) => Some(e.order.0),
        Event::SaleMade(e) => Some(e.sale.0),
        Event::StocktakeTaken(e) => Some(e.stocktake.0),
        Event::LotFound(e) => Some(e.lot.0),
        Event::SpotRecorded(e) => Some(e.spot.0),
        Event::QuoteMade(e) => Some(e.quote.0),
        Event::ChargeRecorded(e) => Some(e.charge.0),
        _ => None,
    }
}

/// A word of one of the closed sets.
fn word<T: DeserializeOwned>(text: &str) -> T {
    serde_json::from_value(serde_json::Value::String(text.to_owned())).unwrap()
}

fn mass(text: &str) -> Mass {
    Mass::parse(text).unwrap()
}

pub fn reading(text: &str) -> Reading {
    Reading::parse(text).unwrap()
}

/// The words of a line, taken one by one.
struct Words<'a>(std::iter::Peekable<std::str::SplitWhitespace<'a>>);

impl<'a> Words<'a> {
    fn next(&mut self) -> &'a str {
        self.0.next().unwrap()
    }

    /// The word behind a keyword, if the keyword comes next.
    fn after(&mut self, keyword: &str) -> Option<&'a str> {
        self.0.next_if_eq(&keyword).map(|_| self.next())
    }

    fn flag(&mut self, keyword: &str) -> bool {
        self.0.next_if_eq(&keyword).is_some()
    }

    fn rest(&mut self) -> Vec<&'a str> {
        self.0.by_ref().collect()
    }
}

impl Bench {
    /// Reads one line: the command, and the names of what it makes.
    pub fn read(&self, line: &str) -> (Command, Vec<String>) {
        let mut words = Words(line.split_whitespace().peekable());
        let verb = words.next();
        let w = &mut words;
        match verb {
            "scale" | "session" | "lot" | "jar" | "edition" | "open" | "melt" => {
                let name = w.next().to_owned();
                (self.read_new(verb, &name, w), vec![name])
            }
            "order" | "sell" => {
                let name = w.next().to_owned();
                (self.read_sale(verb, &name, w), vec![name])
            }
            "pour" => self.read_pour(w),
            "die" | "dispose" | "strike" | "archive" | "end" | "consign" | "back" | "spare" => {
                self.read_marking(verb, w)
            }
            "check" | "close" => (self.read_check(verb, w), vec![]),
            "count" => self.read_count(w),
            "owner" | "agree" | "sweep" | "refine" | "refined" => self.read_refining(verb, w),
            "weigh" | "finish" | "balance" => (self.read_weighing(verb, w), vec![]),
            _ => (self.read_other(verb, w), vec![]),
        }
    }

    fn read_new(&self, verb: &str, name: &str, w: &mut Words<'_>) -> Command {
        match verb {
            "scale" => RegisterScale {
                class: word(w.after("class").unwrap()),
                e: mass(w.after("e").unwrap()),
                d: mass(w.after("d").unwrap()),
                max: mass(w.after("max").unwrap()),
                repeatability: mass(w.after("s").unwrap()),
                verified: !w.flag("unverified"),
                label: Some("the bench scale".to_owned()),
                note: None,
            }
            .into(),
            "session" => OpenSession {
                scale: ScaleId(self.id(w.after("on").unwrap())),
                nominal: mass(w.next()),
                reading: reading(w.after("shows").unwrap()),
            }
            .into(),
            "lot" => ReceiveLot {
                metal: word(w.next()),
                fineness: Fineness::parse(w.next()).unwrap(),
                basis: word(w.next()),
                mass: reading(w.next()),
                session: SessionId(self.id(w.after("in").unwrap())),
                invoiced: None,
                owner: w.after("owner").map(|name| OwnerId(self.id(name))),
                seller: Some("Pellworth Metals Counter".to_owned()),
                document: None,
                price: None,
                note: w.after("note").map(|length| "x".repeat(length.parse().unwrap())),
            }
            .into(),
            "jar" => OpenJar {
                metal: word(w.next()),
                fineness: Fineness::parse(w.next()).unwrap(),
                residue: word(w.next()),
                label: None,
            }
            .into(),
            "melt" => self.read_charge(w),
            _ => Self::read_series(verb, name, w),
        }
    }

    fn read_series(verb: &str, code: &str, w: &mut Words<'_>) -> Command {
        let metal = word(w.next());
        let fineness = Fineness::parse(w.next()).unwrap();
        let limits = w.after("limits").map(|lower| Limits {
            lower: mass(lower),
            nominal: mass(w.next()),
            upper: mass(w.next()),
        });
        let exempt = !w.flag("required");
        let ground = (exempt && w.flag("exempt")).then_some(ExemptGround::Bullion);
        let light = w.flag("below");
        let ground = ground.map(|ground| if light { ExemptGround::BelowWeight } else { ground });
        let (below, from) = (w.after("weight"), w.after("from"));
        let digits = w.after("digits").map_or(4, |digits| digits.parse().unwrap());
        let code = w.after("code").unwrap_or(code);
        let (unnumbered, number_on_metal) = (w.flag("unnumbered"), w.flag("number_on_metal"));
        let (struck, spares_sold) = (w.flag("struck"), w.flag("spares_sold"));
        let shapes = w.rest();
        OpenSeries {
            code: SeriesCode::parse(code).unwrap(),
            kind_of: word(verb),
            metal,
            fineness,
            unit: WeightUnit::Gram,
            shapes: shapes
                .chunks(2)
                .map(|pair| ShapeSize {
                    shape: Shape::parse(pair[0]).unwrap(),
                    size: pair[1].parse().unwrap(),
                })
                .collect(),
            limits,
            digits,
            marking: if exempt {
                Marking::Exempt
            } else {
                Marking::Required
            },
            ground,
            exempt_below: below.map(mass),
            exempt_from: from.map(word),
            unnumbered,
            number_on_metal,
            struck,
            spares_sold,
            title: Some("Tidewheel".to_owned()),
            commissioner: Some("The Lantern & Loom Society".to_owned()),
            decided: None,
            note: None,
        }
        .into()
    }

    /// Dies, strikes, the assay office, spares and the close of an edition.
    fn read_marking(&self, verb: &str, w: &mut Words<'_>) -> (Command, Vec<String>) {
        let note = None;
        let first = if verb == "spare" { "" } else { w.next() };
        let id = self.id(first);
        let made = match verb {
            "die" | "consign" => vec![first.to_owned()],
            _ => vec![],
        };
        let command = match verb {
            "die" => RegisterDie {
                owner: word(w.next()),
                series: w.after("for").map(|series| SeriesId(self.id(series))),
                label: Some("a lantern".to_owned()),
                note,
            }
            .into(),
            "dispose" => DisposeDie {
                die: DieId(id),
                how: word(w.next()),
                note,
            }
            .into(),
            "strike" => StrikePieces {
                die: DieId(id),
                items: w
                    .rest()
                    .chunks(2)
                    .map(|pair| Strike {
                        piece: PieceId(self.id(pair[0])),
                        outcome: word(pair[1]),
                    })
                    .collect(),
                note,
            }
            .into(),
            "archive" => ArchivePiece {
                piece: PieceId(id),
                note,
            }
            .into(),
            "end" => CloseSeries {
                series: SeriesId(id),
                note,
            }
            .into(),
            "consign" => SendConsignment {
                fineness: Fineness::parse(w.next()).unwrap(),
                marks: w
                    .after("marks")
                    .unwrap_or("sponsor+fineness+office")
                    .split('+')
                    .map(word)
                    .collect(),
                pieces: w.rest().iter().map(|name| PieceId(self.id(name))).collect(),
                office: Some("Eastmarch Assay Hall".to_owned()),
                seal: None,
                note,
            }
            .into(),
            "back" => ReturnConsignment {
                consignment: ConsignmentId(id),
                lines: w.rest().chunks(2).map(|pair| self.read_line(pair)).collect(),
                note,
            }
            .into(),
            _ => SparePieces {
                pieces: w.rest().iter().map(|name| PieceId(self.id(name))).collect(),
            }
            .into(),
        };
        (command, made)
    }

    /// A line of a return: what became of the piece and, behind strokes, marks, a reason, `f` and a fineness mark, or `a`
    /// and what was found. A marked piece bears the usual marks at 999 unless it says otherwise.
    fn read_line(&self, pair: &[&str]) -> ReturnLine {
        let mut parts = pair[1].split('/');
        let outcome = word(parts.next().unwrap());
        let (mut reason, mut assay, mut bare) = (None, None, outcome != AssayOutcome::Marked);
        let mut hallmark = Hallmark {
            fineness: Fineness::parse("999").unwrap(),
            marks: vec![],
        };
        let mut marks = "sponsor+fineness+office";
        for part in parts {
            match part.split_at(1) {
                ("f", digits) if digits.starts_with(|c: char| c.is_ascii_digit()) => {
                    hallmark.fineness = Fineness::parse(digits).unwrap();
                    bare = false;
                }
                ("a", digits) if digits.starts_with(|c: char| c.is_ascii_digit()) => {
                    assay = Some(Fineness::parse(digits).unwrap());
                }
                _ if part == "bare" => bare = true,
                _ if part.contains('+') => marks = part,
                _ => reason = Some(word(part)),
            }
        }
        let seen = |mark: &str| MarkSeen {
            mark: word(mark.trim_end_matches('?')),
            legible: !mark.ends_with('?'),
        };
        hallmark.marks = marks.split('+').map(seen).collect();
        ReturnLine {
            piece: PieceId(self.id(pair[0])),
            outcome,
            hallmark: (!bare).then_some(hallmark),
            reason,
            assay,
        }
    }

    fn read_charge(&self, w: &mut Words<'_>) -> Command {
        let session = SessionId(self.id(w.after("in").unwrap()));
        let mut charge = ChargeMelt {
            metal: word(w.next()),
            session,
            lots: vec![],
            heels: vec![],
            jars: vec![],
            pieces: vec![],
            note: None,
        };
        let rest = w.rest();
        let mut rest = rest.iter();
        while let Some(from) = rest.next() {
            let id = self.id(rest.next().unwrap());
            match *from {
                "lot" => charge.lots.push(LotDraw {
                    lot: LotId(id),
                    mass: reading(rest.next().unwrap()),
                }),
                "jar" => charge.jars.push(JarDraw {
                    jar: JarId(id),
                    mass: reading(rest.next().unwrap()),
                }),
                "heel" => charge.heels.push(MeltId(id)),
                "piece" => charge.pieces.push(PieceId(id)),
                other => panic!("{other} does not go into a crucible"),
            }
        }
        charge.into()
    }

    fn read_pour(&self, w: &mut Words<'_>) -> (Command, Vec<String>) {
        let melt = MeltId(self.id(w.next()));
        let series = SeriesId(self.id(w.next()));
        let shape = Shape::parse(w.next()).unwrap();
        let mut names: Vec<String> = w.rest().iter().map(|name| (*name).to_owned()).collect();
        if let Some(times) = names.first().and_then(|name| name.strip_prefix('x')) {
            names = (1..=times.parse().unwrap())
                .map(|n: u32| format!("X{n}"))
                .collect();
        }
        let pours = names
            .iter()
            .map(|_| Pour {
                series,
                shape: shape.clone(),
                mould: None,
            })
            .collect();
        (PourPieces { melt, pours }.into(), names)
    }

    fn read_check(&self, verb: &str, w: &mut Words<'_>) -> Command {
        let session = SessionId(self.id(w.next()));
        let (nominal, reading) = (mass(w.next()), reading(w.after("shows").unwrap()));
        match verb {
            "check" => CheckSession {
                session,
                nominal,
                reading,
            }
            .into(),
            _ => CloseSession {
                session,
                nominal,
                reading,
            }
            .into(),
        }
    }

    fn read_weighing(&self, verb: &str, w: &mut Words<'_>) -> Command {
        let first = if verb == "finish" { "" } else { w.next() };
        let session = SessionId(self.id(w.after("in").unwrap()));
        match verb {
            "balance" => CloseMelt {
                melt: MeltId(self.id(first)),
                session,
                heel: reading(w.after("heel").unwrap()),
                prills: w.after("prills").map(|jar| JarDraw {
                    jar: JarId(self.id(jar)),
                    mass: reading(w.next()),
                }),
                note: None,
            }
            .into(),
            "finish" => {
                let jar = JarId(self.id(w.after("into").unwrap()));
                FinishPieces {
                    session,
                    jar,
                    items: self.read_items(w),
                }
                .into()
            }
            _ => WeighPieces {
                session,
                stage: word(first),
                items: self.read_items(w),
            }
            .into(),
        }
    }

    fn read_items(&self, w: &mut Words<'_>) -> Vec<Weighing> {
        w.rest()
            .chunks(2)
            .map(|pair| Weighing {
                piece: PieceId(self.id(pair[0])),
                mass: reading(pair[1]),
            })
            .collect()
    }

    fn read_other(&self, verb: &str, w: &mut Words<'_>) -> Command {
        let note = None;
        let pieces = |w: &mut Words<'_>| w.rest().iter().map(|name| PieceId(self.id(name))).collect();
        match verb {
            "serials" => GiveSerials { pieces: pieces(w) }.into(),
            "numbers" => NumberPieces { pieces: pieces(w) }.into(),
            "certify" => IssueCertificates { pieces: pieces(w) }.into(),
            "print" => {
                let certificate = CertificateId(self.id(w.next()));
                let piece = PieceId(self.id(w.after("of").unwrap()));
                let since = self.book.certificate(certificate).unwrap().since;
                let size = match w.after("at").unwrap() {
                    "once_issued" => since + 1,
                    "before" => since,
                    size => size.parse().unwrap(),
                };
                let made = PrintMade {
                    certificates: vec![(certificate, piece)],
                    size,
                    template: 1,
                    digest: "a digest".to_owned(),
                    inputs: "{}".to_owned(),
                };
                PrintCertificates {
                    certificates: vec![certificate],
                    series: None,
                    paper: Paper::A6,
                    made: Some(made),
                }
                .into()
            }
            "immerse" => {
                let piece = PieceId(self.id(w.next()));
                MeasureGravity {
                    piece,
                    session: SessionId(self.id(w.after("in").unwrap())),
                    in_air: reading(w.next()),
                    method: word(w.next()),
                    in_water: reading(w.next()),
                    water: w.after("at").unwrap().parse().unwrap(),
                }
                .into()
            }
            "photograph" => {
                let piece = PieceId(self.id(w.next()));
                let of = PhotographHash::of(w.next().as_bytes());
                PhotographPiece {
                    piece,
                    photograph: of,
                    thumbnail: of,
                    stage: word(w.next()),
                    side: word(w.next()),
                    width: w.after("wide").map_or(4_000, |wide| wide.parse().unwrap()),
                    height: 3_000,
                }
                .into()
            }
            "fault" => FaultPiece {
                piece: PieceId(self.id(w.next())),
                fault: word(w.next()),
                note,
            }
            .into(),
            "condemn" => CondemnPiece {
                piece: PieceId(self.id(w.next())),
                reason: word(w.next()),
                note,
            }
            .into(),
            "move" => {
                let piece = PieceId(self.id(w.next()));
                MovePiece {
                    piece,
                    to: SeriesId(self.id(w.after("to").unwrap())),
                    note,
                }
                .into()
            }
            "supersede" => {
                let piece = PieceId(self.id(w.next()));
                SupersedeCertificate {
                    piece,
                    reason: word(w.next()),
                    note: Some("for the record".to_owned()),
                }
                .into()
            }
            "erase" => EraseField {
                index: w.next().parse().unwrap(),
                event: w.next().parse().unwrap(),
                member: w.next().to_owned(),
                reason: EraseReason::Request,
                entry: String::new(),
            }
            .into(),
            "clock" => SetClock {}.into(),
            other => {
                let name = w.next().to_owned();
                self.read_sale(other, &name, w)
            }
        }
    }

    /// Promises and sales: the first word behind the verb is what is made, or what it is done to.
    fn read_sale(&self, verb: &str, name: &str, w: &mut Words<'_>) -> Command {
        let note = None;
        let sale = SaleId(self.id(name));
        let pieces = |w: &mut Words<'_>| w.rest().iter().map(|name| PieceId(self.id(name))).collect();
        let under = |w: &mut Words<'_>| w.after("under").map(|order| OrderId(self.id(order)));
        match verb {
            "order" => RecordOrder {
                series: SeriesId(self.id(w.after("of").unwrap())),
                shapes: w
                    .rest()
                    .chunks(2)
                    .map(|pair| ShapeCount {
                        shape: Shape::parse(pair[0]).unwrap(),
                        count: pair[1].parse().unwrap(),
                    })
                    .collect(),
                buyer: Some("A. Buyer".to_owned()),
                note,
            }
            .into(),
            "cancel_order" => CancelOrder {
                order: OrderId(self.id(name)),
                note,
            }
            .into(),
            "reserve" => ReservePiece {
                piece: PieceId(self.id(name)),
                order: under(w),
                buyer: None,
                note,
            }
            .into(),
            "sell" => SellPieces {
                order: under(w),
                items: w
                    .rest()
                    .iter()
                    .map(|name| SaleItem {
                        piece: PieceId(self.id(name)),
                        price: Money::parse("95.00", "GBP").ok(),
                    })
                    .collect(),
                buyer: Some("A. Buyer".to_owned()),
                document: None,
                note,
            }
            .into(),
            "cancel_sale" => CancelSale {
                sale,
                pieces: pieces(w),
                note,
            }
            .into(),
            "hand_over" => HandOverPieces {
                sale,
                pieces: pieces(w),
                note,
            }
            .into(),
            "dispatch" => DispatchPieces {
                sale,
                pieces: pieces(w),
                weight: Some("212 g".to_owned()),
                seal: Some("0417".to_owned()),
                insured: Money::parse("100.00", "GBP").ok(),
                carrier: None,
                tracking: None,
                note,
            }
            .into(),
            "deliver" => DeliverPieces {
                sale,
                pieces: pieces(w),
                note,
            }
            .into(),
            "lose" => LosePieces {
                sale,
                pieces: pieces(w),
                note,
            }
            .into(),
            "send_back" => SendBackPieces {
                sale,
                pieces: pieces(w),
                note,
            }
            .into(),
            _ => self.read_after(verb, PieceId(self.id(name)), w),
        }
    }

    fn read_after(&self, verb: &str, piece: PieceId, w: &mut Words<'_>) -> Command {
        let note = None;
        match verb {
            "release" => ReleasePiece { piece, note }.into(),
            "find" => FindPiece { piece, note }.into(),
            "return" => ReturnPiece { piece, note }.into(),
            "restock" => RestockPiece { piece, note }.into(),
            "buy_back" => BuyBackPiece {
                piece,
                session: SessionId(self.id(w.after("in").unwrap())),
                mass: reading(w.next()),
                seller: None,
                price: Money::parse("60.00", "GBP").ok(),
                note,
            }
            .into(),
            "steal" => StealPiece {
                piece,
                reference: None,
                note,
            }
            .into(),
            "recover" => RecoverPiece { piece, note }.into(),
            "destroy" => DestroyPiece {
                piece,
                witness: w.rest().join(" "),
                note,
            }
            .into(),
            other => panic!("nobody at this bench knows how to {other}"),
        }
    }
}

/// The words about customers' metal, sweepings and the refiner.
impl Bench {
    fn read_refining(&self, verb: &str, w: &mut Words<'_>) -> (Command, Vec<String>) {
        let name = w.next().to_owned();
        let id = self.id(&name);
        let command = match verb {
            "owner" => RegisterOwner {
                name: Some("Marrow Hallet".to_owned()),
                note: None,
            }
            .into(),
            "agree" => AgreeMixing {
                owner: OwnerId(id),
                document: Some("letter 4".to_owned()),
                note: None,
            }
            .into(),
            "sweep" => GatherSweeps {
                jar: JarId(id),
                mass: reading(w.next()),
                session: SessionId(self.id(w.after("in").unwrap())),
            }
            .into(),
            "refine" => self.read_sending(w),
            _ => return self.read_refined(RefiningId(id), w),
        };
        (command, vec![name])
    }

    /// `count N in D lot A 99.00 heel M 97.00 jar LE 0.50 found X silver 900 1.00 of TW seen P1 P2`; `silently` behind the
    /// session leaves its notes out, which are private.
    fn read_count(&self, w: &mut Words<'_>) -> (Command, Vec<String>) {
        let mut names = vec![w.next().to_owned()];
        let mut count = TakeStock {
            session: w.after("in").map(|session| SessionId(self.id(session))),
            lots: vec![],
            heels: vec![],
            jars: vec![],
            found: vec![],
            pieces: None,
            note: None,
        };
        let noted = !w.flag("silently");
        count.note = noted.then(|| "after closing time".to_owned());
        let rest = w.rest();
        let mut rest = rest.into_iter();
        let mut series = None;
        while let Some(what) = rest.next() {
            if what == "seen" {
                let seen = rest.by_ref().map(|name| PieceId(self.id(name))).collect();
                count.pieces = Some(PiecesSeen { series, seen });
                break;
            }
            let name = rest.next().unwrap();
            let id = self.id(name);
            let mut next = || rest.next().unwrap();
            match what {
                "lot" => count.lots.push(LotWeighed {
                    lot: LotId(id),
                    mass: reading(next()),
                }),
                "heel" => count.heels.push(HeelWeighed {
                    melt: MeltId(id),
                    mass: reading(next()),
                }),
                "jar" => count.jars.push(JarDraw {
                    jar: JarId(id),
                    mass: reading(next()),
                }),
                "of" => series = Some(SeriesId(id)),
                "found" => {
                    names.push(name.to_owned());
                    let (metal, fineness) = (word(next()), Fineness::parse(next()).unwrap());
                    let (mass, note) = (reading(next()), noted.then(|| "behind the furnace".to_owned()));
                    count.found.push(MetalFound {
                        metal,
                        fineness,
                        mass,
                        note,
                    });
                }
                other => panic!("{other} is not counted"),
            }
        }
        (count.into(), names)
    }

    fn read_sending(&self, w: &mut Words<'_>) -> Command {
        let mut sending = SendToRefiner {
            session: SessionId(self.id(w.after("in").unwrap())),
            metal: word(w.next()),
            jars: vec![],
            pieces: vec![],
            refiner: Some("Ashgrove Refiners".to_owned()),
            seal: Some("0417".to_owned()),
            document: None,
            note: None,
        };
        while let Some(from) = w.0.next() {
            let id = self.id(w.next());
            match from {
                "jar" => sending.jars.push(JarDraw {
                    jar: JarId(id),
                    mass: reading(w.next()),
                }),
                "piece" => sending.pieces.push(PieceId(id)),
                other => panic!("{other} does not go to the refiner"),
            }
        }
        sending.into()
    }

    fn read_refined(&self, refining: RefiningId, w: &mut Words<'_>) -> (Command, Vec<String>) {
        let mut names = vec![];
        let outturn = w.after("outturn").map(|name| {
            names.push(name.to_owned());
            Outturn {
                mass: reading(w.next()),
                fineness: Fineness::parse(w.next()).unwrap(),
                session: SessionId(self.id(w.after("in").unwrap())),
            }
        });
        let settled = w.after("settled").map(|grams| Settled {
            mass: mass(grams),
            fineness: Fineness::parse(w.next()).unwrap(),
        });
        let command = ReturnRefining {
            refining,
            outturn,
            settled,
            price: None,
            charge: None,
            document: Some("statement 12".to_owned()),
            note: None,
        };
        (command.into(), names)
    }
}

/// A difference of masses as text reads it.
pub fn difference(text: &str) -> MassDifference {
    MassDifference::parse(text).unwrap()
}
