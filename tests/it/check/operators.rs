//! An operator who was revoked: no later entry may be theirs, whoever sealed it.

use pourbook::check::{Fault, Operators};
use pourbook::domain::{Event, OperatorId, OperatorRevoked};
use uuid::Uuid;

fn operator(number: u128) -> OperatorId {
    OperatorId(Uuid::from_u128(number))
}

fn revokes(number: u128) -> [Event; 1] {
    [Event::from(OperatorRevoked {
        operator: operator(number),
    })]
}

#[test]
fn a_revoked_operator_is_refused_from_the_next_entry_on() {
    let mut operators = Operators::default();
    assert_eq!(operators.take(3, operator(1), [].iter()), Ok(()));
    assert_eq!(operators.take(4, operator(2), revokes(1).iter()), Ok(()));
    let fault = Fault::OperatorRevoked {
        operator: operator(1),
        revoked: 4,
    };
    assert_eq!(operators.take(5, operator(1), [].iter()), Err(fault.clone()));
    assert_eq!(operators.take(5, operator(3), revokes(1).iter()), Err(fault));
    assert_eq!(operators.take(6, operator(2), [].iter()), Ok(()));
    // One may end one's own part; that entry is the last.
    assert_eq!(operators.take(7, operator(2), revokes(2).iter()), Ok(()));
    assert_eq!(operators.revoked_at(operator(2)), Some(7));
    assert!(operators.take(8, operator(2), [].iter()).is_err());
}
