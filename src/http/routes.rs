//! The one table of the API: every method and path, who may call it, and what it does.
//!
//! It registers the routes, it decides who may call, and tests walk it. A route that is not here does not exist.

use super::access::Role::{self, Admin, Auditor, Bench, Office};
use super::calculations::Calculation;
use super::figures::Figure;
use super::located::{self, Misfit};
use super::losses;
use super::metal_statement;
use super::{plans, readings, stock_value, traced};
use crate::calculators::{
    Bar, Blend, Calculator, Comparison, Conformity, Convert, Gravity, Plan, Price, Raise, Vat,
};
use crate::domain::{self, Command};
use crate::views::Table;
use serde_json::Value;

/// Who may call a route.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Who {
    /// Everybody, without a token.
    Public,
    /// These roles.
    Roles(&'static [Role]),
    /// Everybody if the book's entries are public, else an auditor.
    Entries,
}

/// What a route does.
#[derive(Clone, Copy, Debug)]
pub enum Deed {
    /// Records a command.
    Command(&'static Recording),
    /// Records an entry that the root key signed.
    KeyEntry,
    /// Lists a table.
    List(Table),
    /// Shows one row.
    Show(Table),
    /// Shows a piece with all that was recorded of it.
    History,
    /// Answers what is reckoned from the log, as of a position.
    Figure(Figure),
    /// Shows entries by position, a page at a time or as they come.
    Events,
    /// Looks something up by what stands in the address.
    Find,
    /// Looks something up by what stands in the body, certificate codes too.
    FindPosted,
    /// Answers a question that needs no book.
    Calculation(Calculation),
    /// The public record of a piece.
    Record,
    /// The proof file of a piece.
    Proof,
    /// The policy by which a stranger checks.
    Policy,
    /// The released checkpoint.
    Checkpoint,
    /// A tile of hashes.
    HashTile,
    /// A tile of entries.
    EntryTile,
    /// The description of the API.
    Description,
    /// Whether all is well.
    Health,
    /// The page of a kind of problem.
    ProblemPage,
}

/// How a command is read from a request, and what its reply points at.
#[derive(Clone, Copy, Debug)]
pub struct Recording {
    /// The command, as code spells it.
    pub name: &'static str,
    /// Reads it from a body, with what stands in the path put in.
    pub read: fn(&Value) -> Result<Command, Misfit>,
    /// The member that stands in the path, if it is about one existing subject: then `If-Match` is needed.
    pub subject: Option<&'static str>,
    /// Whether it is a tray whose items carry the version of their piece.
    pub tray: bool,
    /// Members of the command that a client may not give, since the writer fills them in.
    pub hidden: &'static [&'static str],
    /// The kind of thing that the reply's `Location` and `ETag` are about: the first of its kind in the events.
    pub main: &'static str,
}

/// One route.
#[derive(Clone, Copy, Debug)]
pub struct Route {
    /// `GET` (which answers `HEAD` too) or `POST`.
    pub method: &'static str,
    /// The path, as the router spells it.
    pub path: &'static str,
    /// Who may call.
    pub who: Who,
    /// What it does.
    pub deed: Deed,
}

const ALL: &[Role] = &[Bench, Office, Auditor, Admin];
const TRADE: &[Role] = &[Bench, Office];
const OFFICE: &[Role] = &[Office];
const ADMIN: &[Role] = &[Admin];
/// Who may see money.
const MONEY: &[Role] = &[Office, Admin];
const AUDITOR: &[Role] = &[Auditor];

macro_rules! recordings {
    ($($const:ident $command:ident $subject:expr, tray $tray:literal, hidden $hidden:expr, main $main:literal;)*) => {
        $(const $const: Recording = Recording {
            name: stringify!($command),
            read: |body| located::read::<domain::$command>(body).map(Command::from),
            subject: $subject,
            tray: $tray,
            hidden: $hidden,
            main: $main,
        };)*
    };
}

