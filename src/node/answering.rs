//! A question while it is answered: the connection's place knows when it begins, how long its body is, and when its answer is
//! made or sent.

use super::doors::{Answering, Body, Place};
use actix_web::body::{BodySize, BoxBody, EitherBody, MessageBody};
use actix_web::dev::ServiceResponse;
use actix_web::http::header::{self, HeaderMap};
use actix_web::web::Bytes;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};

/// How long a reply may be that is written at once.
const SHORT: u64 = 64 * 1024;

/// Begins to answer, and says what body the question has.
pub fn begin(place: &Arc<Place>, headers: &HeaderMap) -> Answering {
    if headers.contains_key(header::TRANSFER_ENCODING) {
        return place.answer(Body::Chunked);
    }
    // The library has refused what is no number here.
    let length = headers.get(header::CONTENT_LENGTH);
    let length = length.and_then(|length| length.to_str().ok()?.trim().parse().ok());
    place.answer(Body::Bytes(length.unwrap_or(0)))
}

/// A long reply, or one that goes on, is being answered until it is sent; a short one is once it is made.
pub fn while_it_is_sent(
    reply: ServiceResponse,
    answering: Option<Answering>,
) -> ServiceResponse<EitherBody<BoxBody, Sent>> {
    reply.map_body(|_, body| match (body.size(), answering) {
        (BodySize::None, _) | (_, None) => EitherBody::left(body),
        (BodySize::Sized(bytes), _) if bytes <= SHORT => EitherBody::left(body),
        (_, Some(answering)) => EitherBody::right(Sent {
            body,
            _answering: answering,
        }),
    })
}

/// A body that holds its connection as one that is being answered.
pub struct Sent {
    body: BoxBody,
    _answering: Answering,
}

impl MessageBody for Sent {
    type Error = Box<dyn std::error::Error>;

    fn size(&self) -> BodySize {
        self.body.size()
    }

    fn poll_next(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Bytes, Self::Error>>> {
        Pin::new(&mut self.body).poll_next(context)
    }
}
