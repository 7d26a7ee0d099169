//! Stock-takes on a scale that was found off: what their variances would be, and heels that they weighed anew.

use super::{Decision, Doubt, Unread};
use crate::domain::{Event, Melt, SessionId};
use crate::metal::{Mass, Reading};
use uuid::Uuid;

/// What a stock-take said of one thing: what it is, what it weighed, what the book expected, and the uncertainty (k = 2) of
/// the difference.
type Counted<'a> = (Uuid, &'a Reading, Mass, Mass);

impl Doubt<'_> {
    /// The variances that would be others. What the book expected is taken as it was.
    pub(super) fn of_counts(&self) -> Result<Vec<Decision>, Unread> {
        let mut decisions = Vec::new();
        let until = self.session.failed_at.unwrap_or(self.past.position);
        for index in self.session.last_good.saturating_add(1)..until {
            let events = self.past.said(index)?;
            if !session_of_count(&events).is_some_and(|session| self.doubts(session, index)) {
                continue;
            }
            for (subject, mass, expected, uncertainty) in events.iter().filter_map(counted) {
                let says = |weighed: Mass| {
                    let variance = expected.minus(weighed);
                    let explained = if variance.magnitude() <= uncertainty {
                        "explained"
                    } else {
                        "unexplained"
                    };
                    format!("{variance}, {explained}")
                };
                let (offset, proportion) = self.off.both(mass.mass());
                let values = (says(mass.mass()), says(offset), proportion.map(says));
                decisions.extend(self.decision(index, "variance", subject, values));
            }
        }
        Ok(decisions)
    }

    /// Whether the mass at which a heel went into a melt, charged in an entry, is in doubt: it was weighed out there, or in
    /// a stock-take since.
    pub(super) fn heel_in_doubt(&self, from: &Melt, charged: u64) -> Result<bool, Unread> {
        let mut doubted = self.weighed_out(from)?.is_some();
        let history = self.past.source.history(from.melt.0);
        let since = from.closed.unwrap_or(charged);
        for index in history
            .into_iter()
            .filter(|index| since < *index && *index < charged)
        {
            let events = self.past.said(index)?;
            let of_it = |event: &Event| matches!(event, Event::MeltCounted(e) if e.melt == from.melt);
            if events.iter().any(of_it) {
                doubted = session_of_count(&events).is_some_and(|session| self.doubts(session, index));
            }
        }
        Ok(doubted)
    }
}

/// The session of the stock-take that stands in an entry.
fn session_of_count(events: &[Event]) -> Option<SessionId> {
    events.iter().find_map(|event| match event {
        Event::StocktakeTaken(e) => e.session,
        _ => None,
    })
}

fn counted(event: &Event) -> Option<Counted<'_>> {
    match event {
        Event::LotCounted(e) => Some((e.lot.0, &e.mass, e.expected, e.uncertainty)),
        Event::MeltCounted(e) => Some((e.melt.0, &e.mass, e.expected, e.uncertainty)),
        Event::JarCounted(e) => Some((e.jar.0, &e.mass, e.expected, e.uncertainty)),
        _ => None,
    }
}
