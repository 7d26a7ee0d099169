//! Random histories of promises and sales: whatever is promised, sold, lost, stolen or given back, in whatever order, what
//! must always hold does, and every counter is what a recount from scratch finds.

use super::bench::{Bench, WORKSHOP, reading};
use super::histories::{Choice, steps};
use pourbook::domain::*;
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};
use uuid::Uuid;

/// More pieces than places: an edition whose spares are sold, one without numbers, and an open series; all finally weighed.
const READY: &[&str] = &[
    "edition SN silver 999 limits 50.00 50.00 51.20 exempt spares_sold oval 6 slab 2",
    "edition NN silver 999 limits 50.00 50.00 51.20 exempt unnumbered oval 3",
    "melt M in D silver lot A 800.00 lot B 400.00",
    "pour M SN oval A1 A2 A3 A4 A5 A6 A7 A8",
    "pour M SN slab B1 B2 B3",
    "pour M NN oval C1 C2 C3",
    "pour M DW bar D1 D2",
    "weigh from_mould in D A1 50.40 A2 50.40 A3 50.40 A4 50.40 A5 50.40 A6 50.40 A7 50.40 A8 50.40 B1 50.40 B2 50.40 \
     B3 50.40 C1 50.40 C2 50.40 C3 50.40 D1 50.40 D2 50.40",
    "balance M in D heel 393.50",
    "serials A1 A2 A3 A4 A5 A6 A7 A8 B1 B2 B3 C1 C2 C3 D1 D2",
    "weigh final in D A1 50.40 A2 50.40 A3 50.40 A4 50.40 A5 50.40 A6 50.40 A7 50.40 A8 50.40 B1 50.40 B2 50.40 \
     B3 50.40 C1 50.40 C2 50.40 C3 50.40 D1 50.40 D2 50.40",
    "close D 100.00 shows 100.00",
    "numbers A1 A2 A3 B1",
    "certify A1 A2 B1 C1 D1",
    "session E on S 100.00 shows 100.00",
];

fn one<T: Clone>(items: &[T], by: u32) -> Option<T> {
    (!items.is_empty()).then(|| items[by as usize % items.len()].clone())
}

struct Counter {
    bench: Bench,
}

impl Counter {
    fn pieces(&self, is: impl Fn(&Piece) -> bool) -> Vec<PieceId> {
        let mut pieces: Vec<&Piece> = self.bench.book.pieces().filter(|piece| is(piece)).collect();
        pieces.sort_by_key(|piece| piece.pour.clone());
        pieces.iter().map(|piece| piece.piece).collect()
    }

    /// Mostly a piece to which it can happen; now and then any.
    fn piece(&self, states: &[PieceState], by: u32) -> Option<PieceId> {
        let fit = self.pieces(|piece| states.contains(&piece.state));
        let pieces = if by.is_multiple_of(11) || fit.is_empty() {
            self.pieces(|_| true)
        } else {
            fit
        };
        one(&pieces, by / 11)
    }

    fn orders(&self) -> Vec<Order> {
        let mut orders: Vec<Order> = self.bench.book.orders().cloned().collect();
        orders.sort_by_key(|order| order.number);
        orders
    }

    /// For an order, mostly the one that the piece is kept for.
    fn under(&self, piece: PieceId, by: u32) -> Option<OrderId> {
        let kept = self.bench.book.piece(piece).and_then(|piece| piece.order);
        match by % 5 {
            0 => None,
            1 | 2 => kept,
            _ => {
                let open: Vec<Order> = self
                    .orders()
                    .into_iter()
                    .filter(|order| order.state == OrderState::Open)
                    .collect();
                kept.or(one(&open, by / 5).map(|order| order.order))
            }
        }
    }

    fn order(&self, a: u32, b: u32) -> Command {
        let (series, shapes) = if a.is_multiple_of(3) {
            ("NN", &["oval"][..])
        } else {
            ("SN", &["oval", "slab"][..])
        };
        RecordOrder {
            series: SeriesId(self.bench.id(series)),
            shapes: shapes
                .iter()
                .skip((b % 2) as usize % shapes.len())
                .map(|shape| ShapeCount {
                    shape: Shape::parse(shape).unwrap(),
                    count: b / 2 % 4,
                })
                .filter(|count| count.count > 0 || b.is_multiple_of(13))
                .collect(),
            buyer: None,
            note: None,
        }
        .into()
    }

