//! The rows of the one table.

use super::recordings::*;
use super::{Deed, Recording, Route, Who};
use crate::calculators::{
    Bar, Blend, Calculator, Comparison, Conformity, Convert, Gravity, Plan, Price, Raise, Vat,
};
use crate::http::access::Role::{self, Admin, Auditor, Bench, Office};
use crate::http::calculations::Calculation;
use crate::http::figures::Figure;
use crate::http::pages::Page;
use crate::http::workshop::{self, Form, Sheet, Show, bench, steps};
use crate::http::{losses, metal_statement, plans, readings, stock_value, traced};
use crate::views::Table;

pub(super) const ALL: &[Role] = &[Bench, Office, Auditor, Admin];
pub(super) const TRADE: &[Role] = &[Bench, Office];
pub(super) const OFFICE: &[Role] = &[Office];
const ADMIN: &[Role] = &[Admin];
/// Who may see money.
const MONEY: &[Role] = &[Office, Admin];
const AUDITOR: &[Role] = &[Auditor];

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

const fn page(path: &'static str, page: Page) -> Route {
    read(path, Who::Public, Deed::Page(page))
}

/// A page of the workshop.
pub(super) const fn sheet(path: &'static str, roles: &'static [Role], show: Show) -> Route {
    read(path, Who::Roles(roles), Deed::Sheet(Sheet::Show(show)))
}

/// A form of the workshop, to be filled in.
pub(super) const fn form(path: &'static str, roles: &'static [Role], form: &'static Form) -> Route {
    read(path, Who::Roles(roles), Deed::Sheet(Sheet::Form(form)))
}

/// The same form, filled in.
pub(super) const fn sent(path: &'static str, roles: &'static [Role], form: &'static Form) -> Route {
    Route {
        method: "POST",
        path,
        who: Who::Roles(roles),
        deed: Deed::Sheet(Sheet::Sent(form)),
    }
}

