//! How each command is read from a request, one row a command.

use super::Recording;
use crate::domain::{self, Command};
use crate::http::{located, prints};

macro_rules! recordings {
    ($($const:ident $command:ident $subject:expr, tray $tray:literal, hidden $hidden:expr, main $main:literal;)*) => {
        $(pub const $const: Recording = Recording {
            name: stringify!($command),
            read: |body| located::read::<domain::$command>(body).map(Command::from),
            subject: $subject,
            entry: None,
            tray: $tray,
            hidden: $hidden,
            prepare: None,
            main: $main,
        };)*
    };
}

/// Certificates are printed: the PDF is made first.
pub const PRINT_CERTIFICATES: Recording = Recording {
    prepare: Some(prints::make),
    ..PRINTED
};

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
    PRINTED PrintCertificates None, tray false, hidden &[], main "print";
    SUPERSEDE SupersedeCertificate Some("piece"), tray false, hidden &[], main "piece";
    CORRECT_ENTRIES CorrectEntries None, tray false, hidden &[], main "entry";
    ERASE_FIELD EraseField None, tray false, hidden &["entry"], main "entry";
    REVOKE_OPERATOR RevokeOperator None, tray false, hidden &[], main "entry";
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
