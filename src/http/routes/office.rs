//! The rows of the office: its pages, and each of its forms twice, to be filled in and filled in.

use super::Route;
use super::table::{ALL, OFFICE, TRADE, form, sent, sheet};
use crate::http::workshop::{
    consignments, corrections, fates, numbers, office, orders, prices, refinings, sales, series, setup,
    steps, stocktakes,
};

macro_rules! rows {
    (sheets { $($page:literal $seen:expr, $show:path;)* } forms { $($path:literal $roles:expr, $form:path;)* }) => {
        /// Every route of the office.
        pub const ROUTES: &[Route] = &[
            $(sheet($page, $seen, $show),)*
            $(form($path, $roles, &$form), sent($path, $roles, &$form),)*
        ];
    };
}

rows! {
    sheets {
        "/office" ALL, office::board;
        "/office/assay" ALL, office::assay;
        "/office/numbers" ALL, office::numbers;
        "/office/stock" ALL, office::stock;
        "/office/orders" ALL, office::orders;
        "/office/setup" ALL, office::setup;
        "/consignments/{consignment}" ALL, office::consignment;
        "/orders/{order}" ALL, office::order;
        "/sales/{sale}" ALL, office::sale;
        "/lots/{lot}" ALL, office::lot;
        "/quotes/{quote}" ALL, office::quote;
        "/entries/{entry}" ALL, office::entry;
        "/consignments/{consignment}/packing-list" OFFICE, office::packing_list;
        "/series/{series}/labels" OFFICE, office::labels;
    }
    forms {
        "/scales/new" OFFICE, setup::REGISTER_SCALE;
        "/dies/new" OFFICE, setup::REGISTER_DIE;
        "/dies/{die}/disposal" OFFICE, setup::DISPOSE_DIE;
        "/owners/new" OFFICE, setup::REGISTER_OWNER;
        "/owners/{owner}/agreement" OFFICE, setup::AGREE_MIXING;
        "/series/new" OFFICE, series::OPEN_SERIES;
        "/series/{series}/closing" OFFICE, series::CLOSE_SERIES;
        "/orders/new" OFFICE, orders::RECORD_ORDER;
        "/orders/{order}/cancellation" OFFICE, orders::CANCEL_ORDER;
        "/serials/new" OFFICE, numbers::GIVE_SERIALS;
        "/numbers/new" OFFICE, numbers::NUMBER_PIECES;
        "/spares/new" OFFICE, numbers::SPARE_PIECES;
        "/certificates/new" OFFICE, numbers::ISSUE_CERTIFICATES;
        "/prints/new" OFFICE, numbers::PRINT_CERTIFICATES;
        "/consignments/new" OFFICE, consignments::SEND_CONSIGNMENT;
        "/consignments/{consignment}/return" OFFICE, consignments::RETURN_CONSIGNMENT;
        "/sales/new" OFFICE, sales::SELL_PIECES;
        "/sales/{sale}/cancellation" OFFICE, sales::CANCEL_SALE;
        "/sales/{sale}/handovers" OFFICE, sales::HAND_OVER_PIECES;
        "/sales/{sale}/dispatches" OFFICE, sales::DISPATCH_PIECES;
        "/sales/{sale}/deliveries" OFFICE, sales::DELIVER_PIECES;
        "/sales/{sale}/losses" OFFICE, sales::LOSE_PIECES;
        "/sales/{sale}/returns-to-sender" OFFICE, sales::SEND_BACK_PIECES;
        "/pieces/{piece}/fault" TRADE, fates::FAULT_PIECE;
        "/pieces/{piece}/series" OFFICE, fates::MOVE_PIECE;
        "/pieces/{piece}/condemnation" TRADE, fates::CONDEMN_PIECE;
        "/pieces/{piece}/archive" TRADE, fates::ARCHIVE_PIECE;
        "/pieces/{piece}/supersession" OFFICE, numbers::SUPERSEDE;
        "/pieces/{piece}/reservation" OFFICE, orders::RESERVE_PIECE;
        "/pieces/{piece}/release" OFFICE, orders::RELEASE_PIECE;
        "/pieces/{piece}/finding" OFFICE, fates::FIND_PIECE;
        "/pieces/{piece}/return" OFFICE, fates::RETURN_PIECE;
        "/pieces/{piece}/restocking" OFFICE, fates::RESTOCK_PIECE;
        "/pieces/{piece}/buyback" OFFICE, fates::BUY_BACK_PIECE;
        "/pieces/{piece}/theft" OFFICE, fates::STEAL_PIECE;
        "/pieces/{piece}/recovery" OFFICE, fates::RECOVER_PIECE;
        "/pieces/{piece}/destruction" OFFICE, fates::DESTROY_PIECE;
        "/spots/new" OFFICE, prices::RECORD_SPOT;
        "/quotes/new" OFFICE, prices::MAKE_QUOTE;
        "/charges/new" OFFICE, prices::RECORD_CHARGE;
        "/stocktakes/new" TRADE, stocktakes::TAKE_STOCK;
        "/bench/jars/{jar}/sweepings" TRADE, steps::GATHER_SWEEPS;
        "/refinings/new" OFFICE, refinings::SEND_TO_REFINER;
        "/refinings/{refining}/return" OFFICE, refinings::RETURN_REFINING;
        "/entries/{entry}/withdrawal" OFFICE, corrections::WITHDRAWAL;
        "/entries/{entry}/lot" OFFICE, corrections::LOT;
        "/entries/{entry}/scale" OFFICE, corrections::SCALE;
        "/entries/{entry}/opening" OFFICE, corrections::OPENING;
        "/entries/{entry}/check" OFFICE, corrections::CHECK;
        "/entries/{entry}/closing" OFFICE, corrections::CLOSING;
        "/entries/{entry}/charge" OFFICE, corrections::CHARGE;
        "/entries/{entry}/pours" OFFICE, corrections::POURS;
        "/entries/{entry}/weighing" OFFICE, corrections::WEIGHING;
        "/entries/{entry}/finishing" OFFICE, corrections::FINISHING;
        "/entries/{entry}/melt" OFFICE, corrections::MELT;
        "/entries/{entry}/strikes" OFFICE, corrections::STRUCK;
        "/entries/{entry}/return" OFFICE, corrections::RETURNED;
    }
}
