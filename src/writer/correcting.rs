//! A correction: the desk reads the whole log again, and the book is the one that the corrected past leads to.
//!
//! It is rare, and costs what opening costs without the signatures. The book is changed only once its entry is sealed.

use super::desk::Desk;
use super::landing::{Changes, Landing, unreadable};
use super::submission::{Submission, SubmitError};
use crate::domain::{CorrectEntries, Correcting, Draw, Moment, PastEntry, Refused, Stamp, Timestamp};
use crate::log::StoreError;
use crate::proof::leaf_hash;
use crate::record::Malformed;

/// What ended the reading of the past.
enum Ended {
    Refused(Refused),
    Unreadable(u64, Malformed),
}

impl Desk {
    /// Decides a correction and takes it. `landings` are the entries of this turn, which no store holds yet.
    pub(super) fn take_correction(
        &mut self,
        now: Timestamp,
        draw: &mut Draw,
        command: &CorrectEntries,
        submission: &Submission,
        landings: &[Landing],
    ) -> Result<Result<Landing, SubmitError>, StoreError> {
        let mut correcting = match Correcting::new(self.book(), command) {
            Ok(correcting) => correcting,
            Err(refused) => return Ok(Err(SubmitError::Refused(refused))),
        };
        let mut ended = None;
        let mut each = |index: u64, bytes: &[u8]| {
            ended = take(&mut correcting, index, bytes).err();
            ended.is_none()
        };
        self.store.scan(0, &mut each)?;
        if ended.is_none() {
            for landing in landings {
                if let Err(end) = take(&mut correcting, landing.index, &landing.bytes) {
                    ended = Some(end);
                    break;
                }
            }
        }
        match ended {
            Some(Ended::Refused(refused)) => return Ok(Err(SubmitError::Refused(refused))),
            Some(Ended::Unreadable(index, malformed)) => return Err(unreadable(index, &malformed)),
            None => {}
        }
        let index = self.size();
        let mut moment = Moment {
            now,
            by: submission.by,
            draw: Draw::new(draw.bytes()),
        };
        let corrected = match correcting.finish(index, &mut moment) {
            Ok(corrected) => corrected,
            Err(refused) => return Ok(Err(SubmitError::Refused(refused))),
        };
        let sealed = self.seal(
            now,
            submission,
            &corrected.drafts,
            &corrected.subjects,
            &mut moment.draw,
        );
        let sealed = match sealed {
            Ok(sealed) => sealed,
            Err(refused) => return Ok(Err(SubmitError::Refused(refused))),
        };
        let (touched, gone) = corrected.book.differences(&self.book);
        let changes = Changes {
            rows: corrected.book.rows(&touched),
            gone,
        };
        self.book = corrected.book;
        self.last = now;
        let (drafts, subjects) = (corrected.drafts, corrected.subjects);
        Ok(Ok(
            self.landing(index, submission, drafts, subjects, sealed, changes)
        ))
    }
}

fn take(correcting: &mut Correcting, index: u64, bytes: &[u8]) -> Result<(), Ended> {
    let entry = crate::record::read(bytes).map_err(|malformed| Ended::Unreadable(index, malformed))?;
    let past = PastEntry {
        stamp: Stamp {
            index,
            at: entry.payload.iat,
            by: entry.payload.by,
        },
        leaf: leaf_hash(bytes).to_base64url(),
        events: entry.events().cloned().collect(),
    };
    correcting.take(&past).map_err(Ended::Refused)
}