    fn sell(&self, a: u32, b: u32, c: u32) -> Option<Command> {
        let first = self.piece(&[PieceState::Certified, PieceState::Reserved], a)?;
        let order = self.under(first, c);
        let mut pieces = vec![first];
        if b.is_multiple_of(3) {
            pieces.extend(self.piece(&[PieceState::Certified, PieceState::Reserved], b / 3));
        }
        let items = pieces
            .into_iter()
            .map(|piece| SaleItem { piece, price: None })
            .collect();
        Some(
            SellPieces {
                items,
                order,
                buyer: None,
                document: None,
                note: None,
            }
            .into(),
        )
    }

    /// Something that is done to pieces of a sale: a piece, and mostly the sale that it is in.
    fn of_sale(&self, kind: u8, a: u32, b: u32) -> Option<Command> {
        let (sold, sent) = (PieceState::Sold, PieceState::Dispatched);
        let states: &[PieceState] = match kind {
            0 => &[sold, PieceState::Lost, PieceState::Stolen, PieceState::Destroyed],
            1 | 2 => &[sold],
            _ => &[sent],
        };
        let piece = self.piece(states, a)?;
        let mut sales: Vec<&Sale> = self.bench.book.sales().collect();
        sales.sort_by_key(|sale| sale.number);
        let any = one(&sales, b).map_or(SaleId(Uuid::from_u128(0xdead)), |sale| sale.sale);
        let its = self.bench.book.piece(piece)?.sale;
        let sale = its.filter(|_| !b.is_multiple_of(9)).unwrap_or(any);
        let (pieces, note) = (vec![piece], None);
        Some(match kind {
            0 => CancelSale { sale, pieces, note }.into(),
            1 => HandOverPieces { sale, pieces, note }.into(),
            2 => DispatchPieces {
                sale,
                pieces,
                weight: None,
                seal: None,
                insured: None,
                carrier: None,
                tracking: None,
                note,
            }
            .into(),
            3 => DeliverPieces { sale, pieces, note }.into(),
            4 => LosePieces { sale, pieces, note }.into(),
            _ => SendBackPieces { sale, pieces, note }.into(),
        })
    }

    fn making(&self, kind: u8, a: u32) -> Option<Command> {
        Some(match kind {
            0 | 1 => NumberPieces {
                pieces: vec![self.piece(&[PieceState::Serialled, PieceState::Spare], a)?],
            }
            .into(),
            2 => SparePieces {
                pieces: vec![self.piece(&[PieceState::Serialled], a)?],
            }
            .into(),
            3 => CondemnPiece {
                piece: self.piece(
                    &[PieceState::Numbered, PieceState::Returned, PieceState::BoughtBack],
                    a,
                )?,
                reason: CondemnReason::Unwanted,
                note: None,
            }
            .into(),
            _ => IssueCertificates {
                pieces: vec![self.piece(
                    &[PieceState::Numbered, PieceState::Serialled, PieceState::Spare],
                    a,
                )?],
            }
            .into(),
        })
    }

