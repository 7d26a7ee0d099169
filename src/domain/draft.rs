//! What a decision gives: an event that is not in the log yet, with the private members that will stand beside it.

use super::event::Event;
use super::private::Private;

/// An event as it was decided.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Draft {
    /// What will stand in the log.
    pub event: Event,
    /// Its private members, with their values.
    pub private: Private,
}