recordings! {
    RECEIVE_LOT ReceiveLot None, tray false, hidden &[], main "lot";
    REGISTER_SCALE RegisterScale None, tray false, hidden &[], main "scale";
    OPEN_SESSION OpenSession None, tray false, hidden &[], main "session";
    CHECK_SESSION CheckSession Some("session"), tray false, hidden &[], main "session";
    CLOSE_SESSION CloseSession Some("session"), tray false, hidden &[], main "session";
    OPEN_JAR OpenJar None, tray false, hidden &[], main "jar";
    OPEN_SERIES OpenSeries None, tray false, hidden &[], main "series";
    CHARGE_MELT ChargeMelt None, tray false, hidden &[], main "melt";
    POUR_PIECES PourPieces Some("melt"), tray false, hidden &[], main "piece";
    CLOSE_MELT CloseMelt Some("melt"), tray false, hidden &[], main "melt";
    WEIGH_PIECES WeighPieces None, tray true, hidden &[], main "piece";
    FINISH_PIECES FinishPieces None, tray true, hidden &[], main "piece";
    MEASURE_GRAVITY MeasureGravity Some("piece"), tray false, hidden &[], main "piece";
    FAULT_PIECE FaultPiece Some("piece"), tray false, hidden &[], main "piece";
    MOVE_PIECE MovePiece Some("piece"), tray false, hidden &[], main "piece";
    CONDEMN_PIECE CondemnPiece Some("piece"), tray false, hidden &[], main "piece";
    GIVE_SERIALS GiveSerials None, tray false, hidden &[], main "piece";
    NUMBER_PIECES NumberPieces None, tray false, hidden &[], main "piece";
    ISSUE_CERTIFICATES IssueCertificates None, tray false, hidden &[], main "certificate";
    SUPERSEDE SupersedeCertificate Some("piece"), tray false, hidden &[], main "piece";
    CORRECT_ENTRIES CorrectEntries None, tray false, hidden &[], main "entry";
    ERASE_FIELD EraseField None, tray false, hidden &["entry"], main "entry";
    SET_CLOCK SetClock None, tray false, hidden &[], main "entry";
    CLOSE_SERIES CloseSeries Some("series"), tray false, hidden &[], main "series";
    REGISTER_DIE RegisterDie None, tray false, hidden &[], main "die";
    DISPOSE_DIE DisposeDie Some("die"), tray false, hidden &[], main "die";
    STRIKE_PIECES StrikePieces None, tray true, hidden &[], main "piece";
    ARCHIVE_PIECE ArchivePiece Some("piece"), tray false, hidden &[], main "piece";
    SEND_CONSIGNMENT SendConsignment None, tray false, hidden &[], main "consignment";
    RETURN_CONSIGNMENT ReturnConsignment Some("consignment"), tray false, hidden &[], main "consignment";
    SPARE_PIECES SparePieces None, tray false, hidden &[], main "piece";
    RECORD_ORDER RecordOrder None, tray false, hidden &[], main "order";
    CANCEL_ORDER CancelOrder Some("order"), tray false, hidden &[], main "order";
    RESERVE_PIECE ReservePiece Some("piece"), tray false, hidden &[], main "piece";
    RELEASE_PIECE ReleasePiece Some("piece"), tray false, hidden &[], main "piece";
    SELL_PIECES SellPieces None, tray false, hidden &[], main "sale";
    CANCEL_SALE CancelSale Some("sale"), tray false, hidden &[], main "piece";
    HAND_OVER_PIECES HandOverPieces Some("sale"), tray false, hidden &[], main "piece";
    DISPATCH_PIECES DispatchPieces Some("sale"), tray false, hidden &[], main "sale";
    DELIVER_PIECES DeliverPieces Some("sale"), tray false, hidden &[], main "piece";
    LOSE_PIECES LosePieces Some("sale"), tray false, hidden &[], main "piece";
    SEND_BACK_PIECES SendBackPieces Some("sale"), tray false, hidden &[], main "piece";
    FIND_PIECE FindPiece Some("piece"), tray false, hidden &[], main "piece";
    RETURN_PIECE ReturnPiece Some("piece"), tray false, hidden &[], main "piece";
    RESTOCK_PIECE RestockPiece Some("piece"), tray false, hidden &[], main "piece";
    BUY_BACK_PIECE BuyBackPiece Some("piece"), tray false, hidden &[], main "piece";
    STEAL_PIECE StealPiece Some("piece"), tray false, hidden &[], main "piece";
    RECOVER_PIECE RecoverPiece Some("piece"), tray false, hidden &[], main "piece";
    DESTROY_PIECE DestroyPiece Some("piece"), tray false, hidden &[], main "piece";
    REGISTER_OWNER RegisterOwner None, tray false, hidden &[], main "owner";
    AGREE_MIXING AgreeMixing Some("owner"), tray false, hidden &[], main "owner";
    GATHER_SWEEPS GatherSweeps Some("jar"), tray false, hidden &[], main "jar";
    SEND_TO_REFINER SendToRefiner None, tray false, hidden &[], main "refining";
    RETURN_REFINING ReturnRefining Some("refining"), tray false, hidden &[], main "refining";
    TAKE_STOCK TakeStock None, tray false, hidden &[], main "stocktake";
    RECORD_SPOT RecordSpot None, tray false, hidden &[], main "spot";
    MAKE_QUOTE MakeQuote None, tray false, hidden &[], main "quote";
    RECORD_CHARGE RecordCharge None, tray false, hidden &[], main "charge";
}