/// What everybody may post, and nothing is recorded of.
const fn ask(path: &'static str, deed: Deed) -> Route {
    Route {
        method: "POST",
        path,
        who: Who::Public,
        deed,
    }
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
    Route {
        method: "POST",
        path: "/v1/pieces/{piece}/photographs",
        who: Who::Roles(TRADE),
        deed: Deed::AddPhotograph,
    },
    post("/v1/pieces/{piece}/fault", TRADE, &FAULT_PIECE),
    post("/v1/pieces/{piece}/series", OFFICE, &MOVE_PIECE),
    post("/v1/pieces/{piece}/condemnation", TRADE, &CONDEMN_PIECE),
    post("/v1/serials", OFFICE, &GIVE_SERIALS),
    post("/v1/numbers", OFFICE, &NUMBER_PIECES),
    post("/v1/certificates", OFFICE, &ISSUE_CERTIFICATES),
    post("/v1/prints", OFFICE, &PRINT_CERTIFICATES),
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
    post("/v1/revocations", ADMIN, &REVOKE_OPERATOR),
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
    read("/v1/prints/{index}", Who::Roles(OFFICE), Deed::Print),
    read("/v1/series/{series}/labels", Who::Roles(OFFICE), Deed::Labels),
    read(
        "/v1/consignments/{consignment}/packing-list",
        Who::Roles(OFFICE),
        Deed::PackingList,
    ),
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
    read("/photographs/{photograph}", Who::Public, Deed::ShowPhotograph),
    read("/v1/policy", Who::Public, Deed::Policy),
    read("/log/checkpoint", Who::Public, Deed::Checkpoint),
    read("/log/tile/entries/{tile:.+}", Who::Entries, Deed::EntryTile),
    read("/log/tile/{level}/{tile:.+}", Who::Public, Deed::HashTile),
    read("/openapi.yaml", Who::Public, Deed::Description),
    read("/healthz", Who::Public, Deed::Health),
    read("/problems/{code}", Who::Public, Deed::ProblemPage),
    ask("/v1/serials/{serial}/comparisons", Deed::Comparison),
    ask("/v1/serials/{serial}/code", Deed::Code),
    ask("/p/{serial}/comparison", Deed::Page(Page::Comparison)),
    ask("/p/{serial}/code", Deed::Page(Page::Code)),
    page("/p", Page::Start),
    page("/p/{serial}", Page::Piece),
    page("/P/{serial}", Page::Piece),
    page("/check", Page::Check),
    page("/check/{module}", Page::Module),
    page("/assets/{name}", Page::Asset),
    page("/trust", Page::Trust),
    page("/trust/root.crt", Page::Root),
    read("/sign-in", Who::Public, Deed::Sheet(Sheet::SignIn)),
    ask("/sign-in", Deed::Sheet(Sheet::SendToken)),
    ask("/sign-out", Deed::Sheet(Sheet::SignOut)),
    sheet("/home", ALL, workshop::home),
    read("/changed", Who::Roles(ALL), Deed::Sheet(Sheet::Changed)),
    sheet("/lists", ALL, workshop::lists::index),
    sheet("/pieces", ALL, workshop::lists::pieces),
    sheet("/pieces.csv", ALL, workshop::lists::pieces),
    sheet("/lots", ALL, workshop::lists::lots),
    sheet("/lots.csv", ALL, workshop::lists::lots),
    sheet("/melts", ALL, workshop::lists::melts),
    sheet("/melts.csv", ALL, workshop::lists::melts),
    sheet("/residues", ALL, workshop::lists::residues),
    sheet("/residues.csv", ALL, workshop::lists::residues),
    sheet("/series", ALL, workshop::lists::series),
    sheet("/series.csv", ALL, workshop::lists::series),
    sheet("/consignments", ALL, workshop::lists::consignments),
    sheet("/consignments.csv", ALL, workshop::lists::consignments),
    sheet("/orders", ALL, workshop::lists::orders),
    sheet("/orders.csv", ALL, workshop::lists::orders),
    sheet("/sales", ALL, workshop::lists::sales),
    sheet("/sales.csv", ALL, workshop::lists::sales),
    sheet("/certificates", ALL, workshop::lists::certificates),
    sheet("/certificates.csv", ALL, workshop::lists::certificates),
    sheet("/spots", ALL, workshop::lists::spots),
    sheet("/spots.csv", ALL, workshop::lists::spots),
    sheet("/quotes", ALL, workshop::lists::quotes),
    sheet("/quotes.csv", ALL, workshop::lists::quotes),
    sheet("/charges", ALL, workshop::lists::charges),
    sheet("/charges.csv", ALL, workshop::lists::charges),
    sheet("/stocktakes", ALL, workshop::lists::stocktakes),
    sheet("/stocktakes.csv", ALL, workshop::lists::stocktakes),
    sheet("/pieces/{piece}", ALL, workshop::piece),
    sheet("/prints/{index}", OFFICE, workshop::print),
    sheet("/metal", ALL, workshop::metal::overview),
    sheet("/metal/stock", MONEY, workshop::metal::stock),
    sheet("/metal/series/{code}", ALL, workshop::metal::series),
    sheet("/metal/melts/{melt}", ALL, workshop::metal::melt),
    sheet("/metal/{metal}", ALL, workshop::metal::statement),
    sheet("/metal/{metal}/losses", ALL, workshop::metal::losses),
    sheet("/metal/{metal}/under/{heading}", ALL, workshop::metal::opened),
    form("/lots/new", TRADE, &workshop::lots::RECEIVE_LOT),
    sent("/lots/new", TRADE, &workshop::lots::RECEIVE_LOT),
    page("/bench/modules/{module}", Page::BenchModule),
    page("/bench/worker.mjs", Page::BenchModule),
    sheet("/bench", TRADE, bench::board),
    sheet("/bench/tray", TRADE, bench::tray),
    sheet("/bench/strike", TRADE, bench::strikes),
    form("/bench/sessions/new", TRADE, &steps::OPEN_SESSION),
    sent("/bench/sessions/new", TRADE, &steps::OPEN_SESSION),
    form("/bench/charge", TRADE, &steps::CHARGE_MELT),
    sent("/bench/charge", TRADE, &steps::CHARGE_MELT),
    form("/bench/strikes/new", TRADE, &steps::STRIKE_PIECES),
    sent("/bench/strikes/new", TRADE, &steps::STRIKE_PIECES),
    form("/bench/jars/new", TRADE, &steps::OPEN_JAR),
    sent("/bench/jars/new", TRADE, &steps::OPEN_JAR),
    form("/bench/sessions/{session}/checks", TRADE, &steps::CHECK_SESSION),
    sent("/bench/sessions/{session}/checks", TRADE, &steps::CHECK_SESSION),
    form("/bench/sessions/{session}/closing", TRADE, &steps::CLOSE_SESSION),
    sent("/bench/sessions/{session}/closing", TRADE, &steps::CLOSE_SESSION),
    sheet("/bench/sessions/{session}", TRADE, bench::session),
    form("/bench/melts/{melt}/pouring", TRADE, &steps::POUR_PIECES),
    sent("/bench/melts/{melt}/pouring", TRADE, &steps::POUR_PIECES),
    form("/bench/melts/{melt}/weighing", TRADE, &steps::WEIGH_PIECE),
    sent("/bench/melts/{melt}/weighing", TRADE, &steps::WEIGH_PIECE),
    form("/bench/melts/{melt}/closing", TRADE, &steps::CLOSE_MELT),
    sent("/bench/melts/{melt}/closing", TRADE, &steps::CLOSE_MELT),
    sheet("/bench/melts/{melt}/pours", TRADE, bench::pours),
    sheet("/bench/melts/{melt}", TRADE, bench::melt),
    sheet("/bench/pieces/{piece}/photograph", TRADE, bench::picture),
];