    fn command(&self, (kind, a, b, c): Choice) -> Option<Command> {
        let note = None;
        let held = [
            PieceState::Certified,
            PieceState::Reserved,
            PieceState::Sold,
            PieceState::Numbered,
            PieceState::Delivered,
        ];
        let at_home = [PieceState::Returned, PieceState::BoughtBack];
        Some(match kind % 32 {
            0..=2 => self.order(a, b),
            3 => CancelOrder {
                order: one(&self.orders(), a)?.order,
                note,
            }
            .into(),
            4..=6 => {
                let piece = self.piece(&[PieceState::Certified], a)?;
                let order = self.under(piece, b);
                ReservePiece {
                    piece,
                    order,
                    buyer: None,
                    note,
                }
                .into()
            }
            7 => {
                let piece = self.piece(
                    &[PieceState::Reserved, PieceState::Stolen, PieceState::Destroyed],
                    a,
                )?;
                ReleasePiece { piece, note }.into()
            }
            8..=11 => self.sell(a, b, c)?,
            12..=18 => self.of_sale((kind % 32 - 12).min(5), a, b)?,
            19 => FindPiece {
                piece: self.piece(&[PieceState::Lost], a)?,
                note,
            }
            .into(),
            20 => ReturnPiece {
                piece: self.piece(&[PieceState::Delivered], a)?,
                note,
            }
            .into(),
            21 | 22 => RestockPiece {
                piece: self.piece(&at_home, a)?,
                note,
            }
            .into(),
            23 => BuyBackPiece {
                piece: self.piece(&[PieceState::Delivered], a)?,
                session: SessionId(self.bench.id("E")),
                mass: reading(["50.40", "50.38", "50.10", "50.45"][b as usize % 4]),
                seller: None,
                price: None,
                note,
            }
            .into(),
            24 => StealPiece {
                piece: self.piece(&held, a)?,
                reference: None,
                note,
            }
            .into(),
            25 | 26 => RecoverPiece {
                piece: self.piece(&[PieceState::Stolen], a)?,
                note,
            }
            .into(),
            27 if b.is_multiple_of(3) => DestroyPiece {
                piece: self.piece(&held, a)?,
                witness: "the caretaker".to_owned(),
                note,
            }
            .into(),
            27 if b % 8 == 1 => CloseSeries {
                series: SeriesId(self.bench.id(if a.is_multiple_of(2) { "SN" } else { "NN" })),
                note,
            }
            .into(),
            _ => self.making((kind % 32).saturating_sub(27), a)?,
        })
    }

    /// By how much more is spoken for than can be had, per shape, counted from the rows alone.
    fn excess(&self) -> BTreeMap<(String, String), i64> {
        let book = &self.bench.book;
        let mut excess = BTreeMap::new();
        for series in book.all_series() {
            for (size, taken) in series.shapes.iter().zip(&series.numbers) {
                let mine = |piece: &&Piece| piece.series == series.series && piece.shape == size.shape;
                let place = |piece: &&Piece| piece.number.is_some() || series.unnumbered;
                let in_stock = [PieceState::Certified, PieceState::Reserved];
                let unsold = book
                    .pieces()
                    .filter(mine)
                    .filter(place)
                    .filter(|piece| in_stock.contains(&piece.state) || piece.state == PieceState::Numbered)
                    .count() as i64;
                let kept = book
                    .pieces()
                    .filter(mine)
                    .filter(place)
                    .filter(|piece| piece.state == PieceState::Reserved && piece.order.is_none())
                    .count() as i64;
                let promised: i64 = book
                    .orders()
                    .filter(|order| order.series == series.series && order.state == OrderState::Open)
                    .flat_map(|order| order.shapes.iter().zip(&order.sold))
                    .filter(|(count, _)| count.shape == size.shape)
                    .map(|(count, sold)| i64::from(count.count) - i64::from(*sold))
                    .sum();
                let givable = match series.state {
                    SeriesState::Open => i64::from(size.size) - i64::from(*taken),
                    SeriesState::Closed => 0,
                };
                let told = book.availability(series.series, &size.shape).unwrap();
                assert_eq!(
                    i64::from(told.available),
                    givable + unsold,
                    "available of {}",
                    size.shape
                );
                assert_eq!(
                    i64::from(told.promised),
                    promised + kept,
                    "promised of {}",
                    size.shape
                );
                let key = (series.code.to_string(), size.shape.to_string());
                excess.insert(key, promised + kept - givable - unsold);
            }
        }
        excess
    }

