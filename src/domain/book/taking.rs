//! Which rule takes which event. The table has every kind, or it does not compile.

use super::Book;
use crate::domain::{Event, Refusal, Stamp};

macro_rules! takes {
    (stamped { $($dated:ident $date:ident,)* } plain { $($event:ident $take:ident,)* } nothing { $($other:ident,)* }) => {
        impl Book {
            /// Takes an event by its rule.
            pub(super) fn apply(&mut self, stamp: &Stamp, event: &Event) -> Result<(), Refusal> {
                match event {
                    $(Event::$dated(e) => self.$date(stamp, e),)*
                    $(Event::$event(e) => self.$take(e),)*
                    $(Event::$other(_) => Ok(()),)*
                }
            }
        }
    };
}

takes! {
    // What makes a row, or is remembered with its place in the log.
    stamped {
        LotReceived take_lot,
        ScaleRegistered take_scale,
        SessionOpened take_session,
        SessionChecked take_check,
        SessionClosed take_closing_check,
        JarOpened take_jar,
        SeriesOpened take_series,
        MeltCharged take_charge,
        MeltClosed take_balance,
        PiecePoured take_pour,
        PieceWeighed take_weighing,
        PieceGraded take_grading,
        PieceGravity take_gravity,
        PiecePhotographed take_photograph,
        PieceFaulted take_fault,
        PieceNumbered take_number,
        CertificateIssued take_issue,
        CertificatePrinted take_print,
        FieldErased take_erasure,
        DieRegistered take_die,
        PieceStruck take_strike,
        SeriesClosed take_series_close,
        ConsignmentSent take_consignment,
        ConsignmentReturned take_consignment_return,
        OrderRecorded take_order,
        SaleMade take_sale,
        PieceBoughtBack take_buy_back,
        OwnerRegistered take_owner,
        RefiningSent take_refining,
        LotOutturned take_outturn,
        StocktakeTaken take_stock,
        LotCounted take_lot_count,
        MeltCounted take_heel_count,
        JarCounted take_jar_count,
        LotFound take_found_lot,
        SpotRecorded take_spot,
        QuoteMade take_quote,
        ChargeRecorded take_charged,
    }
    plain {
        JarFilled take_filling,
        PieceFinished take_finishing,
        PieceMoved take_move,
        PieceCondemned take_condemning,
        PieceRemelted take_remelting,
        PieceSerialled take_serial,
        PieceCertified take_certifying,
        CertificateSuperseded take_superseding,
        DieDisposed take_disposal,
        PieceArchived take_archiving,
        PieceConsigned take_consigning,
        PieceHallmarked take_hallmark,
        PieceUnmarked take_unmarked,
        PieceKept take_kept,
        PieceMissing take_missing,
        PieceSpared take_spare,
        OrderCancelled take_order_cancel,
        PieceReserved take_reservation,
        PieceReleased take_release,
        SaleDispatched take_parcel,
        PieceSold take_sold,
        PieceUnsold take_unsold,
        PieceDispatched take_dispatch,
        PieceHandedOver take_hand_over,
        PieceDelivered take_delivery,
        PieceLost take_lost,
        PieceFound take_found,
        PieceSentBack take_sent_back,
        PieceReturned take_return,
        PieceRestocked take_restock,
        PieceStolen take_theft,
        PieceRecovered take_recovery,
        PieceDestroyed take_destruction,
        OwnerAgreed take_agreement,
        JarSwept take_sweeps,
        JarEmptied take_emptying,
        PieceRefined take_refined,
        RefiningReturned take_refining_return,
        EntryCorrected take_correction,
    }
    // Keys, operators and the clock are no part of the trade; the floors above follow them.
    nothing {
        KeyAdded,
        KeyRevoked,
        KeySuspect,
        ClockSet,
        OperatorRevoked,
    }
}