const fn post(path: &'static str, roles: &'static [Role], recording: &'static Recording) -> Route {
    Route {
        method: "POST",
        path,
        who: Who::Roles(roles),
        deed: Deed::Command(recording),
    }
}

const fn read(path: &'static str, who: Who, deed: Deed) -> Route {
    Route {
        method: "GET",
        path,
        who,
        deed,
    }
}

/// A question that is posted and answered without a book.
const fn calculate<Q: Calculator>(path: &'static str) -> Route {
    Route {
        method: "POST",
        path,
        who: Who::Public,
        deed: Deed::Calculation(Calculation::of::<Q>()),
    }
}

const fn figure(path: &'static str, roles: &'static [Role], figure: Figure) -> Route {
    read(path, Who::Roles(roles), Deed::Figure(figure))
}

const fn list(path: &'static str, table: Table) -> Route {
    read(path, Who::Roles(ALL), Deed::List(table))
}

const fn show(path: &'static str, table: Table) -> Route {
    read(path, Who::Roles(ALL), Deed::Show(table))
}

/// Every route. Of two that match, the first is taken.
pub const ROUTES: &[Route] = &[
    post("/v1/lots", TRADE, &RECEIVE_LOT),
    post("/v1/scales", OFFICE, &REGISTER_SCALE),
    post("/v1/sessions", TRADE, &OPEN_SESSION),
    post("/v1/sessions/{session}/checks", TRADE, &CHECK_SESSION),
    post("/v1/sessions/{session}/closing", TRADE, &CLOSE_SESSION),
    post("/v1/jars", TRADE, &OPEN_JAR),
    post("/v1/series", OFFICE, &OPEN_SERIES),
    post("/v1/melts", TRADE, &CHARGE_MELT),
    post("/v1/melts/{melt}/pours", TRADE, &POUR_PIECES),
    post("/v1/melts/{melt}/closing", TRADE, &CLOSE_MELT),
    post("/v1/weighings", TRADE, &WEIGH_PIECES),
    post("/v1/finishings", TRADE, &FINISH_PIECES),
    post("/v1/pieces/{piece}/gravity", TRADE, &MEASURE_GRAVITY),
    post("/v1/pieces/{piece}/fault", TRADE, &FAULT_PIECE),
    post("/v1/pieces/{piece}/series", OFFICE, &MOVE_PIECE),
    post("/v1/pieces/{piece}/condemnation", TRADE, &CONDEMN_PIECE),
    post("/v1/serials", OFFICE, &GIVE_SERIALS),
    post("/v1/numbers", OFFICE, &NUMBER_PIECES),
    post("/v1/certificates", OFFICE, &ISSUE_CERTIFICATES),
    post("/v1/pieces/{piece}/supersession", OFFICE, &SUPERSEDE),
    post("/v1/series/{series}/closing", OFFICE, &CLOSE_SERIES),
    post("/v1/dies", OFFICE, &REGISTER_DIE),
    post("/v1/dies/{die}/disposal", OFFICE, &DISPOSE_DIE),
    post("/v1/strikes", TRADE, &STRIKE_PIECES),
    post("/v1/pieces/{piece}/archive", TRADE, &ARCHIVE_PIECE),
    post("/v1/consignments", OFFICE, &SEND_CONSIGNMENT),
    post(
        "/v1/consignments/{consignment}/return",
        OFFICE,
        &RETURN_CONSIGNMENT,
    ),
    post("/v1/spares", OFFICE, &SPARE_PIECES),
    post("/v1/orders", OFFICE, &RECORD_ORDER),
    post("/v1/orders/{order}/cancellation", OFFICE, &CANCEL_ORDER),
    post("/v1/pieces/{piece}/reservation", OFFICE, &RESERVE_PIECE),
    post("/v1/pieces/{piece}/release", OFFICE, &RELEASE_PIECE),
    post("/v1/sales", OFFICE, &SELL_PIECES),
    post("/v1/sales/{sale}/cancellation", OFFICE, &CANCEL_SALE),
    post("/v1/sales/{sale}/handovers", OFFICE, &HAND_OVER_PIECES),
    post("/v1/sales/{sale}/dispatches", OFFICE, &DISPATCH_PIECES),
    post("/v1/sales/{sale}/deliveries", OFFICE, &DELIVER_PIECES),
    post("/v1/sales/{sale}/losses", OFFICE, &LOSE_PIECES),
    post("/v1/sales/{sale}/returns-to-sender", OFFICE, &SEND_BACK_PIECES),
    post("/v1/pieces/{piece}/finding", OFFICE, &FIND_PIECE),
    post("/v1/pieces/{piece}/return", OFFICE, &RETURN_PIECE),
    post("/v1/pieces/{piece}/restocking", OFFICE, &RESTOCK_PIECE),
    post("/v1/pieces/{piece}/buyback", OFFICE, &BUY_BACK_PIECE),
    post("/v1/pieces/{piece}/theft", OFFICE, &STEAL_PIECE),
    post("/v1/pieces/{piece}/recovery", OFFICE, &RECOVER_PIECE),
    post("/v1/pieces/{piece}/destruction", OFFICE, &DESTROY_PIECE),
    post("/v1/owners", OFFICE, &REGISTER_OWNER),
    post("/v1/owners/{owner}/agreement", OFFICE, &AGREE_MIXING),
    post("/v1/jars/{jar}/sweepings", TRADE, &GATHER_SWEEPS),
    post("/v1/refinings", OFFICE, &SEND_TO_REFINER),
    post("/v1/refinings/{refining}/return", OFFICE, &RETURN_REFINING),
    post("/v1/stocktakes", TRADE, &TAKE_STOCK),
    post("/v1/spots", OFFICE, &RECORD_SPOT),
    post("/v1/quotes", OFFICE, &MAKE_QUOTE),
    post("/v1/charges", OFFICE, &RECORD_CHARGE),
    post("/v1/corrections", OFFICE, &CORRECT_ENTRIES),
    post("/v1/erasures", ADMIN, &ERASE_FIELD),
    post("/v1/clock", ADMIN, &SET_CLOCK),
    Route {
        method: "POST",
        path: "/v1/keys",
        who: Who::Roles(ADMIN),
        deed: Deed::KeyEntry,
    },
    list("/v1/lots", Table::Lot),
    list("/v1/scales", Table::Scale),
    list("/v1/sessions", Table::Session),
    list("/v1/jars", Table::Jar),
    list("/v1/series", Table::Series),
    list("/v1/melts", Table::Melt),
    list("/v1/pieces", Table::Piece),
    list("/v1/certificates", Table::Certificate),
    list("/v1/dies", Table::Die),
    list("/v1/consignments", Table::Consignment),
    list("/v1/orders", Table::Order),
    list("/v1/sales", Table::Sale),
    list("/v1/refinings", Table::Refining),
    list("/v1/owners", Table::Owner),
    list("/v1/spots", Table::Spot),
    list("/v1/quotes", Table::Quote),
    list("/v1/charges", Table::Charge),
    figure("/v1/lots/suspects", ALL, traced::suspects),
    figure("/v1/lots/{lot}/recall", ALL, traced::lot_recall),
    figure("/v1/melts/{melt}/recall", ALL, traced::melt_recall),
    figure("/v1/melts/{melt}/shares", ALL, traced::melt_shares),
    figure("/v1/pieces/{piece}/shares", ALL, traced::piece_shares),
    figure("/v1/pieces/{piece}/cost", MONEY, traced::piece_cost),
    figure("/v1/stock-value", MONEY, stock_value::stock_value),
    figure("/v1/pieces/{piece}/margin", MONEY, stock_value::piece_margin),
    list("/v1/stocktakes", Table::Stocktake),
    show("/v1/lots/{lot}", Table::Lot),
    show("/v1/scales/{scale}", Table::Scale),
    show("/v1/sessions/{session}", Table::Session),
    show("/v1/jars/{jar}", Table::Jar),
    show("/v1/series/{series}", Table::Series),
    show("/v1/melts/{melt}", Table::Melt),
    show("/v1/pieces/{piece}", Table::Piece),
    show("/v1/certificates/{certificate}", Table::Certificate),
    show("/v1/dies/{die}", Table::Die),
    show("/v1/consignments/{consignment}", Table::Consignment),
    show("/v1/orders/{order}", Table::Order),
    show("/v1/sales/{sale}", Table::Sale),
    show("/v1/refinings/{refining}", Table::Refining),
    show("/v1/owners/{owner}", Table::Owner),
    show("/v1/stocktakes/{stocktake}", Table::Stocktake),
    show("/v1/spots/{spot}", Table::Spot),
    show("/v1/quotes/{quote}", Table::Quote),
    show("/v1/charges/{charge}", Table::Charge),
    read("/v1/pieces/{piece}/history", Who::Roles(ALL), Deed::History),
    figure("/v1/pieces/{piece}/gradings", ALL, readings::gradings),
    figure("/v1/pieces/{piece}/gravity", ALL, readings::gravities),
    figure("/v1/sessions/{session}/suspects", ALL, readings::of_session),
    figure("/v1/suspects", ALL, readings::suspects),
    figure("/v1/statement", ALL, metal_statement::statement),
    figure("/v1/statement/{metal}/{heading}", ALL, metal_statement::opened),
    figure("/v1/losses/{metal}", ALL, losses::losses),
    figure("/v1/jars/{jar}/emptyings", ALL, losses::emptyings),
    figure("/v1/series/{series}/plan", ALL, plans::plan),
    read("/v1/find", Who::Roles(ALL), Deed::Find),
    Route {
        method: "POST",
        path: "/v1/find",
        who: Who::Roles(OFFICE),
        deed: Deed::FindPosted,
    },
    calculate::<Gravity>("/v1/calculations/gravity"),
    calculate::<Plan>("/v1/calculations/plan"),
    calculate::<Conformity>("/v1/calculations/conformity"),
    calculate::<Comparison>("/v1/calculations/comparison"),
    calculate::<Blend>("/v1/calculations/blend"),
    calculate::<Raise>("/v1/calculations/raise"),
    calculate::<Convert>("/v1/calculations/convert"),
    calculate::<Bar>("/v1/calculations/bar"),
    calculate::<Price>("/v1/calculations/price"),
    calculate::<Vat>("/v1/calculations/vat"),
    read("/v1/events", Who::Roles(AUDITOR), Deed::Events),
    read("/v1/serials/{serial}", Who::Public, Deed::Record),
    read("/v1/serials/{serial}/proof", Who::Public, Deed::Proof),
    read("/v1/policy", Who::Public, Deed::Policy),
    read("/log/checkpoint", Who::Public, Deed::Checkpoint),
    read("/log/tile/entries/{tile:.+}", Who::Entries, Deed::EntryTile),
    read("/log/tile/{level}/{tile:.+}", Who::Public, Deed::HashTile),
    read("/openapi.yaml", Who::Public, Deed::Description),
    read("/healthz", Who::Public, Deed::Health),
    read("/problems/{code}", Who::Public, Deed::ProblemPage),
];

/// The methods of a path, for the `Allow` header.
#[must_use]
pub fn allowed(path: &str) -> String {
    let mut methods: Vec<&str> = Vec::new();
    for route in ROUTES.iter().filter(|route| route.path == path) {
        methods.push(route.method);
        if route.method == "GET" {
            methods.push("HEAD");
        }
    }
    methods.sort_unstable();
    methods.join(", ")
}

/// Every path once, in the order of the table.
#[must_use]
pub fn paths() -> Vec<&'static str> {
    let mut paths: Vec<&'static str> = Vec::new();
    for route in ROUTES {
        if !paths.contains(&route.path) {
            paths.push(route.path);
        }
    }
    paths
}