    /// The counters of orders, from the events alone.
    fn recount_orders(&self) {
        let mut sold: HashMap<(OrderId, Shape), i64> = HashMap::new();
        let mut had: HashSet<(PieceId, SaleId)> = HashSet::new();
        let book = &self.bench.book;
        let key = |piece: PieceId, sale: SaleId| {
            let order = book.sale(sale).unwrap().order?;
            Some((order, book.piece(piece).unwrap().shape.clone()))
        };
        for draft in self.bench.entries.iter().flat_map(|entry| &entry.drafts) {
            match &draft.event {
                Event::PieceSold(e) => {
                    if let Some(key) = key(e.piece, e.sale) {
                        *sold.entry(key).or_default() += 1;
                    }
                }
                Event::PieceHandedOver(e) => {
                    had.insert((e.piece, e.sale));
                }
                Event::PieceDelivered(e) => {
                    had.insert((e.piece, e.sale));
                }
                Event::PieceUnsold(e) if !had.contains(&(e.piece, e.sale)) => {
                    if let Some(key) = key(e.piece, e.sale) {
                        *sold.entry(key).or_default() -= 1;
                    }
                }
                _ => {}
            }
        }
        for order in book.orders() {
            for (i, count) in order.shapes.iter().enumerate() {
                let key = (order.order, count.shape.clone());
                let found = sold.get(&key).copied().unwrap_or_default();
                assert_eq!(
                    i64::from(order.sold[i]),
                    found,
                    "sold under order {}",
                    order.number
                );
                let kept = book
                    .pieces()
                    .filter(|piece| piece.order == Some(order.order) && piece.sale.is_none())
                    .filter(|piece| piece.shape == count.shape)
                    .count();
                assert_eq!(
                    order.reserved[i] as usize, kept,
                    "kept for order {}",
                    order.number
                );
                assert!(order.reserved[i] + order.sold[i] <= count.count);
            }
            let all = order
                .shapes
                .iter()
                .zip(&order.sold)
                .all(|(count, sold)| count.count == *sold);
            assert!(order.state == OrderState::Cancelled || all == (order.state == OrderState::Supplied));
            assert!(order.state != OrderState::Cancelled || order.reserved.iter().all(|kept| *kept == 0));
        }
        for series in book.all_series() {
            for (size, promised) in series.shapes.iter().zip(&series.promised) {
                let open: u32 = book
                    .orders()
                    .filter(|order| order.series == series.series && order.state == OrderState::Open)
                    .flat_map(|order| order.shapes.iter().zip(&order.sold))
                    .filter(|(count, _)| count.shape == size.shape)
                    .map(|(count, sold)| count.count - sold)
                    .sum();
                assert_eq!(*promised, open, "promised of {}", size.shape);
            }
        }
    }

    /// A piece is in at most one live sale, and both of them say which.
    fn one_live_sale(&self) {
        let mut live = HashMap::new();
        for sale in self.bench.book.sales() {
            assert!(sale.undone.iter().all(|piece| sale.pieces.contains(piece)));
            for piece in sale.pieces.iter().filter(|piece| !sale.undone.contains(piece)) {
                assert_eq!(live.insert(*piece, sale.sale), None, "two live sales of a piece");
            }
        }
        let asks = [PieceState::Sold, PieceState::Dispatched, PieceState::Delivered];
        for piece in self.bench.book.pieces() {
            assert_eq!(piece.sale, live.get(&piece.piece).copied());
            assert!(
                !asks.contains(&piece.state) || piece.sale.is_some(),
                "{} without a sale",
                piece.state
            );
            let free = [
                PieceState::Certified,
                PieceState::Returned,
                PieceState::BoughtBack,
            ];
            assert!(!free.contains(&piece.state) || piece.order.is_none() && piece.sale.is_none());
        }
    }

    /// Whoever was served now came before all who still wait.
    fn in_turn(&self, before: &Book, drafts: &[Draft]) {
        for draft in drafts {
            let (piece, order) = match &draft.event {
                Event::PieceReserved(e) => (e.piece, e.order),
                Event::PieceSold(e) => (e.piece, self.bench.book.sale(e.sale).unwrap().order),
                _ => continue,
            };
            let was = before.piece(piece).unwrap();
            let Some(order) = order.filter(|_| was.state != PieceState::Reserved) else {
                continue;
            };
            let served = before.order(order).unwrap();
            for earlier in before.orders() {
                let waits = earlier.state == OrderState::Open
                    && earlier.series == was.series
                    && earlier.number < served.number;
                for (i, count) in earlier.shapes.iter().enumerate() {
                    let lacks = count.count > earlier.reserved[i] + earlier.sold[i];
                    assert!(
                        !(waits && lacks && count.shape == was.shape),
                        "order {} was passed over",
                        earlier.number
                    );
                }
            }
        }
    }
}

/// What nobody decides, and a cancelled sale of a piece that is gone, may leave too many promises behind.
fn involuntary(command: &Command) -> bool {
    matches!(
        command,
        Command::StealPiece(_) | Command::DestroyPiece(_) | Command::CondemnPiece(_) | Command::CancelSale(_)
    )
}

fn run(steps: &[Choice]) -> (Counter, usize, BTreeSet<&'static str>) {
    let mut shop = Counter {
        bench: Bench::with(&[WORKSHOP, READY]),
    };
    let (mut taken, mut refused) = (0, BTreeSet::new());
    for step in steps {
        let Some(command) = shop.command(*step) else {
            continue;
        };
        let (before, excess) = (shop.bench.book.clone(), shop.excess());
        match shop.bench.decide(&command) {
            Ok(drafts) => {
                taken += 1;
                let now = shop.excess();
                for (shape, more) in &now {
                    let allowed = excess[shape].max(0);
                    assert!(
                        *more <= allowed || involuntary(&command),
                        "{shape:?}: {more} too many by {command:?}"
                    );
                }
                shop.recount_orders();
                shop.one_live_sale();
                shop.in_turn(&before, &drafts);
                shop.bench.holds_every_gram();
            }
            Err(why) => {
                refused.insert(why.refusal.code());
                assert!(
                    shop.bench.book == before,
                    "a refusal changed the book: {command:?}"
                );
            }
        }
    }
    (shop, taken, refused)
}

/// The bench that random steps lead to, for whoever reads its entries.
pub fn book(steps: &[Choice]) -> Bench {
    run(steps).0.bench
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, max_shrink_iters: 2_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn whatever_is_promised_and_sold_what_must_hold_does(steps in prop::collection::vec(any::<Choice>(), 60..200)) {
        let (shop, _, _) = run(&steps);
        shop.bench.replays();
    }
}

/// The random histories reach what they are meant to test: else they prove nothing.
#[test]
fn random_histories_reach_every_event_and_refusal_of_a_sale() {
    let (mut reached, mut refused, mut taken) = (BTreeSet::new(), BTreeSet::new(), 0);
    let mut draw = Draw::new([9; 32]);
    for _ in 0..40 {
        let steps = steps(&mut draw, 300);
        let (shop, took, refusals) = run(&steps);
        taken += took;
        refused.extend(refusals);
        let kinds = shop.bench.entries.iter().flat_map(|entry| &entry.drafts);
        reached.extend(kinds.map(|draft| draft.event.kind()));
        if shop.excess().values().any(|more| *more > 0) {
            reached.insert("too many promises");
        }
        if shop
            .orders()
            .iter()
            .any(|order| order.state == OrderState::Supplied)
        {
            reached.insert("a supplied order");
        }
    }
    for kind in [
        "order.recorded",
        "order.cancelled",
        "piece.reserved",
        "piece.released",
        "sale.made",
        "sale.dispatched",
        "piece.sold",
        "piece.unsold",
        "piece.dispatched",
        "piece.handed_over",
        "piece.delivered",
        "piece.lost",
        "piece.found",
        "piece.sent_back",
        "piece.returned",
        "piece.restocked",
        "piece.bought_back",
        "piece.stolen",
        "piece.recovered",
        "piece.destroyed",
        "series.closed",
        "too many promises",
        "a supplied order",
    ] {
        assert!(reached.contains(kind), "{kind} was never reached: {reached:?}");
    }
    for code in [
        "over-promised",
        "promised-to-others",
        "earlier-order",
        "order-filled",
        "order-closed",
        "not-of-order",
        "reserved-otherwise",
        "live-sale",
        "not-in-sale",
        "wrong-state",
        "nothing-promised",
    ] {
        assert!(refused.contains(code), "{code} was never met: {refused:?}");
    }
    assert!(taken > 3_000, "{taken} taken");
}
